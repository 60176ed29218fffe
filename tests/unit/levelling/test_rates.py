"""The table of rates is read quickly and refuses what it is not."""

import io
import zipfile
from datetime import date
from decimal import Decimal

import pytest

from hangtab.domain.errors import PriceError
from hangtab.domain.money import Money
from hangtab.levelling import convert, read_ecb
from hangtab.storage.rates_file import rates_file
from tests.unit.levelling.fixtures import RATES, ROUND


def test_zipped_and_plain_are_the_same():
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("eurofxref-hist.csv", ROUND)
    assert read_ecb(packed.getvalue()) == RATES


def test_a_tie_stays_a_tie():
    """5.01 x 11/6 is exactly 9.185; multiplied by a quotient of 28 digits it falls just below and loses a cent."""
    rates = read_ecb(b"Date,AAA,BBB\n2020-01-02,6,11\n")
    day = date(2020, 1, 2)
    assert Money.of(rates.rate("AAA", "BBB", day).value * Decimal("5.01"), "BBB") == Money(918, "BBB")
    assert convert(Money(501, "AAA"), "BBB", day, rates) == Money(919, "BBB")


def test_into_itself_nothing_changes():
    assert RATES.rate("XYZ", "XYZ", date(1900, 1, 1)).value == 1


def test_after_the_tables_end_its_last_rate_serves_a_year():
    late = RATES.rate("EUR", "USD", date(2021, 5, 1))
    assert (late.value, late.day, late.old) == (Decimal("1.25"), date(2020, 6, 10), True)
    with pytest.raises(PriceError, match="No rate for USD in 2022"):
        RATES.rate("EUR", "USD", date(2022, 1, 1))


def test_a_gap_is_bridged_within_the_year_only():
    assert RATES.rate("OLD", "EUR", date(2020, 6, 10)).old
    with pytest.raises(PriceError, match="No rate for OLD in 2021"):
        RATES.rate("OLD", "EUR", date(2021, 1, 2))


@pytest.mark.parametrize(
    "content", [b"", b"PK\x03\x04broken", b"id,name\n1,2", b"Date,USD\n31/12/2020,1.2", b"\xff\xfe\x00", b"Date,USD\n"]
)
def test_what_is_no_table_is_refused(content):
    with pytest.raises(PriceError, match="Not the table"):
        read_ecb(content)


@pytest.mark.parametrize("cell", ["abc", "0", "-1", "NaN", "1e400000000000000000000"])
def test_what_is_no_rate_is_refused(cell):
    with pytest.raises(PriceError, match="Not a rate"):
        read_ecb(f"Date,USD\n2020-01-02,{cell}".encode()).rate("USD", "EUR", date(2020, 1, 2))


def test_a_missing_file_is_a_stated_error(tmp_path):
    with pytest.raises(PriceError, match="Rates cannot be read"):
        rates_file(tmp_path / "none.zip")
