"""Proper scores: how well a stated distribution met what came.

Promises: every score is negatively oriented (smaller is better) and in the units of y, log and Brier score apart.
Reads: outcomes and what was stated of them, as arrays of one shape. Gives: one score each, unaveraged.
Source of the formulas: Gneiting & Raftery 2007, J. Amer. Statist. Assoc. 102, sections 4.2 and 6.2; others are named.
Not here: the engine's own next sale (mixture), ratio statistics (ratios).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaln, ndtr, stdtr

from hangtab.backtest.arrays import Floats, floats

_ROOT_PI = np.sqrt(np.pi)


def crps_normal(y: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> Floats:
    """Continuous ranked probability score of a normal distribution, sd > 0.

    >>> round(float(crps_normal(0.0, 0.0, 1.0)), 9)
    0.233694977
    """
    scale = floats(sd)
    z = (floats(y) - floats(mean)) / scale
    density = np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
    return np.asarray(scale * (z * (2 * ndtr(z) - 1) + 2 * density - 1 / _ROOT_PI))


def crps_student(y: ArrayLike, freedom: ArrayLike, location: ArrayLike, scale: ArrayLike) -> Floats:
    """The same of location + scale * t, t Student with `freedom` > 1; with 1 or less it is infinite.

    Source: closed form of Jordan, Krueger & Lerch 2019, J. Statist. Softw. 90(12), appendix A.
    """
    nu, s = floats(freedom), floats(scale)
    if np.any(nu <= 1):
        raise ValueError("The score of Student's t needs more than one degree of freedom")
    z = (floats(y) - floats(location)) / s
    log_beta = betaln(0.5, 0.5 * nu)
    density = np.exp(-0.5 * np.log(nu) - log_beta - 0.5 * (nu + 1) * np.log1p(z * z / nu))
    spread = 2 * np.sqrt(nu) / (nu - 1) * np.exp(betaln(0.5, nu - 0.5) - 2 * log_beta)
    return np.asarray(s * (z * (2 * stdtr(nu, z) - 1) + 2 * density * (nu + z * z) / (nu - 1) - spread))


def crps_ensemble(y: ArrayLike, members: ArrayLike, *, fair: bool = False) -> Floats:
    """The same of equally likely members, along the last axis of `members`: mean |x - y| - half of mean |x - x'|.

    fair: x and x' are two different members, so that the score does not punish a small ensemble (Ferro 2014, Q. J. R.
    Meteorol. Soc. 140); it needs two members and may fall below 0.
    """
    x = np.sort(floats(members), axis=-1)
    size = x.shape[-1]
    apart = (2 * np.arange(1, size + 1) - size - 1) @ np.moveaxis(x, -1, 0)  # half of the sum of |x - x'|
    pairs = size * (size - 1) if fair else size * size
    return np.asarray(np.abs(x - floats(y)[..., None]).mean(axis=-1) - apart / pairs)


def crps_quantiles(y: ArrayLike, quantiles: ArrayLike, levels: ArrayLike) -> Floats:
    """The same from quantiles along the last axis: twice the mean pinball loss over the levels.

    Approximate: exact only as evenly spaced levels (1/2k, 3/2k ...) grow many. Compare only like with like.
    """
    return np.asarray(2 * pinball(floats(y)[..., None], quantiles, levels).mean(axis=-1))


def pinball(y: ArrayLike, quantile: ArrayLike, level: ArrayLike) -> Floats:
    """Loss of one stated quantile at `level`, 0 to 1.

    >>> float(pinball(10, 8, 0.9)), round(float(pinball(8, 10, 0.9)), 9)
    (1.8, 0.2)
    """
    beyond = floats(y) - floats(quantile)
    return np.asarray(np.maximum(floats(level) * beyond, (floats(level) - 1) * beyond))


def interval_score(y: ArrayLike, low: ArrayLike, high: ArrayLike, missed: float) -> Floats:
    """Width of a central range, and 2 / missed times how far the outcome lies outside.

    missed: the share that the range leaves out, 0.2 for eight in ten.

    >>> float(interval_score(-0.2, 0, 1, 0.1))
    5.0
    """
    a, b, x = floats(low), floats(high), floats(y)
    return np.asarray(b - a + 2 / missed * (np.maximum(a - x, 0) + np.maximum(x - b, 0)))


def log_score_normal(y: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> Floats:
    """Minus the log of the stated normal density at the outcome."""
    s = floats(sd)
    return np.asarray(0.5 * ((floats(y) - floats(mean)) / s) ** 2 + np.log(s) + 0.5 * np.log(2 * np.pi))


def brier(happened: ArrayLike, stated: ArrayLike) -> Floats:
    """Squared distance of a stated probability from what happened (1 or 0)."""
    return np.asarray((floats(stated) - floats(happened)) ** 2)


def inside(y: ArrayLike, low: ArrayLike, high: ArrayLike) -> np.ndarray:
    """Whether each outcome lies in its range, ends included; the mean is the range's coverage."""
    return np.asarray((floats(low) <= floats(y)) & (floats(y) <= floats(high)))
