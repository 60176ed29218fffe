"""What is usual: few rows need it, many do not feel it."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from hangtab.worth import Spec, SpecError, fit
from hangtab.worth.mode import Search
from hangtab.worth.usual import disbelief
from hangtab.worth.variances import evaluate, slope
from tests.unit.worth.held import problem_of
from tests.unit.worth.world import SPEC, market

USUAL = {"line": 0.6, "line/character": 0.5, "residual": 0.33, "market walk": 0.02, "freedom": 6.0}


def test_the_gradient_is_that_of_the_criterion_with_what_is_usual():
    """Against central differences, at variances away from the optimum."""
    spec = replace(SPEC, usual=USUAL, tails="normal", curves={})
    problem = problem_of(market(rows=300, bounds=0.0), spec)
    logs = np.full(len(problem.layout.names), -2.0)
    found = slope(problem, evaluate(problem, logs, Search())).gradient
    for k in range(len(logs)):
        h = 1e-4 * np.eye(len(logs))[k]
        up, down = (evaluate(problem, logs + s * h, Search()).criterion for s in (1, -1))
        assert found[k] == pytest.approx((up - down) / 2e-4, abs=1e-4), problem.layout.names[k]


def test_nothing_is_usual_by_default():
    problem = problem_of(market(rows=100), SPEC)
    penalty, gradient, bend = disbelief(problem, np.zeros(len(problem.layout.names)))
    assert penalty == 0.0
    assert not gradient.any()
    assert not bend.any()


def test_a_dozen_sales_do_not_lose_their_noise():
    rng = np.random.default_rng(5)
    table = pl.DataFrame({
        "line": ["a"] * 6 + ["b"] * 6, "character": [f"c{i}" for i in range(12)],
        "venue": rng.choice(["Quayside", "Harrow Lane"], 12), "price": np.exp(rng.normal(3, 0.4, 12)),
    })  # fmt: skip
    spec = Spec(
        price="price", groups=["line", "line/character"], factors=["venue"], priors={"venue": "learned"}, tails="normal"
    )
    told = fit(table, replace(spec, usual=USUAL | {"venue": 0.1}))
    assert told.report.converged
    assert 0.1 < told.components["residual"] ** 0.5 < 0.6


def test_many_sales_do_not_feel_it():
    table = market(rows=900, bounds=0.0)
    spec = replace(SPEC, tails="normal", curves={}, walks=("market",))
    one, other = fit(table, spec), fit(table, replace(spec, usual=USUAL))
    assert other.components["residual"] == pytest.approx(one.components["residual"], rel=0.01)


def test_what_is_usual_must_be_positive():
    with pytest.raises(SpecError, match="must be positive"):
        Spec(price="price", usual={"residual": 0.0})
