"""Two states of one piece against each other: "34+ yellowed against clear".

Promises a ratio with its range, eight in ten, from the joint covariance of both worths: the common part of their doubt
cancels. Not here: what each side is worth by itself (estimate).
"""

from __future__ import annotations

import math
import re
from dataclasses import replace

from hangtab.domain.errors import UnknownPieceError
from hangtab.domain.subject import Subject
from hangtab.naming import Saying
from hangtab.usecases.about import kept, named
from hangtab.usecases.desk import Compared
from hangtab.usecases.estimate import Ask, answer
from hangtab.usecases.fitting import Standing
from hangtab.usecases.parts import Parts
from hangtab.valuing import middle_half

AGAINST = re.compile(r"\s+(?:against|versus|vs\.?)\s+", re.IGNORECASE)
LACKING = re.compile(r"\b(no|without)\b", re.IGNORECASE)
CLEAR = re.compile(r"\b(clear|unyellowed|without|clean)\b", re.IGNORECASE)
SIDES = 2


def compare(parts: Parts, standing: Standing, asked: Ask, about: Subject | None = None) -> Compared | None:
    """The reply to a question that sets two states against each other, None for any other question.

    `about` is the piece last looked at, meant where the words name none.
    """
    if asked.subject or not asks_to_compare(asked.text):
        return None
    sides = AGAINST.split(asked.text)
    likeliest = named(parts, sides[0], about).candidates[0]
    first = likeliest.subject
    second = _other(parts, first, sides[1])
    if second == first:
        raise UnknownPieceError(
            "The two sides do not differ",
            where=f"the question “{asked.text[:80]}”",
            mend="Say what differs, such as “34+ against 36” or “yellowed against clear”",
        )
    answers = tuple(answer(parts, standing, replace(asked, text="", price="", subject=s.key)) for s in (first, second))
    return Compared(asked.text, answers, _ratio(standing, first, second, asked), likeliest.probability)


def asks_to_compare(text: str) -> bool:
    """Whether a question sets two states against each other."""
    return len(AGAINST.split(text)) == SIDES


def _other(parts: Parts, first: Subject, right: str) -> Subject:
    """The second side: the piece that the right words name, else the first with what they change."""
    whole = parts.namer.name(Saying.ask(right))
    if whole.candidates and any("character" in r.kind for r in whole.candidates[0].speaks_for):
        return whole.candidates[0].subject
    if LACKING.search(right):
        denied = {f.id for f in kept(parts, LACKING.sub(" ", right), replace(first, features=())).subject.features}
        left = tuple(f for f in first.features if f.id not in denied)
        if left != first.features:
            return replace(first, features=left)
    if CLEAR.search(right):
        grading = replace(first.grading, qualifiers=()) if first.grading else None
        return replace(first, grading=grading, flaws=())
    return kept(parts, right, first).subject


def _ratio(standing: Standing, first: Subject, second: Subject, asked: Ask) -> tuple[float, float, float]:
    valuer = standing.valuer
    mean, cov = valuer.fitted.joint(valuer.rows_for([first, second], [asked.at, asked.at]))
    middle = float(mean[0] - mean[1])
    spread = math.sqrt(max(float(cov[0, 0] + cov[1, 1] - 2 * cov[0, 1]), 0.0))
    half = middle_half(spread, valuer.calibration.middle, 0.8) if spread > 0 else 0.0  # a piece against itself
    return math.exp(middle), math.exp(middle - half), math.exp(middle + half)
