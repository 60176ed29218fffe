"""Why a name waits for a person, in plain words.

Promises one short sentence about the most telling reason. Reads candidates and doubts.
"""

from __future__ import annotations

from collections.abc import Sequence

from hangtab.catalogue.model import Catalogue
from hangtab.domain.name import Candidate
from hangtab.domain.subject import Subject
from hangtab.naming.doubt import Doubt

# The second candidate is worth a question when it is at least a twentieth as likely as the first.
CLOSE = 0.05


def explain(catalogue: Catalogue, candidates: Sequence[Candidate], doubts: Doubt) -> str:
    """The sentence, without a full stop."""
    return _plain_doubt(candidates, doubts) or _between(catalogue, candidates)


def _plain_doubt(candidates: Sequence[Candidate], doubts: Doubt) -> str:
    """The doubt that needs no comparison, empty when there is none."""
    said = (
        ("The title says “{}”", doubts.dangers[0].text if doubts.dangers else ""),
        ("The title offers several pieces: “{}”", doubts.lot.text if doubts.lot else ""),
        ("“{}” is not in the catalogue", doubts.unknown),
        ("The title names no piece{}", "" if candidates else " "),
        ("{}", _conflict(doubts) if doubts.conflicts else ""),
        ("It says “{}”, but no grade is read", doubts.no_grade.text if doubts.no_grade else ""),
    )
    return next((sentence.format(word).strip() for sentence, word in said if word), "")


def _conflict(doubts: Doubt) -> str:
    title, column = doubts.conflicts[0]
    return f"The title says “{title.text}”, its columns say “{column.text}”"


def _between(catalogue: Catalogue, candidates: Sequence[Candidate]) -> str:
    """What the two likeliest leave open; where one is far ahead, the word that does not fit it."""
    first = candidates[0]
    if len(candidates) > 1 and candidates[1].probability > first.probability * CLOSE:
        return _differing(catalogue, first.subject, candidates[1].subject)
    word = next((r.text for r in first.speaks_against if r.text), "")
    return f"“{word}” does not fit the piece" if word else "The title leaves doubt about the piece"


def _differing(catalogue: Catalogue, one: Subject, two: Subject) -> str:
    """What tells the two likeliest candidates apart, the first such thing along the chain."""
    first, second = catalogue.chain(one.thing), catalogue.chain(two.thing)
    cards = [r.card if r else "" for r in (catalogue.releases.get(c.release) for c in (first, second))]
    apart = (
        (first.line != second.line, "Which line: the title names none"),
        (first.character != second.character, "Which piece: the title fits several"),
        (one.packaging is not two.packaging, _form(one, two)),
        (first.prototype != second.prototype, "Which prototype: the title does not say"),
        (cards[0] != cards[1], "Which card: the title names none"),
        (first.figure != second.figure, "Which version of the figure: the title does not say"),
        (first.release != second.release, "Which release: the title does not say"),
        (first.change != second.change, "Which running change: the title does not say"),
    )
    return next((sentence for holds, sentence in apart if holds), "") or _condition(catalogue, one, two)


def _form(one: Subject, two: Subject) -> str:
    return f"{one.packaging.value.capitalize()} or {two.packaging.value}: the title does not say"


def _condition(catalogue: Catalogue, one: Subject, two: Subject) -> str:
    if one.features != two.features:
        return f"Which features: {_features(catalogue, one)}, or {_features(catalogue, two)}"
    if one.grading and two.grading:
        return f"Which grade: {one.grading.grade} or {two.grading.grade}"
    return "Whether it is graded: the title is not clear"


def _features(catalogue: Catalogue, subject: Subject) -> str:
    return ", ".join(catalogue.features[f.id].names.name for f in subject.features) or "none"
