"""How wrong the middle of the market itself is: from the misses that unseen sales share.

The noise of one sale is its own; the error of the middle is shared by all sales that hang on the same effects. So the
misses z of unseen sales have the covariance s C + d N: C what the fit claims of its middles, N the noise of each sale.
s says how much larger the middle's variance is than claimed. Nobody needs to know the true middle for that.

Beside that, a range of the middle never gets narrower than what no effect of the model can tell (UNTOLD).

Promises: s by the normal likelihood of all misses at once, with a prior that the claim is right. One s for all pieces:
what they share across classes (the market's and the lines' ways, the graders' curves) tells most, and s of single
classes was wrong more often than one for all (measured on three demo worlds). Gross errors (a mistaken price, another
piece) are cut at CUT spreads.
Source: variance components by likelihood, as in Searle, Casella & McCulloch 1992, ch. 6; here C and N are given and
two numbers are found on a grid. Not here: how the fits are made (trial), and the next sale's width (calibration).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from hangtab.valuing.calibration import Floats

CUT = 4.0
# No worth is known better than to some four or five in a hundred, however many sales there are: what a piece of just
# that description brings beyond what its parts bring elsewhere is in no effect of the model (common practice, no
# source). The figure is that of the demo, docs/explanation/worth.md says how well it holds.
UNTOLD = 0.045
# Among errors of the middle, over their claimed size, more are large than among normal ones: of some pieces the model
# knows less than it thinks. Ten degrees of freedom were taken from demo worlds of seeds 8 and 9.
FREEDOM = 10.0
PRIOR = 0.5  # standard deviation of log s before any sale: the claimed variance is thought right within two thirds
_LOG_S = np.linspace(-2.0, 2.0, 81)
_LOG_D = np.linspace(-1.5, 1.5, 61)


@dataclass(frozen=True)
class Missed:
    """Unseen sales after one origin: by how much each missed its middle (log), what the fit claimed of it.

    miss (n,); claimed (n, n), covariance of the middles; noise (n,), squared scale of one sale.
    """

    miss: Floats
    claimed: Floats
    noise: Floats


def middle_half(spread: float, factor: float, level: float) -> float:
    """Half-width, in log price, of a range of the middle of the market.

    Args:
        spread: standard deviation that the fit claims, log price.
        factor: by how much that is to be widened (`middle_factor`).
        level: share that the range is to hold.

    >>> round(middle_half(0.1, 1.0, 0.8), 4)
    0.1505
    """
    return float(stdtrit(FREEDOM, 0.5 + level / 2)) * math.hypot(factor * spread, UNTOLD)


def middle_factor(trials: Sequence[Missed]) -> float:
    """Factor on the middle's standard deviation: sqrt(s), 1 when there is nothing to learn from.

    Args:
        trials: what was missed after each origin.
    """
    log = -0.5 * (_LOG_S[:, None] / PRIOR) ** 2 + np.zeros((len(_LOG_S), len(_LOG_D)))
    for trial in trials:
        log += _likelihood(trial)
    weight = np.exp(log - log.max()).sum(axis=1)
    return float(np.exp(weight @ _LOG_S / weight.sum() / 2))


def _likelihood(trial: Missed) -> Floats:
    """Log likelihood over the grid (s, d), up to a constant.

    With N^-1/2 C N^-1/2 = Q L Q' the misses Q' N^-1/2 z are independent with variances s L + d.
    """
    spread = np.sqrt(np.diag(trial.claimed) + trial.noise)
    miss = np.clip(trial.miss, -CUT * spread, CUT * spread)
    root = 1 / np.sqrt(trial.noise)
    values, vectors = np.linalg.eigh(trial.claimed * root[:, None] * root[None, :])
    square, values = (vectors.T @ (miss * root)) ** 2, np.maximum(values, 0.0)
    out = np.empty((len(_LOG_S), len(_LOG_D)))
    for i, log_s in enumerate(_LOG_S):
        variance = np.exp(log_s) * values[None, :] + np.exp(_LOG_D)[:, None]
        out[i] = -0.5 * (np.log(variance) + square[None, :] / variance).sum(axis=1)
    return out
