"""Second derivatives of the criterion, nearly: average information, with the noise's own parameters beside it.

Source: Gilmour, Thompson & Cullis 1995.
Reads: a point of the search. Gives: one matrix. Not here: the sums over rows (curvature.py), the search (search.py).
"""

from __future__ import annotations

import numpy as np

from hangtab.worth.arrays import Floats, Split
from hangtab.worth.curvature import Variates, curvature_part
from hangtab.worth.forest import add_up, solve_root
from hangtab.worth.parts import RightShare
from hangtab.worth.problem import Problem
from hangtab.worth.sheet import SALE
from hangtab.worth.tails import expected_share, freedom_information, freedom_slope
from hangtab.worth.threads import side_by_side
from hangtab.worth.variances import Point, learned_parts

LEAST_TOLD = 0.02


def average_information(problem: Problem, point: Point) -> Floats:
    """Average-information matrix of the parameters (second derivatives of the criterion, nearly)."""
    out, forest, solution = problem.layout, problem.forest, point.mode.solution
    H = np.zeros((len(out.names), len(out.names)))
    z, extra = _scale_variates(problem, point)
    line, rest = _column_variates(problem, point)

    def work(part: int) -> tuple[Floats, RightShare]:
        span = forest.spans[part]
        K = np.repeat(rest[None, : forest.T], len(span.blocks), axis=0)
        if out.line >= 0:
            K[:, :, 0] = line[span.blocks]
        effects = tuple(e[at, 0] for e, at in zip(solution.effects, span.nodes, strict=True))
        columns = Split(K, rest[forest.T :])
        own = Variates(effects, columns, z[span.rows], problem.klass[span.rows], len(out.classes))
        return curvature_part(forest.parts[part], point.factor.folded.parts[part], point.information[span.rows], own)

    found = side_by_side(work, forest.threads, range(len(forest.parts)))
    _, explained = solve_root(forest, point.factor, *add_up(forest, [share for _, share in found]))
    end, classes = out.first_class + len(out.classes), len(out.classes)
    lacking = np.bincount(problem.klass, weights=extra, minlength=classes)
    squares, lacking = forest.together.total("curvature", sum(h for h, _ in found), lacking)
    H[:end, :end] = squares - explained
    at = out.first_class + np.arange(classes)
    H[at, at] += lacking
    if out.freedom >= 0:
        a = out.first_class
        cross, own = _freedom_bends(problem, point)
        H[out.freedom, a : a + len(out.classes)] = H[a : a + len(out.classes), out.freedom] = cross
        H[out.freedom, out.freedom] = own
    return H


def _column_variates(problem: Problem, point: Point) -> tuple[Floats, Floats]:
    """Variates of walks and border parts: own walks (blocks, T); by column (q, walks and parts), own walks empty."""
    out, forest, solution = problem.layout, problem.forest, point.mode.solution
    b, T = solution.columns.B[:, 0], forest.T
    rest = np.zeros((forest.width, out.first_class - out.levels))
    if out.market >= 0:
        rest[:T, out.market - out.levels] = solution.g[:T, 0]
    for k, (at, piece, prec) in enumerate(learned_parts(problem, point)):
        rest[T + at, out.first_border + k - out.levels] = np.linalg.solve(prec, piece @ b[at])
    return solution.line[:, :, 0], rest


def _freedom_bends(problem: Problem, point: Point) -> tuple[Floats, float]:
    """Second derivatives of the criterion in log nu: with each class's log variance, and its own."""
    nu, scale, eta = problem.freedom(point.logs), problem.scale(point.logs), point.mode.eta
    sale = problem.kind == SALE
    u2 = ((problem.y - eta) / scale) ** 2
    cross = np.where(sale, -nu * u2 * (u2 - 1.0) / (nu + u2) ** 2, 0.0)
    h = 1e-3
    up, down = (freedom_slope(problem.y, problem.kind, eta, scale, nu * np.exp(s)) for s in (h, -h))
    by_class = np.bincount(problem.klass, weights=cross, minlength=len(problem.layout.classes))
    slope_of, sales = (up - down) / (2 * h), float(sale.sum())
    by_class, slope_of, sales = problem.forest.together.total("freedom bends", by_class, slope_of, sales)
    return by_class, max(slope_of, 0.2 * freedom_information(nu) * sales)


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
