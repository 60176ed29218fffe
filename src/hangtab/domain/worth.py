"""A worth: middle, ranges, the evidence it rests on, and where a price falls. All money in the book's currency.

Values are plain numbers in major units, unrounded: rounding belongs to the edge that shows them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from hangtab.domain.subject import Subject


@dataclass(frozen=True, slots=True)
class Span:
    """Median, mean and central ranges of one distribution; `ranges` maps per cent to (low, high)."""

    median: float
    mean: float
    ranges: dict[int, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Comparable:
    """One sale that carries the estimate.

    `adjusted` = `all_in` x product of `factors`. `gain` is its pull g on the log of the estimate; `weight` its share
    of a clean sale, 0 to 1.
    """

    id: str
    kind: str
    sold: date
    all_in: float
    adjusted: float
    gain: float
    weight: float
    subject: str
    factors: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """Where a price falls among next sales: `below` is the probability that the next sale brings less, 0 to 1."""

    price: float
    below: float
    words: str


@dataclass(frozen=True, slots=True)
class Worth:
    """The estimate for one subject on one day."""

    subject: Subject
    text: str
    at: date
    currency: str
    middle: Span
    next_sale: Span
    item_price: Span
    base: float
    comparables: tuple[Comparable, ...]
    effective_sales: float
    newest: date | None
    seen: int  # completed sales of the same variant in the book
    verdict: Verdict | None = None
