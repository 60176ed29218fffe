"""Accepted offers whose price is hidden: the ask says where the price was, as far as one knows what sellers accept.

The model: log price = log ask + log r, r the accepted share of the ask, independent of the price; log r is normal, its
mean may move with the days the listing stood. So log ask, moved by the mean of log r, is an observation of the log
price with that spread added to the noise. The ratio is learned from offers whose price is known, and from hidden ones
at the worths that stated prices give. Noise that is Student-t plus normal is an infinite mixture of normals over the
t's own scale; it is summed at fixed places, to 1e-9 of the density.
Reads: pairs of ask and price (`Ratio`), rows. Gives: what each hidden offer says.
Not here: rows of other kinds (tails.py, listings.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.optimize import minimize

from hangtab.worth.arrays import Flags, Floats
from hangtab.worth.pull import Pull
from hangtab.worth.sheet import SALE, Sheet
from hangtab.worth.spec import Spec
from hangtab.worth.table import numbers

# An accepted offer brings 0.85 of its ask at the middle and mostly between half and nine tenths (common practice, no
# source): so the prior, worth five pairs in the spread.
USUAL, USUAL_SD, PAIRS = float(np.log(0.85)), 0.15, 5.0
LEAST_DATED = 30
PAIR_FREEDOM = 4.0
SLOPE_SD = 0.1
STEP = 0.3


@dataclass(frozen=True)
class Ratio:
    """Log of accepted price over ask: mean at `usual` log(1 + days), change per unit of it, spread; offers seen."""

    mean: float = USUAL
    slope: float = 0.0
    sd: float = USUAL_SD
    usual: float = 0.0
    offers: int = 0

    def at(self, days: Floats) -> Floats:
        """Mean of log r after so many days, (rows,); NaN: unknown."""
        return self.mean + self.slope * np.nan_to_num(np.log1p(days) - self.usual)


def offer_pairs(sheet: Sheet, spec: Spec) -> tuple[Floats, Floats]:
    """Log of price over ask, and days, of the accepted offers where both are known."""
    if spec.kind is None or spec.ask is None:
        return np.zeros(0), np.zeros(0)
    ask = numbers(sheet.frame[spec.ask])
    said = (sheet.frame[spec.kind].cast(str) == "offer").fill_null(value=False).to_numpy()
    at = said & (sheet.kind == SALE) & (ask > 0)
    return sheet.y[at] - np.log(ask[at]), sheet.days[at]


def learn_ratio(log_ratio: Floats, days: Floats, variance: Floats) -> Ratio:
    """The ratio of n accepted offers: the posterior mode of mean, slope and spread, with Student-t noise.

    So a mistyped ask teaches little. log_ratio, days, variance: (n,); days NaN where unknown; variance of each log
    ratio as it is known: nothing where the price is known, that of the worth and of a sale's noise where it is hidden.
    """
    if len(log_ratio) == 0:
        return Ratio()
    known = np.isfinite(days)
    dated = bool(known.sum() >= LEAST_DATED)
    usual = float(np.log1p(days[known]).mean()) if dated else 0.0
    x = np.nan_to_num(np.log1p(days) - usual) if dated else np.zeros(len(days))

    def cost(p: Floats) -> float:
        v = np.exp(2 * p[2]) + variance
        rest = (log_ratio - p[0] - p[1] * x) ** 2 / v
        logs = -0.5 * (PAIR_FREEDOM + 1) * np.log1p(rest / PAIR_FREEDOM) - 0.5 * np.log(v)
        prior = ((p[0] - USUAL) / USUAL_SD) ** 2 / 2 + (p[1] / SLOPE_SD) ** 2 / 2
        return float(prior + PAIRS * (p[2] - np.log(USUAL_SD)) ** 2 - logs.sum())

    found = minimize(cost, np.array([USUAL, 0.0, np.log(USUAL_SD)]), method="L-BFGS-B",
                     bounds=[(-3, 1), (-1, 1), (-5, 0)])  # fmt: skip
    mean, slope, log_sd = (float(v) for v in found.x)
    return Ratio(mean, slope if dated else 0.0, float(np.exp(log_sd)), usual, len(log_ratio))


def say_offers(out: Pull, at: Flags, u: Floats, scale: Floats, noise: tuple[float, float]) -> None:
    """Fill in hidden offers. u: log ask + mean of log r - eta; scale of a sale; noise: degrees of freedom, sd of log r.

    All (rows,), of which those flagged in `at` are read and written.
    """
    nu, sd = noise
    u, s = u[at], scale[at]
    share, stretch = scale_mixture(nu)
    v = s[:, None] ** 2 * stretch[None, :] + sd**2
    logs = np.log(share)[None, :] - 0.5 * (u[:, None] ** 2 / v + np.log(2 * np.pi * v))
    top = logs.max(axis=1)
    part = np.exp(logs - top[:, None])
    total = part.sum(axis=1)
    part /= total[:, None]
    weight = (part / v).sum(axis=1)
    spread = (part / v**2).sum(axis=1) - weight**2
    out.loglik[at] = top + np.log(total)
    out.weight[at] = weight
    out.slope[at] = weight * u
    out.bend[at] = weight - u**2 * spread
    out.information[at] = offer_information(s, sd, nu)
    # d(-2 log lik)/d(log scale^2) of each part is (1 - u^2/v) times the share of its variance that is the sale's.
    own = s[:, None] ** 2 * stretch[None, :] / v
    out.scale_slope[at] = (part * own * (1.0 - u[:, None] ** 2 / v)).sum(axis=1)


@lru_cache(maxsize=64)
def scale_mixture(nu: float) -> tuple[Floats, Floats]:
    """Student-t as normals: shares and variances (k,) in units of its scale squared, by the trapezoid rule.

    The variance is 1/g, g Gamma(nu/2, rate nu/2), summed over s = log g, where the integrand is smooth and falls to
    nothing on both sides; as far down as prices thirty noise scales away need.
    """
    if np.isinf(nu):
        return np.ones(1), np.ones(1)
    s = np.arange(max(-160.0 / nu - 1.0, -60.0), 6.0, min(STEP, 0.45 / np.sqrt(nu)))
    logs = 0.5 * nu * (s - np.exp(s))
    share = np.exp(logs - logs.max())
    kept = share > 1e-80  # noqa: PLR2004
    return share[kept] / share[kept].sum(), np.exp(-s[kept])


def offer_information(scale: Floats, sd: float, nu: float) -> Floats:
    """Expected information about the log price, (rows,), by the trapezoid rule over the density."""
    if np.isinf(nu):
        return np.asarray(1.0 / (scale**2 + sd**2))
    seen, place = np.unique(scale, return_inverse=True)
    share, stretch = scale_mixture(nu)
    found = np.empty(len(seen))
    for k, s in enumerate(seen):
        v = s**2 * stretch + sd**2
        unit = np.sqrt(s**2 + sd**2)
        u = unit * np.sinh(np.linspace(0.0, 12.0, 600))  # half the line: the density is even
        density = np.exp(-0.5 * u[:, None] ** 2 / v) / np.sqrt(2 * np.pi * v) * share
        f = density.sum(axis=1)
        slope = (density * u[:, None] / v).sum(axis=1)
        found[k] = 2.0 * np.trapezoid(np.where(f > 0, slope**2 / np.maximum(f, 1e-300), 0.0), u)
    return found[place]
