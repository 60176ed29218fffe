"""Average information: how the criterion bends in the variances, nearly.

Promises: for working variates F (rows, m), one a parameter, the matrix F'W F - F'W X C X'W F, C the covariance of all
effects, without ever making F: a chain level's variate is the same for all rows of a leaf, a walk's or border part's
is linear in the columns, and only the noise's differs from row to row. So the rows are passed once, for the noise.
Source: Gilmour, Thompson & Cullis 1995 (Biometrics 51).
Reads: a part of the forest, folded under the information weights. Gives: its share of the sums.
Not here: which variates there are (variances.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hangtab.worth import kernels
from hangtab.worth.arrays import Floats, Ints, Split
from hangtab.worth.parts import FoldedPart, Leaves, Part, RightShare, carry_leaves, row_sums
from hangtab.worth.walks import mirror


@dataclass(frozen=True)
class Variates:
    """Working variates of a part, in this order: levels, columns, classes of noise, freedom.

    effects: of each level, (nodes,). columns: values by column (blocks, T, v), (p, v). noise, klass (rows,): variate of
    the row's own class, and which of `classes` that is. freedom (rows,): variate of the degrees of freedom, or None.
    """

    effects: tuple[Floats, ...]
    columns: Split
    noise: Floats
    klass: Ints
    classes: int
    freedom: Floats | None = None

    @property
    def by_row(self) -> Floats:
        """The variates that differ from row to row, (rows, classes and freedom)."""
        out = np.zeros((len(self.noise), self.classes + (self.freedom is not None)))
        out[np.arange(len(out)), self.klass] = self.noise
        if self.freedom is not None:
            out[:, -1] = self.freedom
        return out


def curvature_part(part: Part, folded: FoldedPart, omega: Floats, variates: Variates) -> tuple[Floats, RightShare]:
    """F'W F (m, m) of a part's rows with weights omega (rows,), and what F adds to the root."""
    leaves = row_sums(part, omega)
    L, v = len(part.levels), variates.columns.B.shape[1]
    noise = variates.by_row
    m = L + v + noise.shape[1]
    B = part.empty(m)
    K, edge = _times_squares(leaves.squares, variates.columns)
    B.K[:, :, L : L + v], B.B[:, L : L + v] = K, edge
    right = part.empty(1)
    for c in range(noise.shape[1]):
        kernels.add_product(part.rows, omega, part.block, noise[:, c].copy(), right)
        B.K[:, :, L + v + c], B.B[:, L + v + c] = right.K[:, :, 0], right.B[:, 0]
        right.K[:], right.B[:] = 0.0, 0.0
    H = np.zeros((m, m))
    at = np.arange(L + v, L + v + variates.classes)
    H[at, at] = np.bincount(variates.klass, omega * variates.noise**2, minlength=variates.classes)
    if variates.freedom is not None:
        H[-1, L + v :] = H[L + v :, -1] = noise.T @ (omega * variates.freedom)
    H[L : L + v, L:] = np.einsum("btv,btm->vm", variates.columns.K, B.K[:, :, L:]) + variates.columns.B.T @ B.B[:, L:]
    r = np.zeros((len(leaves.n), m))
    if L:
        _leaf_variates(part, leaves, variates, (omega, noise), (r, B, H))
    H[L + v :, : L + v] = H[: L + v, L + v :].T
    H[L : L + v, :L] = H[:L, L : L + v].T
    return H, carry_leaves(part, folded, r, B)[1]


def _leaf_variates(
    part: Part, leaves: Leaves, variates: Variates, rows: tuple[Floats, Floats], out: tuple[Floats, Split, Floats]
) -> None:
    """Fill in what the levels' variates add, and the leaves' sums of all variates."""
    (omega, noise), (r, B, H) = rows, out
    leaf, L = part.levels[-1], len(part.levels)
    E = leaf_effects(part, variates.effects)
    c = leaf.sparse(leaves.c)
    own = part.empty(L)
    kernels.add_products(c, np.ones(len(leaf)), leaf.block, E, own)
    B.K[:, :, :L], B.B[:, :L] = own.K, own.B
    r[:, :L] = leaves.n[:, None] * E
    v = variates.columns.B.shape[1]
    r[:, L : L + v] = kernels.times(c, leaf.block, variates.columns)
    r[:, L + v :] = kernels.sum_children(noise, omega, leaf.first)
    H[:L] = E.T @ r


def leaf_effects(part: Part, effects: tuple[Floats, ...]) -> Floats:
    """Effects of each leaf's path, (leaves, levels)."""
    at = np.arange(len(part.levels[-1]), dtype=np.int32)
    out = np.empty((len(at), len(effects)))
    for k in range(len(effects) - 1, -1, -1):
        out[:, k] = effects[k][at]
        at = part.levels[k].parent[at]
    return out


def _times_squares(squares: Split, d: Split) -> tuple[Floats, Floats]:
    """X'WX d by column, from the upper halves of X'WX."""
    blocks, T, _ = squares.K.shape
    K, edge = np.empty_like(d.K), d.B.copy()
    upper = squares.B.copy()
    mirror(upper)
    edge = upper @ d.B
    for b in range(blocks):
        M = squares.K[b, :, :T].copy()
        mirror(M)
        N = squares.K[b, :, T:]
        K[b] = M @ d.K[b] + N @ d.B
        edge += N.T @ d.K[b]
    return K, edge
