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
from hangtab.worth.arrays import Floats, Ints, Places, Sparse, Split
from hangtab.worth.forest import Factor, Folded, Forest
from hangtab.worth.parts import fitted_part
from hangtab.worth.spread import covariance


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
    block: Places
    nodes: Places

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
    root = covariance(forest, factor, known_flat=False).root
    T, q, blocks = forest.T, forest.width, len(forest.walked)
    K, own = np.zeros((blocks + 1, T, q)), np.zeros((blocks + 1, T, T))
    for span, part in zip(forest.spans, factor.folded.parts, strict=True):
        K[span.blocks], own[span.blocks] = -part.walks.reach, part.walks.own
    K[:blocks, :, :T] += np.eye(T)
    return Posterior(forest, factor.folded, root, K, own)


def take_rows(rows: Sparse, at: Places) -> Sparse:
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
    forest = post.forest
    Z = dense(targets.rows, forest.width)
    free = np.zeros((len(forest.levels), len(targets)))
    for part, mine in _homes(post, targets.nodes):
        Z[mine], free[:, mine] = _unroll(post, part, targets.nodes[mine], Z[mine])
    V = Z.copy()
    T = forest.T
    for b in np.unique(targets.block):
        mine = targets.block == b
        V[mine] -= Z[mine, :T] @ post.K[b]
    return Reach(targets, Z, V, tuple(free))


def _homes(post: Posterior, nodes: Places) -> list[tuple[int, Ints]]:
    """Which of some paths lie in which part: (part, places); paths of unknown roots lie in none."""
    spans = post.forest.spans
    if nodes.shape[1] == 0:
        return []
    home = np.searchsorted([s.nodes[0].stop for s in spans], nodes[:, 0], side="right")
    home = np.where(nodes[:, 0] >= 0, home, -1)
    return [(int(k), np.flatnonzero(home == k)) for k in np.unique(home) if k >= 0]


def _unroll(post: Posterior, part: int, nodes: Places, Z: Floats) -> tuple[Floats, Floats]:
    span, folded, levels = post.forest.spans[part], post.folded.parts[part], post.forest.parts[part].levels
    carry, free = np.ones(len(nodes)), np.zeros((len(levels), len(nodes)))
    for k in range(len(levels) - 1, -1, -1):
        at = np.where(nodes[:, k] >= 0, nodes[:, k].astype(np.int64) - span.nodes[k].start, -1)
        free[k] = kernels.unroll(at, levels[k].sparse(folded.c[k]), folded.w[k], folded.f[k], carry, Z)
    return Z, free


def variances(post: Posterior, r: Reach) -> Floats:
    """Variance of each target's linear predictor, (m,), without the prior variance of what is unknown."""
    out: Floats = np.einsum("ij,ij->i", r.V @ post.root, r.V)
    T = post.forest.T
    for b in np.unique(r.targets.block):
        mine = r.targets.block == b
        Zt = r.Z[mine, :T]
        out[mine] += np.einsum("ij,ij->i", Zt @ post.own[b], Zt)
    for k, own in enumerate(r.free):
        w = free_variances(post, k, r.targets.nodes[:, k])
        out += np.divide(own * own, w, out=np.zeros(len(own)), where=w > 0)
    return out


def free_variances(post: Posterior, level: int, nodes: Places) -> Floats:
    """Variance w of each node's free part on a level, 0 for unknown ones (-1)."""
    ends = [s.nodes[level].stop for s in post.forest.spans]
    home = np.searchsorted(ends, nodes, side="right")
    out = np.zeros(len(nodes))
    for k in np.unique(home[nodes >= 0]):
        mine = (home == k) & (nodes >= 0)
        out[mine] = post.folded.parts[k].w[level][nodes[mine] - post.forest.spans[k].nodes[level].start]
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
        w = free_variances(post, k, at)
        with np.errstate(divide="ignore", invalid="ignore"):
            out += np.where(same & (w[:, None] > 0), own[:, None] * own[None, :] / w[:, None], 0.0)
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
    return np.concatenate([_part_with_target(post, part, r, held) for part in range(len(post.forest.parts))])


def _part_with_target(post: Posterior, number: int, r: Reach, held: Lean) -> Floats:
    part, folded, span = post.forest.parts[number], post.folded.parts[number], post.forest.spans[number]
    columns = Split(held.columns.K[span.blocks], held.columns.B)
    above = np.zeros((1, 1))
    for k, level in enumerate(part.levels):
        n, c = folded.n[k], level.sparse(folded.c[k])
        effect = -folded.w[k][:, None] * kernels.couple(c, level.block, n, level.parent, above, columns)
        at = int(r.targets.nodes[0, k]) - span.nodes[k].start
        if r.targets.nodes[0, k] >= 0 and 0 <= at < len(effect):
            effect[at, 0] += r.free[k][0]
        above = above[level.parent] + effect
    return fitted_part(part, columns, above if part.levels else None)[:, 0]


def effects_with_targets(post: Posterior, r: Reach, held: Lean, nodes: Places) -> list[Floats]:
    """Covariance of the effects on some rows' paths with m targets: per level (rows, m), 0 where unknown."""
    out = np.zeros((len(post.forest.levels), len(nodes), len(r.targets)))
    for part, mine in _homes(post, nodes):
        out[:, mine] = _effects_in_part(post, part, r, held, nodes[mine])
    return list(out)


def _effects_in_part(post: Posterior, number: int, r: Reach, held: Lean, nodes: Places) -> Floats:
    part, folded, span = post.forest.parts[number], post.folded.parts[number], post.forest.spans[number]
    columns = Split(held.columns.K[span.blocks], held.columns.B)
    out = np.zeros((len(part.levels), len(nodes), len(r.targets)))
    above = np.zeros((len(nodes), len(r.targets)))
    for k, level in enumerate(part.levels):
        at = nodes[:, k]
        known = np.flatnonzero(at >= 0).astype(np.int32)
        own = at[known] - span.nodes[k].start
        c = take_rows(level.sparse(folded.c[k]), own)
        pull = kernels.couple(c, level.block[own], folded.n[k][own], known, above, columns)
        out[k, known] = -folded.w[k][own, None] * pull
        same = (at[:, None] == r.targets.nodes[:, k][None, :]) & (at[:, None] >= 0)
        out[k] += np.where(same, r.free[k][None, :], 0.0)
        above = above + out[k]
    return out
