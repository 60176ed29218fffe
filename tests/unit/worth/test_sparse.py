"""The sparse route against dense algebra, against another solver, and as the independent check of the forest."""

# ruff: noqa: N803, N806 - matrices keep the capitals of the papers they come from

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
import qdldl
import scipy.sparse as sp
from threadpoolctl import threadpool_limits

from hangtab.worth import Curve, Spec, factoring, paths, planting, sparse, spread
from hangtab.worth.factoring import factor, make_pattern, solve
from hangtab.worth.fitting import first_logs
from hangtab.worth.forest import carry, close, fitted_values, fold
from hangtab.worth.forest import solve as forest_solve
from hangtab.worth.ordering import elimination_order
from hangtab.worth.problem import make_problem
from hangtab.worth.sheet import read_table
from hangtab.worth.takahashi import entries, known, selected_inverse

ROWS = 400


@pytest.fixture(autouse=True)
def one_thread():
    """As inside a fit: two BLAS threads make small matrices many times slower on busy cores."""
    with threadpool_limits(1, user_api="blas"):
        yield


def scattered(seed: int) -> np.ndarray:
    """A positive definite matrix with few entries."""
    rng = np.random.default_rng(seed)
    N = int(rng.integers(1, 90))
    B = sp.random_array((N, N), density=float(rng.choice([0.01, 0.03, 0.1])), rng=rng)
    return (B @ B.T + sp.eye_array(N)).toarray()


def factored(A: np.ndarray) -> factoring.Factored:
    pattern = make_pattern(sp.csc_array(A))
    column = np.repeat(np.arange(len(A)), np.diff(pattern.ptr))
    return factor(pattern, A[pattern.order[pattern.idx], pattern.order[column]])


