"""The forest elimination against the dense formulas of mixed-model theory, built here without the engine."""

# ruff: noqa: N806 - matrices keep the capitals of the papers they come from

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from hangtab.worth import Curve, Spec
from hangtab.worth.fitting import first_logs
from hangtab.worth.mode import Search
from hangtab.worth.problem import make_problem
from hangtab.worth.sheet import read_table
from hangtab.worth.spread import covariance, gaps
from hangtab.worth.variances import evaluate, slope

ROWS = 240


def small_table(seed: int = 0) -> pl.DataFrame:
    rng = np.random.default_rng(seed)
    line = rng.integers(0, 3, ROWS)
    release = rng.integers(0, 4, ROWS)
    month = rng.integers(0, 9, ROWS)
    undated = rng.random(ROWS) < 0.05
    y = rng.normal(size=ROWS) * 0.4 + 0.5 * line + rng.normal(size=12)[line * 4 + release]
    return pl.DataFrame(
        {
            "price": np.exp(3 + y),
            "line": [None if rng.random() < 0.02 else f"l{v}" for v in line],
            "release": [None if rng.random() < 0.03 else f"r{v}" for v in release],
            "venue": rng.choice(["a", "b", "c", "d"], ROWS),
            "seller": [f"s{v}" for v in rng.integers(0, 15, ROWS)],
            "form": rng.choice(["carded", "loose"], ROWS),
            "grade": rng.integers(20, 100, ROWS).astype(float),
            "doors": rng.normal(size=ROWS),
            "sold": [None if u else dt.date(2020, 1 + int(m), 3) for m, u in zip(month, undated, strict=True)],
        }
    )


SPEC = Spec(
    price="price",
    when="sold",
    groups=("line", "line/release", "seller"),
    factors=("venue",),
    numbers=("doors",),
    curves={"grade": Curve("free", knots=4)},
    walks=("market", "line"),
    spread_by=("form",),
    tails="normal",
)


def dense_parts(problem, logs):
    """Variance matrices of every source, built from the table, and flat columns X."""
    frame, n = problem.sheet.frame, len(problem.y)
    variance = dict(zip(problem.layout.names, np.exp(logs), strict=True))
    V = np.zeros((n, n))
    for k, name in enumerate(problem.spec.chain):
        own = problem.nodes[:, k]
        V += variance[name] * (own[:, None] == own[None, :])
    month = np.array([-1 if d is None else d.year * 12 + d.month for d in frame["sold"].to_list()])
    knot = np.where(month < 0, 0, month - month[month > 0].min() + 1).astype(float)
    walk = np.minimum(knot[:, None], knot[None, :])
    line = np.array([v or "" for v in frame["line"].to_list()])
    same = (line[:, None] == line[None, :]) & (line != "")[:, None]
    V += variance["market walk"] * walk + variance["line walk"] * walk * same
    seller = frame["seller"].to_numpy()
    V += variance["seller"] * (seller[:, None] == seller[None, :])
    venue = frame["venue"].to_numpy()
    unit2 = problem.sheet.y.var()
    V += unit2 * (venue[:, None] == venue[None, :])
    doors = frame["doors"].to_numpy()
    doors = (doors - doors.mean()) / doors.std()
    V += unit2 * np.outer(doors, doors)
    V += curve_variance(frame["grade"].to_numpy(), variance["grade bend"], 9 * unit2)
    form = frame["form"].to_numpy()
    V += np.diag([variance[f"residual: {f}"] for f in form])
    return V, np.ones((n, 1))


def curve_parts(grade, bend, size):
    """Rows H, precision from the size of the slopes, and precision from their bending."""
    knots = np.quantile(np.unique(grade), [0, 1 / 3, 2 / 3, 1])
    H = np.clip((grade[:, None] - knots[:-1]) / np.diff(knots), 0, 1)
    w = np.diff(knots) / (knots[-1] - knots[0])
    bent = np.zeros((3, 3))
    for j in range(2):
        d = np.zeros(3)
        d[j], d[j + 1] = -1 / w[j], 1 / w[j + 1]
        bent += np.outer(d, d) / ((w[j] + w[j + 1]) / 2) / bend
    return H, np.diag(1 / w**2) / 3 / size, bent


def curve_variance(grade, bend, size):
    H, sized, bent = curve_parts(grade, bend, size)
    return H @ np.linalg.inv(sized + bent) @ H.T


