"""The engine's next sale as a distribution: centre + sigma t + sd z, t Student, z normal, and its scores.

Promises: distribution function, log density and CRPS to 1e-8 of the scale, for 1.5 degrees of freedom and more.
How: t is a normal divided by the root of a gamma variable over its shape, so the sum is a normal with a random
variance. What is wanted is closed for a normal; the trapezoid rule over the log of the gamma variable averages it (the
integrand is analytic and falls off exponentially at least, so the rule's error falls off exponentially with the step).
CRPS is E|X - y| - E|X - X'| / 2; the last depends on sigma : sd alone and is interpolated at Chebyshev points of it.
Quadrature on the whole distribution, not from a few quantiles.
Not here: quantiles of it (the engine states its own ranges).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import Chebyshev
from numpy.typing import ArrayLike
from scipy.special import gammaln, logsumexp, ndtr

from hangtab.backtest.arrays import Floats, floats
from hangtab.backtest.scores import crps_normal

LEAST_FREEDOM = 1.5
STEP = 0.125
CHUNK = 2000  # rows at once: a few MB of nodes
DEGREE = 60
FAR, HIGH = -12.0, 4.0  # the log density leans on the far left, for outcomes some 200 scales away
_TINY = 1e-13
# Of distances (rows, 1), standard deviations (rows, nodes) and log weights (nodes,): one figure a row.
Averaged = Callable[[Floats, Floats, Floats], Floats]


@dataclass(frozen=True)
class NextSales:
    """Distributions of (rows,) next sales on the log scale. freedom: inf for normal noise. sigma > 0, sd >= 0."""

    freedom: float
    centre: Floats
    sigma: Floats
    sd: Floats

    def __post_init__(self) -> None:
        """Refuse tails so heavy that no score of them is finite, or near it."""
        if self.freedom < LEAST_FREEDOM:
            raise ValueError(f"Under {LEAST_FREEDOM} degrees of freedom the score is not computed: {self.freedom}")

    def below(self, y: ArrayLike) -> Floats:
        """Probability below y: the probability integral transform when y is what came."""
        return self._averaged(floats(y), _below)

    def log_density(self, y: ArrayLike) -> Floats:
        """Log of the density at y; its negative is the log score."""
        return self._averaged(floats(y), _log_density)

    def crps(self, y: ArrayLike) -> Floats:
        """Continuous ranked probability score."""
        if np.isinf(self.freedom):
            return crps_normal(y, self.centre, np.hypot(self.sigma, self.sd))
        whole = self.sigma + self.sd
        apart = _self_distance(self.freedom)(self.sd / whole) * whole
        return self._averaged(floats(y), _distance) - 0.5 * np.asarray(apart)

    def _averaged(self, y: Floats, of: Averaged) -> Floats:
        """`of`, averaged over the nodes, by chunks of rows."""
        log_gamma, log_weight = nodes(self.freedom)
        out = np.empty(len(y))
        for start in range(0, len(y), CHUNK):
            part = slice(start, start + CHUNK)
            wide = np.sqrt((self.sigma[part] ** 2)[:, None] * np.exp(-log_gamma) + (self.sd[part] ** 2)[:, None])
            out[part] = of((y - self.centre)[part, None], wide, log_weight)
        return out


def nodes(freedom: float) -> tuple[Floats, Floats]:
    """Logs of the gamma variable (mean 1) and of its weights, which sum to one; one node for normal noise."""
    if np.isinf(freedom):
        return np.zeros(1), np.zeros(1)
    shape = 0.5 * freedom
    # The left tail of what is averaged falls off as exp((shape - 1/2) x), its right tail doubly so.
    low = np.log(_TINY) / (shape - 0.5) - 2.0 / shape
    x = np.arange(min(low, FAR), HIGH, min(STEP, 0.25 / np.sqrt(shape)))
    log_weight = shape * (np.log(shape) + x - np.exp(x)) - gammaln(shape)
    return x, log_weight - logsumexp(log_weight)


def _below(gap: Floats, wide: Floats, log_weight: Floats) -> Floats:
    return np.asarray(ndtr(gap / wide) @ np.exp(log_weight))


def _log_density(gap: Floats, wide: Floats, log_weight: Floats) -> Floats:
    logs = -0.5 * (gap / wide) ** 2 - np.log(wide) - 0.5 * np.log(2 * np.pi)
    return np.asarray(logsumexp(logs + log_weight, axis=1))


def _distance(gap: Floats, wide: Floats, log_weight: Floats) -> Floats:
    """E|X - y|."""
    z = gap / wide
    near = wide * (z * (2 * ndtr(z) - 1) + np.sqrt(2 / np.pi) * np.exp(-0.5 * z * z))
    return np.asarray(near @ np.exp(log_weight))


@lru_cache(maxsize=16)
def _self_distance(freedom: float) -> Callable[[Floats], Floats]:
    """E|X - X'| over sigma + sd, as a function of sd / (sigma + sd)."""
    log_gamma, log_weight = nodes(freedom)
    weight, inverse = np.exp(log_weight), np.exp(-log_gamma)
    both = inverse[:, None] + inverse[None, :]

    def at(shares: Floats) -> Floats:
        spreads = [np.sqrt((1 - u) ** 2 * both + 2 * u * u) for u in shares]
        return np.asarray(np.sqrt(2 / np.pi) * np.array([weight @ s @ weight for s in spreads]))

    found: Callable[[Floats], Floats] = Chebyshev.interpolate(at, DEGREE, domain=[0.0, 1.0])
    return found
