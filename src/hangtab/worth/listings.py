"""Fixed-price listings with the days they stood: a daily hazard of being sold that falls with the ask over the worth.

The model: log hazard = level - slope (log ask - eta) + log z, z a gamma variable with mean one and variance `frailty`:
what buyers see and the table does not. A listing that sold after d days says hazard times survival, one that did not
says survival. It is one story, and never a price besides. With z integrated out, A = 1 + frailty d hazard,
    sold: log hazard - (1/frailty + 1) log A        not sold: -(1/frailty) log A,
so that a listing nobody looks at can say only so much.
Source: gamma frailty, Vaupel, Manton & Stallard 1979; EM weights by the Polya-gamma identity, Polson, Scott & Windle
2013 (both from memory).
Not here: how a story is put together from sightings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from hangtab.worth.arrays import Flags, Floats, Ints
from hangtab.worth.pull import Pull
from hangtab.worth.sheet import SOLD

# Before any listing is seen: at its worth one in sixty sells a day; ten per cent more halves to thirds... of that.
# Common practice, no source; wide.
LEVEL, LEVEL_SD = float(np.log(1 / 60)), 1.5
SLOPE, SLOPE_SD = float(np.log(3.0)), 0.7
FRAILTY, FRAILTY_SD = 0.0, 1.0
_points, _shares = np.polynomial.hermite_e.hermegauss(9)
_shares = _shares / _shares.sum()


@dataclass(frozen=True)
class Hazard:
    """Log daily hazard where ask equals worth, its fall per unit of log(ask / worth), variance of the frailty."""

    level: float = LEVEL
    slope: float = float(np.exp(SLOPE))
    frailty: float = float(np.exp(FRAILTY))
    listings: int = 0


def say_listings(out: Pull, at: Flags, over: Floats, days: Floats, kind: Ints, hazard: Hazard) -> None:
    """Fill in listings. over: log ask - eta. All (rows,), of which those flagged in `at` are read and written."""
    b, phi = hazard.slope, hazard.frailty
    sold = (kind[at] == SOLD).astype(float)
    log_h = hazard.level - b * over[at]
    H = days[at] * np.exp(np.minimum(log_h, 500.0))
    A = 1.0 + phi * H
    times = 1.0 / phi + sold
    out.loglik[at] = sold * log_h - times * np.log(A)
    out.slope[at] = b * (sold - times * phi * H / A)
    out.bend[at] = times * b**2 * (phi * H / A) / A
    out.information[at] = out.bend[at]
    out.weight[at] = times * b**2 * _halfway(np.log(np.maximum(phi * H, 1e-300)))
    out.scale_slope[at] = 0.0


def _halfway(s: Floats) -> Floats:
    """tanh(s/2) / (2 s), the mean of a Polya-gamma variable; 1/4 at 0."""
    near = np.abs(s) < 1e-4  # noqa: PLR2004
    safe = np.where(near, 1.0, s)
    return np.where(near, 0.25 - s**2 / 48, np.tanh(safe / 2) / (2 * safe))


def learn_hazard(over: Floats, variance: Floats, days: Floats, kind: Ints) -> Hazard:
    """The hazard of n listings whose log ask over worth is known with some variance, all (n,).

    The posterior mode of three parameters, the worth's uncertainty summed over nine places (Gauss-Hermite).
    """
    if len(over) == 0:
        return Hazard()
    x = over[:, None] + np.sqrt(variance)[:, None] * _points[None, :]
    sold = (kind == SOLD).astype(float)[:, None]

    def cost(p: Floats) -> float:
        b, phi = np.exp(p[1]), np.exp(p[2])
        log_h = p[0] - b * x
        A = np.log1p(phi * days[:, None] * np.exp(np.minimum(log_h, 500.0)))
        logs = sold * log_h - (1.0 / phi + sold) * A
        top = logs.max(axis=1)
        said = float((top + np.log(np.exp(logs - top[:, None]) @ _shares)).sum())
        z = (p - [LEVEL, SLOPE, FRAILTY]) / [LEVEL_SD, SLOPE_SD, FRAILTY_SD]
        return 0.5 * float(z @ z) - said

    found = minimize(cost, np.array([LEVEL, SLOPE, FRAILTY]), method="L-BFGS-B", bounds=[(-20, 5), (-3, 4), (-4, 4)])
    return Hazard(float(found.x[0]), float(np.exp(found.x[1])), float(np.exp(found.x[2])), len(over))
