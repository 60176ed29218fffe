"""The mixed-model equations of a whole problem as one sparse matrix: every effect at once, nothing nested.

Promises: the same solution, log determinants and covariances as the forest, by another road: no elimination order is
assumed, so effects may cross however they like. It is what the forest is checked against.
How: columns are all nodes' own effects by level, own walks' knots, market knots, border; (X'WX + Q) b = X'z is put
together, factored (factoring.py), and the entries of its inverse that variances ask for are taken from the selected
inverse (takahashi.py).
Source: Henderson's mixed-model equations; Searle, Casella & McCulloch 1992, ch. 7 (from memory).
Not here: where weights and variances come from.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import scipy.sparse as sp

from hangtab.worth.arrays import Flags, Floats, Ints, Places, Sparse, Split
from hangtab.worth.compiling import compiled
from hangtab.worth.factoring import Factored, Pattern, factor, make_pattern, solve
from hangtab.worth.forest import Forest, Prior, Solution
from hangtab.worth.spread import Gaps
from hangtab.worth.takahashi import Inverse, entries, known, quadratics, selected_inverse

# Right-hand sides solved for at a time, so that they stay within some hundred megabytes.
TOGETHER = 64


@dataclass(frozen=True)
class Columns:
    """Where each kind of effect begins. levels: first column of each; then own walks, market walk, border; N in all.

    walk (blocks + 1,): number of each block's own walk, -1 for none; the last is an unknown root's.
    """

    levels: tuple[int, ...]
    line: int
    market: int
    border: int
    N: int
    walk: Ints

    @property
    def walks(self) -> int:
        """How many blocks have a walk of their own."""
        return int((self.walk >= 0).sum())

    @property
    def knots(self) -> int:
        """Knots of each walk."""
        return self.border - self.market


@dataclass(frozen=True)
class Pieces:
    """The prior precision's entries: row, column, coefficient; `owner`: level, or LINE, MARKET, BORDER as below.

    at: place of each among the values of the pattern's lower half; kept: it lies there (and not in the upper half).
    """

    row: Ints
    col: Ints
    val: Floats
    owner: Ints
    at: Ints
    kept: Flags


LINE, MARKET, BORDER = -1, -2, -3


class Turned(NamedTuple):
    """X' by place in the pattern: row of each entry, and which entry of X it is; place of each column (N,)."""

    ptr: Ints
    row: Ints
    entry: Ints
    place: Ints


@dataclass(frozen=True)
class Equations:
    """What no weight and no variance changes. rows: X over all columns."""

    forest: Forest
    columns: Columns
    rows: Sparse
    turned: Turned
    pattern: Pattern
    pieces: Pieces


@dataclass(frozen=True)
class System:
    """Equations factored for one set of weights omega (rows,). rows: X without its held columns."""

    equations: Equations
    omega: Floats
    prior: Prior
    rows: Sparse
    factored: Factored

    @property
    def held(self) -> Flags:
        """Border columns that stand at zero, (p,)."""
        return self.prior.held

    @cached_property
    def inverse(self) -> Inverse:
        """The inverse on the factor's pattern."""
        return selected_inverse(self.factored)

    @cached_property
    def flat(self) -> Floats:
        """The inverse's columns of the effects without a prior, (N, flat)."""
        N, count = self.equations.columns.N, self.equations.forest.flat
        return solve(self.factored, np.eye(N, count, k=count - N))

    @property
    def logdet_all(self) -> float:
        """Log determinant of the equations over that of the prior's precision, flat columns included."""
        c, prior = self.equations.columns, self.prior
        sizes = np.diff((*c.levels, c.line))
        walks = c.walks * np.log(prior.line) + np.log(prior.market)
        return self.factored.logdet + float(sizes @ np.log(prior.levels) + c.knots * walks) - prior.log_border

    @property
    def logdet(self) -> float:
        """The same of the random columns alone: det A_rr = det A det (A^-1)_ff."""
        count = self.equations.forest.flat
        return self.logdet_all + float(np.linalg.slogdet(self.flat[len(self.flat) - count :])[1])


