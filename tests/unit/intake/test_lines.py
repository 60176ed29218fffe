"""Pasted lines to evidence."""

import pytest

from hangtab.domain.evidence import Kind, PostageKind, Standing
from hangtab.domain.money import Money
from hangtab.intake import Media, raw_excerpt

LINE = "harbour master glow 34 sold 47 + 18 post Quayside US 3 Nov 2025"


def test_a_line_is_a_sale(take):
    reading, fact = take("notes.txt", LINE)[0]
    assert (fact.title, fact.kind, fact.price) == ("harbour master glow 34", Kind.SALE, Money(4700, "USD"))
    assert (fact.postage.kind, fact.postage.amount) == (PostageKind.PAID, Money(1800, "USD"))
    assert (fact.venue, fact.country, str(fact.when)) == ("quayside", "US", "2025-11-03")
    assert reading.locator == "line 1"


def test_each_field_keeps_its_characters(take):
    reading, _ = take("notes.txt", "first\n" + LINE)[0]
    assert next(f.where for f in reading.fields if f.name == "price") == "line 2, characters 28-30"
    for f in reading.fields:
        start, end = map(int, f.where.rpartition(" ")[2].split("-"))
        assert LINE[start:end] == f.text


@pytest.mark.parametrize(
    ("line", "kind", "price", "ask", "title"),
    [
        ("night diver unsold at $60, Quayside US, 3 Nov 2025", Kind.UNSOLD, None, 6000, "night diver"),
        ("night diver offer accepted (asked $80) Quayside US 3 Nov 2025", Kind.OFFER, None, 8000, "night diver"),
        ("heard: night diver went privately $120, Nov 2025", Kind.HEARSAY, 12000, None, "night diver"),
        ("traded night diver at 40 EUR, Swap Shed Nov 2025", Kind.TRADE, 4000, None, "night diver"),
        ("lot of 9 glow stickers hammer £120 Harrow Lane 4 Nov 2025", Kind.LOT, 12000, None, "lot of 9 glow stickers"),
        ("Taucher verkauft für 1.250 € + 6,50 Versand Quayside DE 12.11.2025", Kind.SALE, 125000, None, "Taucher"),
        ("plongeur vendu 47,50 € port offert, Quayside DE, 12 novembre 2025", Kind.SALE, 4750, None, "plongeur"),
    ],
)
def test_lines_of_every_kind(take, line, kind, price, ask, title):
    _, fact = take("notes.txt", line)[0]
    assert (fact.kind, fact.title) == (kind, title)
    assert (fact.price.minor if fact.price else None, fact.ask.minor if fact.ask else None) == (price, ask)


@pytest.mark.parametrize("words", ["sold £47", "sold for £47", "sold at: £47", "hammer £47", "sold 47 GBP", "sold 47£"])
def test_a_sign_beside_the_sum_is_its_currency(take, words):
    assert take("n.txt", f"night diver {words} + 6 post, Nov 2025")[0][1].price == Money(4700, "GBP")


def test_hearsay_is_its_own_standing(take):
    assert take("n.txt", "angeblich Taucher verkauft für 40 €, Nov 2025")[0][1].standing is Standing.HEARSAY


def test_a_letter_for_a_zero_is_not_read_as_another_price(take):
    _, fact = take("notes.txt", "night diver sold 1,2OO Quayside US 3 Nov 2025")[0]
    assert fact.what == "Price is not a number: '1,2OO'"
    assert fact.where == "notes.txt, line 1, characters 17-22"


def test_a_sum_without_a_currency_at_a_venue_of_several_is_asked_about(take):
    _, fact = take("notes.txt", "night diver sold 40 Quayside 3 Nov 2025")[0]
    assert fact.what == "Price has no currency: '40'"


def test_a_word_in_capitals_is_no_country(take):
    _, fact = take("n.txt", "NIGHT DIVER LOOSE NO OAR sold 9 USD + 12.5 post Swap Shed 19 Jul 2025")[0]
    assert (fact.title, fact.country) == ("NIGHT DIVER LOOSE NO OAR", "US")


def test_a_heading_lends_its_venue_and_date(take):
    _, fact = take("notes.txt", "Swap Shed, November 2025:\n\nnight diver sold $40\n")[0]
    assert (fact.venue, str(fact.when)) == ("swap-shed", "2025-11")


def test_prose_is_left_aside(take):
    assert take("notes.txt", "Dear friend,\nthe weather was fine.\n") == []


def test_the_excerpt_of_a_line(take):
    reading, _ = take("notes.txt", LINE)[0]
    excerpt = raw_excerpt(LINE.encode(), Media.TEXT, "line 1", None, reading.fields)
    assert excerpt.text == LINE
    assert {m.name: LINE[m.start : m.end] for m in excerpt.marks}["price"] == "47"
