"""Exchange rates against the European Central Bank's published reference rates.

Source: ECB euro foreign exchange reference rates, as shipped in CurrencyConverter (read in one copy of the file only).
"""

import csv
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from currency_converter import CurrencyConverter

from hangtab.domain.errors import PriceError
from hangtab.domain.money import Money, minor_digits
from hangtab.levelling import convert, read_ecb
from hangtab.storage.rates_file import bundled_rates_file

TABLE = Path(__file__).parent / "data" / "ecb_rates.csv"


def published():
    with TABLE.open(encoding="utf-8", newline="") as file:
        lines = [line for line in file if not line.startswith("#")]
    return [(date.fromisoformat(r["date"]), r["currency"], Decimal(r["units_per_eur"])) for r in csv.DictReader(lines)]


@pytest.fixture(scope="module")
def rates():
    return read_ecb(bundled_rates_file())


def test_every_published_rate(rates):
    assert len(published()) == 90
    for day, currency, units in published():
        rate = rates.rate("EUR", currency, day)
        assert (rate.value, rate.day, rate.old) == (units, day, False)


@pytest.mark.parametrize(
    ("day", "currency", "units"),
    [("2008-07-15", "USD", "1.5990"), ("2022-09-28", "USD", "0.9565"), ("2024-12-31", "CHF", "0.9412")],
)
def test_days_that_are_remembered(rates, day, currency, units):
    assert rates.rate("EUR", currency, date.fromisoformat(day)).value == Decimal(units)


def test_crosses_of_29_december_2023(rates):
    """Recomputed from the published rates by the package and by plain division."""
    day = date(2023, 12, 29)
    assert round(rates.rate("USD", "JPY", day).convert(Decimal(100)), 6) == Decimal("14147.511312")
    assert round(rates.rate("GBP", "USD", day).value, 10) == Decimal("1.2715033657")
    assert round(rates.rate("GBP", "JPY", day).convert(Decimal(250)), 6) == Decimal("44971.520626")
    assert convert(Money.of(100, "USD"), "JPY", day, rates) == Money(14148, "JPY")


def test_a_holiday_takes_the_rate_before_it(rates):
    """25 December is a closing day of the TARGET system; the last rate before is of Friday the 22nd."""
    rate = rates.rate("EUR", "USD", date(2023, 12, 25))
    assert rate.day == date(2023, 12, 22)
    assert rate.value == rates.rate("EUR", "USD", date(2023, 12, 22)).value
    assert not rate.old


def test_before_the_first_day_there_is_no_rate(rates):
    with pytest.raises(PriceError, match="No rate for USD in 1990"):
        rates.rate("USD", "EUR", date(1990, 6, 1))
    with pytest.raises(PriceError, match="No rate for USD in 1999"):
        rates.rate("USD", "EUR", date(1999, 1, 3))


def test_a_currency_that_ended_has_no_rate_afterwards(rates):
    """Croatia took the euro on 1 January 2023; the rouble's last reference rate was of 1 March 2022 (ECB)."""
    assert rates.rate("HRK", "EUR", date(2023, 1, 2)).day == date(2022, 12, 30)
    with pytest.raises(PriceError, match="No rate for HRK in 2023"):
        rates.rate("HRK", "EUR", date(2023, 6, 1))
    late = rates.rate("RUB", "EUR", date(2022, 11, 1))
    assert (late.day, late.old) == (date(2022, 3, 1), True)
    with pytest.raises(PriceError, match="No rate for RUB in 2023"):
        rates.rate("RUB", "USD", date(2023, 1, 20))


def test_a_pause_of_years_is_not_bridged(rates):
    """The Icelandic krona had no reference rate from December 2008 to February 2018 (ECB)."""
    with pytest.raises(PriceError, match="No rate for ISK in 2018"):
        rates.rate("ISK", "EUR", date(2018, 1, 15))
    assert rates.rate("ISK", "EUR", date(2018, 12, 31)).day == date(2018, 12, 31)


def test_an_unknown_currency_is_named(rates):
    with pytest.raises(PriceError) as caught:
        rates.rate("XYZ", "EUR", date(2020, 1, 2))
    assert "XYZ" in caught.value.what
    assert "USD" in caught.value.mend


def test_minor_units_of_iso_4217():
    """Minor units of ISO 4217; PyPI iso4217 and CLDR agree on all of these."""
    table = {2: "USD EUR GBP HUF", 0: "JPY KRW CLP VND ISK", 3: "KWD BHD TND", 4: "CLF UYW"}
    assert {digits: [minor_digits(c) for c in codes.split()] for digits, codes in table.items()} == {
        digits: [digits] * len(codes.split()) for digits, codes in table.items()
    }


def test_another_program_reads_the_same(rates):
    """Every 37th day since 2000 and six crosses, against the package CurrencyConverter in exact decimals."""
    other = CurrencyConverter(decimal=True)
    for place in range(300, len(rates.days), 37):
        day = date.fromisoformat(rates.days[place])
        for source, target in (
            ("USD", "EUR"),
            ("EUR", "GBP"),
            ("GBP", "USD"),
            ("JPY", "CHF"),
            ("CAD", "SEK"),
            ("KRW", "USD"),
        ):
            expected = other.convert(1, source, target, day)
            assert rates.rate(source, target, day).value == pytest.approx(expected, rel=Decimal("1e-26"))