def make_equations(forest: Forest, border: sp.sparray) -> Equations:
    """Lay out the columns. border (p, p): where the border's prior precision can have entries."""
    columns = _columns(forest)
    rows = effect_rows(columns, forest.rows, forest.block, forest.paths(slice(None)))
    X = sp.csr_array((np.ones(len(rows.idx)), rows.idx, rows.ptr), shape=(len(forest.block), columns.N))
    row, col, val, owner = _prior_entries(columns, sp.coo_array(border))
    Q = sp.csc_array((np.ones(len(row)), (row, col)), shape=(columns.N, columns.N))
    pattern = make_pattern(sp.csc_array(X.T @ X) + Q + sp.eye_array(columns.N, format="csc"))
    lower = np.repeat(np.arange(columns.N), np.diff(pattern.ptr)) * columns.N + pattern.idx
    i, j = pattern.place[row], pattern.place[col]
    at = np.searchsorted(lower, j * columns.N + i)
    pieces = Pieces(row, col, val, owner, at, i >= j)
    return Equations(forest, columns, rows, _turn(rows, pattern.place), pattern, pieces)


def _turn(rows: Sparse, place: Ints) -> Turned:
    column = place[rows.idx]
    entry = np.argsort(column, kind="stable")
    ptr = np.concatenate([[0], np.cumsum(np.bincount(column, minlength=len(place)))]).astype(np.int64)
    row = np.repeat(np.arange(len(rows.ptr) - 1), np.diff(rows.ptr))
    return Turned(ptr, row[entry], entry, place)


def _columns(forest: Forest) -> Columns:
    sizes = np.cumsum([0, *(len(level) for level in forest.levels)])
    walk = np.full(len(forest.walked) + 1, -1, np.int64)
    walk[:-1][forest.walked] = np.arange(forest.walked.sum())
    line = int(sizes[-1])
    market = line + int(forest.walked.sum()) * forest.T
    border = market + forest.T
    return Columns(tuple(int(s) for s in sizes[:-1]), line, market, border, border + forest.p, walk)


def effect_rows(columns: Columns, rows: Sparse, block: Places, nodes: Places) -> Sparse:
    """Rows over knots and border as rows over all effects. nodes (m, levels): -1 where unknown: no effect."""
    m, T = len(block), columns.knots
    owner = np.repeat(np.arange(m), np.diff(rows.ptr))
    idx = rows.idx.astype(np.int64)
    walk = columns.walk[block][owner]
    own = (idx < T) & (walk >= 0)
    row = [owner, owner[own]]
    col = [idx + columns.market, columns.line + walk[own] * T + idx[own]]
    val = [rows.val, rows.val[own]]
    for k, start in enumerate(columns.levels):
        found = np.flatnonzero(nodes[:, k] >= 0)
        row.append(found)
        col.append(start + nodes[found, k])
        val.append(np.ones(len(found)))
    r, c, v = np.concatenate(row), np.concatenate(col), np.concatenate(val)
    order = np.lexsort((c, r))
    ptr = np.concatenate([[0], np.cumsum(np.bincount(r, minlength=m))]).astype(np.int64)
    return Sparse(ptr, c[order], v[order])


def _prior_entries(columns: Columns, border: sp.coo_array) -> tuple[Ints, Ints, Floats, Ints]:
    """Row, column, coefficient and owner of every entry of the prior's precision."""
    c, T = columns, columns.knots
    found: list[tuple[Ints, Ints, Floats, int]] = []
    for k, (a, b) in enumerate(zip(c.levels, (*c.levels[1:], c.line), strict=True)):
        found.append((np.arange(a, b), np.arange(a, b), np.ones(b - a), k))
    for k in range(c.walks + 1 if T else 0):
        at = c.line + k * T + np.arange(T)
        owner = LINE if k < c.walks else MARKET
        found.append((at, at, np.append(np.full(T - 1, 2.0), 1.0), owner))
        found.append((at[1:], at[:-1], np.full(T - 1, -1.0), owner))
        found.append((at[:-1], at[1:], np.full(T - 1, -1.0), owner))
    row, col = border.coords
    found.append((row.astype(np.int64) + c.border, col.astype(np.int64) + c.border, np.ones(len(row)), BORDER))
    rows, cols, vals, owners = zip(*found, strict=True)
    owner_of = np.repeat(owners, [len(r) for r in rows])
    return np.concatenate(rows), np.concatenate(cols), np.concatenate(vals), owner_of


