"""The assessors' ratio study: what estimates were, as shares of the prices paid.

Promises: the statistics of a ratio study as the IAAO Standard on Ratio Studies (2013) defines them, as read in the
tables and published values that the tests cite; the standard's own text was not read.
Reads: estimates and prices, both positive, of one length. Gives: plain figures, unrounded.
Not here: which sales are compared (rolling), and whether a figure is good.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from hangtab.backtest.arrays import Floats, floats

CONFIDENCE = 0.95
NORMAL_95 = 1.96  # as the rule for the median prints it
LEAST = 3  # a slope with its error needs three


@dataclass(frozen=True, slots=True)
class Trend:
    """A slope with its standard error and 95 % interval."""

    slope: float
    error: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class RatioStudy:
    """Ratios of estimate to price.

    median with its interval; mean; weighted (sum of estimates over sum of prices) with its interval; cod (mean
    distance from the median, per cent of it: uniformity); prd (mean over weighted: above 1, dear pieces are estimated
    low); prb (what share of the median the ratio changes by when the value doubles).
    """

    sales: int
    median: float
    median_low: float
    median_high: float
    mean: float
    weighted: float
    weighted_low: float
    weighted_high: float
    cod: float
    prd: float
    prb: Trend


@dataclass(frozen=True, slots=True)
class Band:
    """The study of sales whose value lies from `low` to `high`, in the currency of the prices."""

    low: float
    high: float
    study: RatioStudy


def ratio_study(estimate: ArrayLike, price: ArrayLike) -> RatioStudy:
    """All statistics of one group. Raises ValueError for fewer than three sales or a price that is not positive."""
    a, s = _checked(estimate, price)
    ratio = a / s
    middle = float(np.median(ratio))
    low, high = median_interval(ratio)
    weighted = float(a.sum() / s.sum())
    wide = _weighted_width(a, s)
    return RatioStudy(
        len(a), middle, low, high, float(ratio.mean()), weighted, weighted - wide, weighted + wide,
        cod(a, s), prd(a, s), prb(a, s),
    )  # fmt: skip


def cod(estimate: ArrayLike, price: ArrayLike) -> float:
    """Coefficient of dispersion: the mean distance of the ratios from their median, in per cent of it."""
    ratio = floats(estimate) / floats(price)
    middle = np.median(ratio)
    return float(100 * np.abs(ratio - middle).mean() / middle)


def prd(estimate: ArrayLike, price: ArrayLike) -> float:
    """Price-related differential: the mean ratio over the weighted mean ratio."""
    a, s = floats(estimate), floats(price)
    return float((a / s).mean() / (a.sum() / s.sum()))


def prb(estimate: ArrayLike, price: ArrayLike) -> Trend:
    """Price-related bias: least-squares slope of (ratio - median) / median on log2 of the value proxy."""
    a, s = floats(estimate), floats(price)
    ratio = a / s
    middle = np.median(ratio)
    x = np.log2(value_proxy(a, s))
    y = (ratio - middle) / middle
    x = x - x.mean()
    spread = float(x @ x)
    if spread == 0:
        return Trend(0.0, math.inf, -math.inf, math.inf)
    slope = float(x @ y) / spread
    rest = y - y.mean() - slope * x
    error = math.sqrt(float(rest @ rest) / (len(x) - 2) / spread)
    wide = _student(len(x) - 2) * error
    return Trend(slope, error, slope - wide, slope + wide)


def value_proxy(estimate: ArrayLike, price: ArrayLike) -> Floats:
    """What a piece is taken to be worth: half the price, half the estimate over the median ratio.

    Neither alone: sorted by price, a lucky sale looks under-estimated; sorted by estimate, the reverse.
    """
    a, s = floats(estimate), floats(price)
    return np.asarray(0.5 * (a / np.median(a / s) + s))


def median_interval(ratio: ArrayLike) -> tuple[float, float]:
    """95 % interval of a median from order statistics: 1.96 sqrt(n) / 2 ranks either side (half more for even n).

    The rank is rounded up. With so few that it falls off the end, the ends are the least and the largest.
    """
    x = np.sort(floats(ratio))
    n = len(x)
    steps = math.ceil(NORMAL_95 * math.sqrt(n) / 2 + (0.5 if n % 2 == 0 else 0.0))
    below, above = n // 2 - steps, (n - 1) // 2 + steps  # counted from the middle, of an even count from its pair
    return float(x[max(below, 0)]), float(x[min(above, n - 1)])


def by_value(estimate: ArrayLike, price: ArrayLike, bands: int = 4, least: int = 10) -> tuple[Band, ...]:
    """Studies by value, from cheap to dear: equal parts by the value proxy; parts under `least` sales are left out."""
    a, s = _checked(estimate, price)
    proxy = value_proxy(a, s)
    ends = np.quantile(proxy, np.linspace(0, 1, bands + 1))
    part = np.clip(np.searchsorted(ends, proxy, side="right") - 1, 0, bands - 1)
    found = []
    for k, (low, high) in enumerate(pairwise(ends)):
        mine = part == k
        if mine.sum() >= max(least, LEAST):
            found.append(Band(float(low), float(high), ratio_study(a[mine], s[mine])))
    return tuple(found)


def _checked(estimate: ArrayLike, price: ArrayLike) -> tuple[Floats, Floats]:
    a, s = floats(estimate), floats(price)
    if len(a) < LEAST:
        raise ValueError(f"A ratio study needs {LEAST} sales or more, not {len(a)}")
    if not (np.all(a > 0) and np.all(s > 0)):
        raise ValueError("Estimates and prices must be positive")
    return a, s


def _weighted_width(a: Floats, s: Floats) -> float:
    """Half of the 95 % interval of the weighted mean: the ratio estimator's linearised error, Student's t."""
    n = len(a)
    rest = a - a.sum() / s.sum() * s
    error = math.sqrt(float(rest @ rest) / (n - 1) / n) / float(s.mean())
    return _student(n - 1) * error


def _student(freedom: int) -> float:
    return float(stdtrit(freedom, 0.5 + CONFIDENCE / 2))
