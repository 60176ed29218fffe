"""The track record in words, cells and pictures, on an invented study."""

from datetime import date

import pytest

from hangtab.backtest import ENGINE, LAST_FIVE, ORIGINS, Class, Held, Peer, Study
from hangtab.cli.trying import ORIGINS as ASKED
from hangtab.rendering import track, track_charts


def one(form="", thin="", sales=214, error=0.17, held=0.79):
    return Class(form, thin, sales, error, 0.6, 0.5, held, 0.9, 1.2, 0.15, 25.0, 1.04, -0.02)


STUDY = Study(
    date(2026, 10, 30), ("2026-04-30",), "EUR", 214,
    (one(), one(thin="0", sales=30, error=0.31), one(thin="10+", sales=184), one("carded graded"),
     one("carded graded", "2–4"), one("loose raw", "0", sales=3)),
    (Held(0.5, 0.52, 0.45, 0.59, 214), Held(0.8, 0.79, 0.73, 0.84, 214)), None, (),
    (Peer(ENGINE, one(), (one(thin="0"),)), Peer(LAST_FIVE, one(error=0.24), (one(thin="0", error=0.4),))),
)  # fmt: skip


def test_a_class_is_said_in_one_sentence():
    (said,) = track.sentences([one("carded graded", "2–4")])
    assert said.startswith("Carded graded pieces with 2–4 earlier sales: off by 17\u202f% at the middle;")
    assert said.endswith("; eight-in-ten ranges held 79\u202f% of 214 sales.")


def test_the_headline_says_where_it_is_best_and_worst_and_what_another_way_did():
    text = " ".join(track.headline(STUDY))
    assert "Off by 17\u202f% at the middle of 214 sales that came later." in text
    assert "Pieces without an earlier sale: off by 31\u202f% (30 sales)." in text
    assert "The last five sales of the variant on the same sales: off by 24\u202f%." in text
    assert "Hangtab" not in text


def test_few_sales_get_no_line_of_their_own():
    assert [(c.form, c.thin) for c in track.narrow(STUDY.classes)] == [("carded graded", "2–4")]
    assert [c.form for c in track.by_kind(STUDY.classes)] == ["carded graded"]
    assert [c.thin for c in track.by_thinness(STUDY.classes)] == ["0", "10+"]


def test_rows_have_a_cell_for_each_head():
    assert len(track.class_row(one()).cells) == len(track.THIN_HEADS) - 1 == len(track.KIND_HEADS) - 1
    assert len(track.peer_row(ENGINE, one()).cells) == len(track.PEER_HEADS) - 1
    assert track.class_row(one("loose raw", "0")).head == "Loose raw, 0"
    assert track.band_rows(STUDY) == ()


@pytest.mark.parametrize("width", [track_charts.WIDE, track_charts.NARROW])
def test_pictures_say_what_they_show_and_stay_inside(width):
    ranges = [track_charts.Nominal(h.nominal, h.held, h.sales) for h in STUDY.held]
    held = track_charts.reliability(ranges, width)
    bars = track_charts.errors([track_charts.Bar("none", 0.31, 0.4, 30), track_charts.Bar("one", 0.2, None, 9)], width)
    assert (
        'aria-label="Ranges against what they held of 214 sales: 5 in 10 held 52\u202f%; 8 in 10 held 79\u202f%"'
        in held
    )
    assert "none earlier, 31\u202f%, the last five sales 40\u202f%; one earlier, 20\u202f%" in bars
    assert "style=" not in held + bars
    assert track_charts.errors([], width) == track_charts.reliability([], width) == ""


@pytest.mark.parametrize("error", [0.05, 0.5, 0.9, 3.0, 20.0])
def test_a_scale_has_between_one_and_a_dozen_figures(error):
    drawn = track_charts.errors([track_charts.Bar("none", error, None, 9)])
    assert 2 <= drawn.count("text-anchor") <= 12


def test_the_command_tries_from_as_many_days_as_the_back_test_does():
    assert ASKED == ORIGINS
