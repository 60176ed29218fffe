"""The figures of a study, made by hand where that can be done."""

import json
import math
from datetime import date

import numpy as np
import polars as pl
import pytest
from scipy import stats

from hangtab.backtest import ALL, ENGINE, LAST_FIVE, Study
from hangtab.backtest.study import summed_up
from hangtab.backtest.summary import held_of, reliability, summarise, value_bands, whole_ratios

RANGES = ((50, 0.8, 1.25), (80, 0.5, 2.0), (90, 0.4, 2.5))


def rows(prices, by=ENGINE, form="carded raw", thin="1", median=10.0):
    count = len(prices)
    ranges = {f"{end}_{name}": [median * f] * count
              for name, low, high in RANGES for end, f in (("low", low), ("high", high))}  # fmt: skip
    return pl.DataFrame({
        "by": [by] * count, "form": [form] * count, "thin": [thin] * count, "price": [float(p) for p in prices],
        "median": [median] * count, **ranges, "log_crps": [0.1 * (i + 1) for i in range(count)],
    })  # fmt: skip


MADE = pl.concat([rows([10, 11, 14, 30]), rows([9, 21], thin="10+", form="loose raw")])


def test_a_class_by_hand():
    every = summarise(MADE)[0]
    assert (every.form, every.thin, every.sales) == (ALL, ALL, 6)
    assert every.error == pytest.approx(np.median([0, 0.1, 0.4, 2.0, 0.1, 1.1]))
    assert every.near == pytest.approx(3 / 6)
    assert (every.held_50, every.held_80, every.held_90) == pytest.approx((3 / 6, 4 / 6, 5 / 6))
    assert every.crps == pytest.approx(np.mean([0.1, 0.2, 0.3, 0.4, 0.1, 0.2]))
    missed = [math.log(30 / 20), math.log(21 / 20)]
    assert every.interval_80 == pytest.approx(math.log(4) + 10 * sum(missed) / 6)


def test_classes_are_everything_then_thinness_then_kinds_and_none_is_empty():
    named = [(c.form, c.thin, c.sales) for c in summarise(MADE)]
    assert named == [
        (ALL, ALL, 6), (ALL, "1", 4), (ALL, "10+", 2), ("carded raw", ALL, 4), ("carded raw", "1", 4),
        ("loose raw", ALL, 2), ("loose raw", "10+", 2),
    ]  # fmt: skip
    assert [(c.form, c.thin) for c in summarise(MADE, forms=False)] == [(ALL, ALL), (ALL, "1"), (ALL, "10+")]


def test_two_sales_have_no_slope():
    assert math.isnan(next(c for c in summarise(MADE) if c.form == "loose raw").prb)


def test_the_interval_of_a_share():
    """Against scipy's Wilson interval, which takes 1.95996 where we take 1.96."""
    for hits, sales in ((8, 10), (171, 214), (3, 9)):
        theirs = stats.binomtest(hits, sales).proportion_ci(0.95, "wilson")
        found = held_of(0.8, hits, sales)
        assert (found.low, found.high) == pytest.approx((theirs.low, theirs.high), abs=1e-4)
    assert held_of(0.9, 10, 10).high == 1.0
    assert held_of(0.5, 0, 10).low == pytest.approx(0.0, abs=1e-12)
    assert [h.held for h in reliability(MADE)] == pytest.approx([3 / 6, 4 / 6, 5 / 6])


def test_ratio_studies_need_three_sales():
    assert whole_ratios(MADE.head(2)) is None
    assert value_bands(MADE.head(2)) == ()
    assert whole_ratios(MADE).sales == 6


@pytest.fixture(scope="module")
def study():
    draw = np.random.default_rng(5)
    thin = [rows(10 * np.exp(0.3 * draw.standard_normal(n)), form=form, thin=thin)
            for n, form, thin in ((25, "carded raw", "0"), (60, "carded raw", "10+"), (12, "loose raw", "0"),
                                  (30, "loose raw", "10+"), (5, "boxed raw", "1"))]  # fmt: skip
    mine = pl.concat(thin)
    worse = mine.with_columns(by=pl.lit(LAST_FIVE), log_crps=pl.col("log_crps") * 2)
    return summed_up(pl.concat([worse, mine]), date(2026, 10, 30), ["2026-04-30"], "EUR")


def test_a_study_comes_back_from_json_as_it_went_in(study):
    text = json.dumps(study.to_dict(), allow_nan=False)
    again = Study.from_dict(json.loads(text))
    assert again.to_dict() == study.to_dict()
    assert again.bands == study.bands
    with pytest.raises(ValueError, match="format"):
        Study.from_dict({"format": 0})


def test_ways_are_listed_best_first_and_figures_are_the_books_own(study):
    assert [p.name for p in study.peers] == [ENGINE, LAST_FIVE]
    assert study.sales == study.overall.sales == 132
    assert [c.thin for c in study.peers[0].thin] == ["0", "1", "10+"]


@pytest.mark.parametrize(
    ("form", "thin", "speaks"),
    [
        ("carded raw", "0", ("carded raw", "0")),
        ("loose raw", "0", (ALL, "0")),  # twelve of its own are too few; of all kinds so thin there are 37
        ("boxed raw", "1", (ALL, ALL)),
        ("carded raw", "5–9", ("carded raw", ALL)),
        ("never tried", "2–4", (ALL, ALL)),
    ],
)
def test_the_narrowest_class_with_enough_sales_speaks_for_a_piece(study, form, thin, speaks):
    found = study.speaks_for(form, thin)
    assert (found.form, found.thin) == speaks
