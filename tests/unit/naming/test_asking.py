"""Prices typed with a question."""

import pytest

from hangtab.domain.errors import PriceError
from hangtab.domain.money import Money
from hangtab.naming import AskedPrice, parse_price, split_price


def eur(minor):
    return Money(minor, "EUR")


@pytest.mark.parametrize(
    ("text", "rest", "price"),
    [
        ("harbour master 34 graded, 47 plus 18 post: high or low?", "harbour master 34 graded", "47 plus 18 post"),
        ("harbour master glow sticker for €65", "harbour master glow sticker", "€65"),
        ("harbour master Northgate 34 £47 + 18 post", "harbour master Northgate 34", "£47 + 18 post"),
        ("night diver 65 all in", "night diver", "65 all in"),
        ("night diver at 65", "night diver", "65"),
        ("night diver 65 euros", "night diver", "65 euros"),
        ("night diver USD 1,250.00", "night diver", "USD 1,250.00"),
        ("warp kite loose, 209,00 EUR + 6,50 Versand", "warp kite loose", "209,00 EUR + 6,50 Versand"),
        ("47 plus 18 post, graded 34: high or low?", "graded 34", "47 plus 18 post"),
    ],
)
def test_split(text, rest, price):
    assert split_price(text) == (rest, price)


@pytest.mark.parametrize(
    "text", ["harbour master graded 34", "harbour master 34+ yellowed", "warp kite 1998", "lot of 3"]
)
def test_no_price(text):
    assert split_price(text) == (text, None)


@pytest.mark.parametrize(
    ("text", "price"),
    [
        ("47 + 18 post", AskedPrice(eur(4700), eur(1800))),
        ("47 plus 18 post", AskedPrice(eur(4700), eur(1800))),
        ("47 plus 18", AskedPrice(eur(4700), eur(1800))),
        ("£47 + 18 post", AskedPrice(Money(4700, "GBP"), Money(1800, "GBP"))),
        ("£47 + £18 p&p", AskedPrice(Money(4700, "GBP"), Money(1800, "GBP"))),
        ("47 + $18 shipping", AskedPrice(Money(4700, "USD"), Money(1800, "USD"))),
        ("C$47 + 18 shipping", AskedPrice(Money(4700, "CAD"), Money(1800, "CAD"))),
        ("€65", AskedPrice(eur(6500))),
        ("65 €", AskedPrice(eur(6500))),
        ("65,50 EUR", AskedPrice(eur(6550))),
        ("GBP 1,250.50", AskedPrice(Money(125050, "GBP"))),
        ("1.250,50", AskedPrice(eur(125050))),
        ("1 250,50 €", AskedPrice(eur(125050))),
        ("1.250 €", AskedPrice(eur(125000))),
        ("0.99", AskedPrice(eur(99))),
        ("¥6500", AskedPrice(Money(6500, "JPY"))),
        ("65 all in", AskedPrice(eur(6500), None, all_in=True)),
        ("65 free post", AskedPrice(eur(6500), eur(0))),
        ("65 + free post", AskedPrice(eur(6500), eur(0))),
        ("65 quid", AskedPrice(Money(6500, "GBP"))),
    ],
)
def test_parse(text, price):
    assert parse_price(text, "EUR") == price


@pytest.mark.parametrize(
    "text",
    ["1e309", "", "cheap", "-5", "0", "47 + ", "1e400 + 2 post", "NaN", "inf", "9" * 300, "12abc", "47 + 18 + 3",
     "1,2OO"],
)  # fmt: skip
def test_no_price_at_all(text):
    with pytest.raises(PriceError) as caught:
        parse_price(text, "EUR")
    assert caught.value.mend
