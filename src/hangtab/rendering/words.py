"""Figures and dates as the book sets them.

Promises: the sign of a currency once and before the figure, a narrow no-break space between thousands and before the
per cent sign, a real minus, an en dash without spaces in ranges.
Gives: text. Not here: markup, or any arithmetic but rounding for the eye.
"""

from __future__ import annotations

import math
from datetime import date

from hangtab.domain import money as moneys
from hangtab.domain.dates import Precision, When
from hangtab.domain.money import Money, minor_digits

NARROW = "\u202f"
MINUS = "\u2212"
HARD = "\u00a0"
DASH = "\u2013"

_NAMES = {"EUR": "euros", "GBP": "pounds", "USD": "dollars", "CAD": "Canadian dollars", "JPY": "yen"}
_MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()
_SMALL = "no one two three four five six seven eight nine ten eleven twelve".split()
_COARSE = 1000.0  # from here on a worth has three significant digits
_FINE = 10.0  # under this a whole unit would be a tenth of the worth, so cents are shown
_RARE = 1000  # chances below one in a thousand are not told apart


def grouped(digits: str) -> str:
    """Thousands set apart.

    >>> grouped("1234567.50") == "1\u202f234\u202f567.50"
    True
    """
    whole, dot, rest = digits.partition(".")
    return f"{int(whole):,}".replace(",", NARROW) + dot + rest


def sign(currency: str) -> str:
    """The sign that stands before a figure, or the code and a space."""
    return moneys.sign(currency)


def currency_name(currency: str) -> str:
    """The currency in words, its code where there is no common word."""
    return _NAMES.get(currency, currency)


def worth(value: float, *, fine: bool = False) -> str:
    """An estimate: whole units, three significant digits from 1 000 on, cents under 10 or where `fine` asks for them.

    >>> worth(183.07), worth(7.4), worth(12.9, fine=True), worth(12484) == "12\u202f500"
    ('183', '7.40', '12.90', True)
    """
    if value < _FINE or (fine and value < _COARSE):
        return f"{value:.2f}"
    if round(value) < _COARSE:
        return f"{value:.0f}"
    step = 10 ** (math.floor(math.log10(value)) - 2)
    return grouped(str(round(value / step) * step))


def is_fine(low: float) -> bool:
    """Whether a range that starts here is given in cents at both ends."""
    return low < _FINE


def figure(value: float) -> str:
    """A round figure on a scale, without needless digits.

    >>> figure(7.0), figure(0.25), figure(1500.0) == "1\u202f500"
    ('7', '0.25', True)
    """
    return grouped(f"{value:.4f}".rstrip("0").rstrip("."))


def exact(value: float, currency: str) -> str:
    """A price in a table: minor units shown, no sign of the currency.

    >>> exact(171.6, "EUR"), exact(-3, "JPY")
    ('171.60', '−3')
    """
    digits = grouped(f"{abs(value):.{minor_digits(currency)}f}")
    return f"{MINUS}{digits}" if value < 0 else digits


def change(value: float, currency: str) -> str:
    """A change with its sign; none at all has no sign.

    >>> change(1.94, "EUR"), change(-0.87, "EUR"), change(0.0, "EUR")
    ('+1.94', '−0.87', '0.00')
    """
    shown = exact(value, currency)
    return f"+{shown}" if value > 0 else shown


def money(value: float, currency: str) -> str:
    """A worth with its currency: €183."""
    return f"{sign(currency)}{worth(value)}"


def paid(amount: Money) -> str:
    """An exact amount with its currency.

    >>> paid(Money(-1250, "GBP"))
    '−£12.50'
    """
    minus = MINUS if amount.minor < 0 else ""
    return f"{minus}{sign(amount.currency)}{exact(abs(float(amount.amount)), amount.currency)}"


def span(low: float, high: float, currency: str = "") -> str:
    """A range, with the sign once when a currency is given; both ends have cents or none has.

    >>> span(142, 236.2, "EUR"), span(4.37, 13.1)
    ('€142–236', '4.37–13.10')
    """
    fine = is_fine(low)
    return f"{sign(currency) if currency else ''}{worth(low, fine=fine)}{DASH}{worth(high, fine=fine)}"


def per_cent(share: float, digits: int = 0) -> str:
    """A share of one as per cent.

    >>> per_cent(0.14) == "14\u202f%"
    True
    """
    return f"{share * 100:.{digits}f}".replace("-", MINUS) + f"{NARROW}%"


def chance(probability: float) -> str:
    """A chance in words.

    >>> chance(1 / 69), chance(0.0001) == "under 1 in 1\u202f000"
    ('1 in 69', True)
    """
    if probability * _RARE < 1:
        return f"under 1 in {grouped(str(_RARE))}"
    return f"1 in {grouped(str(round(1 / probability)))}"


def day(value: date) -> str:
    """A day.

    >>> day(date(2026, 10, 9))
    '9 Oct 2026'
    """
    return f"{value.day} {_MONTHS[value.month - 1]} {value.year}"


def when(value: When | str) -> str:
    """A date in the precision it was stated in; ISO text is read first.

    >>> when("2026-02"), when("2026"), when("2026-10-09")
    ('Feb 2026', '2026', '9 Oct 2026')
    """
    stated = When.parse(value) if isinstance(value, str) else value
    if stated.precision is Precision.YEAR:
        return str(stated.day.year)
    if stated.precision is Precision.MONTH:
        return f"{_MONTHS[stated.day.month - 1]} {stated.day.year}"
    return day(stated.day)


def count(number: int, noun: str, plural: str = "") -> str:
    """How many, in words up to twelve.

    >>> count(1, "sale"), count(6, "sale"), count(212, "piece of evidence", "pieces of evidence")
    ('one sale', 'six sales', '212 pieces of evidence')
    """
    said = _SMALL[number] if 0 <= number < len(_SMALL) else grouped(str(number))
    return f"{said} {noun if number == 1 else plural or noun + 's'}"
