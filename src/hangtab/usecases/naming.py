"""Name a title; name the whole book anew after the catalogue changed."""

from __future__ import annotations

from hangtab.domain.name import Naming
from hangtab.domain.progress import OnStep, Step
from hangtab.naming import Saying
from hangtab.usecases.parts import Parts
from hangtab.usecases.take_in import name_evidence

EVERY = 500


def name_title(parts: Parts, title: str) -> Naming:
    """The candidates of a title as a source would have it."""
    return parts.namer.name(Saying(title=title))


def rename_all(parts: Parts, on_step: OnStep) -> int:
    """Name all evidence anew; names a person settled stay. Returns how many first candidates changed."""
    stored = list(parts.book.evidence())
    changed = []
    for done, one in enumerate(stored):
        if done % EVERY == 0:
            on_step(Step("Naming", done, len(stored)))
        if one.name and one.name.by != "text":
            continue
        name = name_evidence(parts, one.evidence)
        if name != one.name:
            changed.append((one.evidence.id, name))
    parts.book.rename(changed, parts.entry("name anew", changed=len(changed)))
    return len(changed)
