"""The all-in price with the steps that lead to it. Derived, never stored as input."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from hangtab.domain.money import Money


class StepKind(StrEnum):
    """What one line of the sum is."""

    ITEM = "item"  # item price or hammer
    PREMIUM = "premium"  # one tier of the buyer's premium
    TAX = "tax"  # on the premium, or part of the price
    POSTAGE = "postage"
    PAID = "paid"  # the sum in the currency paid
    RATE = "rate"  # the exchange rate applied
    ALL_IN = "all-in"  # the total in the book's currency


@dataclass(frozen=True, slots=True)
class PriceStep:
    """One line of the sum. `amount` is None for a rate; `rate` is units of the book's currency for one unit paid.

    `label` is for people ("Premium, 25 % to 100"). `estimated` marks what was not stated (postage unknown).
    """

    kind: StepKind
    label: str
    amount: Money | None = None
    rate: Decimal | None = None
    estimated: bool = False


@dataclass(frozen=True, slots=True)
class AllInPrice:
    """What the buyer paid to have it in hand, and the item price without postage, in one currency."""

    total: Money
    item: Money
    steps: tuple[PriceStep, ...]
    rate_day: date | None = None  # day of the reference rate, None when no exchange was needed
    estimated: bool = False

    @property
    def postage_share(self) -> float:
        """Postage as a share of the all-in price, 0 to 1."""
        return 1 - self.item.minor / self.total.minor if self.total.minor else 0.0
