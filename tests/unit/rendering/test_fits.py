"""A fit in words and pictures: sums add up as shown, every flag has its shape, nothing is drawn off the picture."""

from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from hangtab.rendering import fit_charts, fits
from hangtab.rendering.contract import fit_json
from tests.unit.web.fake_fit import COMPONENTS, explained

WIDTHS = (fit_charts.WIDE, fit_charts.NARROW_PAGE)


def parsed(svg):
    root = ET.fromstring(svg)
    assert not [e for e in root.iter() if "style" in e.attrib]
    return root


def test_shares_add_up_to_a_hundred_as_shown():
    rows = fits.shares(explained())
    names = ("Character", "Grade", "The market over time", "Way of selling", "One other together", "Not explained")
    assert tuple(r.name for r in rows) == names
    assert round(sum(r.shown for r in rows), 1) == 100.0
    assert next(r.shown for r in rows if r.name == "Way of selling") == -2.0


def test_words_of_a_factor_a_spread_and_a_sale():
    made = explained()
    assert fits.effect(COMPONENTS[0].largest[0]) == "× 1.80 ± 12\u202f%"
    assert fits.effect(COMPONENTS[1].largest[0]) == "× 11 ± 26\u202f%"
    assert fits.freedom(COMPONENTS[0]) == "38.2 of 61"
    assert fits.spread(COMPONENTS[0]) == "40\u202f% (32–50\u202f%)"
    assert fits.spread(COMPONENTS[4]) == "nothing"
    assert fits.spread(replace(COMPONENTS[4], spread=None)) == ""
    assert [fits.moved(m).replace("\u202f", " ") for m in made.movers] == [
        "Brought 2.4 times as much as the rest says; the estimate follows it by 74 % and is raised 77 % by it.",
        "Brought 63 % less than the rest says; the estimate follows it by 73 % and is lowered 51 % by it.",
    ]


def test_what_strays_is_counted():
    assert fits.not_flagged(explained()) == "Of 34 classes and times, four stray from what the noise allows."
    clean = replace(explained(), classes=(), times=())
    assert fits.not_flagged(clean) == "Of 0 classes and times, none strays from what the noise allows."


@pytest.mark.parametrize("width", WIDTHS)
def test_bars_are_as_long_as_their_shares(width):
    rows = fits.shares(explained())
    bars = list(parsed(fit_charts.carried(rows, width)).iter("rect"))
    lengths = [float(b.get("width")) for b in bars]
    assert lengths[0] / lengths[1] == pytest.approx(0.52 / 0.31, rel=1e-2)
    assert all(float(b.get("x")) >= 0 and float(b.get("x")) + float(b.get("width")) <= width - 50 for b in bars)
    hollow = [row.name for row, b in zip(rows, bars, strict=True) if b.get("fill") == "var(--paper)"]
    assert hollow == ["Way of selling", "Not explained"]


def test_the_bars_say_their_sentence():
    root = parsed(fit_charts.carried(fits.shares(explained())))
    assert root.get("aria-label") == (
        "Share of the spread of log prices in per cent, largest first: Character 52.0, Grade 31.0, "
        "The market over time 9.0; not explained 9.9"
    )


@pytest.mark.parametrize("width", WIDTHS)
def test_quarters_stand_inside_their_picture(width):
    root = parsed(fit_charts.drift(explained().times, width))
    height = float(root.get("viewBox").split()[3])
    spots = [(float(c.get("cx")), float(c.get("cy"))) for c in root.iter("circle")]
    assert all(40 < x < width and 0 < y < height for x, y in spots)
    # 29 spreads and 27 middles are discs; the dear and the cheap quarter are triangles.
    assert len(spots) == 56
    assert [p.get("fill") for p in root.iter("path") if p.get("stroke") == "var(--cheap)"] == ["var(--paper)"]
    assert len([p for p in root.iter("path") if p.get("fill") == "var(--dear)"]) == 1


def test_quarters_say_what_strays():
    said = parsed(fit_charts.drift(explained().times)).get("aria-label")
    assert said.startswith("Middle price against the fit in 29 quarters: from −10.0 to +12.0 per cent;")
    assert said.endswith("2025 Q4, 2026 Q1 stray")


def test_too_few_quarters_are_not_drawn():
    assert fit_charts.drift(explained().times[:1]) == ""
    assert fit_charts.carried([]) == ""


def test_the_json_has_every_field_and_iso_days():
    said = fit_json(explained())
    assert (said["as_of"], said["made"]) == ("2026-11-20", "2026-11-20T21:14:00+00:00")
    assert said["components"][0]["largest"][0] == {
        "value": "Harbour Master", "sales": 636, "factor": 1.8, "give_or_take": 0.12,
    }  # fmt: skip
