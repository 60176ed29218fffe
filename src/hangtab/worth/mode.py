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
from hangtab.worth.forest import Forest, Prior, Solution, step_precision
from hangtab.worth.likelihood import Noise, pull
from hangtab.worth.lots import Lots, linearise, lot_pull, lot_weights, lots_of
from hangtab.worth.problem import Problem
from hangtab.worth.pull import Pull
from hangtab.worth.routes import Factor, close, fitted_values, fold, held_columns, solve
from hangtab.worth.sheet import SALE

# Ways to weigh the rows of a step. EM never overshoots but creeps; MIXED takes the curvature, yet never less
# than a share of EM's weight, so that outliers (whose curvature is negative) stay positive; NEWTON takes the
# curvature as it is, which near a mode leaves every pivot positive. Measured on 5,000 sales: 84 EM steps, 9 so.
EM, MIXED, NEWTON = 0, 1, 2
LEAST, LEAST_OF_BOUNDS = 0.3, 0.05
NEAR, CLOSE, GREW, PATIENCE = 1.0, 0.1, 2.0, 4
# HELD keeps the weights of the step before, whose elimination then serves again, while each step is at most a share of
# the last.
HELD, SLOW = 3, 0.25
# Where variances differ by ten powers of ten, rounding alone moves rows by 1e-7 of their noise and no smaller step can
# be had (measured on a demo book: 200 steps between 6e-9 and 9e-8). A second closing step within this is the end.
ROUNDING = 1e-6
SQUARED = 1e-2


@dataclass(frozen=True)
class Mode:
    """eta (rows,), the solution it comes from, its weights and weighted responses, what every row says there.

    closed: whether those weights are EM's, on which gains rest.
    """

    eta: Floats
    weight: Floats
    zeta: Floats
    factor: Factor
    solution: Solution
    said: Pull
    steps: int
    settled: bool
    closed: bool


@dataclass(frozen=True)
class Search:
    """How to search.

    start: linear predictors (None: the middle of the rows). held: the columns at zero (None: found anew, those of
    `keep` among them). tolerance: of the last step, in noise scales. most: steps. first: way of the first step (None:
    by what is known of the start); NEWTON where the start is near the mode, EM where it is the mode but for its
    weights. closing: whether the last step is to be by EM's weights, on which gains rest; a search that only passes
    through does without.
    """

    start: Floats | None = None
    held: Flags | None = None
    keep: Flags | None = None
    tolerance: float = 1e-8
    most: int = 200
    first: int | None = None
    closing: bool = True


@dataclass
class _Pace:
    """Which way to step next: chosen from how far the last step went. concave: normal noise, which has one mode."""

    tolerance: float
    way: int = EM
    last: float = np.inf
    patience: int = PATIENCE
    newton: bool = True
    closings: int = 0
    closing: bool = True
    hold: bool = False
    concave: bool = False

    def ended(self, shift: float) -> bool:
        """Whether the step just made was the last."""
        if not self.closing and shift < self.tolerance:
            return True
        if self.way != EM or shift > max(self.tolerance, ROUNDING):
            return False
        self.closings += 1
        return shift < self.tolerance or self.closings > 1

    def turn(self, shift: float) -> None:
        """Choose the next way; a closing step is always EM's."""
        grew = self.way != EM and shift > GREW * self.last
        self.patience -= grew
        before = self.way
        # Newton's error falls as the square of its step: the next one would move nothing that counts.
        there = self.closing and self.way == NEWTON and shift * shift < SQUARED * self.tolerance
        far = shift > NEAR and not self.concave
        if there or shift < self.tolerance or far or grew or self.patience <= 0:
            self.way = EM
        elif (
            self.hold
            and shift < (NEAR if self.concave else CLOSE)
            and not (self.way == HELD and shift > SLOW * self.last)
        ):
            self.way = HELD
        else:
            self.way = NEWTON if self.newton and shift < CLOSE else MIXED
        # Steps of different ways do not compare.
        self.last = shift if self.way in (before, HELD) else np.inf

    def stumble(self) -> None:
        """A pivot was not positive: no mode is near enough for Newton."""
        self.newton, self.way = False, MIXED


