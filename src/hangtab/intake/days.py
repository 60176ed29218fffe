"""Dates from text: ISO 8601, numeric dates in either order, month names in four languages.

A date that is clear by itself is read by itself; one that is not ("03/04/2024") needs the column's order. A month
stays a month. Source: ISO 8601 (calendar dates, and instants with Z or an offset, which are moved to the given zone).
Not here: whether a date may lie in the future (facts).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from hangtab.domain.dates import Precision, When
from hangtab.intake.amounts import Trouble
from hangtab.intake.words import month_names, plain

AMBIGUOUS = Trouble("can be read in two ways", "Say whether the day or the month comes first in this column")
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})")
_NUMERIC = re.compile(r"(\d{1,2})\s?([./\-])\s?(\d{1,2})\s?\2\s?(\d{4}|\d{2})\.?")
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(?::\d\d)?(?:\.\d+)?(?:Z|[+-]\d\d:?\d\d)")
_CLOCK = re.compile(
    r"(?:[T,]|\s|\bat\b|\bum\b|\bà\b|\bom\b)*\b\d{1,2}(?::|h)\d{2}(?::\d{2}(?:\.\d+)?)?\s*"
    r"(?:[ap]\.?m\.?\b)?\s*(?:Uhr|uur|h\b|Z\b|[+-]\d{2}:?\d{2}|\(?[A-Z]{3,4}\)?)?\s*$"
)
_YEAR_MONTH = re.compile(r"(\d{4})[-/.](\d{1,2})|(\d{1,2})[/.](\d{4})")
_TWO_DIGIT_YEARS_END = 70  # 69 is 2069, 70 is 1970, as POSIX strptime has it
_MONTHS = 12


def day_order(cells: Iterable[str]) -> str:
    """The order that the clear cells of a column use: "dmy", "mdy", or "" when none is clear.

    >>> day_order(["03/04/2024", "25/12/2024"]), day_order(["03/04/2024"])
    ('dmy', '')
    """
    votes: Counter[str] = Counter()
    for cell in cells:
        found = _NUMERIC.match(cell.strip())
        if not found or found[2] == ".":
            continue
        first, second = int(found[1]), int(found[3])
        if first > _MONTHS >= second:
            votes["dmy"] += 1
        elif second > _MONTHS >= first:
            votes["mdy"] += 1
    return votes.most_common(1)[0][0] if votes else ""


@lru_cache(maxsize=1 << 16)
def read_when(text: str, order: str = "", zone: str = "") -> When | Trouble:
    """A date from a cell. `order` is "dmy" or "mdy" for what is not clear; `zone` an IANA zone for instants.

    >>> str(read_when("3. November 2025")), str(read_when("nov. 2025")), str(read_when("12/25/2024"))
    ('2025-11-03', '2025-11', '2024-12-25')
    >>> read_when("31.02.2024").what
    'No such day: 31.02.2024'
    """
    shown = text.strip()
    try:
        if _INSTANT.fullmatch(shown):
            return _local(shown, zone)
        bare = _CLOCK.sub("", shown).strip(" ,;")
        return _whole(bare, order) or _named(bare) or _unreadable(shown)
    except ValueError:
        return Trouble(f"No such day: {shown[:40]}", "Correct the day, or give the month alone")


def _unreadable(shown: str) -> Trouble:
    return Trouble(f"is not a date: {shown[:40]!r}", "Write the date as year-month-day, such as 2025-11-03")


def _local(text: str, zone: str) -> When:
    instant = datetime.fromisoformat(text)
    try:
        return When(instant.astimezone(ZoneInfo(zone)).date() if zone else instant.date())
    except (ZoneInfoNotFoundError, OverflowError):
        return When(instant.date())


def _whole(text: str, order: str) -> When | Trouble | None:
    """Numeric forms; None when the text is no such form."""
    if found := _ISO.fullmatch(text):
        return When(date(int(found[1]), int(found[2]), int(found[3])))
    if found := _NUMERIC.fullmatch(text):
        return _triple(int(found[1]), int(found[3]), found, order)
    if found := _YEAR_MONTH.fullmatch(text):
        return When.month(int(found[1] or found[4]), int(found[2] or found[3]))
    if re.fullmatch(r"(?:19|20)\d\d", text):
        return When.year(int(text))
    return None


def _triple(first: int, second: int, found: re.Match[str], order: str) -> When | Trouble:
    year = _full_year(found[4])
    if found[2] == "." or first > _MONTHS:
        # A dotted date has the day first in every country that dots its dates.
        day, month = (second, first) if second > _MONTHS >= first else (first, second)
    elif second > _MONTHS:
        day, month = second, first
    elif first == second or order:
        day, month = (second, first) if order == "mdy" else (first, second)
    else:
        return AMBIGUOUS
    return When(date(year, month, day))


def _full_year(text: str) -> int:
    year = int(text)
    if len(text) > 2:  # noqa: PLR2004 - two-digit years
        return year
    return year + (2000 if year < _TWO_DIGIT_YEARS_END else 1900)


def _named(text: str) -> When | Trouble | None:
    """Forms with a month's name; None when there is none. A year must be stated."""
    words = plain(text).split()
    months: Mapping[str, int] = month_names()
    month = next((months[w] for w in words if w in months), 0)
    numbers = [re.sub(r"(?<=\d)(?:st|nd|rd|th|er|e)$", "", w) for w in words if w[:1].isdigit()]
    if not month or len(words) > 6 or not all(n.isdigit() for n in numbers):  # noqa: PLR2004 - weekday, day, "de", year
        return None
    years = [n for n in numbers if len(n) == 4]  # noqa: PLR2004 - four-digit years
    days = [n for n in numbers if len(n) <= 2]  # noqa: PLR2004 - days and two-digit years
    if not years and len(days) == 2:  # noqa: PLR2004 - "3 Nov 25"
        years = [days.pop()]
    if len(years) != 1 or len(days) > 1:
        return Trouble(f"has no year: {text[:40]!r}", "Add the year")
    year = _full_year(years[0])
    return When(date(year, month, int(days[0]))) if days else When.month(year, month)


def first_day(when: When) -> date:
    """The first day that a statement covers."""
    if when.precision is Precision.DAY:
        return when.day
    return when.day.replace(day=1) if when.precision is Precision.MONTH else date(when.day.year, 1, 1)
