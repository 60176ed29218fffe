"""What the rows of a trial come to: by kind of piece and by how much was known, whether the ranges held, by value.

Promises: every figure stands with the number of sales it rests on. Reads: rows of `rolling.try_out`.
Gives: frozen values, JSON-able. Not here: words and drawings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product

import numpy as np
import polars as pl

from hangtab.backtest.arrays import Floats
from hangtab.backtest.forecast import LEVELS
from hangtab.backtest.ratios import LEAST, Band, RatioStudy, by_value, cod, prb, prd, ratio_study
from hangtab.backtest.rolling import THIN
from hangtab.backtest.scores import inside, interval_score

ALL = ""
NEAR = 0.25
NORMAL_95 = 1.96
THIN_NAMES = tuple(name for _, _, name in THIN)


@dataclass(frozen=True, slots=True)
class Class:
    """One kind of piece by one class of earlier sales ("" for all of either), and how wrong it was.

    error: median absolute error at the middle, as a share of the price estimated; near: share within 25 %; held_50,
    _80, _90: shares inside the ranges; interval_80: mean interval score of the 80 % range, and crps: mean continuous
    ranked probability score, both of the log price (0.2 is about 20 %); cod, prd, prb: of the assessors' ratio study.
    """

    form: str
    thin: str
    sales: int
    error: float
    near: float
    held_50: float
    held_80: float
    held_90: float
    interval_80: float
    crps: float
    cod: float
    prd: float
    prb: float


@dataclass(frozen=True, slots=True)
class Held:
    """A nominal range and the share of sales inside it, with the 95 % interval of that share (Wilson 1927)."""

    nominal: float
    held: float
    low: float
    high: float
    sales: int


def summarise(rows: pl.DataFrame, *, forms: bool = True) -> tuple[Class, ...]:
    """All classes of one forecaster's rows that have a sale: everything first, then each thinness; each kind of piece.

    forms: whether the kinds of piece are taken apart as well.
    """
    kinds = [ALL, *(sorted(rows["form"].unique()) if forms else ())]
    found = []
    for form, thin in product(kinds, (ALL, *THIN_NAMES)):
        mine = rows.filter(
            (pl.col("form") == form if form else pl.lit(value=True))
            & (pl.col("thin") == thin if thin else pl.lit(value=True))
        )
        if len(mine):
            found.append(_class(form, thin, mine))
    return tuple(found)


def _class(form: str, thin: str, rows: pl.DataFrame) -> Class:
    price, median = rows["price"].to_numpy(), rows["median"].to_numpy()
    off = np.abs(price / median - 1)
    held_50, held_80, held_90 = (float(_inside(rows, level).mean()) for level in LEVELS)
    y, low, high = (np.log(rows[name].to_numpy()) for name in ("price", "low_80", "high_80"))
    trend = prb(median, price).slope if len(rows) >= LEAST else math.nan
    return Class(
        form, thin, len(rows), float(np.median(off)), float((off <= NEAR).mean()), held_50, held_80, held_90,
        float(interval_score(y, low, high, 0.2).mean()), float(rows["log_crps"].to_numpy().mean()),
        cod(median, price), prd(median, price), trend,
    )  # fmt: skip


def reliability(rows: pl.DataFrame) -> tuple[Held, ...]:
    """Whether the ranges held, one entry for each nominal share."""
    return tuple(held_of(level, int(_inside(rows, level).sum()), len(rows)) for level in LEVELS)


def held_of(nominal: float, hits: int, sales: int) -> Held:
    """The share inside with its Wilson interval: it stays within 0 and 1 and is honest for few sales.

    >>> h = held_of(0.8, 8, 10)
    >>> round(h.low, 3), round(h.high, 3)
    (0.49, 0.943)
    """
    z, share = NORMAL_95, hits / sales
    centre = (share + z * z / (2 * sales)) / (1 + z * z / sales)
    half = z / (1 + z * z / sales) * math.sqrt(share * (1 - share) / sales + z * z / (4 * sales * sales))
    return Held(nominal, share, max(centre - half, 0.0), min(centre + half, 1.0), sales)


def whole_ratios(rows: pl.DataFrame) -> RatioStudy | None:
    """The ratio study of all rows, None for fewer than three."""
    return ratio_study(rows["median"], rows["price"]) if len(rows) >= LEAST else None


def value_bands(rows: pl.DataFrame) -> tuple[Band, ...]:
    """Ratio studies by value, from cheap to dear, in the currency of the rows."""
    return by_value(rows["median"], rows["price"]) if len(rows) >= LEAST else ()


def _inside(rows: pl.DataFrame, level: float) -> Floats:
    name = f"{100 * level:.0f}"
    return inside(rows["price"], rows[f"low_{name}"], rows[f"high_{name}"]).astype(np.float64)
