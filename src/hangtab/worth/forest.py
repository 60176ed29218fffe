"""Exact elimination of a forest of nested effects, monthly walks and a dense border.

Promises: the exact solution, log determinant and covariances of the mixed-model equations
(X'WX + Q) b = X'z, in work linear in the rows; nothing is approximate.
Along a nested chain each row sees only the running sum of the effects above it, so a node's own effect
leaves by one rank-one update however deep the tree. What remains per block (a value of the first group
with a walk of its own) is its knots, then one global root: market knots and border.
Reads: rows as sparse vectors over knots and border columns, weights, variances.
Source: Henderson's mixed-model equations; elimination order and recursions derived in the comments.
Not here: where weights come from (tails.py), how variances are chosen (variances.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from hangtab.worth import kernels
from hangtab.worth.arrays import Flags, Floats, Ints, Sparse, Split


@dataclass(frozen=True)
class Level:
    """One level of the chain; node j's children are first[j]..first[j+1]-1 one level down (rows, at the leaf)."""

    parent: Ints
    first: Ints
    block: Ints
    ptr: Ints
    idx: Ints

    def __len__(self) -> int:
        return len(self.parent)


@dataclass(frozen=True)
class Forest:
    """The structure that no weight and no variance changes.

    rows sorted by leaf; block and leaf per row; walked: which blocks have a walk of their own;
    T knots and p border columns, of which the last `flat` have no prior.
    """

    rows: Sparse
    block: Ints
    leaf: Ints
    levels: tuple[Level, ...]
    walked: Flags
    T: int
    p: int
    flat: int

    @property
    def width(self) -> int:
        """Columns a row can touch: knots and border."""
        return self.T + self.p


@dataclass(frozen=True)
class Prior:
    """Variances of one moment: per level, of a month's step of the walks; the border's precision and held columns.

    log_border: log determinant of the border's precision over its free columns that have a prior.
    """

    levels: Floats
    line: float
    market: float
    border: Floats
    log_border: float
    held: Flags


@dataclass(frozen=True)
class Folded:
    """The forest eliminated for one set of weights, its root still open."""

    n: tuple[Floats, ...]
    c: tuple[Sparse, ...]
    f: tuple[Floats, ...]
    w: tuple[Floats, ...]
    A: Floats
    W: Floats
    G: Floats
    logdet: float


@dataclass(frozen=True)
class Factor:
    """A folded forest with its root closed: ready to solve. logdet of the random part, and with the flat columns."""

    folded: Folded
    root: Floats
    held: Flags
    logdet: float
    logdet_all: float


@dataclass(frozen=True)
class Folding:
    """Right-hand sides (m of them) carried to the root."""

    r: tuple[Floats, ...]
    Wr: Floats
    g: Floats
    square: Floats


@dataclass(frozen=True)
class Solution:
    """Mode: g (q, m) at the root, own walks (blocks, T, m), effects and running sums per level, squares explained."""

    g: Floats
    line: Floats
    effects: tuple[Floats, ...]
    sums: tuple[Floats, ...]
    columns: Split
    explained: Floats


def make_forest(rows: Sparse, block: Ints, paths: Ints, walked: Flags, sizes: tuple[int, int, int]) -> Forest:
    """Build the structure. paths (rows, levels): node numbers, contiguous and rising. sizes: T, p, flat."""
    T, p, flat = sizes
    levels: list[Level] = []
    ptr, idx = rows.ptr, rows.idx
    below = np.arange(len(block))
    node_of = paths
    for k in range(paths.shape[1] - 1, -1, -1):
        own = node_of[:, k]
        count = int(own[-1]) + 1
        heads = np.searchsorted(own, np.arange(count))
        first = np.append(np.unique(below[heads], return_index=False), below[-1] + 1)
        ptr, idx = kernels.union_columns(ptr, idx, first, T + p)
        parent = node_of[heads, k - 1] if k else np.zeros(count, np.int64)
        levels.append(Level(parent, first, block[heads], ptr, idx))
        below = own
    leaf = paths[:, -1].copy() if paths.shape[1] else np.zeros(len(block), np.int64)
    return Forest(rows, block, leaf, tuple(levels[::-1]), walked, T, p, flat)


def step_precision(T: int) -> Floats:
    """Precision of a random walk with unit steps that starts one step from zero, (T, T); its determinant is 1."""
    Q = 2.0 * np.eye(T) - np.eye(T, k=1) - np.eye(T, k=-1)
    if T:
        Q[-1, -1] = 1.0
    return Q


def fold(forest: Forest, omega: Floats, prior: Prior) -> Folded:
    """Eliminate every node and every block's walk, for weights omega (rows,)."""
    T, p = forest.T, forest.p
    S = Split(np.zeros((len(forest.walked), T, T + p)), np.zeros((p, p)))
    kernels.add_squares(forest.rows, omega, forest.block, S)
    parts: list[tuple[Floats, Sparse, Floats, Floats]] = []
    below, factor, logdet = forest.rows, omega, 0.0
    for level, theta in zip(forest.levels[::-1], prior.levels[::-1], strict=True):
        n = np.add.reduceat(factor if len(parts) == 0 else factor * parts[-1][0], level.first[:-1])
        c = Sparse(level.ptr, level.idx, kernels.gather(below, factor, level.first, level.ptr, level.idx))
        if (n * theta <= -1.0).any():
            raise np.linalg.LinAlgError("a pivot is not positive")
        f = 1.0 / (1.0 + n * theta)
        w = theta * f
        kernels.add_squares(c, -w, level.block, S)
        logdet -= float(np.log(f).sum())
        parts.append((n, c, f, w))
        below, factor = c, f
    A, W, G, logdet_walks = _fold_walks(forest, S, prior)
    n_, c_, f_, w_ = ((*x,) for x in zip(*parts[::-1], strict=True)) if parts else ((), (), (), ())
    return Folded(n_, c_, f_, w_, A, W, G, logdet + logdet_walks)


