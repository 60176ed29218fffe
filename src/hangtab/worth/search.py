"""The search for variances: average-information Newton that never climbs.

Two fixed-point steps first. What bounds tell is held while a step is tried and then taken anew, so with bounds the
search goes to a fixed point, at a steady pace; there the last steps foretell the rest (Anderson's mixing), and a
foretold point is taken only if it promises less fall than the one before. A mode is climbed to only as near as the
promised fall needs; the last one to all digits.
Source: Gilmour, Thompson & Cullis 1995 (average information); Anderson 1965 (J. ACM 12), as in Walker & Ni 2011.
Not here: criterion and gradient (variances.py), second derivatives (information.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from hangtab.worth.arrays import Flags, Floats
from hangtab.worth.information import average_information
from hangtab.worth.mode import EM, NEWTON, Search
from hangtab.worth.problem import Problem
from hangtab.worth.progress import Step
from hangtab.worth.routes import bare, border_slope
from hangtab.worth.variances import Point, Slope, at_mode, evaluate, limits, slope

ENOUGH = 1e-9
# A fit that can go no lower, or has taken all its steps, still counts when less than this is promised.
GOOD = 1e-5
FIXED_POINTS = 2
BOLDEST = 2.0
# Two sets of held columns can each lead to the other; after this many iterations no column comes free again.
FREE_SETS = 15
# From a promise below this on (for 5,000 rows, and more for more), the last few steps foretell the next.
STEADY, STEADY_ROWS, REMEMBERED = 5.0, 5000, 4
ROUNDING = 1e-12
# How near its mode a point of the search is taken: within these, a share of the move that the promised fall stands
# for; a smaller one where the slope at that point, not its criterion, says whether it is taken.
FINE, COARSE, SHARE, SHARE_FORETOLD = 1e-8, 1e-2, 0.1, 0.01


@dataclass(frozen=True)
class Found:
    """Where the search ended."""

    point: Point
    iterations: int
    gradient: float
    converged: bool


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
    step[move] = _solved(H, g)
    f, end = problem.layout.freedom, point.logs + step
    if f >= 0 and move[f] and not low[f] <= end[f] <= high[f]:
        # What the noise's variance does follows the freedom: to its limit only, where that ends it.
        cut = np.clip(end[f], low[f], high[f]) - point.logs[f]
        step[move] = np.append(_solved(H[:-1, :-1], g[:-1] + H[:-1, -1] * cut), cut)
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


def _solved(H: Floats, g: Floats) -> Floats:
    """Newton's step for second derivatives H, of which none is taken for less than a share of what all others say."""
    unit = np.sqrt(np.diag(H))
    values, vectors = np.linalg.eigh(H / np.outer(unit, unit))
    return np.asarray(-(vectors @ ((vectors.T @ (g / unit)) / np.maximum(values, 1e-4))) / unit)


def _promise(gradient: Floats, H: Floats, faint: Flags, move: Flags, bend: Floats) -> float:
    """Fall of the criterion along a step: linear in the faint parameters, quadratic in those that move."""
    b = bend[move]
    return -float(gradient[faint] @ bend[faint]) - float(gradient[move] @ b + 0.5 * b @ H @ b)


def search_variances(
    problem: Problem,
    start: Point,
    on_step: Callable[[Step], None],
    *,
    most: int,
    enough: float = ENOUGH,
    closing: bool = True,
) -> Found:
    """Descend from `start` until the promised fall is below `enough`, at most `most` iterations.

    closing: whether the mode at the end is to be by EM's weights and to all digits.
    """
    low, high = limits(problem)
    at, iteration, memory = _look(problem, start), 0, list[tuple[Floats, Floats]]()
    del start  # as large as the table: two points at a time are enough
    while True:
        point, s = at.point, at.slope
        moving = (point.logs > low) & (point.logs < high)
        norm = float(np.abs(s.gradient[moving]).max()) if moving.any() else 0.0
        on_step(Step("fit", iteration, most, f"criterion {point.criterion:.4f}, gradient {norm:.2g}"))
        enough_now = max(enough * max(1.0, problem.whole.rows / 200), 1e-13 * abs(point.criterion))
        if at.fall < enough_now or iteration >= most:
            return _closed(problem, at, iteration, norm, closing=closing)
        step = at.step
        if iteration < FIXED_POINTS and np.isinf(problem.freedom(point.logs)):
            step = _fixed_point(point, s, step)
        iteration += 1
        foretold = _foretold(problem, at, memory, growing=iteration > FREE_SETS)
        if foretold is not None:
            at = foretold
            continue
        goal, point = np.clip(point.logs + step, low, high), released(point)
        at = replace(at, point=point)
        better = _descend(problem, point, goal, at.fall, growing=iteration > FREE_SETS)
        if better is None:
            return _closed(problem, at, iteration, norm, closing=closing)
        at = _look(problem, better)
        del better  # or its elimination, which `released` lets go, would outlive the next


def released(point: Point) -> Point:
    """The point without what its elimination left in the parts, which is most of it and has been used."""
    factor, mode = bare(point.factor), replace(point.mode, factor=bare(point.mode.factor))
    return replace(point, factor=factor, mode=mode)


def _closed(problem: Problem, at: _Looked, iteration: int, norm: float, *, closing: bool) -> Found:
    """The end of the search, its mode by EM's weights where that is asked for."""
    point, mode = at.point, at.point.mode
    good = max(GOOD, ENOUGH * problem.whole.rows / 200)
    if closing and not mode.closed:
        point = evaluate(problem, point.logs, Search(start=mode.eta, held=mode.factor.held, first=EM))
    return Found(point, iteration, norm, converged=at.fall < good and point.mode.settled)


