"""The variances: average-information Newton on the restricted (or plain) likelihood.

Promises: the criterion at the mode, its exact gradient, and a search that never climbs.
The criterion is -2 log of the likelihood with effects integrated out (exact for normal noise without bounds;
with Student-t noise or bounds Laplace's approximation with expected, resp. observed, information).
Bounds' information is held while a step is tried, so that within a step the gradient is exact.
Source: Gilmour, Thompson & Cullis 1995 (average information); two fixed-point steps first.
Not here: the mode (mode.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from hangtab.worth.arrays import Flags, Floats, Ints, Split
from hangtab.worth.curvature import Variates, curvature_part
from hangtab.worth.forest import Factor, Prior, add_up, close, fold, solve_root
from hangtab.worth.mode import Mode, Search, find_mode, penalties
from hangtab.worth.parts import RightShare
from hangtab.worth.problem import NOTHING, Problem
from hangtab.worth.progress import Step
from hangtab.worth.sheet import SALE
from hangtab.worth.spread import Covariance, Gaps, covariance, gaps
from hangtab.worth.tails import expected_share, freedom_information, freedom_slope
from hangtab.worth.threads import side_by_side

SLOWEST, FASTEST = 0.5, 200.0
ENOUGH = 1e-9
# A fit that can go no lower, or has taken all its steps, still counts when less than this is promised.
GOOD = 1e-5
FIXED_POINTS = 2
BOLDEST = 2.0
LEAST_TOLD = 0.02
# Two sets of held columns can each lead to the other; after this many iterations no column comes free again.
FREE_SETS = 15


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


@dataclass(frozen=True)
class Found:
    """Where the search ended."""

    point: Point
    iterations: int
    gradient: float
    converged: bool


def evaluate(problem: Problem, logs: Floats, search: Search, share: Floats | None = None) -> Point:
    """Mode and criterion at `logs`. share (rows,): bounds' information in units of 1/scale^2, None: as at the mode."""
    mode = find_mode(problem, logs, search)
    held = mode.factor.held
    prior = problem.prior(logs, held)
    information = mode.said.information
    if share is not None:
        information = np.where(problem.kind == SALE, information, share / problem.scale(logs) ** 2)
    # Normal sales inform as they weigh: one elimination serves both.
    factor = mode.factor
    if not np.array_equal(information, mode.weight):
        factor = close(problem.forest, fold(problem.forest, information, prior), held)
    levels, line, market, border = penalties(problem.forest, mode.solution, prior)
    fit = -2.0 * float(mode.said.loglik.sum()) + float(levels.sum()) + line + market + border
    if problem.ml:
        fit += factor.logdet
    else:
        fit += factor.logdet_all - problem.forest.flat * float(np.log(2 * np.pi))
    return Point(logs, prior, mode, information, factor, fit)


def slope(problem: Problem, point: Point) -> Slope:
    """Gradient of the criterion in the parameters."""
    out, forest, prior = problem.layout, problem.forest, point.prior
    cov = covariance(forest, point.factor, known_flat=problem.ml)
    alone = len(out.classes) == 1 and bool((problem.kind == SALE).all())
    g = gaps(forest, point.factor, cov, prior, rows=not alone)
    levels, line, market, _ = penalties(forest, point.mode.solution, prior)
    squares, freedoms = np.full(len(out.names), np.nan), np.full(len(out.names), np.nan)
    squares[: out.levels], freedoms[: out.levels] = levels, g.levels
    if out.line >= 0:
        squares[out.line], freedoms[out.line] = line, g.line
    if out.market >= 0:
        squares[out.market], freedoms[out.market] = market, g.market
    b = point.mode.solution.columns.B[:, 0]
    for k, (at, piece, prec) in enumerate(_learned(problem, point)):
        j = out.first_border + k
        C = cov.columns.B[np.ix_(at, at)]
        squares[j] = b[at] @ piece @ b[at]
        freedoms[j] = float((np.linalg.solve(prec, piece)).trace() - (C * piece).sum())
    gradient = freedoms - squares
    with np.errstate(divide="ignore", invalid="ignore"):
        proposal = point.logs + np.log(squares / freedoms)
    lever = _levers(problem, point, cov, g, alone=alone)
    _residual_slopes(problem, point, lever, gradient, proposal)
    return Slope(gradient, proposal)


