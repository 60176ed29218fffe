"""Answers of the engine against whole matrices, refits and differences: exact, not nearly so."""

# ruff: noqa: N806 - matrices keep the capitals of the papers they come from

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from hangtab.worth import Fitted, Spec, fit
from hangtab.worth.mode import Search
from hangtab.worth.spread import covariance, gaps
from hangtab.worth.variances import evaluate, slope
from tests.unit.worth.dense import SPEC, VARIANCES, Dense, rows
from tests.unit.worth.held import fit_at, logs_of, point_at, problem_of

SEEDS = range(4)
# Free of priors that the table's own spread sets, so that a table less one row is the same model.
BARE = replace(SPEC, curves={}, priors=SPEC.priors | {"doors": "flat"})
STUDENT = replace(BARE, tails="student")
NU = 4.0
BARE_VARIANCES = {k: v for k, v in VARIANCES.items() if k != "grade bend"}


@pytest.mark.parametrize("seed", SEEDS)
def test_new_rows_equal_the_dense_formula(seed):
    """Means and the whole covariance, rows with unseen names, unseen sellers and later months among them."""
    table, new = rows(70, seed), rows(40, seed + 100, strangers=True)
    fitted = fit_at(table, SPEC, VARIANCES)
    mean, cov = Dense(table, VARIANCES).predict(new)
    found, joint = fitted.joint(new)
    assert found == pytest.approx(mean, rel=1e-10)
    assert joint == pytest.approx(cov, rel=1e-10, abs=1e-12)
    single = fitted.predict(new)
    assert single["log_median"].to_numpy() == pytest.approx(mean, rel=1e-10)
    assert single["log_sd"].to_numpy() == pytest.approx(np.sqrt(np.diag(cov)), rel=1e-10)


@pytest.mark.parametrize("seed", SEEDS)
def test_fitted_rows_and_effective_freedoms_equal_the_dense_formula(seed):
    """v tr(P dV/dv) for each level and walk; for every variance that scales its source the criterion's gradient."""
    table = rows(70, seed)
    problem = problem_of(table, SPEC)
    point = point_at(problem, logs_of(problem, VARIANCES))
    order = problem.sheet.frame["row"].to_numpy()
    dense = Dense(table, VARIANCES)
    found = gaps(problem.forest, point.factor, covariance(problem.forest, point.factor, known_flat=False), point.prior)
    expected = dense.freedoms()
    assert found.levels == pytest.approx([expected[name] for name in problem.spec.chain], rel=1e-10)
    assert [found.line, found.market] == pytest.approx([expected["line walk"], expected["market walk"]], rel=1e-10)
    Py = dense.P @ dense.y
    assert found.rows == pytest.approx((dense.noise - dense.noise**2 * np.diag(dense.P))[order], rel=1e-10)
    assert point.mode.eta == pytest.approx((dense.y - dense.noise * Py)[order], rel=1e-10)
    gradient = dict(zip(problem.layout.names, slope(problem, point).gradient, strict=True))
    for name in ("seller", "flaws", *problem.spec.chain, "line walk", "market walk"):
        assert gradient[name] == pytest.approx(expected[name] - Py @ dense.parts[name] @ Py, rel=1e-8, abs=1e-10), name


@pytest.mark.parametrize("kinds", [("sale",), ("sale", "below", "above")], ids=["sales", "bounds"])
@pytest.mark.parametrize("tails", ["normal", "student"])
@pytest.mark.parametrize("criterion", ["reml", "ml"])
def test_gradient_equals_differences(kinds, tails, criterion):
    """Richardson's central differences of the criterion itself, bounds' information held as within a step."""
    draw = np.random.default_rng(3)
    table = rows(90, 2).with_columns(pl.Series("kind", draw.choice(kinds, 90)))
    problem = problem_of(table, replace(SPEC, tails=tails, criterion=criterion, kind="kind"))
    logs = logs_of(problem, VARIANCES | {"freedom": NU, "residual": 0.06})
    point = point_at(problem, logs)
    share = point.information * problem.scale(logs) ** 2
    found = slope(problem, point).gradient

    def rise(k: int, h: float) -> float:
        step = h * (np.arange(len(logs)) == k)
        search = Search(start=point.mode.eta, tolerance=1e-12)
        up, down = (evaluate(problem, logs + s * step, search, share).criterion for s in (1, -1))
        return (up - down) / (2 * h)

    for k, name in enumerate(problem.layout.names):
        differences = (4 * rise(k, 2e-3) - rise(k, 4e-3)) / 3
        assert found[k] == pytest.approx(differences, rel=1e-6, abs=1e-6), name


def frozen(table: pl.DataFrame, fitted: Fitted) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The table with Student-t's weights as noise multipliers: those of the mode, and those of the ranges."""
    share = fitted.leave_one_out()["share"].to_numpy()
    pulling = 1.0 / np.sqrt(share * (NU + 1) / NU)
    informing = table["wider"].to_numpy() * np.sqrt((NU + 3) / (NU + 1))
    return table.with_columns(wider=pl.Series(pulling)), table.with_columns(wider=pl.Series(informing))


