"""Fit the book; and try it on sales it had not seen, to know how wide its ranges must be.

Promises that nothing of a trial sale's future is used: each trial fit sees only evidence dated before its origin, and
is tried on the half-year after it. Not here: storing the fit (use-cases), the full track record (back-test).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import polars as pl

from hangtab.domain.progress import OnStep, Step, ignore_step
from hangtab.valuing.calibration import LEVELS, UNTRIED, Calibration, calibrate, young
from hangtab.valuing.shared import Missed, middle_factor
from hangtab.valuing.table import book_spec
from hangtab.worth import Fitted, fit

ORIGINS = 4  # half-years back: two years tell more than one about a market that moves, and four fits are quick
STEP = timedelta(days=183)
LEAST_SALES = 200  # fewer before or 50 after the origins tell too little to rescale by
LEAST_TRIED = 50
MOST_SHARED = 1000  # sales after one origin whose shared misses are looked at; more cost time and add little


@dataclass(frozen=True)
class BookFit:
    """The fit on everything up to a day, and the calibration from the two years before."""

    fitted: Fitted
    calibration: Calibration
    table: pl.DataFrame


@dataclass(frozen=True)
class Trial:
    """What a fit before one origin said of the sales after it: `predicted`, and their shared misses."""

    said: pl.DataFrame
    missed: Missed


Fitter = Callable[[pl.DataFrame], Fitted]


def fitter(seed: int) -> Fitter:
    """Fits a table by the book's model. A back-test gives one that remembers, since its days share their trials."""
    return lambda table: fit(table, book_spec(), seed=seed)


def fit_table(table: pl.DataFrame, as_of: date, seed: int, on_step: OnStep, fits: Fitter | None = None) -> BookFit:
    """Fit evidence dated up to `as_of`, with ranges calibrated on its last two years.

    Args:
        table: the engine's table (`engine_table`).
        as_of: the day the fit speaks from; later evidence is left out.
        seed: passed to the engine.
        on_step: told of each trial and of the fit.
        fits: how a table is fitted, when not anew each time.
    """
    fits = fits or fitter(seed)
    known = table.filter(pl.col("sold").is_null() | (pl.col("sold") <= as_of))
    calibration = try_table(known, as_of + timedelta(days=1), seed, on_step, fits)
    on_step(Step("Fitting", ORIGINS, ORIGINS + 1))
    fitted = fits(known)
    on_step(Step("Fitting", ORIGINS + 1, ORIGINS + 1))
    if calibration is UNTRIED:
        calibration = young(len(known.filter(pl.col("kind") == "sale")), _spread(fitted))
    return BookFit(fitted, calibration, known)


def _spread(fitted: Fitted) -> float:
    """Standard deviation of one sale, log price: the mean over the forms of what the fit found."""
    found = [v for name, v in fitted.components.items() if name.startswith("residual")]
    return math.sqrt(sum(found) / len(found)) if found else 0.0


def try_table(
    table: pl.DataFrame, end: date, seed: int, on_step: OnStep = ignore_step, fits: Fitter | None = None
) -> Calibration:
    """Calibrate on the half-years before `end`, each predicted by a fit of what came before it.

    Returns UNTRIED when there are too few sales to be tried.
    """
    fits = fits or fitter(seed)
    trials = [try_half_year(before, after, fits) for before, after in half_years(table, end, on_step)]
    if sum(len(t.said) for t in trials) < LEAST_TRIED:
        return UNTRIED
    found = calibrate(pl.concat([t.said.with_columns(origin=pl.lit(i)) for i, t in enumerate(trials)]))
    return replace(found, middle=middle_factor([t.missed for t in trials]))


def half_years(
    table: pl.DataFrame, end: date, on_step: OnStep = ignore_step
) -> Iterator[tuple[pl.DataFrame, pl.DataFrame]]:
    """Evidence before each origin and the sales of the half-year after it, newest first."""
    for k in range(ORIGINS):
        origin, until = end - (k + 1) * STEP, end - k * STEP
        on_step(Step("Trying the model on its last half-years", k, ORIGINS + 1))
        before = table.filter(pl.col("sold") < origin)
        after = table.filter((pl.col("sold") >= origin) & (pl.col("sold") < until) & (pl.col("kind") == "sale"))
        if len(before.filter(pl.col("kind") == "sale")) >= LEAST_SALES and len(after):
            yield before, after


def try_half_year(before: pl.DataFrame, after: pl.DataFrame, fits: Fitter) -> Trial:
    """Fit what came before and predict the sales that came after."""
    fitted = fits(before)
    return Trial(predicted(fitted, after), missed(fitted, after))


def predicted(fitted: Fitted, sales: pl.DataFrame) -> pl.DataFrame:
    """Sales beside what the fit says of the next sale of each at its own day and place: adds median, low_80, ..."""
    said = fitted.predict(sales.drop("price", "ask"), levels=LEVELS, kind="next")
    return pl.concat([sales.select("id", "form", "subject", "sold", "price"), said], how="horizontal")


def missed(fitted: Fitted, sales: pl.DataFrame) -> Missed:
    """By how much each sale missed its middle, and what the fit claimed; of many sales, evenly drawn ones."""
    some = sales.sort("id").gather_every(-(-len(sales) // MOST_SHARED))
    rows = some.drop("price", "ask")
    middle, claimed = fitted.joint(rows)
    scale = fitted.predict(rows, levels=(0.5,), kind="middle")["log_noise"].to_numpy()
    return Missed(np.log(some["price"].to_numpy()) - middle, claimed, scale**2)
