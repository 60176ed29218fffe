"""Second derivatives of the criterion, nearly: average information, with the noise's own parameters beside it.

Source: Gilmour, Thompson & Cullis 1995.
Reads: a point of the search. Gives: one matrix. Not here: the sums over rows (curvature.py), the search (search.py).
"""

from __future__ import annotations

import numpy as np

from hangtab.worth import kernels, sparse
from hangtab.worth.arrays import Floats, Split
from hangtab.worth.curvature import Variates, curvature_part
from hangtab.worth.forest import Factor as NestedFactor
from hangtab.worth.forest import add_up, solve_root
from hangtab.worth.parts import RightShare
from hangtab.worth.precisions import answer
from hangtab.worth.problem import Problem
from hangtab.worth.sheet import SALE
from hangtab.worth.sparse import System
from hangtab.worth.tails import expected_share, freedom_information, freedom_slope
from hangtab.worth.threads import side_by_side
from hangtab.worth.usual import disbelief
from hangtab.worth.variances import Point, learned_parts

LEAST_TOLD = 0.02
# Of the expected second derivative in log nu, at least so much is taken: far from its end the criterion bends back.
LEAST_BENT = 0.05


def average_information(problem: Problem, point: Point) -> Floats:
    """Average-information matrix of the parameters (second derivatives of the criterion, nearly)."""
    out, classes = problem.layout, len(problem.layout.classes)
    z, extra = _scale_variates(problem, point)
    rows = z, _freedom_variate(problem, point) if out.freedom >= 0 else None
    lacking = np.bincount(problem.klass, weights=extra, minlength=classes).astype(float)
    if isinstance(point.factor, System):
        squares, explained = _of_rows(problem, point, point.factor, rows)
    else:
        squares, explained, lacking = _of_parts(problem, point, point.factor, (rows, lacking))
    H = squares - explained
    if out.freedom >= 0:
        _bend_freedom(problem, point, H, (squares, explained))
    at = out.first_class + np.arange(classes)
    H[at, at] += lacking
    return np.asarray(H + np.diag(disbelief(problem, point.logs)[2]))


OfRows = tuple[Floats, Floats | None]


def _of_rows(problem: Problem, point: Point, system: System, rows: OfRows) -> tuple[Floats, Floats]:
    """F'W F and F'W X C X'W F with the variates F (rows, m) written out: the sparse road's."""
    forest, (z, freedom) = problem.forest, rows
    line, rest = _column_variates(problem, point)
    K = np.repeat(rest[None, : forest.T], len(forest.walked), axis=0)
    if problem.layout.line >= 0:
        K[:, :, 0] = line
    effects = tuple(e[at, 0] for e, at in zip(point.mode.solution.effects, problem.nodes.T, strict=True))
    columns = Split(K, rest[forest.T :])
    own = Variates(effects, columns, z, problem.klass, len(problem.layout.classes), freedom)
    F = np.column_stack([*effects, kernels.times(forest.rows, forest.block, columns), own.by_row])
    weighted = point.information[:, None] * F
    return F.T @ weighted, sparse.solution(system, weighted).explained


def _of_parts(
    problem: Problem, point: Point, factor: NestedFactor, noise: tuple[OfRows, Floats]
) -> tuple[Floats, Floats, Floats]:
    """The same by the forest, without ever making F, and what the noise's variates lack, over all places."""
    (z, z_freedom), lacking = noise
    out, forest, solution = problem.layout, problem.forest, point.mode.solution
    line, rest = _column_variates(problem, point)

    def work(part: int) -> tuple[Floats, RightShare]:
        span = forest.spans[part]
        K = np.repeat(rest[None, : forest.T], len(span.blocks), axis=0)
        if out.line >= 0:
            K[:, :, 0] = line[span.blocks]
        effects = tuple(e[at, 0] for e, at in zip(solution.effects, span.nodes, strict=True))
        columns, rows = Split(K, rest[forest.T :]), span.rows
        freedom = None if z_freedom is None else z_freedom[rows]
        own = Variates(effects, columns, z[rows], problem.klass[rows], len(out.classes), freedom)
        return curvature_part(forest.parts[part], factor.folded.parts[part], point.information[rows], own)

    found = side_by_side(work, forest.threads, range(len(forest.parts)), sizes=forest.sizes)
    _, explained = solve_root(forest, factor, *add_up(forest, [share for _, share in found]))
    squares, lacking = forest.together.total("curvature", sum(h for h, _ in found), lacking)
    return squares, explained, lacking


def _column_variates(problem: Problem, point: Point) -> tuple[Floats, Floats]:
    """Variates of walks and border parts: own walks (blocks, T); by column (q, walks and parts), own walks empty."""
    out, forest, solution = problem.layout, problem.forest, point.mode.solution
    b, T = solution.columns.B[:, 0], forest.T
    rest = np.zeros((forest.width, out.first_class - out.levels))
    if out.market >= 0:
        rest[:T, out.market - out.levels] = solution.g[:T, 0]
    for k, (at, piece, prec) in enumerate(learned_parts(problem, point)):
        rest[T + at, out.first_border + k - out.levels] = answer(prec, piece @ b[at])
    return solution.line[:, :, 0], rest


