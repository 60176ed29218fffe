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


def calibrate(tried: pl.DataFrame) -> Calibration:
    """Width factors from a rolling-origin trial.

    Args:
        tried: one row per unseen sale: form, price, median, low_80, high_80 (uncalibrated, next sale).
    """
    if not len(tried):
        return UNTRIED
    frame = tried.with_columns(
        ratio=(pl.col("price") / pl.col("median")).log().abs()
        / pl.when(pl.col("price") < pl.col("median"))
        .then((pl.col("median") / pl.col("low_80")).log())
        .otherwise((pl.col("high_80") / pl.col("median")).log())
    )
    overall = _factor(frame["ratio"].to_numpy(), 1.0)
    scales = {form: _factor(part["ratio"].to_numpy(), overall) for (form,), part in frame.group_by("form")}
    rows = [_tried(str(form), part, scales[form]) for (form,), part in frame.group_by("form", maintain_order=True)]
    rows.append(_tried("", frame, overall))
    return Calibration(dict(sorted(scales.items())), overall, tuple(sorted(rows, key=lambda t: t.form)))


def _factor(ratio: np.ndarray, toward: float) -> float:
    seen = float(np.quantile(ratio, 0.8))
    weight = len(ratio) / (len(ratio) + PSEUDO)
    return float(np.exp(weight * np.log(max(seen, 1e-3)) + (1 - weight) * np.log(toward)))


def _tried(form: str, part: pl.DataFrame, scale: float) -> Tried:
    error = float((part["price"] / part["median"] - 1).abs().median())  # type: ignore[arg-type]
    return Tried(form, len(part), error, float((part["ratio"] <= scale).mean()))  # type: ignore[arg-type]
