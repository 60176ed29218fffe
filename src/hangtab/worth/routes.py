"""The two roads to a solved problem, behind one door: the forest with a dense border, or the sparse equations.

Promises: the same exact answers by both. The forest's work is linear in the rows but dense in the border's columns;
where the border is wide (a crossed group of thousands of levels) all effects are put into one sparse matrix instead.
Which road a problem goes is settled once, by its width (problem.py).
Not here: either road's algebra (forest.py, spread.py; sparse.py), new rows (posterior.py).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol, TypeAlias

import numpy as np
import scipy.sparse as sp

from hangtab.worth import forest as nested
from hangtab.worth import sparse, spread
from hangtab.worth.arrays import Flags, Floats, Ints
from hangtab.worth.forest import Folded, Forest, Prior, Solution
from hangtab.worth.quadratic import bounded_minimum
from hangtab.worth.sparse import Equations, System
from hangtab.worth.spread import Gaps


@dataclass(frozen=True)
class Awaiting:
    """Sparse equations with their weights and prior, not factored before it is known which columns are held."""

    equations: Equations
    omega: Floats
    prior: Prior


Road: TypeAlias = Forest | Equations
Opened: TypeAlias = Folded | Awaiting
Factor: TypeAlias = nested.Factor | System


def fold(road: Road, omega: Floats, prior: Prior) -> Opened:
    """Eliminate what can be before the held columns are known, for weights omega (rows,)."""
    return nested.fold(road, omega, prior) if isinstance(road, Forest) else Awaiting(road, omega, prior)


def close(road: Road, opened: Opened, prior: Prior) -> Factor:
    """Finish with the held border columns fixed at zero; but for those, the prior is that of `fold`."""
    if isinstance(opened, Awaiting):
        return sparse.eliminate(opened.equations, opened.omega, prior)
    return nested.close(forest_of(road), opened, prior)


def forest_of(road: Road) -> Forest:
    """The structure of rows and nodes, which both roads have."""
    return road if isinstance(road, Forest) else road.forest


def solve(road: Road, factor: Factor, zeta: Floats) -> Solution:
    """The mode for weighted responses zeta (rows, m)."""
    if isinstance(factor, System):
        return sparse.solution(factor, zeta)
    forest = forest_of(road)
    return nested.solve(forest, factor, nested.carry(forest, factor.folded, zeta))


def fitted_values(road: Road, solution: Solution) -> Floats:
    """Linear predictor of every row, (rows, m)."""
    return nested.fitted_values(forest_of(road), solution)


def held_columns(road: Road, opened: Opened, zeta: Floats, bounded: Flags, keep: Flags | None) -> Flags:
    """Which bounded border columns stand at zero at the minimum, those of `keep` among them. zeta (rows,)."""
    forest = forest_of(road)
    held = np.zeros(forest.p, bool) if keep is None else keep.copy()
    if isinstance(opened, Awaiting):
        free = np.flatnonzero(bounded & ~held)
        closed = sparse.eliminate(opened.equations, opened.omega, replace(opened.prior, held=held | bounded))
        A, r = sparse.columns_alone(closed, zeta, free)
    else:
        free = np.flatnonzero(~held)
        whole, right = nested.border_problem(forest, opened, nested.carry(forest, opened, zeta[:, None]).g[:, 0])
        A, r = whole[np.ix_(free, free)], right[free]
    _, held[free] = bounded_minimum(A, r, bounded[free], np.zeros(len(free), bool))
    return held


def border_slope(road: Road, factor: Factor, solution: Solution, zeta: Floats) -> tuple[Floats, Floats]:
    """Slope of the least squares in each border column (p,), and the size of the sums it is the difference of."""
    if isinstance(factor, System):
        return sparse.border_slope(factor, solution, zeta)
    forest = forest_of(road)
    g = nested.carry(forest, factor.folded, zeta[:, None]).g[forest.T :, 0]
    x, rows = solution.g[:, 0], factor.folded.G[forest.T :]
    return rows @ x - g, np.abs(rows) @ np.abs(x) + np.abs(g)


def bare(factor: Factor) -> Factor:
    """The factor without what only its covariances need, which is most of it."""
    if isinstance(factor, System):
        return replace(factor)  # a copy has no inverse yet
    return replace(factor, folded=replace(factor.folded, parts=()))


class Spread(Protocol):
    """Covariances under a factor."""

    def entries(self, row: Ints, col: Ints) -> Floats:
        """Covariances of pairs of border columns that the prior couples, (n,)."""

    def gaps(self, prior: Prior, *, rows: bool = True) -> Gaps:
        """Effective degrees of freedom of each variance, and every row's variance (where wanted)."""


@dataclass(frozen=True)
class _NestedSpread:
    forest: Forest
    factor: nested.Factor
    covariance: spread.Covariance

    def entries(self, row: Ints, col: Ints) -> Floats:
        return np.asarray(self.covariance.border[row, col])

    def gaps(self, prior: Prior, *, rows: bool = True) -> Gaps:
        return spread.gaps(self.forest, self.factor, self.covariance, prior, rows=rows)


@dataclass(frozen=True)
class _SparseSpread:
    system: System
    known_flat: bool

    def entries(self, row: Ints, col: Ints) -> Floats:
        start = self.system.equations.columns.border
        return sparse.covariances(self.system, row + start, col + start, known_flat=self.known_flat)

    def gaps(self, prior: Prior, *, rows: bool = True) -> Gaps:  # noqa: ARG002 - the system has its prior, and all rows
        return sparse.gaps(self.system, known_flat=self.known_flat)


def covariance(road: Road, factor: Factor, *, known_flat: bool) -> Spread:
    """The covariances of a factor. known_flat: maximum likelihood's view of the flat columns."""
    if isinstance(factor, System):
        return _SparseSpread(factor, known_flat)
    forest = forest_of(road)
    return _NestedSpread(forest, factor, spread.covariance(forest, factor, known_flat=known_flat))


def overlap(cov: Spread, at: Ints, piece: sp.csr_array) -> float:
    """Trace of C piece: C the covariance of the border columns `at` (k,), piece (k, k) of their prior's precision."""
    entries = piece.tocoo()
    row, col = entries.coords
    return float(cov.entries(at[row], at[col]) @ entries.data)
