"""How wide the ranges must be, learned from sales the fit had not seen, and how wrong the middle was on them.

Promises symmetric factors on the log scale, so medians stay. Rolling origin: fit before a day, try after it. The
factor is shrunk toward one where few sales were tried. Source: Gneiting, Balabdaoui & Raftery 2007 for why coverage
is tried on unseen outcomes; split conformal scaling is from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

PSEUDO = 50  # sales' worth of belief that the model's own width is right


@dataclass(frozen=True, slots=True)
class Tried:
    """What became of one form's estimates: count, median absolute error as a share, share inside the 80 % range."""

    form: str
    sales: int
    error: float
    inside_80: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """Width factors by form, and the track record they come from."""

    scales: Mapping[str, float]
    overall: float = 1.0
    tried: tuple[Tried, ...] = ()

    def scale(self, form: str) -> float:
        """Factor on the log half-width of every range of a form."""
        return self.scales.get(form, self.overall)


UNTRIED = Calibration({})
# One sale of a raw piece spreads by 30 to 35 % (common practice, no source): what a young book is held to be until its
# own sales say otherwise.
USUAL_SPREAD = 0.33
YOUNG = 50  # sales' worth of that belief


def young(sales: int, spread: float) -> Calibration:
    """Width for a book too young to be tried: its own noise drawn toward the usual spread of one sale.

    A handful of sales can agree by chance, and their spread then promises far too much.

    Args:
        sales: how many the fit rests on.
        spread: the fit's own standard deviation of one sale, log price.
    """
    drawn = np.sqrt((sales * spread**2 + YOUNG * USUAL_SPREAD**2) / (sales + YOUNG))
    return Calibration({}, max(1.0, float(drawn / max(spread, 1e-3))))


def calibrate(tried: pl.DataFrame) -> Calibration:
    """Width factors from a rolling-origin trial.

    The share inside is counted with factors from the other half of the trial, so that no sale vouches for itself.

    Args:
        tried: one row per unseen sale: form, price, median, low_80, high_80 (uncalibrated, next sale).
    """
    if not len(tried):
        return UNTRIED
    frame = tried.with_columns(_stretch().alias("ratio"), half=pl.int_range(pl.len()) % 2)
    overall, scales = _factors(frame)
    halves = [_factors(frame.filter(pl.col("half") == 1 - half)) for half in (0, 1)]
    allowed = [halves[half][1].get(form, halves[half][0]) for form, half in frame.select("form", "half").iter_rows()]
    frame = frame.with_columns(inside=pl.col("ratio") <= pl.Series(allowed))
    rows = [_tried(str(form), part) for (form,), part in frame.group_by("form")]
    return Calibration(scales, overall, tuple(sorted([_tried("", frame), *rows], key=lambda t: t.form)))


def _stretch() -> pl.Expr:
    """How many half-widths of its 80 % range a price lies from the median, on the log scale."""
    below = (pl.col("median") / pl.col("low_80")).log()
    above = (pl.col("high_80") / pl.col("median")).log()
    half = pl.when(pl.col("price") < pl.col("median")).then(below).otherwise(above)
    return (pl.col("price") / pl.col("median")).log().abs() / half


def _factors(frame: pl.DataFrame) -> tuple[float, dict[str, float]]:
    """The overall factor, and each form's."""
    if not len(frame):
        return 1.0, {}
    overall = _factor(frame["ratio"].to_numpy(), 1.0)
    scales = {str(form): _factor(part["ratio"].to_numpy(), overall) for (form,), part in frame.group_by("form")}
    return overall, dict(sorted(scales.items()))


def _factor(ratio: np.ndarray, toward: float) -> float:
    seen = float(np.quantile(ratio, 0.8))
    weight = len(ratio) / (len(ratio) + PSEUDO)
    return float(np.exp(weight * np.log(max(seen, 1e-3)) + (1 - weight) * np.log(toward)))


def _tried(form: str, part: pl.DataFrame) -> Tried:
    error = (part["price"] / part["median"] - 1).abs().to_numpy()
    return Tried(form, len(part), float(np.median(error)), float(part["inside"].to_numpy().mean()))
