"""A border too wide to be dense goes the sparse road: every answer must be that of the forest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from hangtab.worth import Curve, Spec, fit, problem
from hangtab.worth.answers import full_noise_table
from hangtab.worth.errors import SizeError
from hangtab.worth.fitted import Fitted
from hangtab.worth.fitting import first_logs
from hangtab.worth.information import average_information
from hangtab.worth.mode import Search
from hangtab.worth.problem import make_problem
from hangtab.worth.search import _stands, newton_step
from hangtab.worth.sheet import read_table
from hangtab.worth.sparse import System
from hangtab.worth.state import State
from hangtab.worth.together import Crew
from hangtab.worth.variances import evaluate, slope
from tests.unit.worth.test_evidence_kinds import KINDS
from tests.unit.worth.test_evidence_kinds import market as of_all_kinds
from tests.unit.worth.world import SPEC, market

ROWS = 500
CROSSED = replace(SPEC, groups=(*SPEC.groups, "seller"))


def sales(bounds: float) -> pl.DataFrame:
    """The small market with sellers who cross its chain."""
    rng = np.random.default_rng(8)
    return market(ROWS, bounds=bounds).with_columns(seller=pl.Series([f"s{v}" for v in rng.integers(0, 90, ROWS)]))


CASES = {
    "sales, student, reml": (sales(0.0), CROSSED),
    "sales, normal, ml": (sales(0.0), replace(CROSSED, tails="normal", criterion="ml")),
    "sales, normal, reml, flat": (sales(0.0), replace(CROSSED, tails="normal", curves={}, priors={"venue": "flat"})),
    "bounds, student, ml": (sales(0.2), replace(CROSSED, criterion="ml")),
    "no walks": (sales(0.0), replace(CROSSED, walks=())),
    "no chain": (sales(0.0), replace(CROSSED, groups=("seller", "line"), walks=("market",))),
    "lots, listings, candidates": (of_all_kinds(), KINDS),
}


def answers(fitted: Fitted, table: pl.DataFrame) -> dict[str, object]:
    """Everything a fit answers, by name: frames, arrays and numbers."""
    asked = table.drop("price", "kind").head(12)
    for name in {"line", "piece", "seller", "release"} & set(asked.columns):
        asked = asked.with_columns(pl.Series(name, ["new", *asked[name].to_list()[1:]]))
    grid = fitted.comparables(asked[3], top=5)
    mean, cov = fitted.joint(asked)
    apart = fitted.diagnosis()
    return {
        "components": fitted.components,
        "criterion": fitted.report.criterion,
        "predict": fitted.predict(asked),
        "mean": mean,
        "joint": cov,
        "contributions": fitted.contributions(asked[3]),
        "comparables": grid.sales,
        "base, estimate, gain": np.array([grid.base, grid.estimate, grid.gain]),
        "support": fitted.support(asked[3]).effective_sales,
        "leave one out": fitted.leave_one_out(),
        "coefficients": fitted.coefficients,
        "named": fitted.named(),
        "added to": fitted.add(table.head(30)).predict(asked),
        "freedom": apart.freedom,
        "largest": apart.largest,
        "influence": apart.influence,
        "apart": [w.effects for w in apart.confounded],
    }


def assert_same(found: object, expected: object, name: str) -> None:
    near = {"rel": 1e-6, "abs": 1e-7}
    if isinstance(expected, pl.DataFrame):
        assert isinstance(found, pl.DataFrame)
        assert found.shape == expected.shape, name
        for column in expected.columns:
            if expected[column].dtype == pl.Float64:
                theirs, ours = expected[column].to_numpy(), found[column].to_numpy()
                assert ours == pytest.approx(theirs, **near, nan_ok=True), f"{name}: {column}"
            else:
                assert found[column].to_list() == expected[column].to_list(), f"{name}: {column}"
    elif isinstance(expected, list):
        assert found == expected, name
    else:
        assert found == pytest.approx(expected, **near), name


@pytest.mark.parametrize("case", CASES)
def test_the_sparse_road_answers_as_the_forest_does(case, monkeypatch):
    """The same variances by both roads: all that a fit answers, and all that a search for variances goes by."""
    table, spec = CASES[case]
    fitted = fit(table, spec)
    monkeypatch.setattr(problem, "WIDEST", 0)
    wide = Fitted.from_bytes(fitted.to_bytes())
    assert isinstance(wide._state.pulling, System)
    expected, found = answers(fitted, table), answers(wide, table)
    for name, value in expected.items():
        assert_same(found[name], value, name)
    for held in (None, one_held(fitted)):
        theirs, ours = (seen(f._state, held) for f in (fitted, wide))
        for name, value in theirs.items():
            assert_same(ours[name], value, name)


def one_held(fitted: Fitted) -> np.ndarray:
    held = fitted._state.held.copy()
    held[0] = True
    return held


def seen(state: State, held: np.ndarray | None) -> dict[str, object]:
    """Mode, criterion, slope and second derivatives off the summit, held columns found anew or given."""
    logs = state.logs + np.linspace(-0.3, 0.3, len(state.logs))
    point = evaluate(state.problem, logs, Search(held=held))
    return {
        "held": point.mode.factor.held.tolist(),
        "eta": point.mode.eta,
        "criterion": point.criterion,
        "slope": slope(state.problem, point).gradient,
        "information": average_information(state.problem, point),
        "stands": _stands(state.problem, point, None),
    }


@pytest.mark.parametrize("direction", ["increasing", "decreasing"])
def test_bounded_columns_stand_at_zero_where_they_do_in_the_forest(direction, monkeypatch):
    """The grade raises prices, so increments of a falling curve are held; and the search ends at the same place."""
    table, curves = sales(0.0), {"grade": Curve(direction, knots=5, missing="none")}
    spec = replace(CROSSED, curves=curves, tails="normal", walks=("market",))
    fitted = fit(table, spec)
    monkeypatch.setattr(problem, "WIDEST", 0)
    wide = fit(table, spec)
    assert wide.report.converged
    assert wide._state.held.tolist() == fitted._state.held.tolist()
    assert wide._state.held.any() == (direction == "decreasing")
    assert wide.report.criterion == pytest.approx(fitted.report.criterion, abs=1e-5)
    expected = fitted.predict(table[:50])["log_median"].to_numpy()
    assert wide.predict(table[:50])["log_median"].to_numpy() == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize("widest", [0, 2000], ids=["sparse", "forest"])
def test_a_criterion_is_the_same_whether_held_columns_are_found_or_given(widest, monkeypatch):
    monkeypatch.setattr(problem, "WIDEST", widest)
    spec = replace(CROSSED, curves={"grade": Curve("decreasing", knots=5)}, tails="normal", walks=("market",))
    made = make_problem(spec, read_table(sales(0.0), spec))
    found = evaluate(made, first_logs(made), Search())
    held = found.mode.factor.held
    assert held.any()
    assert evaluate(made, first_logs(made), Search(held=held)).criterion == pytest.approx(found.criterion, rel=1e-12)


def test_a_wide_fit_is_the_same_from_other_orders_of_its_rows(monkeypatch):
    monkeypatch.setattr(problem, "WIDEST", 0)
    table = sales(0.1)
    first, again = fit(table, CROSSED), fit(table.sample(fraction=1.0, shuffle=True, seed=1), CROSSED)
    assert first.components == again.components
    assert first.predict(table[:9]).equals(again.predict(table[:9]))


def crossed(rows: int = 12_000, sellers: int = 3_000) -> pl.DataFrame:
    """Sales of 300 releases by thousands of sellers."""
    rng = np.random.default_rng(3)
    line, release, seller = rng.integers(0, 12, rows), rng.integers(0, 25, rows), rng.integers(0, sellers, rows)
    y = 3 + rng.normal(0, 0.6, 12)[line] + rng.normal(0, 0.5, (12, 25))[line, release]
    y = y + rng.normal(0, 0.3, sellers)[seller] + 0.25 * rng.standard_t(4, rows)
    return pl.DataFrame(
        {
            "price": np.exp(y),
            "line": [f"l{v}" for v in line],
            "release": [f"r{v}" for v in release],
            "seller": [f"s{v}" for v in seller],
            "form": rng.choice(["carded", "loose"], rows),
        }
    )


def test_three_thousand_sellers_end_where_the_dense_border_would(monkeypatch):
    """The dense road's own criterion, next step and predictions at the parameters that the sparse road found."""
    table = crossed()
    spec = Spec(price="price", groups=("line", "line/release", "seller"), factors=("form",))
    fitted = fit(table, spec)
    assert isinstance(fitted._state.pulling, System)
    assert fitted.report.converged
    assert fitted.report.columns > problem.WIDEST
    monkeypatch.setattr(problem, "WIDEST", 4000)
    dense = make_problem(spec, read_table(table, spec))
    assert dense.equations is None
    point = evaluate(dense, fitted._state.logs, Search(start=fitted._state.eta))
    assert point.criterion == pytest.approx(fitted.report.criterion, abs=1e-6)
    step, _ = newton_step(dense, point, slope(dense, point))
    # A step in logs: how far the dense road would move each component, relatively.
    assert np.abs(step).max() < 1e-5
    mode, noise = point.mode, full_noise_table(dense.freedom(point.logs))
    state = State(dense, point.logs, mode.weight, mode.zeta, point.information, mode.factor.held, noise)
    assert_same(fitted.predict(table[:100]), Fitted(state, fitted.report).predict(table[:100]), "predict")


def test_a_border_too_wide_for_memory_or_for_several_places_is_refused(monkeypatch):
    table, spec = sales(0.0), CROSSED
    monkeypatch.setattr(problem, "WIDEST", 0)
    monkeypatch.setattr(problem, "MOST_DENSE", 10)
    with pytest.raises(SizeError, match="too many for memory"):
        fit(table, spec)

    class Elsewhere:
        """Another place with no rows, as far as sums can tell."""

        def total(self, what, *values):
            return values

        def most(self, what, value):
            return value

        def every(self, what, thing):
            return [thing]

    with pytest.raises(SizeError, match="in several places"):
        make_problem(spec, read_table(table, spec), Crew(together=Elsewhere()))
