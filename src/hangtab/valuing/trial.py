"""Fit the book; and try it on sales it had not seen, to know how wide its ranges must be.

Promises that nothing of a trial sale's future is used: the trial fit sees only evidence dated before its origin.
Not here: storing the fit (use-cases), the full track record over many origins (back-test).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from hangtab.domain.progress import OnStep, Step
from hangtab.valuing.calibration import UNTRIED, Calibration, calibrate, young
from hangtab.valuing.table import book_spec
from hangtab.worth import Fitted, fit

TRIAL_DAYS = 365
LEAST_SALES = 200  # fewer before or 50 after the origin tell too little to rescale by
LEAST_TRIED = 50


@dataclass(frozen=True)
class BookFit:
    """The fit on everything up to a day, and the calibration from the year before."""

    fitted: Fitted
    calibration: Calibration
    table: pl.DataFrame


def fit_table(table: pl.DataFrame, as_of: date, seed: int, on_step: OnStep) -> BookFit:
    """Fit evidence dated up to `as_of`, with ranges calibrated on its last year.

    Args:
        table: the engine's table (`engine_table`).
        as_of: the day the fit speaks from; later evidence is left out.
        seed: passed to the engine.
        on_step: told of the two stages.
    """
    known = table.filter(pl.col("sold").is_null() | (pl.col("sold") <= as_of))
    on_step(Step("Trying the model on the last year", 0, 2))
    calibration = try_table(known, as_of - timedelta(days=TRIAL_DAYS), seed)
    on_step(Step("Fitting", 1, 2))
    fitted = fit(known, book_spec(), seed=seed)
    on_step(Step("Fitting", 2, 2))
    if calibration is UNTRIED:
        calibration = young(len(known.filter(pl.col("kind") == "sale")), _spread(fitted))
    return BookFit(fitted, calibration, known)


def _spread(fitted: Fitted) -> float:
    """Standard deviation of one sale, log price: the mean over the forms of what the fit found."""
    found = [v for name, v in fitted.components.items() if name.startswith("residual")]
    return math.sqrt(sum(found) / len(found)) if found else 0.0


def try_table(table: pl.DataFrame, origin: date, seed: int) -> Calibration:
    """Fit what came before `origin`, predict the sales that came after, and calibrate on them."""
    before = table.filter(pl.col("sold") < origin)
    after = table.filter((pl.col("sold") >= origin) & (pl.col("kind") == "sale"))
    if len(before.filter(pl.col("kind") == "sale")) < LEAST_SALES or len(after) < LEAST_TRIED:
        return UNTRIED
    return calibrate(predicted(fit(before, book_spec(), seed=seed), after))


def predicted(fitted: Fitted, sales: pl.DataFrame) -> pl.DataFrame:
    """Sales beside what the fit says of the next sale of each at its own day and place: adds median, low_80, ..."""
    said = fitted.predict(sales.drop("price", "ask"), levels=(0.5, 0.8, 0.9), kind="next")
    return pl.concat([sales.select("id", "form", "subject", "sold", "price"), said], how="horizontal")
