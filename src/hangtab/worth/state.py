"""What a fit keeps: parameters, weights, the mode, and covariances made when first asked for.

Promises: everything here is a function of problem, parameters, weights and held columns, so a stored fit
gives the same figures after loading.
Not here: frames and prices (fitted.py), storage (store.py).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import polars as pl

from hangtab.worth.arrays import Flags, Floats, Ints, Split
from hangtab.worth.cover import Cover, make_cover, predictors
from hangtab.worth.forest import Prior, Solution
from hangtab.worth.kept import kept
from hangtab.worth.lots import Mixed, linearise, lot_weights, lots_of
from hangtab.worth.noise import NoiseTable
from hangtab.worth.paths import Targets, dense
from hangtab.worth.posterior import Posterior, make_posterior
from hangtab.worth.problem import Problem, class_names
from hangtab.worth.routes import Factor, close, covariance, fitted_values, fold, solve
from hangtab.worth.table import NO_MONTH, month_of, months
from hangtab.worth.terms import CurveTerm


@dataclass(frozen=True)
class State:
    """A solved problem. logs: parameters; weight, zeta: of the mode; information: of the ranges; held columns."""

    problem: Problem
    logs: Floats
    weight: Floats
    zeta: Floats
    information: Floats
    held: Flags
    noise: NoiseTable

    @kept
    def prior(self) -> Prior:
        """Variances as the forest takes them."""
        return self.problem.prior(self.logs, self.held)

    def prepare(self) -> None:
        """Work out all that predictions need, while the other places that hold rows of the table can be asked."""
        _ = self.solution, self.informed, self.columns, self.class_scale

    def solved(self, solution: Solution, eta: Floats) -> State:
        """The same, its mode known already: as `solution` and `eta` would work it out."""
        self.__dict__.update(solution=solution, eta=eta)
        return self

    def _factor(self, weight: Floats) -> Factor:
        road = self.problem.road
        return close(road, fold(road, weight, self.prior), self.prior)

    @kept
    def pulling(self) -> Factor:
        """Factor under the mode's weights: gains rest on it."""
        return self._factor(self.weight)

    @kept
    def informing(self) -> Factor:
        """Factor under the information weights: ranges rest on it. Normal sales inform as they weigh."""
        same = self.problem.whole.only_sales and np.isinf(self.noise.nu)
        return self.pulling if same else self._factor(self.information)

    @kept
    def solution(self) -> Solution:
        """The mode."""
        return solve(self.problem.road, self.pulling, self.zeta[:, None])

    @kept
    def eta(self) -> Floats:
        """Linear predictor of every training row."""
        return fitted_values(self.problem.road, self.solution)[:, 0]

    @kept
    def pulled(self) -> Posterior:
        """Covariances under the mode's weights."""
        return make_posterior(self.problem.road, self.pulling)

    @kept
    def informed(self) -> Posterior:
        """Covariances under the information weights."""
        return make_posterior(self.problem.road, self.informing)

    @kept
    def _mixed(self) -> tuple[Mixed | None, Floats, Floats]:
        """The lots linearised at the mode, their EM weights and information."""
        lots, habit = lots_of(self.problem.sheet), self.problem.habits.lot
        if lots is None:
            return None, np.zeros(0), np.zeros(0)
        weights, information = lot_weights(lots, self.eta, habit, self.noise.nu)
        return linearise(lots, self.eta, habit.discount), weights, information

    @kept
    def pulled_cover(self) -> Cover | None:
        """What lots add to the covariances under the mode's weights."""
        mixed, weights, _ = self._mixed
        return make_cover(self.problem.road, self.pulling, mixed, weights)

    @kept
    def informed_cover(self) -> Cover | None:
        """What lots add to the covariances under the information weights."""
        mixed, _, information = self._mixed
        return make_cover(self.problem.road, self.informing, mixed, information)

    def row_variances(self, factor: Factor, cover: Cover | None) -> Floats:
        """Variance of every training row's linear predictor under one of the two factors, with its cover."""
        road = self.problem.road
        out = covariance(road, factor, known_flat=False).gaps(self.prior).rows
        return out if cover is None else out - cover.narrow_each(fitted_values(road, cover.solution))

    @kept
    def columns(self) -> Split:
        """Mode of every column, with the block of unknown roots last."""
        T = self.problem.forest.T
        K = np.concatenate([self.solution.columns.K, self.solution.g[None, :T]])
        return Split(K, self.solution.columns.B)

    @property
    def last_month(self) -> int:
        """Month of the newest dated row."""
        return self.problem.whole.last_month

    @kept
    def class_scale(self) -> Floats:
        """Noise scale per class, and of a class unknown: the mean over the rows."""
        a, classes = self.problem.layout.first_class, self.problem.layout.classes
        variance = np.exp(self.logs[a : a + len(classes)])
        counts = np.bincount(self.problem.klass, minlength=len(classes))
        (counts,) = self.problem.forest.together.total("classes", counts)
        return np.asarray(np.sqrt(np.append(variance, variance @ counts / counts.sum())))


@dataclass(frozen=True)
class Subjects:
    """Rows to answer for. knot: of each row; extra (m,): prior variance of all that is unknown about a row."""

    frame: pl.DataFrame
    targets: Targets
    knot: Ints
    beyond: Ints
    extra: Floats
    scale: Floats


