"""A newer table of rates, and another currency for the book: each price at its own day's rate."""

import csv
import io
import zipfile
from datetime import date

import pytest

from hangtab import wiring
from hangtab.domain.errors import PriceError
from hangtab.domain.progress import ignore_step
from hangtab.intake import SourceFile
from hangtab.usecases.rates import SETTING, change_currency, keep_rates
from hangtab.usecases.take_in import take_in

SALES = (
    "Title,Status,Sold,Price,Postage,Currency,Venue\n"
    "Harbour Master,sold,2023-12-29,100.00,10.50,USD,Fair\n"
    "Harbour Master,sold,2024-12-31,100.00,3.89,USD,Fair\n"
)


@pytest.fixture
def parts(tmp_path):
    wiring.new_book(tmp_path / "b.hangtab", currency="EUR", catalogue=None, who="tester").close()
    made = wiring.open_parts(tmp_path / "b.hangtab", "tester")
    take_in(made, [SourceFile("fair.csv", SALES.encode())], ignore_step)
    return made


def all_in(parts):
    return [(s.price.total.amount, s.price.total.currency) for s in parts.book.evidence()]


def table(last, rate):
    """The bank's table as it is shipped, with one day more and only that day's rate of the dollar."""
    with zipfile.ZipFile(io.BytesIO(wiring.bundled_rates_file())) as packed:
        text = packed.read(packed.namelist()[0]).decode()
    head, _, rest = text.partition("\n")
    cells = [str(rate) if c.strip() == "USD" else "N/A" for c in next(csv.reader([head]))[1:]]
    return "\n".join([head, ",".join([last.isoformat(), *cells]), rest]).encode()


def test_each_sale_stands_at_its_own_days_rate(parts):
    """1.1050 dollars for a euro on 29 December 2023 and 1.0389 on 31 December 2024 (European Central Bank)."""
    assert sorted(str(a) for a, _ in all_in(parts)) == ["100.00", "100.00"]


def test_another_currency_levels_everything_at_its_own_day(parts):
    assert change_currency(parts, "USD", ignore_step) == 2
    assert sorted(str(a) for a, _ in all_in(parts)) == ["103.89", "110.50"]
    assert parts.book.currency == "USD"


def test_a_currency_nobody_publishes_is_refused_and_nothing_changes(parts):
    with pytest.raises(PriceError, match="No such currency: XXX"):
        change_currency(parts, "XXX", ignore_step)
    assert parts.book.currency == "EUR"


def test_a_newer_table_is_used_and_kept(parts, tmp_path):
    later = date(2031, 1, 3)
    assert keep_rates(parts, "newer.csv", table(later, 2.0), ignore_step) == 2
    again = wiring.open_parts(tmp_path / "b.hangtab", "tester")
    assert again.rates.last_day == later
    assert again.book.source(again.book.setting(SETTING)).name == "newer.csv"
    assert again.book.check() == ()


def test_an_older_table_is_refused(parts):
    old = b"Date,USD,\n2020-01-03,1.1147,\n"
    with pytest.raises(PriceError, match="These rates end on 2020-01-03"):
        keep_rates(parts, "old.csv", old, ignore_step)


def test_what_is_no_table_of_rates_is_refused(parts):
    with pytest.raises(PriceError):
        keep_rates(parts, "junk.csv", b"hello", ignore_step)
