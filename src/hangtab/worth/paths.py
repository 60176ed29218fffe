"""New rows against a solved forest: variances, covariances, gains, parts.

Promises: exact under the weights of the factor; one row costs its own path, all sales one pass down the forest.
How: unrolling e_j = w_j (r_j - n_j theta_parent - c_j'd) + free part from the leaf up turns a row's linear predictor
into a dense combination Z of the columns plus free parts of its nodes, independent of all else.
Not here: prices and ranges (predicting.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hangtab.worth import kernels
from hangtab.worth.arrays import Floats, Ints, Sparse, Split
from hangtab.worth.forest import Factor, Folded, Forest
from hangtab.worth.spread import Covariance, covariance


@dataclass(frozen=True)
class Posterior:
    """A factor with its covariances; K, own of one block more than the forest has, for unknown roots."""

    forest: Forest
    folded: Folded
    root: Floats
    K: Floats
    own: Floats


@dataclass(frozen=True)
class Targets:
    """Rows as the model sees them. rows: sparse; block; nodes (m, levels), -1 where unknown."""

    rows: Sparse
    block: Ints
    nodes: Ints

    def __len__(self) -> int:
        return len(self.block)


@dataclass(frozen=True)
class Reach:
    """Targets unrolled: Z (m, q) over own knots and border, V (m, q) over the root, free parts per level (m,)."""

    targets: Targets
    Z: Floats
    V: Floats
    free: tuple[Floats, ...]


@dataclass(frozen=True)
class Lean:
    """Covariance of every column with m targets: root (q, m), own walks (blocks, T, m), both together by column."""

    root: Floats
    line: Floats
    columns: Split


def make_posterior(forest: Forest, factor: Factor) -> Posterior:
    """Invert what predictions need."""
    cov: Covariance = covariance(forest, factor, known_flat=False)
    T, q = forest.T, forest.width
    K = np.concatenate([cov.K, np.zeros((1, T, q))])
    own = np.concatenate([cov.own, np.zeros((1, T, T))])
    return Posterior(forest, factor.folded, cov.root, K, own)


def take_rows(rows: Sparse, at: Ints) -> Sparse:
    """Some rows (or nodes) of a sparse table."""
    length = rows.ptr[at + 1] - rows.ptr[at]
    ptr = np.concatenate([[0], np.cumsum(length)]).astype(np.int64)
    where = np.arange(ptr[-1]) - np.repeat(ptr[:-1], length) + np.repeat(rows.ptr[at], length)
    return Sparse(ptr, rows.idx[where], rows.val[where])


def dense(rows: Sparse, width: int) -> Floats:
    """Sparse rows as a matrix."""
    out = np.zeros((len(rows.ptr) - 1, width))
    out[np.repeat(np.arange(len(out)), np.diff(rows.ptr)), rows.idx] = rows.val
    return out


def reach(post: Posterior, targets: Targets) -> Reach:
    """Unroll the targets' chains."""
    Z = dense(targets.rows, post.forest.width)
    carry = np.ones(len(targets))
    free: list[Floats] = []
    for k in range(len(post.forest.levels) - 1, -1, -1):
        at = np.ascontiguousarray(targets.nodes[:, k])
        free.append(kernels.fold(at, post.folded.c[k], post.folded.w[k], post.folded.f[k], carry, Z))
    V = Z.copy()
    T = post.forest.T
    for b in np.unique(targets.block):
        mine = targets.block == b
        V[mine] -= Z[mine, :T] @ post.K[b]
    return Reach(targets, Z, V, tuple(free[::-1]))


def variances(post: Posterior, r: Reach) -> Floats:
    """Variance of each target's linear predictor, (m,), without the prior variance of what is unknown."""
    out: Floats = np.einsum("ij,ij->i", r.V @ post.root, r.V)
    T = post.forest.T
    for b in np.unique(r.targets.block):
        mine = r.targets.block == b
        Zt = r.Z[mine, :T]
        out[mine] += np.einsum("ij,ij->i", Zt @ post.own[b], Zt)
    for k, own in enumerate(r.free):
        out += _squared(own, own, r.targets.nodes[:, k], post.folded.w[k])
    return out


def joint(post: Posterior, r: Reach) -> Floats:
    """Covariance of the targets' linear predictors, (m, m)."""
    out = r.V @ post.root @ r.V.T
    T, block = post.forest.T, r.targets.block
    for b in np.unique(block):
        mine = np.flatnonzero(block == b)
        Zt = r.Z[mine, :T]
        out[np.ix_(mine, mine)] += Zt @ post.own[b] @ Zt.T
    for k, own in enumerate(r.free):
        at = r.targets.nodes[:, k]
        same = (at[:, None] == at[None, :]) & (at[:, None] >= 0)
        w = np.where(at >= 0, post.folded.w[k][at], 1.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            out += np.where(same & (w[:, None] > 0), own[:, None] * own[None, :] / w[:, None], 0.0)
    return out


def _squared(a: Floats, b: Floats, at: Ints, w: Floats) -> Floats:
    known = np.where(at >= 0, w[at], 0.0)
    out: Floats = np.divide(a * b, known, out=np.zeros(len(a)), where=known > 0)
    return out


def lean(post: Posterior, r: Reach) -> Lean:
    """How every column moves with each target."""
    T, m = post.forest.T, len(r.targets)
    root = post.root @ r.V.T
    line = -(post.K @ root)
    for i in range(m):
        b = r.targets.block[i]
        line[b, :, i] += post.own[b] @ r.Z[i, :T]
    return Lean(root, line, Split(line + root[:T], root[T:]))


def rows_with_target(post: Posterior, r: Reach, held: Lean) -> Floats:
    """Covariance of every training row's linear predictor with one target, (rows,)."""
    forest = post.forest
    above = np.zeros((1, 1))
    for k, level in enumerate(forest.levels):
        n, w, c = post.folded.n[k], post.folded.w[k], post.folded.c[k]
        effect = -w[:, None] * kernels.couple(c, level.block, n, level.parent, above, held.columns)
        at = r.targets.nodes[0, k]
        if at >= 0:
            effect[at, 0] += r.free[k][0]
        above = above[level.parent] + effect
    out = kernels.times(forest.rows, forest.block, held.columns)[:, 0]
    return np.asarray(out + above[forest.leaf, 0]) if forest.levels else out


def effects_with_targets(post: Posterior, r: Reach, held: Lean, nodes: Ints) -> list[Floats]:
    """Covariance of the effects on some rows' paths with m targets: per level (rows, m), 0 where unknown."""
    out: list[Floats] = []
    above = np.zeros((len(nodes), len(r.targets)))
    for k, level in enumerate(post.forest.levels):
        at = nodes[:, k]
        known = np.flatnonzero(at >= 0)
        effect = np.zeros_like(above)
        if len(known):
            c = take_rows(post.folded.c[k], at[known])
            pull = kernels.couple(c, level.block[at[known]], post.folded.n[k][at[known]], known, above, held.columns)
            effect[known] = -post.folded.w[k][at[known], None] * pull
            same = at[:, None] == r.targets.nodes[:, k][None, :]
            effect += np.where(same & (at[:, None] >= 0), r.free[k][None, :], 0.0)
        above = above + effect
        out.append(effect)
    return out
