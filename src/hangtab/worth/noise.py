"""The next sale: Student-t noise and normal uncertainty about the middle, added.

Promises: quantiles and probabilities of sigma (t + rho z), t Student-t(nu), z normal, to 1e-6 of their scale for
rho up to 40; the mean of exp of it cut to its central 99.8 % (uncut it is infinite).
How: the trapezoid rule over z; its error falls as exp(-2 pi sqrt(nu) / (rho h)) with the poles of t, as
exp(-2 pi^2 / ((1 + rho^2) h^2)) with its normal core; quantiles are tabulated
at Chebyshev points of rho/(1+rho) once a fit and interpolated.
Not here: where sigma and rho come from.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln, log_ndtr, logsumexp, ndtr, ndtri, stdtr, stdtrit

from hangtab.worth.arrays import Floats

CENTRAL = 0.998
WIDEST = 40.0
POINTS = 80
SAME = 1e-9
LEVELS = (0.5, 0.8, 0.9)
_nodes, _weights = np.polynomial.legendre.leggauss(32)
_EDGE = float(ndtri(0.5 + CENTRAL / 2))
MEAN_Z = _nodes * _EDGE
MEAN_WEIGHTS = _weights * _EDGE * np.exp(-0.5 * MEAN_Z**2) / np.sqrt(2 * np.pi) / CENTRAL


@dataclass(frozen=True)
class NoiseTable:
    """Quantiles over (1 + rho), at `upper` probabilities (k,) and the Chebyshev points: values (k, POINTS)."""

    nu: float
    upper: Floats
    values: Floats


def chebyshev() -> Floats:
    """Places of rho/(1+rho), from 0 to that of the widest rho."""
    top = WIDEST / (1 + WIDEST)
    return 0.5 * top * (1 - np.cos(np.pi * np.arange(POINTS) / (POINTS - 1)))


def noise_below(x: Floats, rho: float, nu: float) -> tuple[Floats, Floats]:
    """Probability below x, and density at x, of t + rho z."""
    if np.isinf(nu):
        s = np.sqrt(1 + rho * rho)
        return np.asarray(ndtr(x / s)), np.exp(-0.5 * (x / s) ** 2) / (s * np.sqrt(2 * np.pi))
    h = min(0.25, 0.22 * np.sqrt(nu) / max(rho, 1e-9), 0.9 / np.sqrt(1 + rho * rho))
    side = int(np.ceil(8.0 / h)) if rho > 0 else 0
    z = h * np.arange(-side, side + 1)
    weight = np.exp(-0.5 * z * z)
    weight /= weight.sum()
    at = x[:, None] - rho * z[None, :]
    log_c = gammaln((nu + 1) / 2) - gammaln(nu / 2) - 0.5 * np.log(nu * np.pi)
    density = np.exp(log_c - 0.5 * (nu + 1) * np.log1p(at * at / nu))
    return stdtr(nu, at) @ weight, density @ weight


def noise_table(nu: float, upper: Floats) -> NoiseTable:
    """Tabulate the quantiles at the probabilities `upper`, all of them above one half."""
    if np.isinf(nu):
        return NoiseTable(nu, upper, np.zeros((len(upper), POINTS)))
    values = np.empty((len(upper), POINTS))
    x = np.asarray(stdtrit(nu, upper))
    for k, u in enumerate(chebyshev()):
        rho = u / (1 - u)
        x = _solve(x, upper, rho, nu)
        values[:, k] = x / (1 + rho)
    return NoiseTable(nu, upper, values)


def _solve(x: Floats, upper: Floats, rho: float, nu: float) -> Floats:
    low, high = np.zeros(len(x)), np.full(len(x), np.inf)
    for _ in range(60):
        below, density = noise_below(x, rho, nu)
        gap = below - upper
        low, high = np.where(gap < 0, x, low), np.where(gap >= 0, x, high)
        step = gap / density
        if np.max(np.abs(step) / (1 + np.abs(x))) < SAME:
            return np.asarray(x - step)
        new = x - step
        outside = (new < low) | (new > high)
        x = np.where(outside, np.where(np.isinf(high), 2 * x + 1, 0.5 * (low + np.minimum(high, 1e300))), new)
    return x


def quantile(table: NoiseTable, which: int, rho: Floats) -> Floats:
    """Quantile at table.upper[which] of t + rho z, for each rho (n,)."""
    if np.isinf(table.nu):
        return np.asarray(ndtri(table.upper[which]) * np.sqrt(1 + rho**2))
    u = np.minimum(rho, WIDEST) / (1 + np.minimum(rho, WIDEST))
    inside = _interpolate(table.values[which], u) * (1 + np.minimum(rho, WIDEST))
    # Beyond the widest rho the normal part is all there is to four digits.
    return np.asarray(inside * np.maximum(rho, WIDEST) / WIDEST)


def _interpolate(values: Floats, u: Floats) -> Floats:
    points = chebyshev()
    sign = np.where(np.arange(POINTS) % 2 == 0, 1.0, -1.0)
    sign[[0, -1]] *= 0.5
    gap = u[:, None] - points[None, :]
    hit = gap == 0.0
    share = sign / np.where(hit, 1.0, gap)
    out = (share @ values) / share.sum(axis=1)
    on = hit.any(axis=1)
    out[on] = values[hit[on].argmax(axis=1)]
    return np.asarray(out)


def mean_probabilities() -> Floats:
    """The upper half of the probabilities the mean is summed over, (16,)."""
    return np.asarray(ndtr(MEAN_Z[16:]))


def standard_levels() -> Floats:
    """Probabilities of the upper ends of the usual ranges."""
    return np.array([0.5 + level / 2 for level in LEVELS])


def log_mean_factor(table: NoiseTable, sigma: Floats, rho: Floats) -> Floats:
    """Log of the mean of exp(sigma (t + rho z)), cut to its central 99.8 %; the table begins with `mean_probabilities`.

    In logs, since a spread that says "nobody knows" is past what a float can hold.
    """
    logs = np.empty((16, len(sigma)))
    for k in range(16):
        q = sigma * quantile(table, k, rho)
        logs[k] = np.log(MEAN_WEIGHTS[16 + k]) + np.logaddexp(q, -q)
    return np.asarray(logsumexp(logs, axis=0))


def log_normal_mean_factor(sd: Floats) -> Floats:
    """Log of the mean of exp(sd z), z normal and cut to its central 99.8 %."""
    upper, lower = log_ndtr(_EDGE - sd), log_ndtr(-_EDGE - sd)
    return np.asarray(0.5 * sd**2 + upper + np.log1p(-np.exp(lower - upper)) - np.log(CENTRAL))
