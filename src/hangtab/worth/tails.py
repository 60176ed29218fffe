"""What one row says about its own linear predictor: normal or Student-t noise, sales and bounds.

Promises: for sales and bounds the log likelihood, its slope, the EM weight and the information.
Reads: distances from the linear predictors in noise scales, degrees of freedom (inf: normal).
Source: EM weights of the t, (nu+1)/(nu+u^2), and expected information (nu+1)/(nu+3): Lange, Little & Taylor
1989 (JASA 84); the weight of a bounded row is the mean of the gamma mixing variable beyond the bound.
Not here: any matrix.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import digamma, gammaln, log_ndtr, polygamma, stdtr

from hangtab.worth.arrays import Flags, Floats, Ints, alike
from hangtab.worth.pull import Pull, Said
from hangtab.worth.sheet import BELOW, SALE


def log_density(u: Floats, nu: float) -> Floats:
    """Log density of standard Student-t (nu inf: normal) noise."""
    if np.isinf(nu):
        return np.asarray(-0.5 * (u * u + np.log(2 * np.pi)))
    constant = gammaln((nu + 1) / 2) - gammaln(nu / 2) - 0.5 * np.log(nu * np.pi)
    return np.asarray(constant - 0.5 * (nu + 1) * np.log1p(u * u / nu))


def log_below(u: Floats, nu: float) -> Floats:
    """Log probability of noise below u."""
    if np.isinf(nu):
        return np.asarray(log_ndtr(u))
    return np.asarray(np.log(np.maximum(stdtr(nu, u), 1e-300)))


def overlook(out: Pull, at: Flags, scale: Floats, overlooked: float) -> None:
    """Turn plain bounds into a mixture with bounds that say nothing: P = q + (1 - q) F."""
    if overlooked == 0.0:
        return
    s, logp = scale[at], out.loglik[at]
    p = (1.0 - overlooked) * np.exp(logp)
    share = p / (overlooked + p)
    # With m = f / F the plain slope per noise is m and its bend m (m + c u); the mixture's slope is share m.
    m = np.abs(out.slope[at]) * s
    bend = share * (out.bend[at] * s**2 - (1.0 - share) * m**2)
    out.loglik[at] = np.log(overlooked + p)
    out.slope[at] *= share
    out.weight[at] = np.maximum(share * out.weight[at] * s**2, 1e-12) / s**2
    out.bend[at] = bend / s**2
    out.information[at] = np.clip(bend, 0.0, 1.0) / s**2
    out.scale_slope[at] *= share


@dataclass(frozen=True)
class NormalPrices:
    """What prices under normal noise say, worked out when asked: kept, it would be as large as the table.

    y, eta, scale, and weight, which bend and information are too: (rows,).
    """

    y: Floats
    eta: Floats
    scale: Floats
    weight: Floats

    @classmethod
    def of(cls, y: Floats, eta: Floats, scale: Floats) -> NormalPrices:
        """Prices y at the linear predictors eta."""
        one = alike(scale) and len(scale) > 0
        return cls(y, eta, scale, np.broadcast_to(1.0 / scale[0] ** 2, len(scale)) if one else 1.0 / scale**2)

    @property
    def loglik(self) -> Floats:
        """Log likelihood."""
        return log_density(self._u, np.inf) - np.log(self.scale)

    @property
    def slope(self) -> Floats:
        """Its derivative in eta."""
        return np.asarray(self._u / self.scale)

    @property
    def bend(self) -> Floats:
        """Minus the second derivative."""
        return self.weight

    @property
    def information(self) -> Floats:
        """The same."""
        return self.weight

    @property
    def scale_slope(self) -> Floats:
        """d(-2 log lik)/d(log scale^2)."""
        u = self._u
        return np.asarray(1.0 - u * u)

    @property
    def _u(self) -> Floats:
        return np.asarray((self.y - self.eta) / self.scale)


def priced(u: Floats, scale: Floats, nu: float) -> Said:
    """What prices say. u: (y - eta) / scale, both (rows,). Normal noise: weight, bend and information are one array."""
    w = np.ones(len(u)) if np.isinf(nu) else (nu + 1) / (nu + u * u)
    loglik, weight = log_density(u, nu) - np.log(scale), w / scale**2
    if np.isinf(nu):
        return Said(loglik, u / scale, weight, weight, weight, 1.0 - u * u)
    bend = w * (nu - u * u) / (nu + u * u) / scale**2
    return Said(loglik, w * u / scale, weight, bend, expected_share(nu) / scale**2, 1.0 - w * u * u)


def say_sales(out: Said, at: Flags, u: Floats, scale: Floats, nu: float) -> None:
    """Fill in prices. u: (y - eta) / scale. All (rows,), of which those flagged in `at` are read and written."""
    for into, said in zip(out, priced(u[at], scale[at], nu), strict=True):
        into[at] = said


def say_bounds(out: Pull, at: Flags, sign: Floats, u: Floats, scale: Floats, nu: float) -> None:
    """Fill in bounds. sign: 1 where the price lies below the bound, -1 where above. All (rows,), as for sales."""
    sign, s = sign[at], scale[at]
    u = sign * u[at]
    logp = log_below(u, nu)
    m = np.exp(log_density(u, nu) - logp)
    if np.isinf(nu):
        weight, bend = np.ones(len(u)), m * (m + u)
    else:
        # Beyond the last representable probability the tail is a power law; its weight tends to zero.
        weight = np.exp(log_below(u * np.sqrt((nu + 2) / nu), nu + 2) - logp)
        bend = m * (m + u * (nu + 1) / (nu + u * u))
    out.loglik[at] = logp
    out.slope[at] = -sign * m / s
    out.weight[at] = np.maximum(weight, 1e-12) / s**2
    out.bend[at] = bend / s**2
    out.information[at] = np.clip(bend, 0.0, 1.0) / s**2
    out.scale_slope[at] = m * u


def expected_share(nu: float) -> float:
    """Expected information of a t row, as a share of a normal one of the same scale."""
    return 1.0 if np.isinf(nu) else (nu + 1) / (nu + 3)


def freedom_slope(y: Floats, kind: Ints, eta: Floats, scale: Floats, nu: float) -> float:
    """d(-2 log likelihood)/d(log nu) over all rows."""
    sale = kind == SALE
    u2 = ((y - eta)[sale] / scale[sale]) ** 2
    constant = 0.5 * (digamma((nu + 1) / 2) - digamma(nu / 2) - 1 / nu)
    slope = constant * len(u2) + np.sum(-0.5 * np.log1p(u2 / nu) + 0.5 * (nu + 1) * u2 / (nu * (nu + u2)))
    if not sale.all():
        u = np.where(kind == BELOW, 1.0, -1.0)[~sale] * (y - eta)[~sale] / scale[~sale]
        h = 1e-4
        up, down = log_below(u, nu * np.exp(h)), log_below(u, nu * np.exp(-h))
        slope += float(np.sum(up - down)) / (2 * h * nu)
    return float(-2.0 * nu * slope)


def freedom_information(nu: float) -> float:
    """Expected second derivative of -2 log likelihood in log nu, per sale."""
    own = 0.25 * (polygamma(1, nu / 2) - polygamma(1, (nu + 1) / 2)) - (nu + 5) / (2 * nu * (nu + 1) * (nu + 3))
    return float(2.0 * nu * nu * own)
