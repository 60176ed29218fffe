"""The peers do what their names say, and the general learner says how to get it when it is not there."""

import sys
from datetime import date

import numpy as np
import polars as pl
import pytest
from scipy import stats

from hangtab.backtest.features import features
from hangtab.backtest.peers import LastFive, Learner, StraightLine, load_learner
from hangtab.backtest.residuals import fit_noise
from hangtab.domain.errors import HangtabError
from hangtab.worth import Spec
from tests.unit.backtest.tables import SPEC, sales


def sold(*prices, line="a", thing="x", first=1):
    return [{"line": line, "thing": thing, "price": float(p), "sold": date(2025, 1, first + i)}
            for i, p in enumerate(prices)]  # fmt: skip


def asked(*pairs):
    return pl.DataFrame([{"line": a, "thing": b, "price": None, "sold": date(2026, 1, 1)} for a, b in pairs])


def test_the_last_five_are_the_last_five_of_the_nearest_that_sold():
    before = pl.DataFrame(
        sold(1, 2, 3, 4, 10, 20, 40) + sold(100, 300, thing="y", first=10) + sold(7, line="b", first=20)
    )
    questions = asked(("a", "x"), ("a", "y"), ("a", "new"), ("b", "new"), ("c", "new"))
    said = LastFive(("line", "thing"))(before, questions)["median"].to_list()
    of_line = np.exp(np.median(np.log([10, 20, 40, 100, 300])))
    of_all = np.exp(np.median(np.log([20, 40, 100, 300, 7])))
    assert said == pytest.approx([10, np.sqrt(30_000), of_line, 7, of_all])


def test_the_last_five_look_at_order_of_day_and_not_of_rows():
    before = pl.DataFrame(sold(1, 2, 3, 4, 10, 20, 40))
    said = LastFive(("line", "thing"))(before.reverse(), asked(("a", "x")))
    assert said["median"].item() == pytest.approx(10)


def test_the_straight_line_finds_a_straight_line():
    draw = np.random.default_rng(2)
    table = pl.DataFrame({"size": draw.uniform(1, 9, 400), "kind": draw.choice(["p", "q"], 400)})
    y = 1 + 0.3 * table["size"].to_numpy() + 0.5 * (table["kind"] == "q").to_numpy() + 0.1 * draw.standard_normal(400)
    table = table.with_columns(price=pl.Series(np.exp(y)))
    new = pl.DataFrame({"size": [2.0, 8.0, 5.0], "kind": ["p", "q", "never seen"]})
    said = StraightLine(Spec(price="price", factors=("kind",), numbers=("size",)))(table, new)
    assert np.log(said["median"].to_list()[:2]) == pytest.approx([1.6, 3.9], abs=0.03)
    assert said["sigma"][0] == pytest.approx(0.1, abs=0.01)
    assert np.isfinite(said["median"][2])


def test_the_learner_learns_what_moves_the_price():
    table = sales(2000)
    low, high = (Learner(SPEC, "form")(table, table.with_columns(position=pl.lit(at)))["median"] for at in (30.0, 85.0))
    assert (high / low).log().mean() == pytest.approx(0.008 * 55, abs=0.1)


def test_the_learner_says_how_to_get_it_when_it_is_not_installed(monkeypatch):
    monkeypatch.setitem(sys.modules, "lightgbm", None)
    with pytest.raises(HangtabError, match="not installed") as caught:
        load_learner()
    assert "pip install" in caught.value.mend


def test_words_never_seen_before_are_missing_and_lists_become_switches():
    table = sales(200)
    known, new = features(table.head(150), table.tail(1).with_columns(site=pl.lit("moon")), SPEC)
    assert known.numbers.shape[0] == 150
    assert known.sizes[0] == 3  # the lines
    assert np.isnan(new.words).sum() == 1
    assert set(np.unique(known.numbers[:, 1])) <= {0.0, 1.0}  # the crease


@pytest.mark.parametrize("freedom", [3.0, 10.0])
def test_noise_is_found_again(freedom):
    """Drawn from scipy's t; the sd of the scale found from 5 000 errors is about 1.5 %."""
    errors = stats.t.rvs(freedom, scale=0.3, size=5000, random_state=4)
    found = fit_noise(errors)
    assert found.scale == pytest.approx(0.3, rel=0.06)
    assert found.freedom == freedom


def test_no_error_at_all_is_no_certainty():
    assert fit_noise(np.array([])).scale > 0.5
    assert fit_noise(np.zeros(40)).scale > 0
