"""Exchange at the reference rate of the day.

Promises the last rate published on or before a day, never a later one and never a mix of two, and says when it is
old. Reads the European Central Bank's table of euro reference rates (eurofxref-hist, CSV or zipped), units per
1 EUR; two other currencies are crossed through the euro. Not here: where the table lies on disk (storage).
"""

from __future__ import annotations

import io
import zipfile
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation

from hangtab.domain.errors import PriceError
from hangtab.domain.money import Money

# A rate this old is still used, but marked: longer than the longest holiday of the euro's payment system.
FRESH_DAYS = 10
# Days after the table's end are rated by its end for a year; the table ends some weeks before it is used.
LONGEST_DAYS = 366
# The true table is 2 MB; an archive that unpacks to more than this is not one.
MOST_BYTES = 50_000_000
_EURO = "EUR"
_NONE = ("N/A", "")


@dataclass(frozen=True, slots=True)
class Rate:
    """A rate between two currencies: `numerator`/`denominator` are units of each per 1 EUR, exactly as published.

    `day` is the day of publication (the older one of a cross), `old` whether that is over 10 days before it is used.
    """

    numerator: Decimal
    denominator: Decimal
    day: date
    old: bool = False

    @property
    def value(self) -> Decimal:
        """Units of the target currency for one unit of the source, to 28 digits."""
        return self.numerator / self.denominator

    def convert(self, amount: Decimal) -> Decimal:
        """An amount at this rate, not rounded; multiplied first, so that a tie stays a tie."""
        return amount * self.numerator / self.denominator


@dataclass(frozen=True, slots=True)
class Rates:
    """The table of rates. Days (ISO text) ascend; lines are split only when a day is asked for, so loading is fast."""

    days: tuple[str, ...]
    lines: tuple[str, ...]
    columns: Mapping[str, int]

    def rate(self, currency: str, into: str, on: date) -> Rate:
        """The rate from one currency into another on a day.

        Raises:
            PriceError: A currency is not in the table, or has no rate that year.
        """
        if currency == into:
            return Rate(Decimal(1), Decimal(1), on)
        out, out_day = self._per_euro(currency, on)
        back, back_day = self._per_euro(into, on)
        day = min(out_day, back_day)
        return Rate(back, out, day, old=(on - day).days > FRESH_DAYS)

    @property
    def last_day(self) -> date:
        """The last day of the table."""
        return date.fromisoformat(self.days[-1])

    def _per_euro(self, currency: str, on: date) -> tuple[Decimal, date]:
        """Units for 1 EUR and the day they were published."""
        if currency == _EURO:
            return Decimal(1), on
        if currency not in self.columns:
            mend = f"Convert it by hand into one of EUR, {', '.join(self.columns)}"
            raise PriceError(f"No reference rates for {currency}", where=f"a price in {currency}", mend=mend)
        place = bisect_right(self.days, on.isoformat()) - 1
        oldest = (on - timedelta(days=LONGEST_DAYS)).isoformat()
        while place >= 0 and self.days[place] >= oldest:
            text = self._cell(place, currency)
            if text not in _NONE:
                day = date.fromisoformat(self.days[place])
                if self._usable(day, on):
                    return _number(text, currency, day), day
                break
            place -= 1
        raise PriceError(
            f"No rate for {currency} in {on.year} by {on.isoformat()}",
            where=f"a price in {currency} of {on.isoformat()}",
            mend=f"The table runs from {self.days[0]} to {self.days[-1]}: correct the date or the currency, "
            "or drop in newer rates",
        )

    def _cell(self, place: int, currency: str) -> str:
        cells = self.lines[place].split(",")
        column = self.columns[currency]
        return cells[column].strip() if column < len(cells) else ""

    def _usable(self, day: date, on: date) -> bool:
        """Published that year, or shortly before, or still published when the table ends."""
        published_to_the_end = (self.last_day - day).days <= FRESH_DAYS
        return day.year == on.year or (on - day).days <= FRESH_DAYS or published_to_the_end


def _number(text: str, currency: str, day: date) -> Decimal:
    try:
        number = Decimal(text)
    except InvalidOperation:
        number = Decimal("NaN")
    if not number.is_finite() or number <= 0:
        where = f"exchange rates, {currency} on {day.isoformat()}"
        raise PriceError(f"Not a rate: {text[:20]!r}", where=where, mend="Fetch the table of rates again")
    return number


def read_ecb(content: bytes) -> Rates:
    """The rates of the bank's table of all days, as CSV or as the zip file it is offered in.

    Raises:
        PriceError: It is not such a table.
    """
    lines = [line for line in _text(content).splitlines() if line.strip()]
    header = [cell.strip() for cell in lines[0].split(",")] if lines else []
    rows = sorted(lines[1:])
    days = tuple(row[:10] for row in rows)
    if header[:1] != ["Date"] or not days or not all(_is_day(row) for row in rows):
        raise _not_a_table("it starts with a line Date,USD,JPY,... and each line with a day")
    columns = {name: place for place, name in enumerate(header) if place and name}
    return Rates(days, tuple(rows), columns)


def _text(content: bytes) -> str:
    try:
        if content.startswith(b"PK"):
            with zipfile.ZipFile(io.BytesIO(content)) as archive:
                name = next(n for n in archive.namelist() if n.endswith(".csv"))
                with archive.open(name) as file:
                    content = file.read(MOST_BYTES + 1)
        if len(content) > MOST_BYTES:
            raise _not_a_table(f"it is smaller than {MOST_BYTES // 1_000_000} MB")
        return content.decode("utf-8-sig")
    except (zipfile.BadZipFile, StopIteration, UnicodeDecodeError, NotImplementedError, RuntimeError) as error:
        raise _not_a_table("it is a CSV file, or a zip file that holds one") from error


def _is_day(row: str) -> bool:
    try:
        date.fromisoformat(row[:10])
    except ValueError:
        return False
    return row[10:11] == ","


def _not_a_table(mend: str) -> PriceError:
    what = "Not the table of euro reference rates"
    return PriceError(what, where="the file of exchange rates", mend=f"Give eurofxref-hist.csv; {mend}")


def convert(money: Money, into: str, on: date, rates: Rates) -> Money:
    """An amount in another currency at the day's rate, rounded once."""
    return Money.of(rates.rate(money.currency, into, on).convert(money.amount), into)
