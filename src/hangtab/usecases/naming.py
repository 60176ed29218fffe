"""Name a title; name the whole book anew after the catalogue changed."""

from __future__ import annotations

from hangtab.domain.name import Naming
from hangtab.domain.progress import OnStep, Step
from hangtab.naming import Saying
from hangtab.usecases.parts import Parts
from hangtab.usecases.take_in import remembering

EVERY = 500


def name_title(parts: Parts, title: str) -> Naming:
    """The candidates of a title as a source would have it."""
    return parts.namer.name(Saying(title=title))


def rename_all(parts: Parts, on_step: OnStep) -> int:
    """Name all evidence anew; a person's answers go on holding. Returns how many names changed.

    What was settled is named too, under the answer: taking the answer back must not bring back an old name.
    """
    stored = list(parts.book.evidence())
    name_evidence = remembering(parts)
    changed = []
    for done, one in enumerate(stored):
        if done % EVERY == 0:
            on_step(Step("Naming", done, len(stored)))
        name = name_evidence(one.evidence)
        if name != one.name:
            changed.append((one.evidence.id, name))
    settled = sum(1 for one in stored if one.name and one.name.by != "text")
    parts.book.rename(changed, parts.entry("name anew", changed=len(changed) - settled))
    return len(changed) - settled
