"""The pictures: well-formed, without style attributes, everything in its place."""

import math
from dataclasses import replace
from datetime import date
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hangtab.rendering import marks, plate, ruler, strips, words, years
from hangtab.rendering.scale import LogScale, around
from hangtab.usecases.desk import Leader, Outline

RANGES = {50: (160.0, 209.0), 80: (142.0, 236.0), 90: (132.0, 254.0)}
STEMS = (
    ruler.Stem(179, 0.25, "sale", "a"),
    ruler.Stem(166, 0.145, "offer", "b"),
    ruler.Stem(154, 0.06, "doubtful", "f"),
)
READING = ruler.Reading(183, RANGES, STEMS, "EUR")


def parsed(svg):
    root = ET.fromstring(svg)
    assert not [e for e in root.iter() if "style" in e.attrib]
    return root


def texts(root):
    return [e.text for e in root.iter("text")]


def test_ruler_says_its_sentence_and_labels_its_range():
    root = parsed(ruler.ruler(READING))
    assert root.get("role") == "img"
    assert root.get("aria-label") == (
        "Ruler in euros: middle 183, eight of ten next sales between 142 and 236; "
        "three comparable sales stand on it: a at 179, b at 166, f at 154"
    )
    assert {"183", "142", "236", "a", "b", "f"} <= set(texts(root))


def test_stems_stand_at_their_price_as_high_as_they_count():
    root = parsed(ruler.ruler(READING))
    low, high = around([*RANGES[90], 183, *(s.price for s in STEMS)])
    scale = LogScale(low, high, 1, 755)
    discs = [(float(c.get("cx")), float(c.get("cy"))) for c in root.iter("circle")]
    assert discs[-1] == pytest.approx((scale.at(179), 90 - 64), abs=0.06)
    assert discs[-2] == pytest.approx((scale.at(166), 90 - 64 * 0.145 / 0.25), abs=0.06)


def test_bands_are_the_ranges():
    bands = [r for r in parsed(ruler.ruler(READING)).iter("rect") if "band" in r.get("fill", "")]
    assert [b.get("fill") for b in bands] == ["var(--band90)", "var(--band80)", "var(--band50)"]
    widths = [float(b.get("width")) for b in bands]
    assert widths[1] / widths[0] == pytest.approx(math.log(236 / 142) / math.log(254 / 132), abs=1e-3)


@pytest.mark.parametrize(
    ("price", "side", "colour"), [(300.0, marks.DEAR, "--dear"), (90.0, marks.CHEAP, "--cheap"), (175.0, "", None)]
)
def test_a_price_gets_its_mark(price, side, colour):
    svg = ruler.ruler(replace(READING, price=price))
    assert ruler.side_of(price, RANGES) == side
    assert f"€{price:.0f}" in svg
    assert ("--dear" in svg, "--cheap" in svg) == (colour == "--dear", colour == "--cheap")


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.5, 90_000), st.floats(0.02, 1.5),
    st.lists(st.tuples(st.floats(-3, 3), st.floats(-0.3, 0.9)), max_size=12),
    st.none() | st.floats(0.01, 1e9), st.sampled_from([ruler.WIDE, ruler.NARROW]),
)  # fmt: skip
def test_nothing_leaves_the_picture(middle, spread, sales, price, width):
    """Whatever the worth, the sales and the price: every label and mark of the ruler starts inside the picture."""
    ranges = {
        p: (middle * math.exp(-z * spread), middle * math.exp(z * spread))
        for p, z in ((50, 0.67), (80, 1.28), (90, 1.64))
    }
    stems = tuple(ruler.Stem(middle * math.exp(d), g, "sale", "a") for d, g in sales)
    root = parsed(ruler.ruler(ruler.Reading(middle, ranges, stems, "EUR", price), width))
    for element in root.iter():
        for name in ("x", "cx"):
            if name in element.attrib:
                assert 0 <= float(element.get(name)) <= width
    height = float(root.get("viewBox").split()[3])
    assert all(0 <= float(t.get("y")) <= height for t in root.iter("text"))


def test_strips_share_one_scale():
    drawn = strips.strips([strips.Strip(100, 120, 140, 160, 200), strips.Strip(200, 240, 280, 320, 400)])
    (a, _), (b, _) = ([float(r.get("x")) for r in parsed(row).iter("rect")] for row in drawn.rows)
    widths = [float(next(parsed(row).iter("rect")).get("width")) for row in drawn.rows]
    assert b > a
    assert widths[0] == pytest.approx(widths[1], abs=0.11)
    assert strips.strips([]) == strips.Strips("", ())


def test_years_draws_every_sale_and_needs_two_points():
    points = [years.Point(date(y, 1, 15), 80, 90, 100, 110, 125) for y in range(2019, 2027)]
    spots = [years.Spot(date(2020, 3, 1), 104, "sale", "a"), years.Spot(date(2018, 3, 1), 60, "offer")]
    root = parsed(years.years(points, spots))
    assert len(list(root.iter("circle"))) == 2
    assert "2020" in texts(root)
    assert "two sales as marks" in root.get("aria-label")
    assert "a" not in texts(parsed(years.years(points, spots, years.NARROW)))
    assert years.years(points[:1], spots) == ""


def test_plate_is_to_scale_and_escapes_its_words():
    drawn = plate.plate(Outline(100, 150, "boxed", (Leader("text", "<b>Second</b> & last", "three lines"),)))
    root = parsed(drawn)
    box = next(root.iter("rect"))
    assert float(box.get("height")) / float(box.get("width")) == pytest.approx(1.5, abs=0.01)
    assert "<b>Second</b> & last" in texts(root)
    assert plate.plate(Outline(0, 150, "carded")) == ""


def test_leaders_never_touch():
    spots = ("tab", "title", "window", "sticker", "text", "strip")
    root = parsed(plate.plate(Outline(152, 100, "carded", tuple(Leader(s, s, s) for s in spots))))
    titles = sorted(float(t.get("y")) for t in root.iter("text") if t.get("font-weight") == "600")
    assert len(titles) == 5
    assert all(b - a >= 37.9 for a, b in pairwise(titles))


def test_words_of_money():
    assert words.money(12484, "EUR") == "€12\u202f500"
    assert words.span(142.3, 236.4, "GBP") == "£142–236"
    assert words.money(7.4, "SEK") == "SEK\u00a07.40"
    assert words.worth(999.6) == "1\u202f000"
    assert words.worth(1234567) == "1\u202f230\u202f000"
