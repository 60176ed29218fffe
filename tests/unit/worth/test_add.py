"""Adding rows gives the mode that a cold fit of the longer table has at the variances held."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from hangtab.worth import Spec, fit
from hangtab.worth.fitting import refit
from hangtab.worth.mode import Search
from hangtab.worth.problem import make_problem
from hangtab.worth.sheet import read_table
from hangtab.worth.variances import evaluate
from tests.unit.worth.world import market

SPEC = Spec(
    price="price", when="sold", groups=("line", "line/character", "line/character/release"), factors=("venue",),
    numbers=("pieces",), walks=("market", "line"), kind="kind",
)  # fmt: skip
OLD = market(800, seed=4)
SALES = OLD.filter(pl.col("kind") == "sale")
MORE = {
    "touched lines": SALES.tail(25),
    "another line": SALES.tail(9).with_columns(line=pl.lit("Skyloom")),
    "another month": SALES.tail(9).with_columns(sold=pl.date(2023, 4, 15)),
    "another value": SALES.tail(9).with_columns(venue=pl.lit("Plumb's")),
    "bounds": OLD.filter(pl.col("kind") == "below").tail(12),
    "a surprise": SALES.tail(3).with_columns(price=pl.col("price") * 40.0),
}


@pytest.fixture(scope="module", params=["normal", "student"])
def first(request):
    spec = Spec(**{**SPEC.to_dict(), "tails": request.param})
    return fit(OLD.head(770), spec)


def cold(first, table):
    """Mode at the first fit's variances with nothing to start from, by EM alone at its end."""
    state = first._state
    problem = make_problem(first.spec, read_table(table, first.spec))
    place = dict(zip(state.problem.layout.names, state.logs, strict=True))
    return problem, evaluate(problem, np.array([place[n] for n in problem.layout.names]), Search())


@pytest.mark.parametrize("more", MORE)
def test_added_rows_lead_to_the_cold_mode(first, more):
    table = pl.concat([OLD.head(770), MORE[more]])
    longer = first.add(MORE[more])
    problem, point = cold(first, table)
    state = longer._state
    assert longer.report.converged
    assert state.eta == pytest.approx(point.mode.eta, abs=1e-6)
    assert state.weight == pytest.approx(point.mode.weight, rel=1e-5)
    assert state.information == pytest.approx(point.information, rel=1e-5)
    assert state.problem.layout.names == problem.layout.names
    assert longer.table.equals(table.select(longer.spec.columns))


def test_a_report_of_added_rows_claims_no_search(first):
    report = first.add(SALES.tail(5)).report
    assert np.isnan(report.criterion)
    assert np.isnan(report.gradient)
    assert report.rows == 775


def test_rows_can_be_added_one_after_another(first):
    once = first.add(SALES.tail(20))
    twice = first.add(SALES.tail(20).head(7)).add(SALES.tail(13))
    assert twice._state.eta == pytest.approx(once._state.eta, abs=1e-6)
    assert twice.table.equals(once.table)


def test_a_fit_at_held_variances_takes_the_solution_that_its_weights_give(first):
    """What is kept of the mode is what the weights and weighted responses give when they are solved anew."""
    for fitted in (first, first.add(SALES.tail(5))):
        state = fitted._state
        again = type(fitted).from_bytes(fitted.to_bytes())._state
        assert again.eta == pytest.approx(state.eta, abs=1e-9)
    problem, point, _ = refit(first._state.problem, first._state.logs, first._state.problem.sheet, np.zeros(770))
    assert point.mode.settled
    assert point.mode.eta == pytest.approx(first._state.eta, abs=1e-6)
    assert len(problem.y) == 770