def _freedom_variate(problem: Problem, point: Point) -> Floats:
    """Working variate of log nu per row: minus d(slope)/d(log nu) over the information; bounds have none."""
    nu, r = problem.freedom(point.logs), problem.y - point.mode.eta
    u2 = (r / problem.scale(point.logs)) ** 2
    z = -nu * r * (u2 - 1.0) * (nu + 3) / ((nu + 1) * (nu + u2) ** 2)
    return np.where(problem.kind == SALE, z, 0.0)


def _bend_freedom(problem: Problem, point: Point, H: Floats, of: tuple[Floats, Floats]) -> None:
    """Overwrite the row of log nu by second derivatives of the criterion. of: squares of all variates, those explained.

    The criterion is a fit plus a log determinant. The fit's derivatives are exact: what the rows say for themselves,
    less twice what the effects take up. The determinant knows nu by the information alone, (nu+1)/(nu+3)/scale^2, so
    it bends as it does in the residual variance of the sales, times `lean`; there it is taken as it comes out on
    average for the variates at hand.
    """
    squares, explained = of
    out, nu = problem.layout, problem.freedom(point.logs)
    cross, own, rows, lever = _freedom_bends(problem, point)
    lean = 2.0 * nu / ((nu + 1) * (nu + 3))
    at, f = out.first_class + np.arange(len(out.classes)), out.freedom
    unexplained = squares[at, at]
    share = np.divide(explained[at, at], unexplained, out=np.zeros(len(at)), where=unexplained > 0)
    left = rows - lever
    H[f, : out.first_class] = 2.0 * H[f, : out.first_class] + lean * H[at, : out.first_class].sum(axis=0)
    H[f, at] = cross - 2.0 * explained[f, at] - lean * share * left
    H[f, f] = own - 2.0 * explained[f, f] + lean**2 * float(share @ left)
    H[f, f] += float(lever.sum()) * lean * (1.0 - nu / (nu + 1) - nu / (nu + 3))
    H[f, f] = max(H[f, f], LEAST_BENT * freedom_information(nu) * float(rows.sum()))
    H[:f, f] = H[f, :f]


def _freedom_bends(problem: Problem, point: Point) -> tuple[Floats, float, Floats, Floats]:
    """Second derivatives of what rows say in log nu: with each class's log variance, and its own; sales and lever.

    The lever, the sales' effective number of effects by class, is what their squares lack of one each: so it is where
    the criterion is level in the residual variances.
    """
    nu, scale, eta = problem.freedom(point.logs), problem.scale(point.logs), point.mode.eta
    sale, h = problem.kind == SALE, 1e-3
    u2 = ((problem.y - eta) / scale) ** 2
    cross = np.where(sale, -nu * u2 * (u2 - 1.0) / (nu + u2) ** 2, 0.0)
    up, down = (freedom_slope(problem.y, problem.kind, eta, scale, nu * np.exp(s)) for s in (h, -h))
    lack = np.where(sale, point.mode.said.scale_slope, 0.0)
    sums = (np.bincount(problem.klass, x, minlength=len(problem.layout.classes)) for x in (cross, sale, lack))
    by_class, rows, lack, own = problem.forest.together.total("freedom bends", *sums, (up - down) / (2 * h))
    return by_class, own, rows, np.clip(lack, 0.0, rows)


def _scale_variates(problem: Problem, point: Point) -> tuple[Floats, Floats]:
    """Working variate of the log residual variance per row, and what it lacks of the row's second derivative.

    The variate is minus d(slope)/d(log variance) over the information: for normal sales the residual, as in average
    information. What it lacks is the rest of the row's exact second derivative.
    """
    said, scale, nu = point.mode.said, problem.scale(point.logs), problem.freedom(point.logs)
    r = problem.y - point.mode.eta
    z, lacks = r, np.zeros(len(r))
    if np.isfinite(nu):
        u2 = (r / scale) ** 2
        core = nu / (nu + u2) ** 2
        z = r * (nu + 3) * core
        lacks = (nu + 1) * core * u2 - expected_share(nu) * (z / scale) ** 2
    bound = problem.kind != SALE
    if not bound.any():
        return z, lacks
    m = np.abs(said.slope) * scale
    u = np.divide(said.scale_slope, m, out=np.zeros(len(m)), where=m > 0)
    q = m - u * said.bend * scale**2
    # A bound that says next to nothing has no variate of its own: its own second derivative is enough.
    telling = point.information * scale**2 > LEAST_TOLD
    f = np.divide(np.sign(said.slope) * q, 2.0 * scale * point.information, out=np.zeros(len(m)), where=telling)
    extra = np.where(telling, -0.5 * u * q - point.information * f * f, np.maximum(-0.5 * u * q, 0.0))
    return np.where(bound, f, z), np.where(bound, extra, lacks)
