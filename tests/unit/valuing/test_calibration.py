"""Ranges made true on unseen sales, medians left alone."""

import json
from dataclasses import asdict, replace

import numpy as np
import polars as pl
import pytest

from hangtab.valuing import Calibration, calibrate
from hangtab.valuing.calibration import young
from hangtab.valuing.factors import group_factors
from hangtab.valuing.verdict import verdict_words

# Half-widths of central ranges of the normal, in standard deviations (any table of the normal, from memory).
HALVES = {50: 0.6744897502, 80: 1.2815515594, 90: 1.6448536270}


def tried(spread, said, count=4000, form="carded raw", seed=3):
    """Sales with a log spread, beside ranges that claim another."""
    noise = np.random.default_rng(seed).normal(0, spread, count)
    ends = {f"low_{level}": 100 / np.exp(z * said) for level, z in HALVES.items()}
    ends |= {f"high_{level}": 100 * np.exp(z * said) for level, z in HALVES.items()}
    return pl.DataFrame({"form": form, "price": 100 * np.exp(noise), "median": 100.0, **ends})


@pytest.mark.parametrize(("spread", "said"), [(0.3, 0.3), (0.45, 0.3), (0.2, 0.4)])
def test_the_factor_is_the_true_spread_over_the_claimed_one(spread, said):
    found = calibrate(tried(spread, said))
    assert found.scale("carded raw") == pytest.approx(spread / said, rel=0.05)
    assert found.tried[0].inside_80 == pytest.approx(0.8, abs=0.02)


def test_few_sales_move_the_factor_little():
    few, many = (calibrate(tried(0.6, 0.3, count)).scale("carded raw") for count in (5, 5000))
    assert 1.0 < few < 1.35 < many


def test_a_class_that_differs_by_no_more_than_chance_takes_the_factor_of_all():
    alike = pl.concat([tried(0.3, 0.3, 1000, form, seed) for seed, form in enumerate(("boxed raw", "loose raw"))])
    few = pl.concat([alike, tried(0.3, 0.3, 30, "prototype raw", 9)])
    found = calibrate(few)
    assert found.scale("prototype raw") == pytest.approx(found.overall, rel=0.05)


def test_a_class_that_differs_keeps_its_own_width():
    found = calibrate(pl.concat([tried(0.3, 0.3, 1000), tried(0.15, 0.3, 300, "prototype raw")]))
    assert found.scale("carded raw") == pytest.approx(1.0, rel=0.1)
    assert found.scale("prototype raw") == pytest.approx(0.5, rel=0.15)


def test_graded_pieces_share_one_class():
    found = calibrate(pl.concat([tried(0.3, 0.3, 1000), tried(0.45, 0.3, 400, "boxed graded")]))
    assert found.scale("loose graded") == found.scale("boxed graded") > 1.2


def test_a_form_never_tried_takes_the_overall_factor():
    found = calibrate(tried(0.45, 0.3))
    assert found.scale("boxed raw") == found.overall


def test_nothing_tried_leaves_the_ranges():
    assert calibrate(tried(0.3, 0.3, 0)).scale("carded raw") == 1.0


@pytest.mark.parametrize(("sales", "spread", "least", "most"), [(10, 0.02, 0.28, 0.33), (2000, 0.2, 0.2, 0.21)])
def test_a_young_book_is_held_to_the_usual_spread(sales, spread, least, most):
    """One sale's spread is 30 to 35 % (common practice, no source): ten sales that agree do not undo it."""
    assert least <= young(sales, spread).scale("loose raw") * spread <= most


def test_a_young_book_is_never_narrowed():
    assert young(10, 0.8).overall == 1.0
    assert young(10, 0.8).middle == 1.0


def test_no_sale_vouches_for_its_own_range():
    """The share inside is counted with factors from the other half: a spread that changes half way shows."""
    wild, calm = tried(0.9, 0.3, 400), tried(0.1, 0.3, 400)
    mixed = pl.concat([wild, calm]).with_columns(
        place=pl.concat([pl.Series(range(0, 800, 2)), pl.Series(range(1, 800, 2))])
    )
    found = calibrate(mixed.sort("place").drop("place"))
    assert found.tried[0].inside_80 != pytest.approx(0.8, abs=0.05)


def test_origins_vouch_for_each_other():
    """With origins told, the share inside one is counted with the others' factors.

    The calm ones ask for about .36 of a range of .384, in which 12 % of normal misses of .9 fall; all calm ones fall
    into what the wild ones ask for.
    """
    wild, calm = tried(0.9, 0.3, 400), tried(0.1, 0.3, 400)
    found = calibrate(pl.concat([wild.with_columns(origin=0), calm.with_columns(origin=1)]))
    assert found.tried[0].inside_80 == pytest.approx((0.12 + 1.0) / 2, abs=0.03)


def test_a_calibration_comes_back_from_json():
    found = replace(calibrate(tried(0.45, 0.3)), middle=1.1)
    assert Calibration.from_kept(json.loads(json.dumps(asdict(found)))) == found


def test_a_calibration_of_before_the_middle_had_its_own_is_read():
    kept = {"scales": {"loose raw": 1.2, "boxed graded": 0.9}, "overall": 1.1, "tried": []}
    found = Calibration.from_kept(kept)
    assert [found.scale(form) for form in ("loose raw", "carded graded", "carded raw")] == [1.2, 0.9, 1.1]
    assert found.middle == 1.1


def test_factors_are_grouped_by_what_a_reader_asks_and_multiply_to_the_adjustment():
    row = {"evidence": "q1", "by market walk": 0.1, "by line walk": 0.05, "by position": -0.2, "by marks": 0.3,
           "by site": 0.02, "by line/character": 0.4, "by card": -0.1}  # fmt: skip
    found = dict(group_factors(row))
    assert list(found) == ["time", "piece", "grade", "flaws", "venue"]
    assert found["time"] == pytest.approx(np.exp(0.15))
    assert found["piece"] == pytest.approx(np.exp(0.3))
    total = sum(v for v in row.values() if isinstance(v, float))
    assert np.prod(list(found.values())) == pytest.approx(np.exp(total))


@pytest.mark.parametrize(
    ("below", "words"),
    [(0.01, "Very low"), (0.2, "Low"), (0.3, "Somewhat low"), (0.5, "In the middle"), (0.7, "Somewhat high"),
     (0.9, "High"), (0.99, "Very high")],
)  # fmt: skip
def test_a_verdict_says_where_a_price_falls(below, words):
    assert verdict_words(below).startswith(words + ": ")
