"""Dates with the precision they were given in.

A date that was given as a date stays a date; a month is not a day. Not here: reading dates from text (intake).
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

FIRST_YEAR, LAST_YEAR = 1900, 2199  # the market of anything asked about lies between


def asked_day(text: str) -> date:
    """The day of a question. Raises ValueError on what is no ISO day or lies in no market's time.

    >>> asked_day("2026-11-03")
    datetime.date(2026, 11, 3)
    """
    day = date.fromisoformat(text)
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise ValueError(f"{day} is not between {FIRST_YEAR} and {LAST_YEAR}")
    return day


class Precision(StrEnum):
    """How exactly a date was stated."""

    DAY = "day"
    MONTH = "month"
    YEAR = "year"


@dataclass(frozen=True, slots=True, order=True)
class When:
    """A calendar date in the venue's own zone, with the precision it was stated in.

    A month stands at its 15th, a year at 1 July, so that every date can be ordered and levelled; `precision` says
    that the day was not stated.
    """

    day: date
    precision: Precision = Precision.DAY

    @classmethod
    def month(cls, year: int, month: int) -> When:
        """A month, placed at its 15th."""
        return cls(date(year, month, 15), Precision.MONTH)

    @classmethod
    def year(cls, year: int) -> When:
        """A year, placed at 1 July."""
        return cls(date(year, 7, 1), Precision.YEAR)

    @classmethod
    def parse(cls, text: str) -> When:
        """From ISO 8601 text: 2026-11-03, 2026-11 or 2026.

        >>> When.parse("2026-02")
        When(day=datetime.date(2026, 2, 15), precision=<Precision.MONTH: 'month'>)
        """
        parts = [int(p) for p in text.split("-")]
        if len(parts) == 1:
            return cls.year(parts[0])
        if len(parts) == 2:  # noqa: PLR2004 - year and month
            return cls.month(parts[0], parts[1])
        return cls(date(*parts))

    def __str__(self) -> str:
        """ISO 8601 text of the stated precision; the inverse of `parse`.

        >>> str(When.month(2026, 2)), str(When.year(2026)), str(When(date(2026, 2, 3)))
        ('2026-02', '2026', '2026-02-03')
        """
        length = {Precision.DAY: 10, Precision.MONTH: 7, Precision.YEAR: 4}[self.precision]
        return self.day.isoformat()[:length]

    @property
    def last_day(self) -> date:
        """The last day that the statement covers."""
        if self.precision is Precision.DAY:
            return self.day
        month = 12 if self.precision is Precision.YEAR else self.day.month
        return date(self.day.year, month, calendar.monthrange(self.day.year, month)[1])
