"""A part of the forest: some of the chain's roots with all that hangs below, eliminated by itself.

Promises: exact. No function here needs another part: upwards a part gives one small `Share` for the root that all
parts have in common, downwards it takes the root's solution alone. So parts can be worked on side by side, by threads
or on other machines, and the result does not depend on where.
How: along a nested chain each row sees only the running sum of the effects above it, so a node's own effect leaves by
one rank-one update however deep the tree; then each block's walk leaves (walks.py).
Source: Henderson's mixed-model equations; elimination order and recursions derived in the comments.
Not here: the root (forest.py), covariances (spread.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from hangtab.worth import kernels
from hangtab.worth.arrays import Flags, Floats, Ints, Places, Sparse, Split
from hangtab.worth.walks import Walks, fold_walks


@dataclass(frozen=True)
class Level:
    """One level of the chain; node j's children are first[j]..first[j+1]-1 one level down (rows, at the leaf)."""

    parent: Places
    first: Places
    block: Places
    ptr: Ints
    idx: Places

    def __len__(self) -> int:
        return len(self.parent)

    def sparse(self, val: Floats) -> Sparse:
        """Values on the columns that the nodes touch."""
        return Sparse(self.ptr, self.idx, val)


@dataclass(frozen=True)
class Part:
    """Structure that no weight and no variance changes; rows, nodes and blocks numbered within the part.

    rows sorted by leaf; block and leaf per row; walked: which blocks have a walk of their own; T knots, p columns.
    """

    rows: Sparse
    block: Places
    leaf: Places
    levels: tuple[Level, ...]
    walked: Flags
    T: int
    p: int

    @property
    def width(self) -> int:
        """Columns a row can touch: knots and border."""
        return self.T + self.p

    def empty(self, right: int | None = None) -> Split:
        """Zeros by column: squares (blocks, T, q), (p, p), or (blocks, T, right), (p, right)."""
        wide, edge = (self.width, self.p) if right is None else (right, right)
        return Split(np.zeros((len(self.walked), self.T, wide)), np.zeros((self.p, edge)))

    @cached_property
    def plain(self) -> Leaves:
        """The rows summed with weights of one: rows of equal weights need not be passed again."""
        return sum_rows(self, np.ones(len(self.block)))


@dataclass(frozen=True)
class Leaves:
    """Rows summed up: squares by column, and n (leaves,) and couplings c of the leaves (none without a chain)."""

    squares: Split
    n: Floats
    c: Floats


@dataclass(frozen=True)
class Variances:
    """What a part's elimination depends on beside weights: variance per level, of a step of own walks."""

    levels: Floats
    line: float


@dataclass(frozen=True)
class FoldedPart:
    """A part eliminated for one set of weights: by level n, c (on the level's columns), f, w; its walks."""

    n: tuple[Floats, ...]
    c: tuple[Floats, ...]
    f: tuple[Floats, ...]
    w: tuple[Floats, ...]
    walks: Walks


@dataclass(frozen=True)
class Share:
    """What a part adds to the root: matrix (q, q) and log determinant."""

    G: Floats
    logdet: float


@dataclass(frozen=True)
class CarriedPart:
    """Right-hand sides (m of them) carried up a part: r by level, b: the blocks' own (blocks, T, m)."""

    r: tuple[Floats, ...]
    b: Floats


@dataclass(frozen=True)
class RightShare:
    """What a part adds to the root's right-hand side g (q, m) and to the squares explained (m, m)."""

    g: Floats
    square: Floats


@dataclass(frozen=True)
class SolvedPart:
    """Knots (blocks, T, m), market and own walk together; effects and running sums by level, (nodes, m)."""

    K: Floats
    effects: tuple[Floats, ...]
    sums: tuple[Floats, ...]


def sum_rows(part: Part, omega: Floats) -> Leaves:
    """Sum the rows with weights omega (rows,)."""
    squares = part.empty()
    kernels.add_squares(part.rows, omega, part.block, squares)
    if not part.levels:
        return Leaves(squares, np.zeros(0), np.zeros(0))
    leaf = part.levels[-1]
    n = np.add.reduceat(omega, leaf.first[:-1])
    return Leaves(squares, n, kernels.gather(part.rows, omega, leaf.first, leaf.ptr, leaf.idx, part.width))


def row_sums(part: Part, omega: Floats) -> Leaves:
    """Sum the rows with weights omega (rows,), without passing them where all weigh the same."""
    one = omega[0]
    if not (omega == one).all():
        return sum_rows(part, omega)
    plain = part.plain
    return Leaves(Split(one * plain.squares.K, one * plain.squares.B), one * plain.n, one * plain.c)


