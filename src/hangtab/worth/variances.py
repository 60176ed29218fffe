"""The criterion that variances are chosen by, the restricted (or plain) likelihood, and its exact gradient.

The criterion is -2 log of the likelihood with effects integrated out (exact for normal noise without bounds;
with Student-t noise or bounds Laplace's approximation with expected, resp. observed, information).
Bounds' information is held while a step is tried, so that within a step the gradient is exact.
Not here: the mode (mode.py), second derivatives (information.py), the search (search.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from hangtab.worth.arrays import Floats, Ints
from hangtab.worth.forest import Prior
from hangtab.worth.mode import Mode, Search, find_mode, penalties
from hangtab.worth.precisions import share as share_of
from hangtab.worth.problem import NOTHING, Problem
from hangtab.worth.routes import Factor, Spread, close, covariance, fold, overlap
from hangtab.worth.sheet import SALE
from hangtab.worth.spread import Gaps
from hangtab.worth.tails import freedom_slope
from hangtab.worth.usual import disbelief

SLOWEST, FASTEST = 0.5, 200.0


@dataclass(frozen=True)
class Point:
    """One set of parameters, its mode, and the factor under the information weights."""

    logs: Floats
    prior: Prior
    mode: Mode
    information: Floats
    factor: Factor
    criterion: float


@dataclass(frozen=True)
class Slope:
    """Gradient by parameter, and fixed-point proposal (NaN: none)."""

    gradient: Floats
    proposal: Floats


def evaluate(problem: Problem, logs: Floats, search: Search, share: Floats | None = None) -> Point:
    """Mode and criterion at `logs`. share (rows,): bounds' information in units of 1/scale^2, None: as at the mode."""
    return at_mode(problem, logs, find_mode(problem, logs, search), share)


def at_mode(problem: Problem, logs: Floats, mode: Mode, share: Floats | None = None) -> Point:
    """Criterion at a mode already found for `logs`; share as in `evaluate`."""
    held = mode.factor.held
    prior = problem.prior(logs, held)
    information = mode.said.information
    if share is not None:
        information = np.where(problem.kind == SALE, information, share / problem.scale(logs) ** 2)
    # Normal sales inform as they weigh: one elimination serves both.
    factor, together = mode.factor, problem.forest.together
    if together.most("weights", float(not np.array_equal(information, mode.weight))):
        factor = close(problem.road, fold(problem.road, information, prior), prior)
    levels, line, market, border = penalties(problem.forest, mode.solution, prior)
    (loglik,) = together.total("likelihood", float(mode.said.loglik.sum()))
    fit = -2.0 * loglik + float(levels.sum()) + line + market + border
    if problem.ml:
        fit += factor.logdet
    else:
        fit += factor.logdet_all - problem.forest.flat * float(np.log(2 * np.pi))
    return Point(logs, prior, mode, information, factor, fit + disbelief(problem, logs)[0])


def slope(problem: Problem, point: Point) -> Slope:
    """Gradient of the criterion in the parameters."""
    out, forest, prior = problem.layout, problem.forest, point.prior
    cov = covariance(problem.road, point.factor, known_flat=problem.ml)
    alone = len(out.classes) == 1 and problem.whole.only_sales
    g = cov.gaps(prior, rows=not alone)
    levels, line, market, _ = penalties(forest, point.mode.solution, prior)
    squares, freedoms = np.full(len(out.names), np.nan), np.full(len(out.names), np.nan)
    squares[: out.levels], freedoms[: out.levels] = levels, g.levels
    if out.line >= 0:
        squares[out.line], freedoms[out.line] = line, g.line
    if out.market >= 0:
        squares[out.market], freedoms[out.market] = market, g.market
    b = point.mode.solution.columns.B[:, 0]
    for k, (at, piece, prec) in enumerate(learned_parts(problem, point)):
        j = out.first_border + k
        squares[j] = b[at] @ (piece @ b[at])
        freedoms[j] = share_of(prec, piece) - overlap(cov, at, piece)
    gradient = freedoms - squares
    with np.errstate(divide="ignore", invalid="ignore"):
        proposal = point.logs + np.log(squares / freedoms)
    lever = _levers(problem, point, cov, g, alone=alone)
    _residual_slopes(problem, point, lever, gradient, proposal)
    _, pushed, bend = disbelief(problem, point.logs)
    # A fixed point of the likelihood alone is no place to go where something is usual.
    return Slope(gradient + pushed, np.where(bend > 0.0, np.nan, proposal))


def _levers(problem: Problem, point: Point, cov: Spread, g: Gaps, *, alone: bool) -> Floats:
    """Sum of leverages by class of sales, and last over all sales, (classes + 1,).

    Where all rows are alike, it is the sum of all degrees of freedom: the trace of the hat matrix.
    """
    if alone:
        p, known = problem.forest.p, problem.forest.flat if problem.ml else 0
        free = int((~point.prior.held[: p - known]).sum())
        border = free - overlap(cov, np.arange(p), point.prior.border)
        return np.full(2, float(g.levels.sum()) + g.line + g.market + border)
    lever = point.information * g.rows
    by_class = np.bincount(problem.klass, lever, minlength=len(problem.layout.classes))
    (levers,) = problem.forest.together.total("levers", np.append(by_class, lever[problem.kind == SALE].sum()))
    return np.asarray(levers)


def _residual_slopes(problem: Problem, point: Point, lever: Floats, gradient: Floats, proposal: Floats) -> None:
    out, said, together = problem.layout, point.mode.said, problem.forest.together
    rows = np.bincount(problem.klass, minlength=len(out.classes))
    slopes = np.bincount(problem.klass, said.scale_slope, minlength=len(out.classes))
    rows, slopes = together.total("scale slopes", rows, slopes)
    for c in range(len(out.classes)):
        j = out.first_class + c
        gradient[j] = slopes[c] - lever[c]
        room = rows[c] - lever[c]
        proposal[j] = point.logs[j] + np.log(max(1.0 - gradient[j] / max(room, 0.5), 0.05))
    if out.freedom >= 0:
        nu = problem.freedom(point.logs)
        bend = nu * (1.0 / (nu + 1) - 1.0 / (nu + 3))
        scale = problem.scale(point.logs)
        own = freedom_slope(problem.y, problem.kind, point.mode.eta, scale, nu)
        gradient[out.freedom] = together.total("freedom", own)[0] + float(lever[-1]) * bend
        proposal[out.freedom] = np.nan


def learned_parts(problem: Problem, point: Point) -> list[tuple[Ints, sp.csr_array, sp.csr_array]]:
    """Free columns, own precision and whole precision of each learned border variance."""
    variances = problem.variances(point.logs)
    found = []
    for term, (a, b, parts) in zip(problem.border.terms, problem.border.pieces, strict=True):
        if term.flat:
            continue
        at = np.flatnonzero(~point.prior.held[a:b])
        whole, every = point.prior.border[a:b, a:b], len(at) == b - a
        for part in parts:
            if part.variance is None:
                K, Q = (part.K, whole) if every else (part.K[at][:, at], whole[at][:, at])
                found.append((at + a, K / variances[part.name], Q))
    return found


def limits(problem: Problem) -> tuple[Floats, Floats]:
    """Lowest and highest log of each parameter."""
    unit = problem.border.unit**2
    low = np.full(len(problem.layout.names), np.log(NOTHING * unit))
    high = np.full(len(problem.layout.names), np.log(1e4 * unit))
    if problem.layout.freedom >= 0:
        low[problem.layout.freedom], high[problem.layout.freedom] = np.log(SLOWEST), np.log(FASTEST)
    return low, high
