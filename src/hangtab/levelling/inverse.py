"""The exact inverse of levelling: the highest hammer or item price that a total pays for.

Promises the largest price, in the sale's currency, whose all-in price is not above the total. It calls the very steps
of `pricing`, so that the two can never disagree.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import partial

from hangtab.catalogue.model import TaxRule, Venue
from hangtab.domain.dates import When
from hangtab.domain.errors import PriceError
from hangtab.domain.evidence import Evidence, Kind, Postage
from hangtab.domain.money import MOST, Money
from hangtab.levelling.postage import PostageGuess
from hangtab.levelling.pricing import level
from hangtab.levelling.rates import Rates


def hammer_for(
    total: Money,
    sale: Evidence,
    *,
    venue: Venue | None,
    taxes: tuple[TaxRule, ...],
    rates: Rates,
    postage: PostageGuess,
) -> Money:
    """The largest hammer (or item price) that keeps the all-in price within a total.

    Law: the all-in price of the result is at most the total, that of one minor unit more is above it. For this the
    all-in price must never fall when the hammer rises: each billed step is a rounded non-decreasing function of it.

    Args:
        total: The most to spend, in the currency the book counts in.
        sale: What is known of the sale (`sale_at`); its price gives the currency only.
        venue: Where it takes place.
        taxes: Tax rules of the catalogue.
        rates: Exchange rates.
        postage: Usual postage, used where the sale does not say.

    Raises:
        PriceError: Postage alone costs more than the total, or there is no rate.
    """
    currency = sale.price.currency if sale.price is not None else total.currency
    priced = partial(level, venue=venue, taxes=taxes, rates=rates, into=total.currency, postage=postage)

    def within(minor: int) -> bool:
        return priced(replace(sale, price=Money(minor, currency))).total.minor <= total.minor

    if not within(0):
        mend = "Raise the total, or collect the piece"
        what = f"Postage alone costs more than {total.amount} {total.currency}"
        raise PriceError(what, where=f"a bid at {sale.venue or 'this sale'}", mend=mend)
    low, high = 0, 1
    while within(high):
        low, high = high, high * 2
        if Money(high, currency).amount > MOST:
            raise PriceError("The total is too large", where="a bid", mend=f"Give a total under {MOST:,}")
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if within(middle) else (low, middle)
    return Money(low, currency)


def sale_at(venue: Venue, country: str, on: date, postage: Postage | None = None) -> Evidence:
    """A sale to come at a venue's site: an auction where the venue takes a premium, else at a fixed price."""
    kind = Kind.AUCTION if venue.premiums else Kind.SALE
    nothing = Money(0, venue.site(country).currency)
    return Evidence(
        id="",
        kind=kind,
        title="",
        when=When(on),
        price=nothing,
        postage=postage or Postage(),
        venue=venue.id,
        country=country,
    )