def _fold_walks(forest: Forest, S: Split, prior: Prior) -> tuple[Floats, Floats, Floats, float]:
    T, q = forest.T, forest.width
    Q = step_precision(T)
    G = np.zeros((q, q))
    A = np.zeros((len(forest.walked), T, T))
    W = np.zeros((len(forest.walked), T, q))
    logdet = 0.0
    for b in range(len(forest.walked)):
        strip = S.K[b].copy()
        strip[:, :T] = _full(strip[:, :T])
        G[:T] += strip
        if forest.walked[b]:
            A[b] = cholesky(strip[:, :T] + Q / prior.line, lower=True, check_finite=False)
            W[b] = solve_triangular(A[b], strip, lower=True, check_finite=False)
            logdet += 2.0 * float(np.log(np.diag(A[b])).sum()) + T * np.log(prior.line)
    G[T:, :T] = G[:T, T:].T
    G[T:, T:] = _full(S.B) + prior.border
    flat_w = W.reshape(-1, q)
    G -= flat_w.T @ flat_w
    if T:
        G[:T, :T] += Q / prior.market
        logdet += T * np.log(prior.market)
    return A, W, G, logdet - prior.log_border


def _full(upper: Floats) -> Floats:
    return np.triu(upper) + np.triu(upper, 1).T


def close(forest: Forest, folded: Folded, held: Flags) -> Factor:
    """Factor the root with the `held` border columns fixed at zero."""
    G = folded.G.copy()
    out = np.flatnonzero(held) + forest.T
    G[out, :] = 0.0
    G[:, out] = 0.0
    G[out, out] = 1.0
    root = cholesky(G, lower=True, check_finite=False)
    logs = 2.0 * np.log(np.diag(root))
    random = float(logs[: forest.width - forest.flat].sum())
    return Factor(folded, root, held, folded.logdet + random, folded.logdet + float(logs.sum()))


def carry(forest: Forest, folded: Folded, zeta: Floats) -> Folding:
    """Carry weighted responses zeta (rows, m) from the leaves to the root."""
    T, m = forest.T, zeta.shape[1]
    B = Split(np.zeros((len(forest.walked), T, m)), np.zeros((forest.p, m)))
    ones = np.ones(len(forest.block))
    kernels.add_products(forest.rows, ones, forest.block, zeta, B)
    square = np.zeros((m, m))
    rs: list[Floats] = []
    values, factor = zeta, ones
    for k in range(len(forest.levels) - 1, -1, -1):
        level, w = forest.levels[k], folded.w[k]
        r = kernels.sum_children(values, factor, level.first)
        kernels.add_products(folded.c[k], -w, level.block, r, B)
        square += kernels.sum_squares(r, w)
        rs.append(r)
        values, factor = r, folded.f[k]
    Wr = np.zeros_like(B.K)
    g = np.concatenate([B.K.sum(axis=0), B.B])
    for b in np.flatnonzero(forest.walked):
        Wr[b] = solve_triangular(folded.A[b], B.K[b], lower=True, check_finite=False)
        g -= folded.W[b].T @ Wr[b]
        square += Wr[b].T @ Wr[b]
    return Folding(tuple(rs[::-1]), Wr, g, square)


def border_problem(forest: Forest, folded: Folded, g: Floats) -> tuple[Floats, Floats]:
    """The root with its knots eliminated: (p, p) matrix and (p,) right-hand side of the border alone."""
    T, G = forest.T, folded.G
    A, r = G[T:, T:], g[T:]
    if T == 0:
        return A, r
    L = cholesky(G[:T, :T], lower=True, check_finite=False)
    V = solve_triangular(L, G[:T, T:], lower=True, check_finite=False)
    return A - V.T @ V, r - V.T @ solve_triangular(L, g[:T], lower=True, check_finite=False)


def solve(forest: Forest, factor: Factor, folding: Folding) -> Solution:
    """Finish at the root and come back down to every effect."""
    folded, T = factor.folded, forest.T
    g = folding.g.copy()
    g[np.flatnonzero(factor.held) + T] = 0.0
    half = solve_triangular(factor.root, g, lower=True, check_finite=False)
    explained = folding.square + half.T @ half
    g = solve_triangular(factor.root, half, lower=True, trans=1, check_finite=False)
    line = np.zeros_like(folding.Wr)
    for b in np.flatnonzero(forest.walked):
        rest = folding.Wr[b] - folded.W[b] @ g
        line[b] = solve_triangular(folded.A[b], rest, lower=True, trans=1, check_finite=False)
    columns = Split(line + g[:T], g[T:])
    effects: list[Floats] = []
    sums: list[Floats] = []
    above = np.zeros((1, g.shape[1]))
    for k, level in enumerate(forest.levels):
        pull = kernels.couple(folded.c[k], level.block, folded.n[k], level.parent, above, columns)
        effect = folded.w[k][:, None] * (folding.r[k] - pull)
        above = above[level.parent] + effect
        effects.append(effect)
        sums.append(above)
    return Solution(g, line, tuple(effects), tuple(sums), columns, explained)


def fitted_values(forest: Forest, solution: Solution) -> Floats:
    """Linear predictor of every row, (rows, m)."""
    out = kernels.times(forest.rows, forest.block, solution.columns)
    if forest.levels:
        out += solution.sums[-1][forest.leaf]
    return out
