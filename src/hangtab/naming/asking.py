"""The price typed with a question: "47 + 18 post", "€65", "65 all in".

Promises the question without its price, and the price as money or a `PriceError`. Reads text. Not here: what the price
comes to in another currency (levelling).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from hangtab.domain.errors import PriceError
from hangtab.domain.money import Money

_SIGNS = {"€": "EUR", "£": "GBP", "$": "USD", "¥": "JPY"}
_WORDS = {
    "euro": "EUR", "euros": "EUR", "pound": "GBP", "pounds": "GBP", "quid": "GBP", "dollar": "USD",
    "dollars": "USD", "bucks": "USD", "yen": "JPY",
}  # fmt: skip
_SIGN = r"(?:[€£¥]|(?:US|CA|C|AU|A)?\$)"
_PREFIXES = {"US$": "USD", "CA$": "CAD", "C$": "CAD", "AU$": "AUD", "A$": "AUD"}
_NAME = rf"(?:{'|'.join(_WORDS)})"
_CODE = r"(?-i:[A-Z]{3})"
_NUMBER = r"\d[\d.,'’\u00a0\u202f]*(?:e[+-]?\d+)?"
_MONEY = rf"(?:(?:{_SIGN}|\b{_CODE}\b)\s*)?{_NUMBER}(?:\s*(?:{_SIGN}|\b{_CODE}\b|\b{_NAME}\b))?"
_MARKED = rf"(?:(?:{_SIGN}|\b{_CODE}\s)\s*{_NUMBER}|{_NUMBER}\s*(?:{_SIGN}|{_CODE}\b|{_NAME}\b))"
_POST = (
    r"(?:post(?:age)?|p\s*&\s*p|p\s?\+\s?p|shipping|ship|delivery|versand|porto|verzending|verzendkosten|port|envoi)"
)
_ALL_IN = r"(?:all[\s-]?in|posted|delivered|shipped|incl(?:uding|\.)?\s+(?:post(?:age)?|shipping))"
_WITH_POST = rf"{_MONEY}\s*(?:\+|plus|and|und|et|en)\s*{_MONEY}\s*(?:for\s+)?{_POST}\b"
_LEAD = r"(?:(?:for|at|asking|price|paid|à|für|voor|pour)\s*:?\s+)?"
# The ways a price stands in a question, the fullest first. A bare number is no price there: it may be a grade.
_IN_QUESTION = re.compile(
    rf"(?<![\w.,]){_LEAD}(?P<price>{_WITH_POST}|{_MONEY}\s*(?:{_ALL_IN}|\+?\s*free\s+{_POST})\b|{_MARKED}(?:\s*(?:\+|plus)\s*{_MONEY})?)(?![\w])",
    re.IGNORECASE,
)
_LEADING = re.compile(rf"(?<![\w.,])(?:for|at|asking|paid|price)\s*:?\s+(?P<price>{_NUMBER})(?![\w+])", re.IGNORECASE)
_WHOLE = re.compile(
    rf"\s*(?P<item>{_MONEY})\s*(?:(?:\+|plus|and|und|et|en)\s*(?P<post>{_MONEY}|free)\s*(?:for\s+)?(?:{_POST})?|(?P<all>{_ALL_IN})|free\s+{_POST})?\s*\.?\s*",
    re.IGNORECASE,
)
_ONE = re.compile(
    rf"(?P<before>{_SIGN}|{_CODE})?\s*(?P<number>{_NUMBER})\s*(?P<after>{_SIGN}|{_CODE}|{_NAME})?", re.IGNORECASE
)
LONGEST_PRICE = 200
_GROUP = 3


@dataclass(frozen=True, slots=True)
class AskedPrice:
    """A price as asked about. `postage` is None when it was not stated or is held in `item` (`all_in`)."""

    item: Money
    postage: Money | None = None
    all_in: bool = False


def split_price(text: str) -> tuple[str, str | None]:
    """A question without its price, and the price's own words (None when there is none).

    >>> split_price("harbour master graded 34, 47 plus 18 post: high or low?")
    ('harbour master graded 34', '47 plus 18 post')
    >>> split_price("harbour master graded 34")
    ('harbour master graded 34', None)
    """
    found = _IN_QUESTION.search(text) or _LEADING.search(text)
    if found is None:
        return text.strip(), None
    rest = f"{text[: found.start()]} {text[found.end() :]}"
    rest = re.sub(
        r"\b(?:(?:is\s+(?:that|it)\s+)?(?:too\s+)?(?:high|low|dear|cheap)(?:\s+or\s+(?:high|low|dear|cheap))?)\s*\?*\s*$",
        "",
        rest,
        flags=re.IGNORECASE,
    )
    rest = re.sub(r"\s+", " ", rest)
    rest = re.sub(r"\s*[,;:]\s*(?=[,;:]|$)", "", rest).strip(" ,;:-")
    return rest, found["price"].strip()


def parse_price(text: str, default_currency: str) -> AskedPrice:
    """A price with its postage.

    Without a currency it is in `default_currency`; one that is said for either part holds for both. Raises PriceError
    on anything that is not a price.

    >>> parse_price("47 + 18 post", "EUR")
    AskedPrice(item=Money(minor=4700, currency='EUR'), postage=Money(minor=1800, currency='EUR'), all_in=False)
    >>> parse_price("65 all in", "EUR").all_in
    True
    """
    text = re.sub(r"(?<=\d) (?=\d{3}(?:\D|$))", "", text)  # "1 250" groups thousands
    found = _WHOLE.fullmatch(text) if len(text) <= LONGEST_PRICE else None
    if found is None:
        raise _refused(text)
    item, post = found["item"], found["post"]
    said = _currency(item) or (_currency(post) if post else "") or default_currency
    free = post is not None and post.lower() == "free"
    if re.search(r"free\s+\w", text, re.IGNORECASE) and not found["all"]:
        free = True
    price = _amount(item, said)
    if price.minor <= 0:
        raise _refused(text)
    if free:
        return AskedPrice(price, Money(0, said))
    postage = _amount(post, _currency(post) or said) if post else None
    return AskedPrice(price, postage, found["all"] is not None)


def _refused(text: str) -> PriceError:
    return PriceError(
        f"Not a price: {text[:40]!r}",
        where="the price typed with the question",
        mend="Write it like 47 + 18 post, €65, or 65 all in",
    )


def _currency(text: str) -> str:
    """ISO 4217 code of a sign, code or word in an amount; empty when it has none."""
    found = _ONE.search(text)
    mark = (found["before"] or found["after"] or "") if found else ""
    upper = mark.upper()
    return _PREFIXES.get(upper) or _SIGNS.get(mark) or _WORDS.get(mark.lower()) or upper


def _amount(text: str, currency: str) -> Money:
    found = _ONE.search(text)
    if found is None:
        raise _refused(text)
    return Money.of(_decimal(found["number"]), currency)


def _decimal(number: str) -> str:
    """A number with either decimal sign as Python writes it: the last of two kinds is the decimal sign.

    A single sign before three digits groups thousands: prices have two decimals.

    >>> _decimal("1.250,50"), _decimal("1,250"), _decimal("47,5"), _decimal("1.250")
    ('1250.50', '1250', '47.5', '1250')
    """
    number = re.sub(r"['’\s\u00a0\u202f]", "", number).rstrip(".,")
    comma, dot = number.rfind(","), number.rfind(".")
    if comma >= 0 and dot >= 0:
        grouping = "," if dot > comma else "."
        return number.replace(grouping, "").replace(",", ".")
    sign = "," if comma >= 0 else "."
    grouped = number.count(sign) > 1 or (sign in number and len(number) - number.rfind(sign) - 1 == _GROUP)
    return number.replace(sign, "") if grouped and "e" not in number.lower() else number.replace(",", ".")