def find_mode(problem: Problem, logs: Floats, search: Search) -> Mode:
    """Climb to the mode for the parameters `logs`."""
    noise = problem.noise(logs)
    plain = bool(np.isinf(noise.nu)) and problem.whole.only_sales
    held = search.held if search.held is not None else np.zeros(problem.forest.p, bool)
    prior, lots = problem.prior(logs, held), lots_of(problem.sheet)
    eta, lift = _start(problem, search.start), np.zeros(len(problem.y))
    said = pull(problem.sheet, eta, noise)
    hold = search.held is not None or not problem.border.bounded.any()
    concave = bool(np.isinf(noise.nu))
    known = MIXED if concave or search.start is not None else EM
    way = EM if plain else known if search.first is None else search.first
    pace = _Pace(search.tolerance, way, closing=search.closing, hold=hold, concave=concave)
    step, weight, factor = 0, said.weight, None
    while True:
        weight = weight if pace.way == HELD else _weight(problem, said, pace.way)
        zeta = weight * eta + said.slope
        try:
            if factor is None or pace.way != HELD:
                factor = _eliminate(problem, (logs, prior), weight, zeta + lift, search)
        except np.linalg.LinAlgError:
            if pace.way != NEWTON:
                raise
            pace.stumble()
            continue
        if lots is not None:
            lift = _lift(problem, factor, zeta, eta, (lots, noise))
        solution = solve(problem.road, factor, (zeta + lift)[:, None])
        new = fitted_values(problem.road, solution)[:, 0]
        shift = problem.forest.together.most("shift", float(np.max(np.abs(new - eta) / noise.scale)))
        eta, step = new, step + 1
        said = pull(problem.sheet, eta, noise)
        settled = (plain and lots is None) or pace.ended(shift)
        if settled or step >= search.most:
            closed = plain or pace.way == EM
            return Mode(eta, weight, zeta + lift, factor, solution, said, step, settled=settled, closed=closed)
        pace.turn(shift)


def _weight(problem: Problem, said: Pull, way: int) -> Floats:
    if way == EM:
        return said.weight
    if way == NEWTON:
        return said.bend
    least = np.where(problem.kind == SALE, LEAST, LEAST_OF_BOUNDS)
    return np.maximum(said.bend, least * said.weight)


def _eliminate(problem: Problem, of: tuple[Floats, Prior], weight: Floats, zeta: Floats, search: Search) -> Factor:
    """One elimination, some bounded columns standing at zero in it. of: parameters, and the prior they stand for."""
    (logs, prior), bounded = of, problem.border.bounded
    opened, held = fold(problem.road, weight, prior), search.held
    if held is None:
        held = search.keep
        if bounded.any():
            held = held_columns(problem.road, opened, zeta, bounded, held)
    held = np.zeros(problem.forest.p, bool) if held is None else held
    # Without the columns held the prior of the others has another determinant.
    prior = prior if np.array_equal(held, prior.held) else problem.prior(logs, held)
    return close(problem.road, opened, prior)


def _lift(problem: Problem, factor: Factor, zeta: Floats, eta: Floats, lots_in: tuple[Lots, Noise]) -> Floats:
    """What the lots add to the weighted responses, linearised at eta."""
    lots, noise = lots_in
    road, habit = problem.road, noise.habits.lot

    def answer(responses: Floats) -> Floats:
        return np.asarray(fitted_values(road, solve(road, factor, responses[:, None]))[:, 0])

    weights, _ = lot_weights(lots, eta, habit, noise.nu)
    return lot_pull(linearise(lots, eta, habit.discount), weights, answer(zeta), answer)


def _start(problem: Problem, start: Floats | None) -> Floats:
    if start is not None:
        return start
    return np.full(len(problem.y), problem.whole.middle)


def penalties(forest: Forest, solution: Solution, prior: Prior) -> tuple[Floats, float, float, float]:
    """Sums of squares of the mode in units of its prior: per level, own walks, market walk, border."""
    own = np.array([float((e[:, 0] ** 2).sum()) for e in solution.effects])
    Q = step_precision(forest.T)
    walks = float(sum(w[:, 0] @ Q @ w[:, 0] for w in solution.line))
    own, walks = forest.together.total("penalties", own, walks)
    g = solution.g[: forest.T, 0]
    b = solution.columns.B[:, 0]
    return own / prior.levels, walks / prior.line, float(g @ Q @ g) / prior.market, float(b @ (prior.border @ b))