@pytest.fixture(params=["as chosen", "all sparse", "half", "all dense"])
def split(request, monkeypatch):
    """Where the dense part begins must not matter."""
    chosen = {"all sparse": len, "half": lambda count: len(count) // 2, "all dense": lambda count: 0}
    if request.param in chosen:
        monkeypatch.setattr(factoring, "_head", chosen[request.param])


@pytest.mark.parametrize("seed", range(12))
def test_factor_and_selected_inverse_equal_the_dense_ones(split, seed):
    A = scattered(seed)
    found = factored(A)
    assert found.logdet == pytest.approx(np.linalg.slogdet(A)[1], abs=1e-10)
    right = np.random.default_rng(seed).normal(size=(len(A), 3))
    assert solve(found, right) == pytest.approx(np.linalg.solve(A, right), rel=1e-10, abs=1e-10)
    row, col = np.indices(A.shape).reshape(2, -1)
    Z = entries(selected_inverse(found), row, col)
    on = known(Z)
    assert on[A[row, col] != 0.0].all()
    assert Z[on] == pytest.approx(np.linalg.inv(A)[row, col][on], abs=1e-10)


def arrowhead(n: int) -> np.ndarray:
    A = np.diag(np.full(n, float(n)))
    A[0], A[:, 0] = 1.0, 1.0
    A[0, 0] = 2.0 * n
    return A


def test_a_column_that_touches_all_others_is_eliminated_late(monkeypatch):
    # By hand: eliminated first it would fill the whole matrix; late, the factor holds one entry a column.
    monkeypatch.setattr(factoring, "_head", len)
    assert len(factored(arrowhead(300)).pattern.rows) == 299


def test_an_order_is_a_permutation_and_the_same_again():
    A = scattered(7)
    off = sp.csc_array(A - np.diag(np.diag(A)))
    first, again = (elimination_order(off.indptr.astype(np.int64), off.indices.astype(np.int64)) for _ in range(2))
    assert sorted(first) == list(range(len(A)))
    assert first.tolist() == again.tolist()


def grid_laplacian(side: int) -> sp.csc_array:
    path = sp.diags_array([2.0 * np.ones(side), -np.ones(side - 1), -np.ones(side - 1)], offsets=[0, 1, -1])
    eye = sp.eye_array(side)
    return sp.csc_array(sp.kron(path, eye) + sp.kron(eye, path) + 0.1 * sp.eye_array(side * side))


def test_factor_equals_that_of_another_solver_and_is_as_small(monkeypatch):
    """qdldl orders by its own approximate minimum degree and factors by its own code."""
    monkeypatch.setattr(factoring, "_head", len)
    A = grid_laplacian(40)
    other = qdldl.Solver(sp.csc_matrix(sp.triu(A)), upper=True)
    L, d, _ = other.factors()
    found = factored(A.toarray())
    assert found.logdet == pytest.approx(float(np.log(d).sum()), rel=1e-12)
    right = np.random.default_rng(0).normal(size=A.shape[0])
    assert solve(found, right[:, None])[:, 0] == pytest.approx(other.solve(right), rel=1e-9)
    assert len(found.pattern.rows) < 1.25 * L.nnz


@pytest.mark.parametrize("where", ["first", "last"])
def test_a_matrix_that_is_not_positive_definite_is_refused(split, where):
    A = scattered(3)
    at = 0 if where == "first" else -1
    A[at, at] = -1.0
    with pytest.raises(np.linalg.LinAlgError):
        factored(A)


def table(seed: int = 0) -> pl.DataFrame:
    """Sales with nested and crossed effects, some names and dates missing."""
    rng = np.random.default_rng(seed)
    line, release, variant = rng.integers(0, 4, ROWS), rng.integers(0, 4, ROWS), rng.integers(0, 3, ROWS)
    month, undated = rng.integers(0, 14, ROWS), rng.random(ROWS) < 0.05
    y = rng.normal(size=ROWS) * 0.4 + 0.5 * line + rng.normal(size=16)[line * 4 + release]
    return pl.DataFrame(
        {
            "price": np.exp(3 + y),
            "line": [None if rng.random() < 0.02 else f"l{v}" for v in line],
            "release": [None if rng.random() < 0.03 else f"r{v}" for v in release],
            "variant": [f"v{v}" for v in variant],
            "venue": rng.choice(["a", "b", "c", "d"], ROWS),
            "seller": [f"s{v}" for v in rng.integers(0, 60, ROWS)],
            "form": rng.choice(["carded", "loose"], ROWS),
            "grade": rng.integers(20, 100, ROWS).astype(float),
            "doors": rng.normal(size=ROWS),
            "sold": [None if u else dt.date(2020 + m // 12, 1 + m % 12, 3) for m, u in
                     zip(month.tolist(), undated, strict=True)],
        }
    )  # fmt: skip


SPEC = Spec(
    price="price",
    when="sold",
    groups=("line", "line/release", "line/release/variant", "seller"),
    factors=("venue", "form"),
    numbers=("doors",),
    curves={"grade": Curve("free", knots=4)},
    walks=("market", "line"),
    spread_by=("form",),
    tails="normal",
    priors={"venue": "flat"},
)
SPECS = {
    "everything": SPEC,
    "everything in parts": SPEC,
    "no walks": replace(SPEC, walks=()),
    "a market walk": replace(SPEC, walks=("market",)),
    "no chain": replace(SPEC, groups=("seller", "venue"), factors=(), priors={}, walks=("market",)),
    "one level": replace(SPEC, groups=("line",), walks=("line",)),
}


@pytest.fixture(params=list(SPECS))
def problem(request, monkeypatch):
    spec, parts = SPECS[request.param], request.param.endswith("in parts")
    if parts:
        monkeypatch.setattr(planting, "LEAST_ROWS", 40)
    made = make_problem(spec, read_table(table(), spec))
    assert (len(made.forest.parts) > 1) == parts
    return made


@pytest.fixture(params=["no column held", "a column held"])
def pair(request, problem):
    """Forest and sparse equations under the same uneven weights and variances."""
    rng = np.random.default_rng(1)
    held = np.zeros(problem.forest.p, bool)
    held[0] = request.param == "a column held"
    prior = problem.prior(first_logs(problem) + rng.normal(0, 0.7, len(problem.layout.names)), held)
    omega = rng.uniform(0.2, 5.0, ROWS)
    equations = sparse.make_equations(problem.forest, sp.coo_array(prior.border))
    return close(problem.forest, fold(problem.forest, omega, prior), prior), sparse.eliminate(equations, omega, prior)


def test_the_forest_solves_the_sparse_equations(problem, pair):
    factor_, system = pair
    zeta = np.random.default_rng(2).normal(size=(ROWS, 2))
    expected = forest_solve(problem.forest, factor_, carry(problem.forest, factor_.folded, zeta))
    found = sparse.solution(system, zeta)
    assert factor_.logdet_all == pytest.approx(system.logdet_all, rel=1e-9)
    assert factor_.logdet == pytest.approx(system.logdet, rel=1e-9)
    near = {"rel": 1e-9, "abs": 1e-9}
    assert expected.explained == pytest.approx(found.explained, **near)
    assert fitted_values(problem.forest, expected) == pytest.approx(fitted_values(problem.forest, found), **near)
    for part in ("g", "line"):
        assert getattr(expected, part) == pytest.approx(getattr(found, part), **near), part
    for theirs, ours in zip(expected.effects, found.effects, strict=True):
        assert theirs == pytest.approx(ours, **near)


@pytest.mark.parametrize("known_flat", [False, True])
def test_the_forest_has_the_sparse_covariances(problem, pair, known_flat):
    factor_, system = pair
    cov = spread.covariance(problem.forest, factor_, known_flat=known_flat)
    expected = spread.gaps(problem.forest, factor_, cov, system.prior)
    found = sparse.gaps(system, known_flat=known_flat)
    near = {"rel": 1e-9, "abs": 1e-9}
    assert expected.levels == pytest.approx(found.levels, **near)
    assert expected.line == pytest.approx(found.line, **near)
    assert expected.market == pytest.approx(found.market, **near)
    assert expected.rows == pytest.approx(found.rows, **near)
    row, col = np.nonzero(system.prior.border)
    start = system.equations.columns.border
    ours = sparse.covariances(system, row + start, col + start, known_flat=known_flat)
    at_random = row < problem.forest.p - problem.forest.flat
    assert cov.columns.B[row, col][at_random] == pytest.approx(ours[at_random], **near)


def test_variances_of_combinations_off_the_pattern_equal_the_dense_ones(problem, pair):
    _, system = pair
    N, rng = system.equations.columns.N, np.random.default_rng(5)
    free = np.ones(N)
    free[system.equations.columns.border :][system.prior.held] = 0.0
    X = sp.csr_array(sp.random_array((80, N), density=4.0 / N, rng=rng) @ sp.diags_array(free))
    rows = sparse.Sparse(X.indptr.astype(np.int64), X.indices.astype(np.int64), X.data)
    every = sparse.leaning(system, sp.eye_array(N, format="csr"))
    assert sparse.variances(system, rows) == pytest.approx(np.diag(X @ every @ X.T), rel=1e-9, abs=1e-12)


def new_rows(problem):
    """Some rows of the table, some of them with a name that nobody has seen."""
    frame = problem.sheet.frame[::37]
    strangers = {"line": [None, "new"], "release": ["r1", "r1", "new"], "seller": ["s1", "s2", "s3", "new"]}
    for name in strangers.keys() & set(frame.columns):
        seen = frame[name].to_list()[len(strangers[name]) :]
        frame = frame.with_columns(pl.Series(name, [*strangers[name], *seen]))
    forest, nodes = problem.forest, problem.chain.find(frame)
    knot = np.where(problem.knot[::37] >= 0, np.arange(len(frame)) % max(forest.T, 1), -1)
    rows, _ = problem.border.rows(frame, knot, forest.T)
    block = np.zeros(len(frame), np.int64)
    if problem.layout.line >= 0:
        block = np.where(nodes[:, 0] >= 0, forest.levels[0].block[nodes[:, 0]], len(forest.walked))
    return paths.Targets(rows, block, nodes)


def test_the_forest_answers_for_new_rows_as_the_sparse_equations_do(problem, pair):
    factor_, system = pair
    post, targets = paths.make_posterior(problem.forest, factor_), new_rows(problem)
    rows = sparse.target_rows(system, targets.rows, targets.block, targets.nodes)
    X = sparse.as_matrix(rows, system.equations.columns.N)
    with_all = sparse.leaning(system, X)
    reached = paths.reach(post, targets)
    near = {"rel": 1e-9, "abs": 1e-9}
    assert paths.variances(post, reached) == pytest.approx(sparse.variances(system, rows), **near)
    assert paths.joint(post, reached) == pytest.approx(X @ with_all, **near)
    one = paths.Targets(paths.take_rows(targets.rows, np.array([5])), targets.block[[5]], targets.nodes[[5]])
    reached = paths.reach(post, one)
    sales = sparse.as_matrix(system.rows, system.equations.columns.N) @ with_all[:, 5]
    assert paths.rows_with_target(post, reached, paths.lean(post, reached)) == pytest.approx(sales, **near)
