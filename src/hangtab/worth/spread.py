"""Covariances of a solved forest: of its root, its rows, and of any new combination of effects.

Promises: exact covariances under the weights of the factor given; `ml` takes flat columns as known.
Reads: a `Factor`. Gives: `Covariance` for the columns, gaps (effective degrees of freedom) per variance,
variance of every row's linear predictor.
Not here: means (forest.solve), prediction of new rows (paths.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from hangtab.worth import kernels
from hangtab.worth.arrays import Floats, Sparse, Split
from hangtab.worth.forest import Factor, Forest, Prior, step_precision


@dataclass(frozen=True)
class Covariance:
    """root: (q, q) of market knots and border. K (blocks, T, q): a block's own walk leans on the root by -K.

    own (blocks, T, T): the walk's covariance given the root. columns: of the block's knots (market and
    own walk together) with themselves and the border, and of the border.
    """

    root: Floats
    K: Floats
    own: Floats
    columns: Split


@dataclass(frozen=True)
class Gaps:
    """Effective degrees of freedom of each variance, and the variance of each row's linear predictor."""

    levels: Floats
    line: float
    market: float
    rows: Floats


def covariance(forest: Forest, factor: Factor, *, known_flat: bool) -> Covariance:
    """Invert the root and unfold the walks. known_flat: maximum likelihood's view of the flat columns."""
    T, q = forest.T, forest.width
    size = q - forest.flat if known_flat else q
    root = np.zeros((q, q))
    half = solve_triangular(factor.root[:size, :size], np.eye(size), lower=True, check_finite=False)
    root[:size, :size] = half.T @ half
    out = np.flatnonzero(factor.held) + T
    root[out, :] = 0.0
    root[:, out] = 0.0
    blocks = len(forest.walked)
    K, own = np.zeros((blocks, T, q)), np.zeros((blocks, T, T))
    strips = np.repeat(root[None, :T, :], blocks, axis=0)
    for b in np.flatnonzero(forest.walked):
        A = factor.folded.A[b]
        K[b] = solve_triangular(A, factor.folded.W[b], lower=True, trans=1, check_finite=False)
        inverse = solve_triangular(A, np.eye(T), lower=True, check_finite=False)
        own[b] = inverse.T @ inverse
        lean = K[b] @ root
        strips[b] -= lean
        strips[b][:, :T] += lean @ K[b].T - lean[:, :T].T + own[b]
    return Covariance(root, K, own, Split(strips, root[T:, T:].copy()))


def gaps(forest: Forest, factor: Factor, cov: Covariance, prior: Prior) -> Gaps:
    """Come down the forest once: each level's gap, the walks' gaps, every row's variance."""
    T, folded = forest.T, factor.folded
    Q = step_precision(T)
    line = sum(
        T - float((Q * (cov.K[b] @ cov.root @ cov.K[b].T + cov.own[b])).sum()) / prior.line
        for b in np.flatnonzero(forest.walked)
    )
    market = T - float((Q * cov.root[:T, :T]).sum()) / prior.market if T else 0.0
    every = np.arange(forest.width)
    above = Sparse(np.array([0, forest.width]), every, np.zeros(forest.width))
    var = np.zeros(1)
    levels = np.zeros(len(forest.levels))
    for k, level in enumerate(forest.levels):
        n, c, f, w = folded.n[k], folded.c[k], folded.f[k], folded.w[k]
        inherited, lin = kernels.inherit(c, level.parent, above)
        quad = kernels.quadratics(c, level.block, cov.columns)
        up = var[level.parent]
        # 1 - var(effect)/theta, written so that nothing cancels when theta is tiny.
        levels[k] = float((n * w - w * f * (n * n * up + 2.0 * n * lin + quad)).sum())
        var = w + f * f * up - 2.0 * w * f * lin + w * w * quad
        values = kernels.spread_columns(c, level.block, f, w, inherited, cov.columns)
        above = Sparse(level.ptr, level.idx, values)
    _, lin = kernels.inherit(forest.rows, forest.leaf, above)
    rows = var[forest.leaf] + 2.0 * lin + kernels.quadratics(forest.rows, forest.block, cov.columns)
    return Gaps(levels, float(line), market, rows)