def _levers(problem: Problem, point: Point, cov: Covariance, g: Gaps, *, alone: bool) -> Floats:
    """Sum of leverages by class of sales, and last over all sales, (classes + 1,).

    Where all rows are alike, it is the sum of all degrees of freedom: the trace of the hat matrix.
    """
    if alone:
        kept = cov.half[problem.forest.T :, problem.forest.T :].any(axis=0)
        border = float(kept.sum()) - float((cov.border * point.prior.border).sum())
        return np.full(2, float(g.levels.sum()) + g.line + g.market + border)
    lever = point.information * g.rows
    by_class = np.bincount(problem.klass, lever, minlength=len(problem.layout.classes))
    return np.append(by_class, lever[problem.kind == SALE].sum())


def _residual_slopes(problem: Problem, point: Point, lever: Floats, gradient: Floats, proposal: Floats) -> None:
    out, said = problem.layout, point.mode.said
    rows = np.bincount(problem.klass, minlength=len(out.classes))
    slopes = np.bincount(problem.klass, said.scale_slope, minlength=len(out.classes))
    for c in range(len(out.classes)):
        j = out.first_class + c
        gradient[j] = slopes[c] - lever[c]
        room = rows[c] - lever[c]
        proposal[j] = point.logs[j] + np.log(max(1.0 - gradient[j] / max(room, 0.5), 0.05))
    if out.freedom >= 0:
        nu = problem.freedom(point.logs)
        bend = nu * (1.0 / (nu + 1) - 1.0 / (nu + 3))
        scale = problem.scale(point.logs)
        gradient[out.freedom] = (
            freedom_slope(problem.y, problem.kind, point.mode.eta, scale, nu) + float(lever[-1]) * bend
        )
        proposal[out.freedom] = np.nan


def _learned(problem: Problem, point: Point) -> list[tuple[Ints, Floats, Floats]]:
    """Free columns, own precision and whole precision of each learned border variance."""
    variances = problem.variances(point.logs)
    found = []
    for term, (a, b, parts) in zip(problem.border.terms, problem.border.pieces, strict=True):
        if term.flat:
            continue
        at = np.flatnonzero(~point.prior.held[a:b])
        for part in parts:
            if part.variance is None:
                piece = part.K[np.ix_(at, at)] / variances[part.name]
                found.append((at + a, piece, point.prior.border[np.ix_(at + a, at + a)]))
    return found


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
    _, explained = solve_root(forest, point.factor, *add_up([share for _, share in found]))
    end = out.first_class + len(out.classes)
    H[:end, :end] = sum(h for h, _ in found) - explained
    at = out.first_class + np.arange(len(out.classes))
    H[at, at] += np.bincount(problem.klass, weights=extra, minlength=len(at))
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
    for k, (at, piece, prec) in enumerate(_learned(problem, point)):
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
    own = max((up - down) / (2 * h), 0.2 * freedom_information(nu) * float(sale.sum()))
    by_class: Floats = np.bincount(problem.klass, weights=cross, minlength=len(problem.layout.classes)).astype(float)
    return by_class, own


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


def limits(problem: Problem) -> tuple[Floats, Floats]:
    """Lowest and highest log of each parameter."""
    unit = problem.border.unit**2
    low = np.full(len(problem.layout.names), np.log(NOTHING * unit))
    high = np.full(len(problem.layout.names), np.log(1e4 * unit))
    if problem.layout.freedom >= 0:
        low[problem.layout.freedom], high[problem.layout.freedom] = np.log(SLOWEST), np.log(FASTEST)
    return low, high


