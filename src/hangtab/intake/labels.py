"""Labelled lines of a text: "Sold for £47.00", "Versand: 6,50 EUR", "7 bids", and lines that state an outcome.

The labels are the header words of tables (headers.csv), the outcomes those of status.csv. Not here: titles.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from hangtab.domain.evidence import ReadField
from hangtab.intake.columns import DAYS, MONEY
from hangtab.intake.spans import DAY, MONEY_SPAN
from hangtab.intake.words import header_words, plain, status_share, statuses

_SEGMENT = re.compile(r"[^\n·•|]+")
_TELLING = MONEY | DAYS  # their labels often say how it came about
_BEFORE_DAYS = frozenset("on am le op den date".split())
_LONGEST_LABEL = 5  # words
_LONGEST_VALUE = 200
_LONGEST_STATUS = 10  # words
_MOSTLY = 0.6  # share of status words in a line that states one; "Sold as seen, questions welcome" has a fifth
_BARE = MONEY | DAYS | {"listing", "bids", "quantity", "seller", "certificate"}


def labelled_fields(text: str) -> list[ReadField]:
    """The fields that labelled lines of a text give, each with its span; the first mention of a field counts."""
    found: dict[str, ReadField] = {}
    said: list[ReadField] = []
    for f in _fields(text):
        if f.name == "kind":
            said.append(f)
        else:
            found.setdefault(f.name, f)
    return [*found.values(), *said]


def _fields(text: str) -> Iterator[ReadField]:
    waiting: re.Match[str] | None = None  # a label alone on its line: the value follows on the next
    for segment in _SEGMENT.finditer(text):
        line, at = segment[0], segment.start()
        if waiting is not None:
            value = _value(_label_alone(waiting[0]), line, at)
            if value:
                yield value
                yield from _said_by_label(value.name, waiting[0], waiting.start())
                waiting = None
                continue
            yield from _status(waiting[0], waiting.start())
        waiting = segment if _label_alone(line) else None
        if waiting is None:
            yield from _line(line, at)
    if waiting is not None:
        yield from _status(waiting[0], waiting.start())


def _label_alone(line: str) -> str:
    """The meaning of a line that is a label and nothing else; "Ended without a buyer on" asks for a day."""
    bare = plain(line[:_LONGEST_VALUE])
    if meaning := header_words().get(bare, ""):
        return meaning
    if len(bare.split()) > _LONGEST_STATUS or bare.rpartition(" ")[2] not in _BEFORE_DAYS:
        return ""
    kinds = statuses("kind", line)
    return ("seen" if "ask" in kinds else "ended") if kinds else ""


def _line(line: str, at: int) -> Iterator[ReadField]:
    meaning, start, label = _label(line)
    value = _value(meaning, line[start:], at + start) if meaning else None
    if value is None:
        yield from _status(line, at)
        return
    yield value
    yield from _said_by_label(meaning, label, at + line.find(label))


def _said_by_label(meaning: str, label: str, at: int) -> Iterator[ReadField]:
    """A label of a price says how it came about: "Sold for", "Hammer"."""
    said = statuses("kind", label) if meaning in _TELLING else ()
    # "Ended" before a date is only its name.
    if said and not (meaning in DAYS and plain(label) in header_words() and "sold" not in said):
        yield ReadField("kind", label, _span(at, at + len(label)), 0.8)


def _label(line: str) -> tuple[str, int, str]:
    """Meaning of a line's label, where its value starts, and the label; "" when the line has none."""
    words = header_words()
    parted = re.match(r"\s*([^:\t]{2,60}?)\s*[:\t]\s*", line)
    if parted and (meaning := words.get(plain(parted[1]))):
        return meaning, parted.end(), parted[1].strip()
    ends = [m.end() for m in re.finditer(r"\S+", line)][:_LONGEST_LABEL]
    for end in reversed(ends):
        meaning = words.get(plain(line[:end]), "")
        if meaning in _BARE and end < len(line) and not (meaning == "seller" and statuses("kind", line)):
            return meaning, end, line[:end].strip()
    back = re.match(rf"\s*\+?\s*({MONEY_SPAN.pattern}|\d+)\s+(\D{{3,40}})$", line, MONEY_SPAN.flags)
    if back:
        label = line[back.start(back.lastindex or 0) :]
        meaning = words.get(plain(label), "")
        if meaning in ("postage", "bids", "quantity"):
            return meaning, 0, label
    return "", 0, ""


def _value(meaning: str, text: str, at: int) -> ReadField | None:
    """The value of a label: the amount, the date or the number in what follows it, else all of it."""
    if meaning in MONEY:
        found = MONEY_SPAN.search(text)
        if found is None and meaning == "postage" and statuses("postage", text):
            found = re.search(r"\S.*\S|\S", text)
    elif meaning in DAYS:
        found = DAY.search(text)
    elif meaning in ("bids", "quantity"):
        found = re.search(r"\d{1,6}", text)
    elif meaning in ("title", "ignore", "description"):
        return None
    else:
        found = re.search(r"\S.*\S|\S", text)
    if found is None or len(found[0]) > _LONGEST_VALUE:
        return None
    return ReadField(meaning, found[0], _span(at + found.start(), at + found.end()), 0.9)


def _status(line: str, at: int) -> Iterator[ReadField]:
    """A short line that is mostly status words."""
    if len(line.split()) <= _LONGEST_STATUS and status_share(line) >= _MOSTLY:
        start = len(line) - len(line.lstrip())
        yield ReadField("kind", line.strip(), _span(at + start, at + len(line.rstrip())), 0.7)


def _span(start: int, end: int) -> str:
    return f"visible text {start}-{end}"
