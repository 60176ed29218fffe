"""Exact elimination of a forest of nested effects, monthly walks and a dense border.

Promises: the exact solution, log determinant and covariances of the mixed-model equations
(X'WX + Q) b = X'z, in work linear in the rows; nothing is approximate. The cut into parts follows the table alone, and
parts are added up in their own order: threads change no bit.
How: parts (parts.py) are eliminated by themselves; their shares add up to one root of market knots and border, which is
solved here and handed back to them.
Reads: rows as sparse vectors over knots and border columns, weights, variances.
Not here: how the structure is built (planting.py), where weights come from (tails.py), how variances are chosen
(variances.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.linalg import cholesky, solve_triangular

from hangtab.worth.arrays import Flags, Floats, Split
from hangtab.worth.parts import (
    CarriedPart,
    FoldedPart,
    RightShare,
    Share,
    SolvedPart,
    Variances,
    carry_part,
    fitted_part,
    fold_part,
    solve_part,
)
from hangtab.worth.planting import Forest, make_forest
from hangtab.worth.threads import side_by_side
from hangtab.worth.walks import step_precision, stepped

__all__ = ["Factor", "Folded", "Folding", "Forest", "Prior", "Solution", "border_problem", "carry", "close",
           "fitted_values", "fold", "make_forest", "solve", "step_precision"]  # fmt: skip


@dataclass(frozen=True)
class Prior:
    """Variances of one moment: per level, of a month's step of the walks; the border's precision and held columns.

    log_border: log determinant of the border's precision over its free columns that have a prior.
    """

    levels: Floats
    line: float
    market: float
    border: sp.csr_array
    log_border: float
    held: Flags

    @property
    def of_parts(self) -> Variances:
        """What the parts need of it."""
        return Variances(self.levels, self.line)


@dataclass(frozen=True)
class Folded:
    """The forest eliminated for one set of weights, its root G (q, q) still open; logdet without the border's prior."""

    parts: tuple[FoldedPart, ...]
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
    """Right-hand sides (m of them) carried to the root: g (q, m), squares explained on the way (m, m)."""

    parts: tuple[CarriedPart, ...]
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


def fold(forest: Forest, omega: Floats, prior: Prior) -> Folded:
    """Eliminate every node and every block's walk, for weights omega (rows,)."""
    T = forest.T
    weights = [omega[s.rows] for s in forest.spans]
    G, logdet, failed = np.zeros((forest.width, forest.width)), 0.0, 0.0
    found: list[tuple[FoldedPart, Share]] = []
    try:
        found = side_by_side(
            lambda p, o: fold_part(p, o, prior.of_parts), forest.threads, forest.parts, weights, sizes=forest.sizes
        )
    except np.linalg.LinAlgError:
        failed = 1.0  # the other places must hear of it before they go on
    for _, share in found:
        G += share.G
        logdet += share.logdet
    G, logdet, failed = forest.together.total("fold", G, logdet, failed)
    if failed:
        raise np.linalg.LinAlgError("a pivot is not positive")
    G[T:, T:] += prior.border.toarray()
    if T:
        G[:T, :T] += stepped(np.eye(T)) / prior.market
        logdet += T * float(np.log(prior.market))
    return Folded(tuple(part for part, _ in found), G, logdet)


def close(forest: Forest, folded: Folded, prior: Prior) -> Factor:
    """Factor the root with the held border columns fixed at zero; but for those, the prior is that of `fold`."""
    G, held = folded.G.copy(), prior.held
    out = np.flatnonzero(held) + forest.T
    G[out, :] = 0.0
    G[:, out] = 0.0
    G[out, out] = 1.0
    root = cholesky(G, lower=True, check_finite=False)
    logs = 2.0 * np.log(np.diag(root))
    random = float(logs[: forest.width - forest.flat].sum())
    logdet = folded.logdet - prior.log_border
    return Factor(folded, root, held, logdet + random, logdet + float(logs.sum()))


def carry(forest: Forest, folded: Folded, zeta: Floats) -> Folding:
    """Carry weighted responses zeta (rows, m) from the leaves to the root."""

    def work(part: int) -> tuple[CarriedPart, RightShare]:
        return carry_part(forest.parts[part], folded.parts[part], zeta[forest.spans[part].rows])

    found = side_by_side(work, forest.threads, range(len(forest.parts)), sizes=forest.sizes)
    return Folding(tuple(c for c, _ in found), *add_up(forest, [share for _, share in found]))


def add_up(forest: Forest, shares: list[RightShare]) -> tuple[Floats, Floats]:
    """Right-hand side and squares at the root, summed in the order of the parts, and over all places."""
    g, square = np.zeros_like(shares[0].g), np.zeros_like(shares[0].square)
    for share in shares:
        g += share.g
        square += share.square
    g, square = forest.together.total("carry", g, square)
    return g, square


def border_problem(forest: Forest, folded: Folded, g: Floats) -> tuple[Floats, Floats]:
    """The root with its knots eliminated: (p, p) matrix and (p,) right-hand side of the border alone."""
    T, G = forest.T, folded.G
    A, r = G[T:, T:], g[T:]
    if T == 0:
        return A, r
    L = cholesky(G[:T, :T], lower=True, check_finite=False)
    V = solve_triangular(L, G[:T, T:], lower=True, check_finite=False)
    return A - V.T @ V, r - V.T @ solve_triangular(L, g[:T], lower=True, check_finite=False)


def solve_root(forest: Forest, factor: Factor, g: Floats, square: Floats) -> tuple[Floats, Floats]:
    """The root's solution (q, m) and all squares explained (m, m)."""
    g = g.copy()
    g[np.flatnonzero(factor.held) + forest.T] = 0.0
    half = solve_triangular(factor.root, g, lower=True, check_finite=False)
    return solve_triangular(factor.root, half, lower=True, trans=1, check_finite=False), square + half.T @ half


def solve(forest: Forest, factor: Factor, folding: Folding) -> Solution:
    """Finish at the root and come back down to every effect."""
    T = forest.T
    g, explained = solve_root(forest, factor, folding.g, folding.square)
    found = side_by_side(
        lambda p, f, c: solve_part(p, f, c, g),
        forest.threads,
        forest.parts,
        factor.folded.parts,
        folding.parts,
        sizes=forest.sizes,
    )
    K = np.zeros((len(forest.walked), T, g.shape[1]))
    for span, part in zip(forest.spans, found, strict=True):
        K[span.blocks] = part.K
    return Solution(g, K - g[:T], _levels(found, "effects"), _levels(found, "sums"), Split(K, g[T:].copy()), explained)


def _levels(found: list[SolvedPart], name: str) -> tuple[Floats, ...]:
    return tuple(np.concatenate(own) for own in zip(*(getattr(part, name) for part in found), strict=True))


def fitted_values(forest: Forest, solution: Solution) -> Floats:
    """Linear predictor of every row, (rows, m)."""

    def work(part: int) -> Floats:
        span = forest.spans[part]
        leaves = solution.sums[-1][span.nodes[-1]] if span.nodes else None
        return fitted_part(forest.parts[part], Split(solution.columns.K[span.blocks], solution.columns.B), leaves)

    return np.concatenate(side_by_side(work, forest.threads, range(len(forest.parts)), sizes=forest.sizes))
