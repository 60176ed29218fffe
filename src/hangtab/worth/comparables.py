"""Comparable sales: an exact split of an estimate into adjusted prices.

Promises: with S the sales of largest gain, eta_0 and eta_i0 the estimates of the subject and of sale i from all
evidence but S, g the gains of S, all under the fit's own weights and held columns,
    estimate = (1 - sum g) eta_0 + sum g_i (eta_0 + y_i - eta_i0)
to rounding. The adjustment eta_0 - eta_i0 is the sum of its named parts.
Not here: words and money.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hangtab.worth.arrays import Floats, Ints, Sparse
from hangtab.worth.paths import Targets, take_rows
from hangtab.worth.routes import fitted_values
from hangtab.worth.sheet import SALE
from hangtab.worth.state import State, Subjects, mode_parts, parts, solution_parts
from hangtab.worth.table import NO_MONTH, months, words

# A set of sales that alone determines some column cannot be left out; then fewer are.
TIED = 1e-9
MATERIAL = 0.02
EQUAL = 1e-9  # gains that differ by less, relatively, are equal


@dataclass(frozen=True)
class Grid:
    """chosen (s,): training rows; gain (s,); base eta_0; own (s,): eta_i0; adjustments (s, parts)."""

    chosen: Ints
    gain: Floats
    base: float
    own: Floats
    adjustments: Floats


@dataclass(frozen=True)
class Support:
    """What carries an estimate. effective_sales: (sum g)^2 / sum g^2; newest: month of the newest material sale."""

    effective_sales: float
    newest: int
    gains: Floats


def gains(state: State, subject: Subjects) -> Floats:
    """Weight of every training sale's log price in the subject's estimate, (rows,); 0 for rows that are no sales."""
    cov = state.pulled.lean(subject.targets).rows()
    cover = state.pulled_cover
    if cover is not None:
        rows = fitted_values(state.problem.road, cover.solution)
        cov = cov - cover.narrow(rows, cover.with_targets(subject.targets))[:, 0]
    return np.where(state.problem.kind == SALE, cov * state.weight, 0.0)


def support(state: State, subject: Subjects) -> Support:
    """Effective number of sales behind an estimate and the newest of those that matter."""
    g = gains(state, subject)
    square = float((g * g).sum())
    if square == 0.0:
        return Support(0.0, NO_MONTH, g)
    when = state.problem.spec.when
    newest = NO_MONTH
    if when:
        month = months(state.problem.sheet.frame[when])
        newest = int(month[np.abs(g) >= MATERIAL * np.abs(g).max()].max())
    return Support(float(g.sum()) ** 2 / square, newest, g)


def grid(state: State, subject: Subjects, top: int) -> Grid:
    """The adjustment grid of one subject."""
    g = gains(state, subject)
    chosen = _largest(state, np.abs(g), top)
    while True:
        found = _grid(state, subject, chosen, g)
        if found is not None:
            return found
        chosen = chosen[:-1]


def _largest(state: State, size: Floats, top: int) -> Ints:
    """The `top` sales with the largest gains; the id decides between equal ones, then the canonical order."""
    at = np.flatnonzero(size > 0.0)
    if len(at) > top:
        at = at[size[at] >= (1.0 - EQUAL) * np.partition(size[at], -top)[-top]]
    steps = np.round(np.log(size[at]) / EQUAL)
    evidence, frame = state.problem.spec.evidence, state.problem.sheet.frame
    names = words(frame[evidence].gather(at)) if evidence else [""] * len(at)
    order = sorted(range(len(at)), key=lambda k: (-steps[k], names[k] or "", at[k]))
    return np.asarray(at[order[:top]])


def _grid(state: State, subject: Subjects, chosen: Ints, g: Floats) -> Grid | None:
    problem = state.problem
    sold = _training(state, chosen)
    everyone = _stack(subject, sold)
    mode = mode_parts(state, everyone)
    if len(chosen) == 0:
        return Grid(chosen, np.zeros(0), float(mode.sum()), np.zeros(0), np.zeros((0, mode.shape[1])))
    lean = state.pulled.lean(sold)
    cov = parts(state, everyone, lean.root, lean.line, lean.effects(everyone.nodes)) - _narrowed(state, everyone, sold)
    omega = state.weight[chosen]
    # Leaving S out: its rows' own errors without it are (I - Sigma W)^-1 (y - eta).
    M = np.eye(len(chosen)) - cov[1:].sum(axis=1) * omega[None, :]
    if np.linalg.svd(M, compute_uv=False)[-1] < TIED:
        return None
    eta = mode[1:].sum(axis=1)
    missed = np.linalg.solve(M, problem.y[chosen] - eta)
    without = mode - cov @ (omega * missed)
    adjustments = without[0][None, :] - without[1:]
    return Grid(chosen, g[chosen], float(without[0].sum()), without[1:].sum(axis=1), adjustments)


def _narrowed(state: State, everyone: Targets, sold: Targets) -> Floats:
    """What lots take off the covariances of some rows' parts with some sales, (m, parts, s), or 0."""
    cover = state.pulled_cover
    if cover is None:
        return np.zeros(1)
    split = solution_parts(state, everyone, cover.solution)
    m, count, lots = split.shape
    return cover.narrow(split.reshape(m * count, lots), cover.with_targets(sold)).reshape(m, count, len(sold))


def _training(state: State, at: Ints) -> Targets:
    forest = state.problem.forest
    return Targets(take_rows(forest.rows, at), forest.block[at], state.problem.nodes[at])


def _stack(subject: Subjects, sold: Targets) -> Targets:
    one = subject.targets
    rows = Sparse(
        np.concatenate([one.rows.ptr, one.rows.ptr[-1] + sold.rows.ptr[1:]]),
        np.concatenate([one.rows.idx, sold.rows.idx]),
        np.concatenate([one.rows.val, sold.rows.val]),
    )
    return Targets(rows, np.append(one.block, sold.block), np.vstack([one.nodes, sold.nodes]))
