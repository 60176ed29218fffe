"""Questions as a person asks them one after the other: what each is about, what is refused, what has no one worth."""

from datetime import date

import pytest

from hangtab.domain.errors import UnknownPieceError
from hangtab.usecases.desk import Compared, SalesWanted, SeveralPieces
from hangtab.web.desk import BookDesk

AT = date(2026, 10, 30)
LAST = "tw-harbour-master-2|carded|sealed||northgate:forty:34|glow-sticker=claimed||"
HEAD = "Tidewardens Harbour Master, Storm card, red coat, glow sticker, carded"


@pytest.fixture(scope="module")
def desk(small):
    return BookDesk.open(small.book, "tester")


@pytest.mark.parametrize(
    ("asked", "meant"),
    [
        ("47 plus 18 post, graded 34: high or low?", f"{HEAD}, Northgate 34"),
        ("47 plus 18 post", f"{HEAD}, Northgate 34"),
        ("graded: high or low?", f"{HEAD}, Northgate 34"),
        ("34+ yellowed", f"{HEAD}, Northgate 34+, yellowed"),
        ("yellowed", f"{HEAD}, Northgate 34, yellowed"),
        ("raw", HEAD),
        ("mint raw", f"{HEAD}, mint"),
        ("resealed", f"{HEAD}, resealed, Northgate 34"),
        ("loose", "Tidewardens Harbour Master, red coat, loose"),
    ],
)
def test_a_question_without_a_piece_is_about_the_last_one(desk, asked, meant):
    answer = desk.answer(asked, about=LAST, at=AT)
    assert answer.worth.text == meant
    assert answer.about == f"{HEAD}, Northgate 34"
    assert (answer.worth.verdict is not None) == ("post" in asked)


def test_a_price_among_the_words_counts_with_its_postage(desk):
    assert desk.answer("47 plus 18 post, graded 34: high or low?", about=LAST, at=AT).worth.verdict.price == 65.0


@pytest.mark.parametrize(
    ("asked", "about", "first", "second"),
    [
        ("34+ yellowed against clear", LAST, f"{HEAD}, Northgate 34+, yellowed", f"{HEAD}, Northgate 34+"),
        ("34+ against 36", LAST, f"{HEAD}, Northgate 34+", f"{HEAD}, Northgate 36"),
        ("graded 34 against raw", LAST, f"{HEAD}, Northgate 34", HEAD),
        ("warp kite loose against no sail", "", "Skyloom Warp Kite, loose", "Skyloom Warp Kite, loose, no sail"),
        ("glow sticker against no glow sticker", LAST, f"{HEAD}, Northgate 34",
         "Tidewardens Harbour Master, Storm card, red coat, carded, Northgate 34"),
    ],
)  # fmt: skip
def test_two_states_are_set_against_each_other(desk, asked, about, first, second):
    found = desk.answer(asked, about=about, at=AT)
    assert isinstance(found, Compared)
    assert [side.worth.text for side in found.sides] == [first, second]
    middle, low, high = found.ratio
    assert low < middle < high
    # What both sides share in doubt cancels: the ratio is surer than the two worths by themselves.
    one, two = (side.worth.middle.ranges[80] for side in found.sides)
    assert high / low < (one[1] / one[0]) * (two[1] / two[0])


@pytest.mark.parametrize(
    ("asked", "about", "said"),
    [
        ("47 plus 18 post, graded 34: high or low?", "", "names no piece"),
        ("34+ yellowed against clear", "", "names no piece"),
        ("purple zebra 34", LAST, "“purple zebra”"),
        ("tidewatch lamplighter", "", "“tidewatch”"),
        ("tidewatch lamplighter", LAST, "“tidewatch”"),
        ("34 against 34", LAST, "do not differ"),
    ],
)
def test_what_is_not_known_is_refused(desk, asked, about, said):
    with pytest.raises(UnknownPieceError, match=said):
        desk.answer(asked, about=about, at=AT)


def test_several_pieces_get_no_single_worth(desk):
    found = desk.answer("nine glow stickers in one lot", about=LAST, at=AT)
    assert isinstance(found, SeveralPieces)
    assert len(found.others) > 1
    assert all("glow sticker" in other.text for other in found.others)


def test_a_question_for_sales_is_filtered_by_all_it_says(desk):
    wanted = desk.answer("all harbour master sales since last autumn", at=AT)
    assert isinstance(wanted, SalesWanted)
    assert (wanted.said, wanted.wanted.since) == ("all harbour master sales since last autumn", date(2025, 9, 1))
    every = desk.sales(wanted.wanted)
    assert every.total > 0
    assert all("Harbour Master" in row.text and row.sold >= "2025-09" for row in every.rows)

    stickers = desk.answer("all harbour master glow sticker sales", at=AT).wanted
    found = desk.sales(stickers)
    assert found.total > 0
    assert all("Harbour Master" in row.text and "glow sticker" in row.text for row in found.rows)
    assert [*desk.names_of(stickers.things)] == ["Harbour Master", "glow sticker"]


def test_what_sold_then_lists_the_last_piece_in_those_days(desk):
    wanted = desk.answer("is this the piece that sold in March?", about=LAST, at=AT).wanted
    assert (wanted.since, wanted.until) == (date(2026, 3, 1), date(2026, 3, 31))
    assert wanted.things == ("tw-harbour-master-2", "glow-sticker")
