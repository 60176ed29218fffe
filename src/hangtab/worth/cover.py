"""What lots add to the precision of worths: the forest's covariances, narrowed by what each lot says.

Promises: exact covariances with lots (Woodbury), under the weights of the factor given and the lots linearised at the
mode; without lots there is nothing to narrow. Beyond `MOST` lots, worths keep the wider ranges they have without them.
Not here: the mode with lots (lots.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from hangtab.worth import kernels
from hangtab.worth.arrays import Floats, Split
from hangtab.worth.forest import Solution
from hangtab.worth.lots import Mixed
from hangtab.worth.paths import Targets
from hangtab.worth.routes import Factor, Road, fitted_values, solve

MOST = 1000


@dataclass(frozen=True)
class Cover:
    """Covariance of everything with each lot's mix (a solution of L columns), and the factor of the lots' own.

    half (L, L): lower Cholesky factor of 1/omega + U C U'.
    """

    solution: Solution
    half: Floats

    def narrow(self, mine: Floats, other: Floats) -> Floats:
        """What lots take off a covariance. mine (m, L), other (k, L): covariances with the lots' mixes. (m, k)."""
        a, b = (solve_triangular(self.half, x.T, lower=True, check_finite=False) for x in (mine, other))
        return np.asarray(a.T @ b)

    def narrow_each(self, mine: Floats) -> Floats:
        """What lots take off each variance, (m,)."""
        a = solve_triangular(self.half, mine.T, lower=True, check_finite=False)
        return np.asarray((a * a).sum(axis=0))

    def with_targets(self, targets: Targets) -> Floats:
        """Covariance of each target's linear predictor with the lots' mixes, (m, L)."""
        columns = self.solution.columns
        T = columns.K.shape[1]
        K = np.concatenate([columns.K, self.solution.g[None, :T]])
        return predictors(targets, Split(K, columns.B), self.solution.sums)


def make_cover(road: Road, factor: Factor, mixed: Mixed | None, weights: Floats) -> Cover | None:
    """The cover of a factored forest; None without lots, or with more than can be held. weights (L,): of the lots."""
    if mixed is None or mixed.U.shape[0] > MOST:
        return None
    solution = solve(road, factor, mixed.U.T.toarray())
    own = mixed.U @ fitted_values(road, solution)
    return Cover(solution, cholesky(0.5 * (own + own.T) + np.diag(1.0 / weights), lower=True))


def predictors(targets: Targets, columns: Split, sums: tuple[Floats, ...]) -> Floats:
    """Linear predictor of each target, (m, k), for k solutions: columns with the block of unknown roots last."""
    out = kernels.times(targets.rows, targets.block, columns)
    above = np.zeros_like(out)
    for k, own in enumerate(sums):
        at = targets.nodes[:, k]
        above = np.where(at[:, None] >= 0, own[at], above)
    return np.asarray(out + above)
