"""Money as whole minor units with an ISO 4217 currency.

Source of the minor units: ISO 4217 (2 unless listed). Not here: exchange rates (levelling) and how money looks
(rendering).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation

from hangtab.domain.errors import PriceError

# ISO 4217: currencies whose minor unit is not a hundredth.
_DIGITS = {
    **dict.fromkeys(
        "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF".split(),
        0,
    ),
    **dict.fromkeys("BHD IQD JOD KWD LYD OMR TND".split(), 3),
    **dict.fromkeys("CLF UYW".split(), 4),
}
_SIGNS = {"EUR": "€", "GBP": "£", "USD": "$", "JPY": "¥", "CAD": "C$", "AUD": "A$"}
_CODE = re.compile(r"[A-Z]{3}")
# A price beyond this is a slip of the keyboard, and larger ones no longer fit the book's 64-bit integers.
MOST = Decimal(10) ** 12


def minor_digits(currency: str) -> int:
    """Decimal places of a currency's minor unit.

    >>> minor_digits("EUR"), minor_digits("JPY"), minor_digits("KWD")
    (2, 0, 3)
    """
    return _DIGITS.get(currency, 2)


def sign(currency: str) -> str:
    """The sign that stands before a figure, or the code and a no-break space.

    >>> sign("GBP"), sign("CHF") == "CHF\u00a0"
    ('£', True)
    """
    return _SIGNS.get(currency, f"{currency}\u00a0")


@dataclass(frozen=True, slots=True)
class Money:
    """An amount in minor units of an ISO 4217 currency; may be negative."""

    minor: int
    currency: str

    def __post_init__(self) -> None:
        """Refuse what is not three capitals."""
        if not _CODE.fullmatch(self.currency):
            raise PriceError(
                f"Not a currency: {self.currency!r}",
                where="the currency of an amount",
                mend="Use the three letters of ISO 4217, such as EUR",
            )

    @classmethod
    def of(cls, amount: Decimal | int | str, currency: str) -> Money:
        """From major units, rounded half up to the minor unit.

        >>> Money.of("18.005", "EUR")
        Money(minor=1801, currency='EUR')
        """
        try:
            number = Decimal(amount)
        except InvalidOperation:
            number = Decimal("NaN")
        if not number.is_finite() or number.copy_abs() > MOST:
            raise PriceError(
                f"Not a price: {str(amount)[:40]!r}",
                where="an amount of money",
                mend=f"Give a number under {MOST:.0e}".replace("e+", "e"),
            )
        scaled = number.scaleb(minor_digits(currency)).quantize(Decimal(1), rounding=ROUND_HALF_UP)
        return cls(int(scaled), currency)

    @property
    def amount(self) -> Decimal:
        """The amount in major units, exact.

        >>> Money(1250, "EUR").amount
        Decimal('12.50')
        """
        return Decimal(self.minor).scaleb(-minor_digits(self.currency))

    def __add__(self, other: Money) -> Money:
        """Sum of two amounts of one currency."""
        return Money(self.minor + self._same(other).minor, self.currency)

    def __sub__(self, other: Money) -> Money:
        """Difference of two amounts of one currency."""
        return Money(self.minor - self._same(other).minor, self.currency)

    def _same(self, other: Money) -> Money:
        if other.currency != self.currency:
            raise PriceError(
                f"Cannot add {other.currency} to {self.currency}",
                where="a sum of two amounts",
                mend="Level both to one currency first",
            )
        return other