@pytest.fixture(scope="module")
def heavy() -> tuple[pl.DataFrame, Fitted]:
    draw = np.random.default_rng(5)
    table = rows(90, 11).with_columns(price=pl.col("price") * np.exp(0.3 * draw.standard_t(2, 90)))
    return table, fit_at(table, STUDENT, BARE_VARIANCES | {"freedom": NU})


def without(table: pl.DataFrame, at: list[int]) -> Fitted:
    return fit_at(table.filter(~pl.int_range(pl.len()).is_in(at)), BARE, BARE_VARIANCES)


def test_leaving_one_out_equals_refits_at_frozen_weights(heavy):
    table, fitted = heavy
    pulling, informing = frozen(table, fitted)
    left = fitted.leave_one_out()
    for i in range(0, 90, 3):
        assert left["log_median"][i] == pytest.approx(
            without(pulling, [i]).predict(table[i])["log_median"][0], rel=1e-8
        )
        assert left["log_sd"][i] == pytest.approx(without(informing, [i]).predict(table[i])["log_sd"][0], rel=1e-8)


@pytest.mark.parametrize("row", range(0, 90, 9))
def test_base_and_adjusted_prices_equal_a_refit_at_frozen_weights(heavy, row):
    """eta_0 and each eta_i0 are what the rest of the table says about this piece and about each comparable."""
    table, fitted = heavy
    grid = fitted.comparables(table[row], top=6)
    chosen = grid.sales["row"].to_list()
    rest = without(frozen(table, fitted)[0], chosen)
    assert np.log(grid.base) == pytest.approx(rest.predict(table[row])["log_median"][0], rel=1e-8)
    own = rest.predict(table[chosen])["log_median"].to_numpy()
    adjusted = np.log(grid.base) + np.log(grid.sales["price"].to_numpy()) - own
    assert np.log(grid.sales["adjusted"].to_numpy()) == pytest.approx(adjusted, rel=1e-8)
    gain = grid.sales["gain"].to_numpy()
    total = (1 - gain.sum()) * np.log(grid.base) + gain @ adjusted
    assert total == pytest.approx(fitted.predict(table[row])["log_median"][0], rel=1e-8)


def test_a_gain_is_what_the_estimate_moves_by():
    """With normal noise the estimate is linear in each log price: raising one by a tenth moves it by a tenth of g."""
    table = rows(70, 3)
    fitted = fit_at(table, BARE, BARE_VARIANCES)
    grid = fitted.comparables(table[8], top=5)
    for sold, gain in grid.sales.select("row", "gain").iter_rows():
        raised = table.with_columns(price=pl.col("price") * np.where(np.arange(70) == sold, np.exp(0.1), 1.0))
        moved = fit_at(raised, BARE, BARE_VARIANCES).predict(table[8])["log_median"][0]
        assert moved - fitted.predict(table[8])["log_median"][0] == pytest.approx(0.1 * gain, abs=1e-9)


@pytest.mark.parametrize("tails", ["normal", "student"])
def test_adding_rows_gives_the_cold_mode_at_the_held_variances(tails):
    spec = replace(SPEC, tails=tails, kind="kind")
    kind = pl.when(pl.int_range(pl.len()) % 6 == 5).then(pl.lit("below")).otherwise(pl.lit("sale"))
    table = rows(140, 21).with_columns(kind=kind)
    first = fit(table[:120], spec)
    longer = first.add(table[120:])
    cold = fit_at(table, spec, first.components)
    assert longer.report.converged
    mean, cov = longer.joint(table)
    expected, spread = cold.joint(table)
    assert mean == pytest.approx(expected, abs=1e-7)
    assert cov == pytest.approx(spread, rel=1e-5, abs=1e-7)


def test_row_order_changes_no_bit():
    """Rows are put into one order before anything is summed."""
    table = rows(120, 31)
    one, other = (fit(t, replace(SPEC, tails="student")) for t in (table, table.reverse()))
    assert one.components == other.components
    assert one.predict(table).equals(other.predict(table))


def test_ranges_widen_by_what_is_not_known():
    """The reference value of a flat factor is known: its range is the intercept's, and only a strange value's is wider.

    Closed form: with one two-valued factor each mean has the variance of its own rows' mean.
    """
    table = pl.DataFrame({"p": np.exp([1.0, 1.2, 1.1, 2.0, 2.3]), "cond": ["used"] * 3 + ["new"] * 2})
    fitted = fit(table, Spec(price="p", factors=["cond"], priors={"cond": "flat"}, tails="normal"))
    sd = fitted.components["residual"] ** 0.5
    found = fitted.predict([{"cond": "used"}, {"cond": "new"}, {"cond": "odd"}])["log_sd"].to_list()
    assert found[:2] == pytest.approx([sd / 3**0.5, sd / 2**0.5], rel=1e-6)
    assert found[2] > found[1]
