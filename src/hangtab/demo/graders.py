"""How the two graders see a piece: different scales, different strictness, both drifting, both noisy.

Reads a true condition (0-100) and a day, gives a grade. Also what the crowd pays for a condition.
"""

from __future__ import annotations

import numpy as np

from hangtab.catalogue.model import Grade, Grader, Scale
from hangtab.demo.general import GRADERS
from hangtab.domain.subject import Grading, Packaging

YEARS = 7.0
# Strictness in points of the condition axis at the start and the end; how sure the hand is.
_HANDS = {"northgate": (-2.0, 1.5, 2.6), "plumb": (4.0, 3.0, 3.8)}
SECOND_CASE = 4.2  # years after the start: Northgate changes its case
# Log worth by true condition: full steps near the top go about .8 : 1 : 1.4 : 2.5 (common practice, no source).
_AT = (0.0, 30.0, 50.0, 71.5, 81.0, 90.5, 100.0)
_LOG = (-1.7, -0.9, -0.52, -0.29, 0.0, 0.28, 0.95)


def condition_log(condition: float) -> float:
    """What the crowd adds to the log price for a condition."""
    return float(np.interp(condition, _AT, _LOG))


def scale_for(grader: str, packaging: Packaging) -> tuple[Grader, Scale]:
    """The grader and its scale for a form."""
    found = next(g for g in GRADERS if g.id == grader)
    return found, next(s for s in found.scales if packaging in s.forms)


def grade_piece(
    condition: float, grader: str, packaging: Packaging, year: float, rng: np.random.Generator
) -> tuple[Grading, float]:
    """A grading of a piece at a time in years since the start, and the position that its grade stands for."""
    start, end, sigma = _HANDS[grader]
    seen = condition + start + (end - start) * year / YEARS + rng.normal(0, sigma)
    found, scale = scale_for(grader, packaging)
    grades = scale.grades
    best = _nearest(grades, seen)
    subs: tuple[tuple[str, str], ...] = ()
    if scale.subgrades and rng.random() < 0.55:
        plain = tuple(g for g in grades if not g.label.endswith("+"))
        for name in scale.subgrades:
            subs += ((name.name, _nearest(plain, seen + rng.normal(0, 5)).label),)
    qualifiers = ("yellowed",) if rng.random() < 0.05 else ()
    generation = ("first" if year < SECOND_CASE else "second") if found.generations else ""
    grading = Grading(grader, scale.id, best.label, generation, subs, qualifiers)
    return grading, best.position


def _nearest(grades: tuple[Grade, ...], seen: float) -> Grade:
    return min(grades, key=lambda g: abs(g.position - seen))


def certificate(grader: str, rng: np.random.Generator) -> str:
    """A new certificate number."""
    return f"N{rng.integers(10**6, 10**7)}" if grader == "northgate" else f"P-{rng.integers(10**5, 10**6)}"