def fold_part(part: Part, omega: Floats, theta: Variances) -> tuple[FoldedPart, Share]:
    """Eliminate a part's nodes and walks for weights omega (rows,)."""
    leaves = row_sums(part, omega)
    n, c, logdet = leaves.n, leaves.c, 0.0
    found: list[tuple[Floats, Floats, Floats, Floats]] = []
    for k in range(len(part.levels) - 1, -1, -1):
        level = part.levels[k]
        if found:
            below, f = part.levels[k + 1], found[-1][2]
            n = np.add.reduceat(f * n, level.first[:-1])
            c = kernels.gather(below.sparse(c), f, level.first, level.ptr, level.idx, part.width)
        if (n * theta.levels[k] <= -1.0).any():
            raise np.linalg.LinAlgError("a pivot is not positive")
        f = 1.0 / (1.0 + n * theta.levels[k])
        w = theta.levels[k] * f
        kernels.add_squares(level.sparse(c), -w, level.block, leaves.squares)
        logdet -= float(np.log(f).sum())
        found.append((n, c, f, w))
    walks, G, logdet_walks = fold_walks(leaves.squares, part.walked, theta.line)
    ns, cs, fs, ws = ((*x,) for x in zip(*found[::-1], strict=True)) if found else ((), (), (), ())
    return FoldedPart(ns, cs, fs, ws, walks), Share(G, logdet + logdet_walks)


def carry_part(part: Part, folded: FoldedPart, zeta: Floats) -> tuple[CarriedPart, RightShare]:
    """Carry weighted responses zeta (rows, m) from the rows to the root."""
    B, ones = part.empty(zeta.shape[1]), np.ones(len(zeta))
    if zeta.shape[1] == 1:
        kernels.add_product(part.rows, ones, part.block, zeta[:, 0], B)
    else:
        kernels.add_products(part.rows, ones, part.block, zeta, B)
    r = kernels.sum_children(zeta, ones, part.levels[-1].first) if part.levels else zeta
    return carry_leaves(part, folded, r, B)


def carry_leaves(part: Part, folded: FoldedPart, r: Floats, B: Split) -> tuple[CarriedPart, RightShare]:
    """Carry on from the leaves' sums r (leaves, m) and the rows' sums by column B, which is overwritten."""
    m = r.shape[1]
    square = np.zeros((m, m))
    rs: list[Floats] = []
    for k in range(len(part.levels) - 1, -1, -1):
        level, w = part.levels[k], folded.w[k]
        if rs:
            r = kernels.sum_children(r, folded.f[k + 1], level.first)
        kernels.add_products(level.sparse(folded.c[k]), -w, level.block, r, B)
        square += kernels.sum_squares(r, w)
        rs.append(r)
    g = np.zeros((part.width, m))
    g[part.T :] = B.B
    for own, reach, b in zip(folded.walks.own, folded.walks.reach, B.K, strict=True):
        g += reach.T @ b
        square += b.T @ (own @ b)
    return CarriedPart(tuple(rs[::-1]), B.K), RightShare(g, square)


def solve_part(part: Part, folded: FoldedPart, carried: CarriedPart, g: Floats) -> SolvedPart:
    """Come down a part from the root's solution g (q, m)."""
    K = np.empty_like(carried.b)
    for k, (own, reach, b) in enumerate(zip(folded.walks.own, folded.walks.reach, carried.b, strict=True)):
        K[k] = own @ b + reach @ g
    columns = Split(K, np.ascontiguousarray(g[part.T :]))
    effects: list[Floats] = []
    sums: list[Floats] = []
    above = np.zeros((1, g.shape[1]))
    for k, level in enumerate(part.levels):
        parent = level.parent
        pull = kernels.couple(level.sparse(folded.c[k]), level.block, folded.n[k], parent, above, columns)
        effect = folded.w[k][:, None] * (carried.r[k] - pull)
        above = above[parent] + effect
        effects.append(effect)
        sums.append(above)
    return SolvedPart(K, tuple(effects), tuple(sums))


def fitted_part(part: Part, columns: Split, leaves: Floats | None) -> Floats:
    """Linear predictor of a part's rows, (rows, m), from its columns and its leaves' running sums."""
    out = kernels.times(part.rows, part.block, columns)
    return out if leaves is None else out + leaves[part.leaf]