def eliminate(equations: Equations, omega: Floats, prior: Prior) -> System:
    """Put the equations together for weights omega (rows,) and factor them; prior.held columns stand at zero."""
    pieces = equations.pieces
    held = _held(equations.columns, prior)
    rows = _without(held, equations.rows)
    values = _squares(equations.turned, rows, omega, equations.pattern.ptr, equations.pattern.idx)
    coefficient = np.where(held[pieces.row] | held[pieces.col], 0.0, _coefficients(equations, prior))
    np.add.at(values, pieces.at[pieces.kept], coefficient[pieces.kept])
    # The diagonal comes first in each column of the lower half.
    values[equations.pattern.ptr[equations.pattern.place[held]]] = 1.0
    return System(equations, omega, prior, rows, factor(equations.pattern, values))


def _held(columns: Columns, prior: Prior) -> Flags:
    held = np.zeros(columns.N, bool)
    held[columns.border :] = prior.held
    return held


def _without(held: Flags, rows: Sparse) -> Sparse:
    return Sparse(rows.ptr, rows.idx, np.where(held[rows.idx], 0.0, rows.val))


def target_rows(system: System, rows: Sparse, block: Places, nodes: Places) -> Sparse:
    """Rows to answer for over all effects, held columns left out; as `effect_rows`, an unknown root's block last."""
    columns = system.equations.columns
    return _without(_held(columns, system.prior), effect_rows(columns, rows, block, nodes))


def _coefficients(equations: Equations, prior: Prior) -> Floats:
    p, start = equations.pieces, equations.columns.border
    # Read from its end, as the owners are numbered: own walks, market, border.
    variance = np.concatenate([prior.levels, [1.0, prior.market, prior.line]])
    out: Floats = p.val / variance[p.owner]
    edge = p.owner == BORDER
    out[edge] = np.asarray(prior.border[p.row[edge] - start, p.col[edge] - start])
    return out


@compiled
def _squares(turned: Turned, rows: Sparse, omega: Floats, ptr: Ints, idx: Ints) -> Floats:
    """X'WX on the lower half (ptr, idx) of the pattern."""
    out = np.zeros(len(idx))
    at = np.zeros(len(ptr) - 1, np.int64)
    for j in range(len(ptr) - 1):
        for a in range(ptr[j], ptr[j + 1]):
            at[idx[a]] = a
        for e in range(turned.ptr[j], turned.ptr[j + 1]):
            i = turned.row[e]
            x = omega[i] * rows.val[turned.entry[e]]
            if x == 0.0:
                continue
            for b in range(rows.ptr[i], rows.ptr[i + 1]):
                place = turned.place[rows.idx[b]]
                if place >= j:
                    out[at[place]] += x * rows.val[b]
    return out


def solution(system: System, zeta: Floats) -> Solution:
    """Mode for weighted responses zeta (rows, m), laid out like the forest's."""
    c, forest = system.equations.columns, system.equations.forest
    X = as_matrix(system.rows, c.N)
    right = X.T @ zeta
    b = solve(system.factored, right)
    m, T = zeta.shape[1], c.knots
    line = np.zeros((len(forest.walked), T, m))
    line[forest.walked] = b[c.line : c.market].reshape(c.walks, T, m)
    effects = tuple(b[a:e] for a, e in zip(c.levels, (*c.levels[1:], c.line), strict=True))
    sums: list[Floats] = []
    for level, effect in zip(forest.levels, effects, strict=True):
        sums.append(effect + sums[-1][level.parent] if sums else effect)
    g = b[c.market :]
    return Solution(g, line, effects, tuple(sums), Split(line + g[:T], g[T:]), right.T @ b)


