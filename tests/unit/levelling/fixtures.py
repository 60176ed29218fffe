"""A small table of rates with round numbers, and the invented venues."""

from datetime import date
from decimal import Decimal

from hangtab.catalogue.model import Names, Premium, Site, TaxRule, Tier, Venue
from hangtab.domain.dates import When
from hangtab.domain.evidence import Evidence, Kind, Postage, PostageKind
from hangtab.domain.money import Money
from hangtab.levelling import PostageGuess, read_ecb

ROUND = """Date,USD,JPY,GBP,OLD,
2020-06-10,1.25,120,0.8,N/A,
2020-06-09,1.2,110,0.75,N/A,
2020-01-02,1.1,100,0.5,4,
2019-06-03,1.1,100,0.5,4,
"""
RATES = read_ecb(ROUND.encode())
DAY = date(2020, 6, 10)
TAXES = (TaxRule("GB", date(2011, 1, 4), Decimal("0.20")), TaxRule("DE", date(2007, 1, 1), Decimal("0.19")))


def tier(share, up_to=None):
    return Tier(Decimal(share), None if up_to is None else Decimal(up_to))


QUAYSIDE = Venue(
    "quayside",
    Names("Quayside"),
    "marketplace",
    (Site("US", "USD", "America/New_York", "en"), Site("DE", "EUR", "Europe/Berlin", "de")),
    tax_in_price=True,
)
HARROW_LANE = Venue(
    "harrow-lane",
    Names("Harrow Lane"),
    "auction house",
    (Site("GB", "GBP", "Europe/London", "en"),),
    premiums=(
        Premium(date(2010, 1, 1), (tier("0.10"),)),
        Premium(date(2018, 1, 1), (tier("0.25", "100"), tier("0.20", "500"), tier("0.125"))),
    ),
    tax_on_premium=True,
)


def paid(minor, currency):
    return Postage(PostageKind.PAID, Money(minor, currency))


def sale(price, **fields):
    given = {"id": "x/1", "kind": Kind.SALE, "title": "", "when": When(DAY), "postage": paid(0, price.currency)}
    return Evidence(**(given | {"price": price} | fields))


def terms(venue=None, into="EUR", postage=None):
    guess = PostageGuess() if postage is None else postage
    return {"venue": venue, "taxes": TAXES, "rates": RATES, "into": into, "postage": guess}
