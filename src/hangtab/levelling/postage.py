"""What postage usually costs, for sales that do not say.

Promises an amount that never falls when the price rises, so that a bid can be found from a total. Learned from the
evidence that states its postage. Not here: marking it as estimated (`pricing`).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from statistics import median

from hangtab.domain.evidence import Evidence, PostageKind
from hangtab.domain.money import Money

# Postage is about a fifth of the item price at the median (common practice, no source).
PRIOR_SHARE = Decimal("0.2")
# Fewer sales than this say less about a band than all sales of the currency do.
ENOUGH = 5
# Bands of price: two to each power of ten of minor units, whatever the currency.
_BOUNDS = tuple(round(10 ** (half / 2)) for half in range(2, 33))
_BANDS = range(len(_BOUNDS) + 1)

Place = tuple[str, str, str]  # venue, country, currency; venue and country empty for the currency as a whole


@dataclass(frozen=True, slots=True)
class PostageGuess:
    """Median postage by place and band of price, minor units; without any, a fifth of the price."""

    table: Mapping[Place, tuple[int, ...]] = field(default_factory=dict)

    def amount(self, price: Money, venue: str = "", country: str = "") -> Money:
        """The usual postage of a sale at a price, in the sale's currency."""
        currency = price.currency
        row = self.table.get((venue, country, currency)) or self.table.get(("", "", currency))
        if row is None:
            return Money.of(max(price.amount, Decimal(0)) * PRIOR_SHARE, currency)
        return Money(row[_band(price.minor)], currency)


def learn_postage(evidence: Iterable[Evidence]) -> PostageGuess:
    """Medians of what is stated; free and collected count as nothing, another currency than the price's is left out."""
    seen: dict[Place, dict[int, list[int]]] = {}
    for fact in evidence:
        price = fact.price if fact.price is not None else fact.ask
        cost = _stated(fact)
        if price is None or cost is None or price.minor <= 0 or cost.currency != price.currency:
            continue
        for place in {(fact.venue, fact.country, price.currency), ("", "", price.currency)}:
            seen.setdefault(place, {}).setdefault(_band(price.minor), []).append(cost.minor)
    table: dict[Place, tuple[int, ...]] = {}
    for place, bands in sorted(seen.items()):  # a currency as a whole sorts before its places
        total = sum(len(costs) for costs in bands.values())
        if total >= ENOUGH:
            table[place] = _row(bands, table.get(("", "", place[2])))
    return PostageGuess(table)


def _stated(fact: Evidence) -> Money | None:
    if fact.total_only:
        return None
    if fact.postage.kind in (PostageKind.FREE, PostageKind.COLLECTED):
        price = fact.price if fact.price is not None else fact.ask
        return Money(0, price.currency) if price is not None else None
    return fact.postage.amount


def _band(minor: int) -> int:
    return bisect_right(_BOUNDS, minor)


def _row(bands: Mapping[int, list[int]], wider: tuple[int, ...] | None) -> tuple[int, ...]:
    """One amount per band: the band's median, where it is thin the wider row's, else the median of all bands."""
    everything = float(median([cost for costs in bands.values() for cost in costs]))
    values, weights = [], []
    for band in _BANDS:
        costs = bands.get(band, [])
        known = len(costs) >= ENOUGH
        fallback = everything if wider is None else float(wider[band])
        values.append(float(median(costs)) if known else fallback)
        weights.append(float(len(costs)) if known else 0.5)
    return tuple(round(value) for value in rising(values, weights))


def rising(values: list[float], weights: list[float]) -> list[float]:
    """The nearest never-falling values by weighted squares (pool adjacent violators).

    Source: Ayer, Brunk, Ewing, Reid & Silverman 1955, Ann. Math. Statist. 26 (from memory).

    >>> rising([1.0, 5.0, 3.0, 9.0], [1.0, 1.0, 1.0, 1.0])
    [1.0, 4.0, 4.0, 9.0]
    """
    pools: list[tuple[float, float, int]] = []
    for value, weight in zip(values, weights, strict=True):
        mean, total, count = value, weight, 1
        while pools and pools[-1][0] > mean:
            before, heavy, many = pools.pop()
            mean = (before * heavy + mean * total) / (heavy + total)
            total, count = total + heavy, count + many
        pools.append((mean, total, count))
    return [mean for mean, _, count in pools for _ in range(count)]