def subjects(state: State, frame: pl.DataFrame, at: dt.date | str | None) -> Subjects:
    """Place rows in the model. at None: each row's own date, or the newest month of the fit."""
    blocks = len(state.problem.forest.walked)
    targets, knot, beyond, unseen = _placed(state, frame, at)
    stranger = targets.block == blocks
    extra = _unknown_variance(state, targets.nodes, unseen) + _walk_variance(state, knot, beyond, stranger)
    return Subjects(frame, targets, knot, beyond, extra, _scales(state, frame))


def foreseen(state: State, frame: pl.DataFrame) -> Floats:
    """Mode of each new row's linear predictor, without any covariance."""
    return means(state, _placed(state, frame, None)[0])


def _placed(state: State, frame: pl.DataFrame, at: dt.date | str | None) -> tuple[Targets, Ints, Ints, Floats]:
    """Targets, knots, how far beyond the knots, and how much of each term is unseen, by row."""
    p = state.problem
    knot, beyond = p.calendar.knot(_months(state, frame, at))
    nodes = p.chain.find(frame)
    rows, unseen = p.border.rows(frame, knot, p.forest.T)
    block = np.zeros(len(frame), np.int64)
    if p.layout.line >= 0:
        root = p.forest.levels[0].block
        block = np.where(nodes[:, 0] >= 0, root[nodes[:, 0]], len(p.forest.walked))
    return Targets(rows, block, nodes), knot, beyond, unseen


def _months(state: State, frame: pl.DataFrame, at: dt.date | str | None) -> Ints:
    if at is not None:
        return np.full(len(frame), month_of(at), np.int64)
    when = state.problem.spec.when
    own = months(frame[when]) if when else np.full(len(frame), NO_MONTH, np.int64)
    return np.where(own == NO_MONTH, state.last_month, own)


def _unknown_variance(state: State, nodes: Ints, unseen: Floats) -> Floats:
    levels = (nodes < 0) @ state.prior.levels if nodes.shape[1] else np.zeros(len(unseen))
    return np.asarray(levels + unseen @ term_variances(state))


def term_variances(state: State) -> Floats:
    """Prior variance of a value each term has not seen.

    A weak prior is no belief about new values: there the spread of the values seen stands in, where it is smaller.
    """
    border = state.problem.border
    learned = state.problem.variances(state.logs)
    b, variance = state.solution.columns.B[:, 0], state.informed.border_variances()
    out = np.zeros(len(border.terms))
    for k, (term, (start, stop, parts)) in enumerate(zip(border.terms, border.pieces, strict=True)):
        if not parts:
            continue
        last = parts[-1]
        if isinstance(term, CurveTerm):
            out[k] = learned[last.name] if term.levels else 0.0
        elif last.variance is None:
            out[k] = learned[last.name]
        else:
            seen = b[start:stop] ** 2 + variance[start:stop]
            out[k] = min(last.variance, float(seen.mean()))
    return out


def _walk_variance(state: State, knot: Ints, beyond: Ints, stranger: Flags) -> Floats:
    out = state.problem.layout
    market = state.prior.market if out.market >= 0 else 0.0
    line = state.prior.line if out.line >= 0 else 0.0
    steps = np.where(stranger, np.maximum(knot + 1, 0), 0)
    return beyond * (market + line) + steps * line


def _scales(state: State, frame: pl.DataFrame) -> Floats:
    place = {name: k for k, name in enumerate(state.problem.layout.classes)}
    other = place.get("", len(place))
    return state.class_scale[[place.get(n, other) for n in class_names(state.problem.spec, frame)]]


def means(state: State, targets: Targets) -> Floats:
    """Mode of each target's linear predictor."""
    return predictors(targets, state.columns, state.solution.sums)[:, 0]


def part_names(state: State) -> list[str]:
    """The named parts of a linear predictor: border terms, chain levels, walks."""
    p = state.problem
    names = [t.name for t in p.border.terms] + list(p.spec.chain)
    names += ["market walk"] if p.layout.market >= 0 else []
    return names + ([f"{p.spec.chain[0]} walk"] if p.layout.line >= 0 else [])


def parts(state: State, targets: Targets, root: Floats, line: Floats, effects: list[Floats]) -> Floats:
    """Any value of the columns, split by part: (m, parts, t) from root (q, t), line (blocks, T, t), effects (m, t)."""
    p, T = state.problem, state.problem.forest.T
    X = dense(targets.rows, p.forest.width)
    out = [X[:, T + a : T + b] @ root[T + a : T + b] for a, b, _ in p.border.pieces]
    out += effects
    market = X[:, :T] @ root[:T]
    if p.layout.market >= 0:
        out.append(market)
    if p.layout.line >= 0:
        own = np.einsum("ik,ikt->it", X[:, :T], line[targets.block])
        # Without a market walk the root's knots still move, by next to nothing: theirs is the lines' walk then.
        out.append(own if p.layout.market >= 0 else own + market)
    return np.stack(out, axis=1)


def mode_parts(state: State, targets: Targets) -> Floats:
    """The mode of each target's linear predictor split by part, (m, parts)."""
    return solution_parts(state, targets, state.solution)[:, :, 0]


def solution_parts(state: State, targets: Targets, s: Solution) -> Floats:
    """What any solution of k columns says of each target, split by part, (m, parts, k)."""
    line = np.concatenate([s.line, np.zeros((1, *s.line.shape[1:]))])
    effects = [np.where(at[:, None] >= 0, e[at], 0.0) for at, e in zip(targets.nodes.T, s.effects, strict=True)]
    return parts(state, targets, s.g, line, effects)