def newton_step(problem: Problem, point: Point, s: Slope) -> tuple[Floats, float]:
    """Proposed step and the fall of the criterion it promises; parameters at a limit that push outward stay."""
    low, high = limits(problem)
    stuck = ((point.logs <= low) & (s.gradient > 0)) | ((point.logs >= high) & (s.gradient < 0))
    move = ~stuck
    step = np.zeros(len(s.gradient))
    if not move.any():
        return step, 0.0
    H = average_information(problem, point)
    # A variance near nothing has no information left to steer by: it goes down to nothing, or up by a bold step.
    faint = move & (np.diag(H) <= max(1e-10 * float(np.diag(H).max()), 1e-12))
    step[faint] = -BOLDEST * np.sign(s.gradient[faint])
    move &= ~faint
    H, g = H[np.ix_(move, move)], s.gradient[move]
    unit = np.sqrt(np.diag(H))
    values, vectors = np.linalg.eigh(H / np.outer(unit, unit))
    step[move] = -(vectors @ ((vectors.T @ (g / unit)) / np.maximum(values, 1e-4))) / unit
    # The same way at one pace: cutting each parameter by itself can turn a step uphill, and its promise below zero.
    even = step / max(1.0, float(np.abs(step).max()))
    small = point.logs < low + np.log(1e7)
    small[problem.layout.first_class :] = False
    step = np.where(small & (step <= -BOLDEST), low - point.logs, np.clip(step, -BOLDEST, BOLDEST))
    if s.gradient @ step > 0:
        step = even
    # What the step promises, a unit at most in each parameter: beyond, the curvature of a log says nothing.
    fall = max(_promise(s.gradient, H, faint, move, bend) for bend in (np.clip(step, -1.0, 1.0), even))
    return step, fall


def _promise(gradient: Floats, H: Floats, faint: Flags, move: Flags, bend: Floats) -> float:
    """Fall of the criterion along a step: linear in the faint parameters, quadratic in those that move."""
    b = bend[move]
    return -float(gradient[faint] @ bend[faint]) - float(gradient[move] @ b + 0.5 * b @ H @ b)


def search_variances(
    problem: Problem, start: Point, on_step: Callable[[Step], None], *, most: int, enough: float = ENOUGH
) -> Found:
    """Descend from `start` until the promised fall is below `enough`, at most `most` iterations."""
    low, high = limits(problem)
    point, iteration, norm = start, 0, np.inf
    while True:
        s = slope(problem, point)
        step, fall = newton_step(problem, point, s)
        moving = (point.logs > low) & (point.logs < high)
        norm = float(np.abs(s.gradient[moving]).max()) if moving.any() else 0.0
        on_step(Step("fit", iteration, most, f"criterion {point.criterion:.4f}, gradient {norm:.2g}"))
        enough_now = max(enough * max(1.0, len(problem.y) / 200), 1e-13 * abs(point.criterion))
        if fall < enough_now or iteration >= most:
            return Found(point, iteration, norm, converged=fall < GOOD and point.mode.settled)
        if iteration < FIXED_POINTS and np.isinf(problem.freedom(point.logs)):
            step = _fixed_point(point, s, step)
        iteration += 1
        better = _descend(problem, point, np.clip(point.logs + step, low, high), fall, growing=iteration > FREE_SETS)
        if better is None:
            return Found(point, iteration, norm, converged=fall < GOOD and point.mode.settled)
        point = better


def _fixed_point(point: Point, s: Slope, step: Floats) -> Floats:
    found = np.where(np.isfinite(s.proposal), s.proposal - point.logs, step)
    return np.clip(found, -3.0, 3.0)


def _descend(problem: Problem, point: Point, goal: Floats, fall: float, *, growing: bool) -> Point | None:
    """The first of goal, half way, a quarter... whose criterion is no higher, its held columns found anew."""
    held = point.mode.factor.held
    share = point.information * problem.scale(point.logs) ** 2
    slack = 1e-11 * abs(point.criterion) + 1e-3 * min(fall, 1e-6)
    for _ in range(12):
        search = Search(start=point.mode.eta, held=held)
        trial = evaluate(problem, goal, search, share)
        if np.isfinite(trial.criterion) and trial.criterion <= point.criterion + slack:
            return _refresh(problem, trial, growing=growing)
        goal = 0.5 * (goal + point.logs)
    return None


def _refresh(problem: Problem, trial: Point, *, growing: bool) -> Point:
    """The same parameters with bounds' information and held columns as they are at the new mode."""
    bounded = problem.border.bounded.any()
    if not bounded and (problem.kind == SALE).all():
        return trial
    held = trial.mode.factor.held
    search = Search(start=trial.mode.eta, held=None if bounded else held, keep=held if growing else None)
    return evaluate(problem, trial.logs, search)