def columns_alone(system: System, zeta: Floats, at: Ints) -> tuple[Floats, Floats]:
    """The problem of some border columns `at` (k,), all of them held in the system, with all free ones eliminated.

    Matrix (k, k) and right-hand side (k,): a Schur complement, as the inverse of a covariance would lose its digits.
    """
    c = system.equations.columns
    X, own = as_matrix(system.equations.rows, c.N), c.border + at
    M = (X.T @ (system.omega[:, None] * X[:, own].toarray())).reshape(c.N, len(at))
    M[c.border :] += system.prior.border[:, at].toarray()
    right, free = X.T @ zeta, ~_held(c, system.prior)
    coupled = free[:, None] * M
    reach = solve(system.factored, coupled)
    A = M[own] - coupled.T @ reach
    return 0.5 * (A + A.T), right[own] - reach.T @ (free * right)


def border_slope(system: System, found: Solution, zeta: Floats) -> tuple[Floats, Floats]:
    """Slope of the least squares in each border column at a solution (p,), and the size of what it is summed from."""
    c, prior = system.equations.columns, system.prior
    X, b = as_matrix(system.equations.rows, c.N), every_effect(system, found)
    own = b[c.border :]
    slope = X.T @ (system.omega * (X @ b) - zeta)
    size = abs(X).T @ (system.omega * (abs(X) @ abs(b)) + abs(zeta))
    return slope[c.border :] + prior.border @ own, size[c.border :] + abs(prior.border) @ abs(own)


def every_effect(system: System, found: Solution) -> Floats:
    """The first column of a solution as one vector over all effects, (N,)."""
    line = found.line[system.equations.forest.walked, :, 0].ravel()
    return np.concatenate([*(e[:, 0] for e in found.effects), line, found.g[:, 0]])


def as_matrix(rows: Sparse, width: int) -> sp.csr_array:
    """Sparse rows as scipy knows them."""
    return sp.csr_array((rows.val, rows.idx, rows.ptr), shape=(len(rows.ptr) - 1, width))


def gaps(system: System, *, known_flat: bool) -> Gaps:
    """Effective degrees of freedom of each variance, and the variance of each row's linear predictor."""
    c, p, prior = system.equations.columns, system.equations.pieces, system.prior
    inside = p.owner != BORDER
    row, col, val, owner = p.row[inside], p.col[inside], p.val[inside], p.owner[inside]
    share = val * covariances(system, row, col, known_flat=known_flat)
    sizes = np.diff((*c.levels, c.line))
    levels = np.array([sizes[k] - share[owner == k].sum() / prior.levels[k] for k in range(len(sizes))])
    line = c.walks * c.knots - float(share[owner == LINE].sum()) / prior.line
    market = c.knots - float(share[owner == MARKET].sum()) / prior.market
    return Gaps(levels, line, market, variances(system, system.rows, known_flat=known_flat))


def covariances(system: System, row: Ints, col: Ints, *, known_flat: bool) -> Floats:
    """Covariances of pairs of effects that some row or the prior couples, (n,)."""
    out = entries(system.inverse, row, col)
    held = _held(system.equations.columns, system.prior)
    if known_flat:
        U = _half_of_flat(system)
        out -= np.einsum("ij,ij->i", U[row], U[col])
    return np.where(held[row] | held[col], 0.0, out)


def _half_of_flat(system: System) -> Floats:
    """U (N, flat) with U U' what the flat columns' being unknown adds to the covariance."""
    count = system.equations.forest.flat
    C = system.flat
    return np.asarray(np.linalg.solve(np.linalg.cholesky(C[len(C) - count :]), C.T).T)


def variances(system: System, rows: Sparse, *, known_flat: bool = False) -> Floats:
    """Variance of x'b for any sparse rows x over the effects, (m,); held columns must carry zero."""
    out = quadratics(system.inverse, rows)
    X = as_matrix(rows, system.equations.columns.N)
    rest = np.flatnonzero(~known(out))
    for a in range(0, len(rest), TOGETHER):
        some = X[rest[a : a + TOGETHER]]
        out[rest[a : a + TOGETHER]] = some.multiply(leaning(system, some).T).sum(axis=1)
    if known_flat:
        out -= ((X @ _half_of_flat(system)) ** 2).sum(axis=1)
    return out


def leaning(system: System, rows: sp.csr_array) -> Floats:
    """Covariance of every effect with x'b for rows x (m, N): (N, m)."""
    return solve(system.factored, rows.T.toarray())
