"""What a solved problem believes of new rows and of its own columns, by either road.

Promises: exact variances, covariances and leanings under the weights of the factor; both roads give the same.
Not here: the algebra (paths.py, sparse.py), prices and ranges (answers.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import scipy.sparse as sp

from hangtab.worth import paths, sparse
from hangtab.worth.arrays import Floats, Ints, Places, Sparse
from hangtab.worth.kept import kept
from hangtab.worth.paths import Lean, Reach, Targets
from hangtab.worth.routes import Factor, Road, forest_of
from hangtab.worth.sparse import System, as_matrix


class Leaning(Protocol):
    """How everything moves with m targets."""

    @property
    def root(self) -> Floats:
        """Covariance of market knots and border with each target, (q, m)."""

    @property
    def line(self) -> Floats:
        """Covariance of own walks with each target, (blocks + 1, T, m); the last of an unknown root."""

    def rows(self) -> Floats:
        """Covariance of every training row's linear predictor with the one target there is, (rows,)."""

    def effects(self, nodes: Places) -> list[Floats]:
        """Covariance of the effects on some rows' paths with the targets: per level (rows, m), 0 where unknown."""


class Posterior(Protocol):
    """Covariances of one factor."""

    def variances(self, targets: Targets) -> Floats:
        """Variance of each target's linear predictor, (m,), without the prior variance of what is unknown."""

    def joint(self, targets: Targets) -> Floats:
        """Covariance of the targets' linear predictors, (m, m)."""

    def lean(self, targets: Targets) -> Leaning:
        """How everything moves with the targets."""

    def border_variances(self) -> Floats:
        """Variance of each border column, (p,)."""

    def border_with(self, W: Floats) -> Floats:
        """Covariance of every border column with each combination W (p, k) of them, (p, k)."""

    def border_among(self, at: Ints) -> Floats:
        """Covariance of some border columns, (k, k)."""


@dataclass(frozen=True)
class _NestedLeaning:
    post: paths.Posterior
    reach: Reach

    @kept
    def held(self) -> Lean:
        return paths.lean(self.post, self.reach)

    @property
    def root(self) -> Floats:
        return self.held.root

    @property
    def line(self) -> Floats:
        return self.held.line

    def rows(self) -> Floats:
        return paths.rows_with_target(self.post, self.reach, self.held)

    def effects(self, nodes: Places) -> list[Floats]:
        return paths.effects_with_targets(self.post, self.reach, self.held, nodes)


@dataclass(frozen=True)
class _Nested:
    post: paths.Posterior

    def variances(self, targets: Targets) -> Floats:
        return paths.variances(self.post, paths.reach(self.post, targets))

    def joint(self, targets: Targets) -> Floats:
        return paths.joint(self.post, paths.reach(self.post, targets))

    def lean(self, targets: Targets) -> Leaning:
        return _NestedLeaning(self.post, paths.reach(self.post, targets))

    @property
    def _border(self) -> Floats:
        return self.post.root[self.post.forest.T :, self.post.forest.T :]

    def border_variances(self) -> Floats:
        return np.diag(self._border)

    def border_with(self, W: Floats) -> Floats:
        return self._border @ W

    def border_among(self, at: Ints) -> Floats:
        return self._border[np.ix_(at, at)]


@dataclass(frozen=True)
class _SparseLeaning:
    """every (N, m): covariance of all effects with the targets."""

    system: System
    every: Floats

    @property
    def root(self) -> Floats:
        return self.every[self.system.equations.columns.market :]

    @property
    def line(self) -> Floats:
        c, walked = self.system.equations.columns, self.system.equations.forest.walked
        out = np.zeros((len(walked) + 1, c.knots, self.every.shape[1]))
        out[:-1][walked] = self.every[c.line : c.market].reshape(c.walks, c.knots, self.every.shape[1])
        return out

    def rows(self) -> Floats:
        return np.asarray(as_matrix(self.system.rows, len(self.every)) @ self.every[:, 0])

    def effects(self, nodes: Places) -> list[Floats]:
        starts = self.system.equations.columns.levels
        return [
            np.where(at[:, None] >= 0, self.every[start + at], 0.0) for at, start in zip(nodes.T, starts, strict=True)
        ]


@dataclass(frozen=True)
class _Sparse:
    system: System

    def _rows(self, targets: Targets) -> Sparse:
        return sparse.target_rows(self.system, targets.rows, targets.block, targets.nodes)

    def variances(self, targets: Targets) -> Floats:
        return sparse.variances(self.system, self._rows(targets))

    def joint(self, targets: Targets) -> Floats:
        X = as_matrix(self._rows(targets), self.system.equations.columns.N)
        return np.asarray(X @ sparse.leaning(self.system, X))

    def lean(self, targets: Targets) -> Leaning:
        X = as_matrix(self._rows(targets), self.system.equations.columns.N)
        return _SparseLeaning(self.system, sparse.leaning(self.system, X))

    def border_variances(self) -> Floats:
        at = self.system.equations.columns.border + np.arange(self.system.equations.forest.p)
        return sparse.covariances(self.system, at, at, known_flat=False)

    def border_with(self, W: Floats) -> Floats:
        c = self.system.equations.columns
        rows = np.zeros((W.shape[1], c.N))
        rows[:, c.border :] = np.where(self.system.held, 0.0, W.T)
        return sparse.leaning(self.system, sp.csr_array(rows))[c.border :] * ~self.system.held[:, None]

    def border_among(self, at: Ints) -> Floats:
        out, p = np.empty((len(at), len(at))), self.system.equations.forest.p
        for a in range(0, len(at), sparse.TOGETHER):
            some = at[a : a + sparse.TOGETHER]
            unit = np.zeros((p, len(some)))
            unit[some, np.arange(len(some))] = 1.0
            out[:, a : a + len(some)] = self.border_with(unit)[at]
        return out


def make_posterior(road: Road, factor: Factor) -> Posterior:
    """Work out what answers need."""
    if isinstance(factor, System):
        return _Sparse(factor)
    return _Nested(paths.make_posterior(forest_of(road), factor))