def dense_slopes(problem, logs):
    """dV / d log variance of every parameter, exact."""
    V, _ = dense_parts(problem, logs)
    found = []
    for k, name in enumerate(problem.layout.names):
        if name == "grade bend":
            grade = problem.sheet.frame["grade"].to_numpy()
            H, sized, bent = curve_parts(grade, np.exp(logs[k]), 9 * problem.sheet.y.var())
            inverse = np.linalg.inv(sized + bent)
            found.append(H @ inverse @ bent @ inverse @ H.T)
        else:
            # V is linear in every other variance v, so v dV/dv is what doubling v adds.
            twice = logs.copy()
            twice[k] += np.log(2.0)
            found.append(dense_parts(problem, twice)[0] - V)
    return found


def dense_criterion(problem, logs):
    V, X = dense_parts(problem, logs)
    y, n = problem.y, len(problem.y)
    inverse = np.linalg.inv(V)
    A = X.T @ inverse @ X
    P = inverse - inverse @ X @ np.linalg.solve(A, X.T @ inverse)
    value = np.linalg.slogdet(V)[1] + y @ P @ y
    if problem.ml:
        return value + n * np.log(2 * np.pi)
    return value + np.linalg.slogdet(A)[1] + (n - 1) * np.log(2 * np.pi)


@pytest.fixture(params=["reml", "ml"])
def problem(request):
    spec = replace(SPEC, criterion=request.param)
    return make_problem(spec, read_table(small_table(), spec))


@pytest.fixture
def logs(problem):
    return first_logs(problem) + np.random.default_rng(1).normal(0, 0.5, len(problem.layout.names))


def test_criterion_equals_the_dense_formula(problem, logs):
    assert evaluate(problem, logs, Search()).criterion == pytest.approx(dense_criterion(problem, logs), rel=1e-9)


def test_gradient_equals_the_dense_formula(problem, logs):
    """tr(P dV) - y'P dV P y; under maximum likelihood the trace is of V^-1 dV.

    Source: Searle, Casella & McCulloch 1992, section 6.6 (from memory), held to differences in the test below.
    """
    V, X = dense_parts(problem, logs)
    inverse = np.linalg.inv(V)
    P = inverse - inverse @ X @ np.linalg.solve(X.T @ inverse @ X, X.T @ inverse)
    trace, Py = (inverse if problem.ml else P), P @ problem.y
    expected = [float((trace * dV).sum() - Py @ dV @ Py) for dV in dense_slopes(problem, logs)]
    found = slope(problem, evaluate(problem, logs, Search())).gradient
    assert found == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_gradient_equals_differences_of_the_dense_formula(problem, logs):
    found = slope(problem, evaluate(problem, logs, Search())).gradient
    h = 1e-4
    for k in range(len(logs)):
        step = np.zeros(len(logs))
        step[k] = h
        wide = (dense_criterion(problem, logs + step) - dense_criterion(problem, logs - step)) / (2 * h)
        close = (dense_criterion(problem, logs + step / 2) - dense_criterion(problem, logs - step / 2)) / h
        # Richardson: the differences' own error falls to h^4.
        assert found[k] == pytest.approx((4 * close - wide) / 3, abs=2e-6), problem.layout.names[k]


def test_variances_of_rows_equal_the_dense_formula(problem, logs):
    V, X = dense_parts(problem, logs)
    point = evaluate(problem, logs, Search())
    cov = covariance(problem.forest, point.factor, known_flat=False)
    rows = gaps(problem.forest, point.factor, cov, point.prior).rows
    noise = problem.scale(logs) ** 2
    inverse = np.linalg.inv(V)
    A = X.T @ inverse @ X
    P = inverse - inverse @ X @ np.linalg.solve(A, X.T @ inverse)
    # Var(x'b | y) of a row's linear predictor is R - R P R on the diagonal.
    assert rows == pytest.approx(noise - noise**2 * np.diag(P), rel=1e-9)
    assert point.mode.eta == pytest.approx(problem.y - noise * (P @ problem.y), rel=1e-9)


@pytest.mark.parametrize("kinds", [("sale",), ("sale", "below", "above")])
def test_student_gradient_equals_differences_of_its_own_criterion(kinds):
    rng = np.random.default_rng(3)
    table = small_table(2).with_columns(pl.Series("kind", rng.choice(kinds, ROWS)))
    spec = replace(SPEC, tails="student", kind="kind")
    problem = make_problem(spec, read_table(table, spec))
    logs = first_logs(problem)
    search = Search(tolerance=1e-11)
    point = evaluate(problem, logs, search)
    share = point.information * problem.scale(logs) ** 2
    found = slope(problem, point).gradient
    for k in range(len(logs)):
        step = np.zeros(len(logs))
        step[k] = 1e-3
        warm = Search(start=point.mode.eta, tolerance=1e-11)
        up, down = (evaluate(problem, logs + s * step, warm, share).criterion for s in (1, -1))
        assert found[k] == pytest.approx((up - down) / 2e-3, abs=2e-3), problem.layout.names[k]
