"""Sums that add up as they are shown.

Promises: base + moves = estimate to the minor unit, and shares of one hundred add up to 100.0, both by the method of
largest remainder (Hamilton's rule of apportionment). Not here: the estimate itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from hangtab.domain.money import minor_digits
from hangtab.domain.worth import Comparable, Worth

_SAME = 1e-9


def apportion(parts: Sequence[float], total: int) -> list[int]:
    """Whole numbers near `parts` that add up to `total`; the largest remainders get what is left over.

    Parts whose own sum is far from the total (they should differ by rounding only) keep the shares of the difference
    even.

    >>> apportion([33.4, 33.3, 33.3], 100)
    [34, 33, 33]
    """
    floors = [math.floor(p) for p in parts]
    if not floors:
        return []
    left = total - sum(floors)
    each, left = divmod(left, len(floors))
    order = sorted(range(len(parts)), key=lambda i: (floors[i] - parts[i], i))
    more = set(order[:left])
    return [f + each + (i in more) for i, f in enumerate(floors)]


@dataclass(frozen=True, slots=True)
class Pull:
    """How one row of the comparables counts: per cent in tenths, and money in major units."""

    counts: float
    moves: float


@dataclass(frozen=True, slots=True)
class Account:
    """The account of one estimate as shown: the rest of the market first, then one pull per group of comparables.

    `base`, `estimate` and all moves are rounded to the minor unit; base + sum of moves = estimate exactly, the counts
    of the base and of the pulls add up to 100.0.
    """

    base: float
    base_counts: float
    pulls: tuple[Pull, ...]
    estimate: float


def log_mean(low: float, high: float) -> float:
    """Logarithmic mean of two amounts over 0: it splits a difference of logs into money exactly.

    Source: B. C. Carlson, The logarithmic mean, American Mathematical Monthly 79 (1972), definition (from memory).
    >>> log_mean(4.0, 4.0)
    4.0
    """
    ratio = math.log(high / low)
    return high if abs(ratio) < _SAME else (high - low) / ratio


def account(worth: Worth, groups: Sequence[Sequence[Comparable]]) -> Account:
    """The account of a worth, its comparables in groups (one row each); every comparable is in one group.

    Moves: (E - B) / ln(E/B) * g * ln(adjusted/B), with B the rest of the market and E the estimate.
    """
    units = 10 ** minor_digits(worth.currency)
    base, estimate = worth.base, worth.middle.median
    scale = log_mean(base, estimate) * units
    pulls = [sum(c.gain * math.log(c.adjusted / base) for c in group) * scale for group in groups]
    shown_base, shown_estimate = round(base * units), round(estimate * units)
    moves = apportion(pulls, shown_estimate - shown_base)
    if not groups:
        shown_base = shown_estimate
    gains = [sum(c.gain for c in group) for group in groups]
    counts = apportion([1000 * g for g in (1 - sum(gains), *gains)], 1000)
    rows = tuple(Pull(c / 10, m / units) for c, m in zip(counts[1:], moves, strict=True))
    return Account(shown_base / units, counts[0] / 10, rows, shown_estimate / units)
