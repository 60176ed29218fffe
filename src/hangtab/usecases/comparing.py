"""Two states of one piece against each other: "34+ yellowed against clear".

Promises a ratio with its range, eight in ten, from the joint covariance of both worths: the common part of their doubt
cancels. Not here: what each side is worth by itself (estimate).
"""

from __future__ import annotations

import math
import re
from dataclasses import replace

from hangtab.domain.subject import Subject
from hangtab.naming import Saying
from hangtab.usecases.about import named
from hangtab.usecases.desk import Compared
from hangtab.usecases.estimate import Ask, answer
from hangtab.usecases.fitting import Standing
from hangtab.usecases.parts import Parts

AGAINST = re.compile(r"\s+(?:against|versus|vs\.?)\s+", re.IGNORECASE)
CLEAR = re.compile(r"\b(clear|unyellowed|without|clean)\b", re.IGNORECASE)
Z80 = 1.2816  # standard normal, central 80 %
SIDES = 2


def compare(parts: Parts, standing: Standing, asked: Ask, about: Subject | None = None) -> Compared | None:
    """The reply to a question that sets two states against each other, None for any other question.

    `about` is the piece last looked at, meant where the words name none.
    """
    sides = AGAINST.split(asked.text) if asked.text and not asked.subject else []
    if len(sides) != SIDES:
        return None
    likeliest = named(parts, sides[0], about).candidates[0]
    first = likeliest.subject
    second = _other(parts, first, *sides)
    if second is None or second == first:
        return None
    answers = tuple(answer(parts, standing, replace(asked, text="", price="", subject=s.key)) for s in (first, second))
    return Compared(asked.text, answers, _ratio(standing, first, second, asked), likeliest.probability)


def _other(parts: Parts, first: Subject, left: str, right: str) -> Subject | None:
    """The second side: the first with what the right words change."""
    if CLEAR.search(right):
        grading = replace(first.grading, qualifiers=()) if first.grading else None
        return replace(first, grading=grading, flaws=())
    whole = parts.namer.name(Saying.ask(right))
    if whole.candidates and {r.kind for r in whole.candidates[0].speaks_for} & {"character"}:
        return whole.candidates[0].subject
    added = parts.namer.name(Saying.ask(f"{_without_grade(left)} {right}"))
    return added.candidates[0].subject if added.candidates else None


def _without_grade(text: str) -> str:
    return re.sub(r"\b\d+\+?\b|\bgraded\b|\braw\b", " ", text, flags=re.IGNORECASE)


def _ratio(standing: Standing, first: Subject, second: Subject, asked: Ask) -> tuple[float, float, float]:
    valuer = standing.valuer
    mean, cov = valuer.fitted.joint(valuer.rows_for([first, second], [asked.at, asked.at]))
    middle = float(mean[0] - mean[1])
    spread = math.sqrt(max(float(cov[0, 0] + cov[1, 1] - 2 * cov[0, 1]), 0.0))
    return math.exp(middle), math.exp(middle - Z80 * spread), math.exp(middle + Z80 * spread)
