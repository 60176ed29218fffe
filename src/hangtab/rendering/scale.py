"""A logarithmic scale and the round figures on it.

Promises: equal steps are equal percentages; figures are 1, 2, 5 of a decade and their even parts, never nearer to each
other than asked. Not here: how graduations look (ruler, years).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

# How each third of a decade may be divided, coarse to fine, in units of the decade.
_STOPS = (
    (1, 2, tuple(Fraction(1, d) for d in (2, 5, 10, 20, 50, 100))),
    (2, 5, tuple(Fraction(1, d) for d in (1, 2, 5, 10, 20, 50))),
    (5, 10, tuple(Fraction(1, d) for d in (1, 2, 5, 10, 20))),
)
_SEVEN = Fraction(7)  # the one figure between 5 and 10 when there is no room for 6, 8 and 9


@dataclass(frozen=True, slots=True)
class LogScale:
    """Maps values from `low` to `high` (both over 0) to the pixels from `start` to `end`; `end` may be the smaller."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Pixel of a value over 0."""
        share = math.log(value / self.low) / math.log(self.high / self.low)
        return self.start + share * (self.end - self.start)

    def holds(self, value: float) -> bool:
        """Whether a value lies on the scale."""
        return self.low <= value <= self.high


def around(values: Iterable[float], margin: float = 0.08) -> tuple[float, float]:
    """The ends of a scale that shows all values and a margin, as a share of the span, on each side.

    A span of nothing is opened to a tenth, so that one value can be drawn.
    """
    logs = [math.log(v) for v in values if v > 0]
    low, high = min(logs), max(logs)
    if high - low < math.log(1.1):
        middle = (low + high) / 2
        low, high = middle - math.log(1.05), middle + math.log(1.05)
    pad = margin * (high - low)
    return math.exp(low - pad), math.exp(high + pad)


def figures(scale: LogScale, gap: float) -> list[float]:
    """Round values on the scale, ascending, at least `gap` px from each other.

    >>> figures(LogScale(110, 280, 1, 755), 48)
    [120.0, 140.0, 160.0, 180.0, 200.0, 220.0, 240.0, 260.0, 280.0]
    """
    found: set[float] = set()
    for decade in range(math.floor(math.log10(scale.low)), math.floor(math.log10(scale.high)) + 1):
        unit = 10.0**decade
        if abs(scale.at(2 * unit) - scale.at(unit)) < gap:
            found.add(unit)
            continue
        for first, last, steps in _STOPS:
            found.update(_divided(scale, unit, first, last, steps, gap))
    return sorted(v for v in found if scale.holds(v))


def _divided(
    scale: LogScale, unit: float, first: int, last: int, steps: tuple[Fraction, ...], gap: float
) -> list[float]:
    ends = [_value(Fraction(first), unit), _value(Fraction(last), unit)]
    best = ends
    if first == 5:  # noqa: PLR2004 - the upper third of a decade
        best = _if_apart(scale, [ends[0], _value(_SEVEN, unit), ends[1]], gap) or ends
    for step in steps:
        parts = [_value(first + step * i, unit) for i in range(int((last - first) / step) + 1)]
        finer = _if_apart(scale, parts, gap)
        if not finer:
            break
        best = finer
    return best


def _if_apart(scale: LogScale, parts: list[float], gap: float) -> list[float]:
    shown = [v for v in parts if scale.holds(v)]
    near = any(abs(scale.at(b) - scale.at(a)) < gap for a, b in pairwise(shown))
    return [] if near else parts


def _value(part: Fraction, unit: float) -> float:
    return round(float(part) * unit, 6)
