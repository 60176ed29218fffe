"""How wide the ranges must be, learned from sales the fit had not seen, and how wrong the middle was on them.

Promises symmetric factors on the log scale, so medians stay: for the next sale one by class of pieces, that makes the
50, 80 and 90 % ranges hold as nearly as one factor can; for the middle of the market one for all (`shared`). Classes
with few sales, or that differ by no more than chance, take the factor of all. A factor for each range held no better
(measured on the demo: 50.5, 80.4 and 89.8 of 100 against 49.5, 80.5 and 90.1), and neither did classes by how often a
variant had sold. Source: Gneiting, Balabdaoui & Raftery 2007 for why coverage is tried on unseen outcomes;
DerSimonian & Laird 1986 for the moment estimate of how much classes differ; split conformal scaling is from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LEVELS = (0.5, 0.8, 0.9)
PSEUDO = 50  # sales' worth of belief that the model's own width is right
# Sampling variance, times the sales, of the mean over LEVELS of a log quantile of normal distances: p (1 - p) / (q f)²
# is 1.36, .79 and .78, and the three go together by sqrt(p (1 - p') / (p' (1 - p))).
QUANTILES = 0.63


@dataclass(frozen=True, slots=True)
class Tried:
    """What became of one form's estimates: count, median absolute error as a share, share inside the 80 % range."""

    form: str
    sales: int
    error: float
    inside_80: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """Width factors by class of pieces, and the track record they come from.

    scales: factor on the log half-width of the next sale's ranges; `overall` for a class never tried.
    middle: the same for the ranges of the middle of the market, whatever the class (`shared`).
    """

    scales: Mapping[str, float]
    overall: float = 1.0
    middle: float = 1.0
    tried: tuple[Tried, ...] = ()

    def scale(self, form: str) -> float:
        """Factor on the log half-width of every range of the next sale of a form."""
        return self.scales.get(class_of(form), self.overall)

    @classmethod
    def from_kept(cls, kept: Mapping[str, Any]) -> Calibration:
        """What `asdict` made of one, after JSON. In older fits the middle has no factor of its own."""
        scales = {class_of(form): by for form, by in kept["scales"].items()}
        tried = tuple(Tried(**t) for t in kept["tried"])
        return cls(scales, kept["overall"], kept.get("middle", kept["overall"]), tried)


UNTRIED = Calibration({})
# One sale of a raw piece spreads by 30 to 35 % (common practice, no source): what a young book is held to be until its
# own sales say otherwise.
USUAL_SPREAD = 0.33
YOUNG = 50  # sales' worth of that belief


def class_of(form: str) -> str:
    """The class whose ranges a form shares: all graded pieces are one, since few of each packaging are sold."""
    return "graded" if form.endswith(" graded") else form


def young(sales: int, spread: float) -> Calibration:
    """Width for a book too young to be tried: its own noise drawn toward the usual spread of one sale.

    A handful of sales can agree by chance, and their spread then promises far too much.

    Args:
        sales: how many the fit rests on.
        spread: the fit's own standard deviation of one sale, log price.
    """
    drawn = np.sqrt((sales * spread**2 + YOUNG * USUAL_SPREAD**2) / (sales + YOUNG))
    wider = max(1.0, float(drawn / max(spread, 1e-3)))
    return Calibration({}, wider, wider)


def calibrate(tried: pl.DataFrame) -> Calibration:
    """Width factors of the next sale from a rolling-origin trial.

    The share inside is counted with factors from the other origins, so that no sale vouches for itself (without a
    column `origin`: from the other half).

    Args:
        tried: one row per unseen sale: form, price, median, and low_* and high_* of LEVELS (uncalibrated, next sale).
    """
    if not len(tried):
        return UNTRIED
    origins = tried["origin"].to_numpy() if "origin" in tried.columns else np.arange(len(tried)) % 2
    forms = tried["form"].to_list()
    classes, ratios = np.array([class_of(f) for f in forms]), _ratios(tried)
    overall, scales = _factors(ratios, classes)
    inside = np.zeros(len(tried), bool)
    for origin in np.unique(origins):
        here = origins == origin
        theirs, by_class = _factors(ratios[~here], classes[~here])
        allowed = np.array([by_class.get(c, theirs) for c in classes[here]])
        inside[here] = ratios[here, LEVELS.index(0.8)] <= allowed
    frame = tried.with_columns(inside=pl.Series(inside))
    rows = [_tried(str(form), part) for (form,), part in frame.group_by("form")]
    return Calibration(scales, overall, tried=tuple(sorted([_tried("", frame), *rows], key=lambda t: t.form)))


def _shrunk(found: Mapping[str, tuple[float, float]]) -> dict[str, float]:
    """How far each class lies from the mean of all, as far as classes differ by more than chance.

    Args:
        found: by class an estimate and its sampling variance.

    >>> round(_shrunk({"a": (0.3, 0.01), "b": (-0.3, 0.01)})["a"], 3)
    0.283
    >>> _shrunk({"a": (0.1, 0.1), "b": (-0.1, 0.1)})["a"]
    0.0
    """
    estimate, variance = (np.array([pair[i] for pair in found.values()]) for i in (0, 1))
    weight = 1 / variance
    off = estimate - (weight @ estimate) / weight.sum()
    spare = weight.sum() - (weight**2).sum() / weight.sum()
    between = max(0.0, float(weight @ off**2 - (len(off) - 1)) / spare) if len(off) > 1 else 0.0
    kept = off * between / (between + variance)
    return dict(zip(found, kept.tolist(), strict=True))


def _ratios(tried: pl.DataFrame) -> Floats:
    """How many half-widths of each range a price lies from the median, on the log scale: (sales, levels)."""
    off = (tried["price"] / tried["median"]).log().to_numpy()
    ends = [(f"low_{level * 100:.0f}", f"high_{level * 100:.0f}") for level in LEVELS]
    halves = [
        np.where(off < 0, (tried["median"] / tried[low]).log(), (tried[high] / tried["median"]).log())
        for low, high in ends
    ]
    return np.asarray(np.abs(off)[:, None] / np.stack(halves, axis=1))


def _factors(ratios: Floats, classes: NDArray[np.str_]) -> tuple[float, dict[str, float]]:
    """The overall factor, and each class's."""
    if not len(ratios):
        return 1.0, {}
    overall = _log_width(ratios) * len(ratios) / (len(ratios) + PSEUDO)
    apart = {}
    for name in np.unique(classes):
        own = ratios[classes == name]
        apart[str(name)] = (_log_width(own), QUANTILES / len(own))
    return float(np.exp(overall)), {name: float(np.exp(overall + by)) for name, by in _shrunk(apart).items()}


def _log_width(ratios: Floats) -> float:
    """Log of the factor that would make each range hold its share, at the mean of the ranges."""
    found = [np.quantile(ratios[:, i], level) for i, level in enumerate(LEVELS)]
    return float(np.log(np.maximum(found, 1e-3)).mean())


def _tried(form: str, part: pl.DataFrame) -> Tried:
    error = (part["price"] / part["median"] - 1).abs().to_numpy()
    return Tried(form, len(part), float(np.median(error)), float(part["inside"].to_numpy().mean()))
