"""The posterior mode for given variances: EM on the rows' weights, one elimination a step.

Promises: at the mode returned, solution, weights and held columns belong together exactly: the solution is
that of the weighted problem with those weights, which is what gains and comparables rest on.
Source: Lange, Little & Taylor 1989 for the weights; bounds by Newton's weights, by EM's where that fails.
Not here: the choice of variances.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hangtab.worth.arrays import Flags, Floats
from hangtab.worth.forest import (
    Factor,
    Forest,
    Prior,
    Solution,
    border_problem,
    carry,
    close,
    fitted_values,
    fold,
    solve,
    step_precision,
)
from hangtab.worth.problem import Problem
from hangtab.worth.quadratic import bounded_minimum
from hangtab.worth.table import SALE
from hangtab.worth.tails import Pull, pull


@dataclass(frozen=True)
class Mode:
    """eta (rows,), the solution it comes from, its weights and weighted responses, what every row says there, steps taken."""

    eta: Floats
    weight: Floats
    zeta: Floats
    factor: Factor
    solution: Solution
    said: Pull
    steps: int
    settled: bool


@dataclass(frozen=True)
class Search:
    """How to search: where to start (None: the rows themselves), columns to hold (None: found), tolerance, most steps."""

    start: Floats | None = None
    held: Flags | None = None
    tolerance: float = 1e-8
    most: int = 200


def find_mode(problem: Problem, logs: Floats, search: Search) -> Mode:
    """Climb to the mode for the parameters `logs`."""
    forest = problem.forest
    scale, nu = problem.scale(logs), problem.freedom(logs)
    sale = problem.kind == SALE
    plain = bool(np.isinf(nu) and sale.all())
    bounded = problem.border.bounded
    held = search.held if search.held is not None else np.zeros(forest.p, bool)
    prior = problem.prior(logs, held)
    eta = _start(problem, search.start)
    careful, last = False, np.inf
    weight = zeta = eta
    said = pull(problem.y, problem.kind, eta, scale, nu)
    for step in range(1, search.most + 1):
        weight = said.weight if careful else np.where(sale, said.weight, np.maximum(said.information, 0.02 * said.weight))
        folded = fold(forest, weight, prior)
        zeta = weight * eta + said.slope
        folding = carry(forest, folded, zeta[:, None])
        if search.held is None and bounded.any():
            A, r = border_problem(forest, folded, folding.g[:, 0])
            _, held = bounded_minimum(A, r, bounded, held)
        factor = close(forest, folded, held)
        solution = solve(forest, factor, folding)
        new = fitted_values(forest, solution)[:, 0]
        shift = float(np.max(np.abs(new - eta) / scale))
        careful = careful or shift > 2.0 * last
        eta, last = new, shift
        said = pull(problem.y, problem.kind, eta, scale, nu)
        if plain or shift < search.tolerance:
            return Mode(eta, weight, zeta, factor, solution, said, step, settled=True)
    return Mode(eta, weight, zeta, factor, solution, said, search.most, settled=False)


def _start(problem: Problem, start: Floats | None) -> Floats:
    if start is not None:
        return start
    return np.full(len(problem.y), np.median(problem.y))


def penalties(forest: Forest, solution: Solution, prior: Prior) -> tuple[Floats, float, float, float]:
    """Sums of squares of the mode in units of its prior: per level, own walks, market walk, border."""
    levels = np.array([float((e[:, 0] ** 2).sum()) for e in solution.effects]) / prior.levels
    Q = step_precision(forest.T)
    line = sum(float(w[:, 0] @ Q @ w[:, 0]) for w in solution.line) / prior.line
    g = solution.g[: forest.T, 0]
    b = solution.columns.B[:, 0]
    return levels, line, float(g @ Q @ g) / prior.market, float(b @ prior.border @ b)
