"""Covariances of a solved forest: of its root, its rows, and of any new combination of effects.

Promises: exact covariances under the weights of the factor given; `ml` takes flat columns as known.
Reads: a `Factor`. Gives: `Covariance` for the root, gaps (effective degrees of freedom) per variance,
variance of every row's linear predictor.
Not here: means (forest.solve), prediction of new rows (paths.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dtrtri

from hangtab.worth import descent
from hangtab.worth.arrays import Floats, Sparse, Split
from hangtab.worth.forest import Factor, Forest, Prior
from hangtab.worth.parts import FoldedPart, Part
from hangtab.worth.threads import side_by_side
from hangtab.worth.walks import stepped


@dataclass(frozen=True)
class Covariance:
    """root: (q, q) of market knots and border, T of them knots; half: (q, q), root = half' half."""

    root: Floats
    half: Floats
    T: int

    @property
    def border(self) -> Floats:
        """Covariance of the border, (p, p)."""
        return self.root[self.T :, self.T :]

    @property
    def columns(self) -> Split:
        """Covariance of the columns that all blocks share: the border."""
        return Split(np.zeros((0, self.T, len(self.root))), self.border)


@dataclass(frozen=True)
class Gaps:
    """Effective degrees of freedom of each variance, and the variance of each row's linear predictor (or none)."""

    levels: Floats
    line: float
    market: float
    rows: Floats


def covariance(forest: Forest, factor: Factor, *, known_flat: bool) -> Covariance:
    """Invert the root. known_flat: maximum likelihood's view of the flat columns."""
    q = forest.width
    size = q - forest.flat if known_flat else q
    half = np.zeros((q, q))
    if size:  # of nothing LAPACK complains aloud
        half[:size, :size] = np.tril(dtrtri(factor.root[:size, :size], lower=1)[0])
    half[:, np.flatnonzero(factor.held) + forest.T] = 0.0
    return Covariance(half.T @ half, half, forest.T)


def gaps(forest: Forest, factor: Factor, cov: Covariance, prior: Prior, *, rows: bool = True) -> Gaps:
    """Come down the forest once: each level's gap, the walks' gaps, every row's variance (where wanted)."""
    T = forest.T

    def work(part: Part, folded: FoldedPart) -> tuple[Floats, float, Floats]:
        return gaps_part(part, folded, cov, prior.line, rows=rows)

    found = side_by_side(work, forest.threads, forest.parts, factor.folded.parts, sizes=forest.sizes)
    levels, line = np.zeros(len(forest.levels)), 0.0
    for own, walks, _ in found:
        levels += own
        line += walks
    levels, line = forest.together.total("gaps", levels, line)
    market = T - float(np.diag(stepped(cov.root[:T, :T])).sum()) / prior.market if T else 0.0
    return Gaps(levels, line, market, np.concatenate([own for _, _, own in found]))


def gaps_part(
    part: Part, folded: FoldedPart, cov: Covariance, line: float, *, rows: bool
) -> tuple[Floats, float, Floats]:
    """A part's gaps by level, of its own walks together, and its rows' variances (none where not wanted)."""
    D, gap = unfold(part, folded, cov, line)
    above = np.zeros(1), Sparse(np.array([0, part.width]), np.arange(part.width, dtype=np.int32), np.zeros(part.width))
    levels = np.zeros(len(part.levels))
    for k, level in enumerate(part.levels):
        own, fw = (level.parent, level.block, folded.n[k]), (folded.f[k], folded.w[k])
        var, values, levels[k] = descent.descend(level.sparse(folded.c[k]), own, fw, above, D)
        above = var, level.sparse(values)
    found = descent.row_variances(part.rows, part.block, part.leaf, above, D) if rows else np.zeros(0)
    return levels, gap, found


def unfold(part: Part, folded: FoldedPart, cov: Covariance, line: float) -> tuple[Split, float]:
    """Covariance of a part's columns, knots as market and own walk together, and the gap of its own walks."""
    T, gap = part.T, 0.0
    strips = np.empty((len(part.walked), T, part.width))
    for b, (own, reach) in enumerate(zip(folded.walks.own, folded.walks.reach, strict=True)):
        if not part.walked[b]:
            strips[b] = cov.root[:T]
            continue
        H = reach @ cov.half.T
        strips[b, :, :T] = H @ H.T + own
        strips[b, :, T:] = H @ cov.half[:, T:]
        # tr(Q Cov(walk)) / line, with Q = D'D, D the steps; the walk leans on the root by reach - (1, 0).
        lean = cov.half[:, :T].T - H
        lean[1:] -= lean[:-1].copy()
        gap += T - float(np.diag(stepped(own)).sum()) / line - float(np.einsum("ij,ij->", lean, lean)) / line
    return Split(strips, cov.border), gap
