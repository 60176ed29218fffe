"""Why a name waits for a person, in plain words.

Promises one short sentence about the most telling reason. Reads candidates and doubts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from hangtab.catalogue.model import Catalogue
from hangtab.domain.name import Candidate
from hangtab.domain.subject import Subject
from hangtab.naming.doubt import Doubt


def explain(catalogue: Catalogue, candidates: Sequence[Candidate], doubts: Doubt) -> str:
    """The sentence, without a full stop."""
    if doubts.dangers:
        return f"The title says “{doubts.dangers[0].text}”"
    if doubts.lot:
        return f"The title offers several pieces: “{doubts.lot.text}”"
    if doubts.unknown:
        return f"“{doubts.unknown}” is not in the catalogue"
    if not candidates:
        return "The title names no piece"
    if doubts.conflicts:
        title, column = doubts.conflicts[0]
        return f"The title says “{title.text}”, its columns say “{column.text}”"
    if doubts.no_grade:
        return "It says graded, but no grade is read"
    if len(candidates) > 1 and candidates[1].probability > candidates[0].probability / 20:
        return _differing(catalogue, candidates[0].subject, candidates[1].subject)
    if candidates[0].speaks_against:
        word = next((r.text for r in candidates[0].speaks_against if r.text), "")
        if word:
            return f"“{word}” does not fit the piece"
    return "The title leaves doubt about the piece"


def _differing(catalogue: Catalogue, one: Subject, two: Subject) -> str:
    """What tells the two likeliest candidates apart, the first such thing along the chain."""
    first, second = catalogue.chain(one.thing), catalogue.chain(two.thing)
    left, right = catalogue.releases.get(first.release), catalogue.releases.get(second.release)
    if first.line != second.line:
        return "Which line: the title names none"
    if first.character != second.character:
        return "Which piece: the title fits several"
    if first.prototype or second.prototype:
        return "Which prototype: the title does not say" if first.prototype and second.prototype else _form(one, two)
    if one.packaging is not two.packaging:
        return _form(one, two)
    if left and right and left.card != right.card:
        return "Which card: the title names none"
    if first.figure != second.figure:
        return "Which version of the figure: the title does not say"
    if first.release != second.release:
        return "Which release: the title does not say"
    if first.change != second.change:
        return "Which running change: the title does not say"
    return _condition(catalogue, one, two)


def _form(one: Subject, two: Subject) -> str:
    return f"{one.packaging.value.capitalize()} or {two.packaging.value}: the title does not say"


def _condition(catalogue: Catalogue, one: Subject, two: Subject) -> str:
    if one.features != two.features:
        name: Callable[[Subject], str] = lambda s: (  # noqa: E731 - used twice in the next line only
            ", ".join(catalogue.features[f.id].names.name for f in s.features) or "none"
        )
        return f"Which features: {name(one)}, or {name(two)}"
    if one.grading and two.grading:
        return f"Which grade: {one.grading.grade} or {two.grading.grade}"
    return "Whether it is graded: the title is not clear"