@dataclass(frozen=True)
class _Looked:
    """A point with its slope, the step proposed from it, and the fall that step promises."""

    point: Point
    slope: Slope
    step: Floats
    fall: float


def _look(problem: Problem, point: Point) -> _Looked:
    s = slope(problem, point)
    return _Looked(point, s, *newton_step(problem, point, s))


def _foretold(problem: Problem, at: _Looked, memory: list[tuple[Floats, Floats]], *, growing: bool) -> _Looked | None:
    """The point that the last steps lead to, if it promises less fall than this one; `memory` (points, steps) grows.

    Its criterion is not asked: what bounds tell has changed on the way, so that the two do not compare.
    """
    if problem.whole.only_sales or at.fall > steady(problem):
        return None
    memory.append((at.point.logs, at.step))
    del memory[:-REMEMBERED]
    low, high = limits(problem)
    held = at.point.mode.factor.held
    free = None if problem.border.bounded.any() else held
    search = Search(
        start=at.point.mode.eta, held=free, keep=held if growing else None, first=NEWTON, closing=False,
        tolerance=nearness(problem, at.fall, SHARE_FORETOLD),
    )  # fmt: skip
    found = _tried(problem, np.clip(mixed(memory), low, high), search)
    if found is not None and found.mode.settled:
        looked = _look(problem, found)
        if looked.fall < at.fall:
            return looked
    memory.clear()
    return None


def mixed(memory: list[tuple[Floats, Floats]]) -> Floats:
    """Where a fixed-point iteration goes, from its last points and steps: Anderson's mixing.

    >>> one, two = np.array([0.0]), np.array([1.0])
    >>> mixed([(one, 0.5 * (2 - one)), (two, 0.5 * (2 - two))]).tolist()
    [2.0]
    """
    points, steps = (np.array(x) for x in zip(*memory, strict=True))
    if len(points) == 1:
        return np.asarray(points[0] + steps[0])
    moves, changes = np.diff(points, axis=0), np.diff(steps, axis=0)
    share = np.linalg.lstsq(changes.T, steps[-1], rcond=1e-6)[0]
    jump = steps[-1] - share @ (moves + changes)
    return np.asarray(points[-1] + jump / max(1.0, float(np.abs(jump).max()) / BOLDEST))


def _fixed_point(point: Point, s: Slope, step: Floats) -> Floats:
    found = np.where(np.isfinite(s.proposal), s.proposal - point.logs, step)
    return np.clip(found, -3.0, 3.0)


def _descend(problem: Problem, point: Point, goal: Floats, fall: float, *, growing: bool) -> Point | None:
    """The first of goal, half way, a quarter... whose criterion is no higher, its held columns found anew.

    Near the end what bounds tell is held while a step is tried: only so is the slope that of the criterion.
    """
    near = fall < steady(problem)
    share = point.information * problem.scale(point.logs) ** 2 if near else None
    slack = 1e-11 * abs(point.criterion) + 1e-3 * min(fall, 1e-6)
    tolerance = FINE if near else nearness(problem, fall, SHARE)
    for _ in range(12):
        search = Search(
            point.mode.eta, point.mode.factor.held, first=NEWTON if near else None, closing=False, tolerance=tolerance
        )
        trial = _tried(problem, goal, search, share)
        if trial is not None and trial.criterion <= point.criterion + slack:
            return _refresh(problem, trial, anew=near, keep=point.mode.factor.held if growing else None)
        goal = 0.5 * (goal + point.logs)
    return None


def steady(problem: Problem) -> float:
    """Promised fall from which on the search goes at a steady pace."""
    return STEADY * max(1.0, problem.whole.rows / STEADY_ROWS)


def nearness(problem: Problem, fall: float, share: float) -> float:
    """Last step of a mode's search, in noise scales, that is fine enough where so much fall is promised."""
    return float(np.clip(share * np.sqrt(fall / problem.whole.rows), FINE, COARSE))


def _tried(problem: Problem, logs: Floats, search: Search, share: Floats | None = None) -> Point | None:
    """The point at `logs`, or None: with noise next to nothing, columns that say the same leave no pivot."""
    try:
        point = evaluate(problem, logs, search, share)
    except np.linalg.LinAlgError:
        return None
    return point if np.isfinite(point.criterion) else None


def _refresh(problem: Problem, trial: Point, *, anew: bool, keep: Flags | None) -> Point:
    """The same parameters with held columns, and bounds' information where that is to be `anew`, as at the new mode."""
    if problem.border.bounded.any() and not _stands(problem, trial, keep):
        return evaluate(problem, trial.logs, Search(start=trial.mode.eta, held=None, keep=keep, closing=False))
    return at_mode(problem, trial.logs, trial.mode) if anew and not problem.whole.only_sales else trial


def _stands(problem: Problem, trial: Point, keep: Flags | None) -> bool:
    """Whether the held columns are those of the minimum: none of the free is negative, none of the held would rise."""
    mode, held = trial.mode, trial.mode.factor.held
    slope_of, size = border_slope(problem.road, mode.factor, mode.solution, mode.zeta)
    pushed = slope_of < -ROUNDING * size
    leaving = held & pushed if keep is None else held & ~keep & pushed
    below = mode.solution.g[problem.forest.T :, 0] < 0
    return not (leaving | (problem.border.bounded & ~held & below)).any()
