"""Each price becomes an all-in price by steps that add up."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from hangtab.domain.dates import When
from hangtab.domain.errors import PriceError
from hangtab.domain.evidence import Kind, Postage, PostageKind
from hangtab.domain.money import Money
from hangtab.domain.price import StepKind
from hangtab.levelling import learn_postage, level, level_ask
from tests.unit.levelling.fixtures import HARROW_LANE, QUAYSIDE, paid, sale, terms


def unpriced(**fields):
    return replace(sale(Money(1, "GBP"), **fields), price=None)


def told(price):
    return [(s.kind.value, s.label, s.amount.minor if s.amount else s.rate) for s in price.steps]


def test_a_sale_in_the_books_currency_needs_no_exchange():
    price = level(sale(Money(4700, "EUR"), postage=paid(1800, "EUR")), **terms())
    assert told(price) == [("item", "Item price", 4700), ("postage", "Postage", 1800), ("all-in", "All-in price", 6500)]
    assert (price.item, price.rate_day, price.estimated) == (Money(4700, "EUR"), None, False)
    assert price.postage_share == pytest.approx(18 / 65)


def test_an_auction_bills_each_tier_and_the_tax_on_their_sum():
    # 600 GBP: 25 % of 100, 20 % of 400, 12.5 % of 100, 20 % tax on 117.50; 0.8 GBP to the euro.
    fact = sale(Money(60000, "GBP"), kind=Kind.AUCTION, venue="harrow-lane", country="GB", postage=paid(2450, "GBP"))
    price = level(fact, **terms(HARROW_LANE))
    assert told(price) == [
        ("item", "Hammer", 60000),
        ("premium", "Premium, 25 % to 100", 2500),
        ("premium", "Premium, 20 % from 100 to 500", 8000),
        ("premium", "Premium, 12.5 % from 500", 1250),
        ("tax", "Tax on the premium, 20 %", 2350),
        ("postage", "Postage", 2450),
        ("paid", "Paid", 76550),
        ("rate", "Reference rate of 10 Jun 2020", Decimal("1.25")),
        ("all-in", "All-in price", 95688),  # 956.875 rounded half up, once
    ]
    assert price.item == Money(92625, "EUR")
    assert price.rate_day == date(2020, 6, 10)


def test_the_premium_is_the_one_in_force_that_day():
    fact = sale(Money(10000, "GBP"), kind=Kind.AUCTION, when=When(date(2017, 12, 31)), venue="harrow-lane")
    price = level(fact, **terms(HARROW_LANE, into="GBP"))
    assert told(price)[1] == ("premium", "Premium, 10 %", 1000)
    fact = sale(Money(10000, "GBP"), kind=Kind.AUCTION, when=When(date(2009, 12, 31)), venue="harrow-lane")
    assert level(fact, **terms(HARROW_LANE, into="GBP")).total == Money(10000, "GBP")


def test_a_small_hammer_stays_in_the_first_tier():
    price = level(sale(Money(1, "GBP"), kind=Kind.AUCTION), **terms(HARROW_LANE, into="GBP"))
    assert [s.label for s in price.steps if s.kind is StepKind.PREMIUM] == ["Premium, 25 % to 100"]
    assert price.total == Money(1, "GBP")


def test_tiers_of_another_currency_are_brought_to_the_price():
    # 100 GBP are 125 EUR, 500 GBP 625 EUR: 25 % of 125, 20 % of 75; tax 20 % on 46.25.
    price = level(sale(Money(20000, "EUR"), kind=Kind.AUCTION, country="GB"), **terms(HARROW_LANE))
    assert [s.amount.minor for s in price.steps if s.kind in {StepKind.PREMIUM, StepKind.TAX}] == [3125, 1500, 925]


def test_a_price_that_holds_the_premium_gets_none():
    fact = sale(Money(10000, "GBP"), kind=Kind.AUCTION, premium_included=True)
    price = level(fact, **terms(HARROW_LANE, into="GBP"))
    assert price.total == Money(10000, "GBP")
    assert price.steps[0].label == "Hammer, premium included"


def test_tax_inside_the_price_is_told_and_not_added():
    price = level(sale(Money(11900, "EUR"), country="DE"), **terms(QUAYSIDE))
    assert price.total == Money(11900, "EUR")
    tax = price.steps[1]
    assert (tax.kind, tax.label, tax.amount) == (StepKind.TAX, "Tax inside the price, 19 %: 19.00 EUR", None)


@pytest.mark.parametrize(
    ("postage", "label", "minor", "estimated"),
    [
        (paid(500, "EUR"), "Postage", 500, False),
        (Postage(PostageKind.QUOTED, Money(500, "EUR")), "Postage, as quoted", 500, False),
        (Postage(PostageKind.FREE), "Postage, free", 0, False),
        (Postage(PostageKind.COLLECTED), "Collected, no postage", 0, False),
        (Postage(), "Postage not stated, the usual", 800, True),  # a fifth of 40
        (Postage(PostageKind.PAID), "Postage not stated, the usual", 800, True),
        (paid(500, "USD"), "Postage, 5.00 USD", 400, False),
    ],
)
def test_postage_in_each_of_its_kinds(postage, label, minor, estimated):
    price = level(sale(Money(4000, "EUR"), postage=postage), **terms())
    assert told(price)[1] == ("postage", label, minor)
    assert price.steps[1].estimated == price.estimated == estimated
    assert price.total == Money(4000 + minor, "EUR")
    assert price.item == Money(4000, "EUR")


def test_a_total_is_kept_and_its_item_price_estimated():
    price = level(sale(Money(5000, "EUR"), total_only=True), **terms(HARROW_LANE))
    assert price.total == Money(5000, "EUR")
    assert price.item == Money(4000, "EUR")  # less a fifth
    assert [s.amount for s in price.steps if s.kind is StepKind.POSTAGE] == [None]
    assert not price.estimated


def test_a_conversion_by_the_venue_is_told():
    assert (
        level(sale(Money(1, "EUR"), converted=True), **terms()).steps[0].label == "Item price, converted by the venue"
    )


def test_an_old_rate_is_used_and_told():
    price = level(sale(Money(1000, "GBP"), when=When(date(2020, 6, 30))), **terms())
    assert price.total == Money(1250, "EUR")
    assert price.steps[-2].label == "Reference rate of 10 Jun 2020, the last known"
    fresh = level(sale(Money(1000, "GBP"), when=When(date(2020, 6, 20))), **terms())
    assert fresh.steps[-2].label == "Reference rate of 10 Jun 2020"


def test_an_ask_takes_the_same_steps():
    fact = unpriced(kind=Kind.START, ask=Money(60000, "GBP"), country="GB")
    ask = level_ask(fact, **terms(HARROW_LANE))
    sold = level(sale(Money(60000, "GBP"), kind=Kind.AUCTION, country="GB"), **terms(HARROW_LANE))
    assert ask.total == sold.total
    assert ask.steps[0].label == "Start price"
    assert level_ask(sale(Money(1, "GBP"), ask=Money(2, "GBP")), **terms()).steps[0].amount == Money(2, "GBP")


def test_no_price_is_a_stated_error():
    with pytest.raises(PriceError, match="No price"):
        level(unpriced(), **terms())
    with pytest.raises(PriceError, match="No asked price"):
        level_ask(unpriced(), **terms())


def test_no_rate_is_a_stated_error():
    with pytest.raises(PriceError, match="No reference rates for XYZ"):
        level(sale(Money(1, "XYZ")), **terms())
    with pytest.raises(PriceError, match="No rate for GBP in 1990"):
        level(sale(Money(1, "GBP"), when=When.year(1990)), **terms())


class TestUsualPostage:
    def test_it_is_the_median_of_place_and_band(self):
        facts = [
            sale(Money(2000, "EUR"), venue="quayside", country="DE", postage=paid(p, "EUR")) for p in (4, 5, 5, 6, 90)
        ]
        guess = learn_postage(facts)
        assert guess.amount(Money(2000, "EUR"), "quayside", "DE") == Money(5, "EUR")
        assert guess.amount(Money(2000, "EUR"), "elsewhere", "") == Money(5, "EUR")
        assert guess.amount(Money(2000, "USD"), "quayside", "DE") == Money(400, "USD")

    def test_free_and_collected_count_as_nothing(self):
        free = [sale(Money(2000, "EUR"), postage=Postage(PostageKind.FREE)) for _ in range(6)]
        assert learn_postage(free).amount(Money(2000, "EUR")) == Money(0, "EUR")

    def test_it_never_falls_when_the_price_rises(self):
        dear = [sale(Money(100_000, "EUR"), postage=paid(300, "EUR")) for _ in range(9)]
        cheap = [sale(Money(1000, "EUR"), postage=paid(900, "EUR")) for _ in range(9)]
        guess = learn_postage(dear + cheap)
        amounts = [guess.amount(Money(minor, "EUR")).minor for minor in range(1, 300_000, 997)]
        assert amounts == sorted(amounts)

    def test_what_states_nothing_teaches_nothing(self):
        facts = [sale(Money(2000, "EUR"), postage=Postage()) for _ in range(9)]
        facts += [sale(Money(2000, "EUR"), total_only=True) for _ in range(9)]
        facts += [sale(Money(2000, "EUR"), postage=paid(5, "USD")) for _ in range(9)]
        assert learn_postage(facts).table == {}
