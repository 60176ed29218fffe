"""Amounts from text: European and US numbers, currency signs and codes.

A cell that is clear by itself is read by itself ("1.234,50"); one that is not ("1,234") needs the column's decimal
mark. Trouble is a value with the words for a person. Source of the codes: ISO 4217, in currencies.csv. Not here: which
dollar a "$" is (venues), and what an amount means (facts).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import lru_cache

from hangtab.domain.money import MOST
from hangtab.intake.words import currency_codes, currency_names

SHARED_SIGNS = frozenset({"$", "kr"})  # several countries write their currency so
_NUMBER = re.compile(r"\d[\d.,' ]*|[.,]\d+")
_POWER = re.compile(r"\d+(?:[.,]\d+)?[eE][+-]?\d+")
_CODE = re.compile(r"(?<![A-Za-z])[A-Z]{3}(?![A-Za-z])")
_ROUND = re.compile(r"[.,]\s?[-–—]+$")  # "47,-" is how a whole sum is written in Dutch and German
_ABOUT = re.compile(r"^(?:ca\.?|circa|approx\.?|about|etwa|env\.?|environ|ongeveer|~|≈)\s*", re.IGNORECASE)
_SPACES = str.maketrans({"\u00a0": " ", "\u202f": " ", "\u2009": " ", "’": "'", "−": "-", "–": "-"})
_GROUP = 3


@dataclass(frozen=True, slots=True)
class Amount:
    """A number with the currency as written: an ISO code, a shared sign ("$"), or nothing."""

    number: Decimal
    currency: str = ""


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why a text was not read.

    `what` completes a field's name ("is not a number: '1,2OO'") unless it begins with a capital; "{}" in `mend` stands
    for the field.
    """

    what: str
    mend: str


_NONE = Trouble("is not a number", "Write it in figures")
UNDECIDED = Trouble("can be read in two ways", "Say which mark separates the decimals of this column")


def decimal_mark(cells: Iterable[str]) -> str:
    """The decimal mark that the clear cells of a column use, "" when none is clear.

    >>> decimal_mark(["1,234", "1.234,50", "12,5"]), decimal_mark(["1,234", "47"])
    (',', '')
    """
    votes = Counter(v for c in cells if (v := _vote(c)))
    return votes.most_common(1)[0][0] if votes else ""


def _vote(cell: str) -> str:
    found = _NUMBER.search(cell.translate(_SPACES))
    digits = found[0].strip(" '.,") if found else ""
    marks = [c for c in digits if c in ".,"]
    if not marks:
        return ""
    if len(set(marks)) == 1:
        if len(marks) > 1:
            return "." if marks[0] == "," else ","
        head, _, tail = digits.partition(marks[0])
        return marks[0] if len(tail) != _GROUP or len(head) > _GROUP or head == "0" else ""
    return marks[-1]


@lru_cache(maxsize=1 << 16)
def read_amount(text: str, decimal: str = "") -> Amount | Trouble:
    """An amount from a cell. `decimal` is the column's mark for cells that are not clear by themselves.

    >>> read_amount("1.234,50 €"), read_amount("US$ 47")
    (Amount(number=Decimal('1234.50'), currency='EUR'), Amount(number=Decimal('47'), currency='USD'))
    >>> read_amount("1,2OO").what
    "is not a number: '1,2OO'"
    """
    shown = text.strip()
    bare = _ABOUT.sub("", shown.translate(_SPACES).strip())
    currency, rest = _take_currency(bare)
    rest = rest.strip()
    negative = rest.startswith("-") or (rest.startswith("(") and rest.endswith(")"))
    rest = _ROUND.sub("", rest.strip("-+() "))
    number = _number(rest, decimal)
    if isinstance(number, Trouble):
        return number if number is UNDECIDED else _not_a_number(shown, rest)
    if negative and number:
        return Trouble(f"is negative: {shown[:40]!r}", "Give the amount that was paid, without a sign")
    if number > MOST:
        return Trouble(f"is too large: {shown[:40]!r}", f"Give a number under {MOST:.0e}".replace("e+", "e"))
    return Amount(number, currency)


def _not_a_number(shown: str, rest: str) -> Trouble:
    code = _CODE.search(rest)
    if code and isinstance(_number(rest.replace(code[0], "").strip(), "."), Decimal):
        return Trouble(f"No such currency: {code[0]!r}", "Use the three letters of ISO 4217, such as EUR")
    letter = "Replace the letter O by zero, or choose another {} column"
    other = "Write the amount in figures, or choose another {} column"
    looks_like_zero = re.search(r"\d[.,]?[oO]|[oO][.,]?\d", rest)
    return Trouble(f"is not a number: {shown[:40]!r}", letter if looks_like_zero else other)


def _take_currency(text: str) -> tuple[str, str]:
    """The currency written in a text, and the text without it."""
    for code in _CODE.findall(text):
        if code in currency_codes():
            return code, text.replace(code, " ", 1)
    found = currency_names().search(text)
    if not found:
        return "", text
    return currency_of(found[0]), text[: found.start()] + " " + text[found.end() :]


@lru_cache(maxsize=4096)
def currency_of(text: str) -> str:
    """The ISO code of a sign, name or code; a shared sign stays itself; "" when unknown.

    >>> currency_of("€"), currency_of("gbp"), currency_of("$"), currency_of("XQZ")
    ('EUR', 'GBP', '$', '')
    """
    bare = text.strip().rstrip(".").strip()
    if bare.upper() in currency_codes():
        return bare.upper()
    return currency_names().code(bare)


def _number(digits: str, decimal: str) -> Decimal | Trouble:
    if _POWER.fullmatch(digits):
        return _decimal(digits.replace(",", "."))
    if not _NUMBER.fullmatch(digits):
        return _NONE
    plain = digits.replace(" ", "").replace("'", "").rstrip(".,")
    marks = [c for c in plain if c in ".,"]
    if not marks:
        return _decimal(plain)
    if len(marks) == 1:
        return _one_mark(*plain.split(marks[0]), mark=marks[0], decimal=decimal)
    last = marks[-1]
    if len(set(marks)) == 1:
        groups, tail = plain.split(last), "0"
    else:
        head, _, tail = plain.rpartition(last)
        groups = head.split("." if last == "," else ",")
    return _decimal("".join(groups) + "." + tail) if _grouped(groups) else _NONE


def _one_mark(head: str, tail: str, *, mark: str, decimal: str) -> Decimal | Trouble:
    """A number with a single mark: three digits after it may be thousands."""
    if len(tail) != _GROUP or not 0 < len(head) <= _GROUP or head == "0":
        return _decimal(f"{head or '0'}.{tail}")
    if not decimal:
        return UNDECIDED
    return _decimal(head + ("." if mark == decimal else "") + tail)


def _grouped(groups: list[str]) -> bool:
    return 0 < len(groups[0]) <= _GROUP and all(len(g) == _GROUP and g.isdigit() for g in groups[1:])


def _decimal(text: str) -> Decimal | Trouble:
    try:
        return Decimal(text)
    except InvalidOperation:
        return _NONE
