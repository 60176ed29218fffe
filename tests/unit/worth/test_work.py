"""How much work a fit takes, counted instead of timed; and that threads change nothing."""

# ruff: noqa: N806 - matrices keep the capitals of the papers they come from

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hangtab.worth import Spec, fit, forest, planting
from hangtab.worth.fitting import first_logs
from hangtab.worth.information import average_information
from hangtab.worth.mode import Search, find_mode
from hangtab.worth.problem import make_problem
from hangtab.worth.sheet import read_table
from hangtab.worth.variances import evaluate, slope
from hangtab.worth.walks import fold_walks, step_precision
from tests.unit.worth.world import SPEC, market

PLAIN = replace(SPEC, tails="normal", curves={}, kind=None, wider=None)


@pytest.fixture(scope="module")
def sales():
    return market(900, bounds=0.0)


@pytest.fixture
def folds(monkeypatch):
    """The weights of every elimination of a part."""
    seen = []
    real = forest.fold_part

    def counted(part, omega, theta):
        seen.append(omega)
        return real(part, omega, theta)

    monkeypatch.setattr(forest, "fold_part", counted)
    return seen


@pytest.fixture
def cut(monkeypatch):
    """Small tables are cut into parts too."""
    monkeypatch.setattr(planting, "LEAST_ROWS", 50)


def test_a_plain_fit_folds_once_an_iteration(sales, folds):
    fitted = fit(sales, PLAIN)
    assert len(folds) == fitted.report.iterations + 1


def test_rows_of_equal_weight_are_passed_once(sales, monkeypatch):
    from hangtab.worth import parts  # noqa: PLC0415 - the module whose door is counted

    passed, real = [], parts.sum_rows

    def counted(part, omega):
        passed.append(len(omega))
        return real(part, omega)

    monkeypatch.setattr(parts, "sum_rows", counted)
    fit(sales, PLAIN)
    assert sum(passed) == len(sales)


def test_a_search_eliminates_less_often_than_it_steps(folds):
    """Steps whose weights stand still take the elimination of the step before."""
    problem = make_problem(SPEC, read_table(market(900), SPEC))
    held = np.zeros(problem.forest.p, bool)
    mode = find_mode(problem, first_logs(problem), Search(held=held, closing=False))
    assert mode.settled
    assert len(folds) < mode.steps


@pytest.mark.usefixtures("cut")
def test_threads_change_no_bit(sales):
    one, two = (fit(sales, replace(SPEC, kind=None), threads=n) for n in (1, 2))
    assert one.components == two.components
    assert one.report.criterion == two.report.criterion
    rows = sales.head(30)
    assert one.predict(rows).equals(two.predict(rows))
    row = sales.row(3, named=True)
    assert one.comparables(row).sales.equals(two.comparables(row).sales)


@pytest.mark.parametrize("walks", [(), ("market",), ("market", "line")])
def test_parts_add_up_to_the_whole(sales, walks, monkeypatch):
    spec = replace(PLAIN, walks=walks)
    sheet = read_table(sales, spec)
    found = []
    for least in (50, 10_000):
        monkeypatch.setattr(planting, "LEAST_ROWS", least)
        problem = make_problem(spec, sheet)
        point = evaluate(problem, first_logs(problem), Search())
        found.append((len(problem.forest.parts), point.criterion, slope(problem, point).gradient, point.mode.eta))
    (many, criterion, gradient, eta), (one, *whole) = found
    assert many > one == 1
    assert criterion == pytest.approx(whole[0], rel=1e-12)
    assert gradient == pytest.approx(whole[1], rel=1e-9, abs=1e-9)
    assert eta == pytest.approx(whole[2], rel=1e-11)


@pytest.mark.usefixtures("cut")
def test_parts_follow_the_table_alone(sales):
    """The order of the caller's rows cuts no other parts."""
    cuts = []
    for table in (sales, sales.sample(fraction=1.0, shuffle=True, seed=1)):
        problem = make_problem(PLAIN, read_table(table, PLAIN))
        cuts.append([span.rows for span in problem.forest.spans])
    assert cuts[0] == cuts[1]
    assert len(cuts[0]) > 1


def test_one_part_without_a_chain(sales):
    spec = Spec(price="price", factors=("venue",))
    assert len(make_problem(spec, read_table(sales, spec)).forest.parts) == 1


@pytest.mark.parametrize("line", [1e-8, 1e-4, 1.0, 1e3])
def test_a_walk_leaves_what_the_plain_formula_leaves(line):
    """Schur complement M - M (M + P)^-1 M, by its definition, where that has digits left."""
    rng = np.random.default_rng(0)
    X = rng.normal(size=(60, 15))
    whole = X.T @ X
    S = forest.Split(np.triu(whole)[None, :12].copy(), np.triu(whole[12:, 12:]))
    M, N, P = whole[:12, :12], whole[:12, 12:], step_precision(12) / line
    _, G, logdet = fold_walks(S, np.array([True]), line)
    inverse = np.linalg.inv(M + P)
    # For walks of great variance both sides are small differences of great ones.
    assert G[:12, :12] == pytest.approx(M @ inverse @ P, rel=1e-7, abs=1e-9)
    assert G[:12, 12:] == pytest.approx(N - M @ inverse @ N, abs=1e-9)
    assert G[12:, 12:] == pytest.approx(whole[12:, 12:] - N.T @ inverse @ N, rel=1e-9)
    assert logdet == pytest.approx(np.linalg.slogdet(M + P)[1] + 12 * np.log(line), rel=1e-9)


def test_a_nan_is_not_lost(sales):
    """No compiled loop may take an unknown number for a known one."""
    problem = make_problem(PLAIN, read_table(sales, PLAIN))
    prior = problem.prior(first_logs(problem), np.zeros(problem.forest.p, bool))
    folded = forest.fold(problem.forest, np.ones(len(sales)), prior)
    zeta = np.ones((len(sales), 1))
    zeta[7] = np.nan
    assert np.isnan(forest.carry(problem.forest, folded, zeta).g).any()


def test_the_freedoms_second_derivatives_are_those_of_the_gradient():
    """Against differences of the exact gradient, at the end of a search."""
    spec = replace(PLAIN, tails="student", walks=("market",))
    fitted = fit(market(1500, seed=2, bounds=0.0), spec)
    state = fitted._state
    problem, logs, f = state.problem, state.logs, state.problem.layout.freedom
    h, found = 1e-3, []
    for step in (h, -h):
        moved = logs.copy()
        moved[f] += step
        found.append(slope(problem, evaluate(problem, moved, Search(start=state.eta))).gradient)
    differences = (found[0] - found[1]) / (2 * h)
    H = average_information(problem, evaluate(problem, logs, Search(start=state.eta)))
    residual = problem.layout.first_class
    assert H[f, f] == pytest.approx(differences[f], rel=0.15)
    assert H[f, residual] == pytest.approx(differences[residual], rel=0.15)
    assert H[f] == pytest.approx(H[:, f])


def test_nearly_normal_sales_take_few_steps():
    """The degrees of freedom do not creep where the criterion is nearly flat in them."""
    rng = np.random.default_rng(5)
    piece = rng.integers(0, 150, 3000)
    price = np.exp(3 + rng.normal(0, 0.5, 150)[piece] + rng.normal(0, 0.3, 3000))
    fitted = fit({"price": price, "piece": [f"piece {p}" for p in piece]}, Spec(price="price", groups=("piece",)))
    assert fitted.report.converged
    assert fitted.report.iterations <= 20
