"""A logarithmic scale and the round figures on it.

Promises: equal steps are equal percentages; figures are 1, 2, 5 of a decade and their even parts, never nearer to each
other than asked. Not here: how graduations look (ruler, years).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

# How each third of a decade may be divided, coarse to fine: its figures for so many parts of a unit. Between 5 and 10
# there is one more way, with 7 alone, where 6, 8 and 9 have no room.
_WAYS = (
    (1, 2, (2, 5, 10, 20, 50, 100)),
    (2, 5, (1, 2, 5, 10, 20, 50)),
    (5, 10, (1, 2, 5, 10, 20)),
)
_STOPS = tuple(
    (
        (float(first), float(last)),
        *(((5.0, 7.0, 10.0),) if last == 10 else ()),  # noqa: PLR2004 - the upper third
        *(tuple((first * parts + i) / parts for i in range((last - first) * parts + 1)) for parts in ways),
    )
    for first, last, ways in _WAYS
)


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
        for ways in _STOPS:
            found.update(_finest(scale, unit, ways, gap))
    return sorted(v for v in found if scale.holds(v))


def _finest(scale: LogScale, unit: float, ways: tuple[tuple[float, ...], ...], gap: float) -> list[float]:
    """The figures of the finest division whose neighbours are all apart; the ends of the third at least."""
    best = [round(part * unit, 6) for part in ways[0]]
    for way in ways:
        values = [round(part * unit, 6) for part in way]
        if not _apart(scale, values, gap):
            break  # a finer division holds nearer neighbours still
        best = values
    return best


def _apart(scale: LogScale, values: list[float], gap: float) -> bool:
    shown = [scale.at(v) for v in values if scale.holds(v)]
    return all(abs(b - a) >= gap for a, b in pairwise(shown))
