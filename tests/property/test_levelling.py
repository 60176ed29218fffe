"""Laws of levelling, on random schedules of tiers."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hangtab.catalogue.model import Names, Premium, Site, TaxRule, Tier, Venue
from hangtab.domain.evidence import Postage, PostageKind
from hangtab.domain.money import Money
from hangtab.domain.price import StepKind
from hangtab.levelling import PostageGuess, hammer_for, learn_postage, level, sale_at
from tests.unit.levelling.fixtures import DAY, RATES, paid, sale

CURRENCIES = st.sampled_from(["EUR", "USD", "GBP", "JPY"])
SHARES = st.integers(0, 5000).map(lambda n: Decimal(n) / 10_000)
BILLED = {StepKind.ITEM, StepKind.PREMIUM, StepKind.TAX, StepKind.POSTAGE}


@st.composite
def tiers(draw):
    ends = sorted(draw(st.sets(st.integers(1, 100_000), max_size=4)))
    ended = [Tier(draw(SHARES), Decimal(end)) for end in ends]
    return (*ended, Tier(draw(SHARES))) if draw(st.booleans()) or not ended else tuple(ended)


@st.composite
def venues(draw):
    site = Site("GB", draw(CURRENCIES), "Europe/London", "en")
    premium = Premium(date(2010, 1, 1), draw(tiers()))
    return Venue("v", Names("V"), "auction house", (site,), (premium,), (), draw(st.booleans()), draw(st.booleans()))


@st.composite
def postages(draw, currency):
    kind = draw(st.sampled_from(list(PostageKind)))
    stated = kind in {PostageKind.PAID, PostageKind.QUOTED}
    return Postage(
        kind, Money(draw(st.integers(0, 5000)), draw(st.sampled_from([currency, "USD"]))) if stated else None
    )


@st.composite
def guesses(draw):
    facts = [
        sale(Money(10**band, currency), venue="v", country="GB", postage=paid(draw(st.integers(0, 9000)), currency))
        for currency in ("GBP", "EUR")
        for band in draw(st.lists(st.integers(1, 7), max_size=3))
        for _ in range(5)
    ]
    return learn_postage(facts)


@st.composite
def sales(draw):
    venue = draw(venues())
    return venue, sale_at(venue, "GB", DAY, draw(postages(venue.sites[0].currency)))


def terms(draw_venue, tax, guess):
    return {"venue": draw_venue, "taxes": (TaxRule("GB", date(2000, 1, 1), tax),), "rates": RATES, "postage": guess}


@settings(deadline=None)
@given(sales(), SHARES, guesses(), st.integers(0, 10**7), CURRENCIES)
def test_the_inverse_of_an_all_in_price_has_that_all_in_price(at, tax, guess, minor, into):
    """The hammer found for an all-in price has that all-in price to the minor unit, and is the highest that has."""
    venue, fact = at
    known = terms(venue, tax, guess)

    def total(hammer):
        return level(sale_with(fact, hammer), into=into, **known).total

    target = total(minor)
    found = hammer_for(target, fact, **known)
    assert found.minor >= minor
    assert total(found.minor) == target
    assert total(found.minor + 1).minor > target.minor


@settings(deadline=None)
@given(sales(), SHARES, guesses(), st.integers(0, 10**7), CURRENCIES)
def test_the_inverse_of_any_total_is_the_highest_within_it(at, tax, guess, budget, into):
    """The all-in price of the hammer found is within the total; one minor unit more is not."""
    venue, fact = at
    known = terms(venue, tax, guess)
    least = level(sale_with(fact, 0), into=into, **known).total.minor
    found = hammer_for(Money(least + budget, into), fact, **known)
    assert level(sale_with(fact, found.minor), into=into, **known).total.minor <= least + budget
    assert level(sale_with(fact, found.minor + 1), into=into, **known).total.minor > least + budget


@settings(deadline=None)
@given(sales(), SHARES, guesses(), st.integers(0, 10**8), CURRENCIES)
def test_the_steps_add_up(at, tax, guess, minor, into):
    """Billed steps sum to what was paid, exactly; paid times the rate, rounded once, is the all-in price."""
    venue, fact = at
    price = level(sale_with(fact, minor), into=into, **terms(venue, tax, guess))
    billed = sum(s.amount.minor for s in price.steps if s.kind in BILLED and s.amount is not None)
    paid_step = [s for s in price.steps if s.kind is StepKind.PAID]
    if paid_step:
        (rate,) = [s.rate for s in price.steps if s.kind is StepKind.RATE]
        assert paid_step[0].amount.minor == billed
        assert price.total.amount == pytest.approx(paid_step[0].amount.amount * rate, abs=Decimal("0.5") * unit(into))
    else:
        assert price.total.minor == billed
    assert price.steps[-1].amount == price.total
    assert price.item.minor <= price.total.minor


@settings(deadline=None)
@given(st.integers(0, 10**9), CURRENCIES)
def test_levelling_twice_changes_nothing(minor, into):
    """What is in the book's currency already, with no postage, is its own all-in price."""
    once = level(sale(Money(minor, "GBP")), into=into, **terms(None, Decimal(0), PostageGuess())).total
    again = level(sale(once), into=into, **terms(None, Decimal(0), PostageGuess())).total
    assert once == again


def unit(currency):
    return Money(1, currency).amount


def sale_with(fact, minor):
    return sale(
        Money(minor, fact.price.currency), kind=fact.kind, venue=fact.venue, country=fact.country, postage=fact.postage
    )
