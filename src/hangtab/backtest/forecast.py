"""One shape for what anything says of the next sale, so that all are judged alike; and the engine's forecasters.

Promises: the ranges are those a user would be shown, stretched by what a trial on the rows before asked for and never
by the rows tried. Reads: engine rows before, and rows to be tried without what they brought. Gives: a frame of
`COLUMNS` in the order of the rows tried.
Not here: the scores (rolling), forecasters that are no engine (peers).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
import polars as pl
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from hangtab.backtest.arrays import Floats, floats
from hangtab.backtest.mixture import LEAST_FREEDOM
from hangtab.domain.progress import ignore_step
from hangtab.valuing import Calibration, calibrate, fit_table, fitter, predicted
from hangtab.worth import Fitted, Spec, fit

LEVELS = (0.5, 0.8, 0.9)
# The median and ranges in prices; the whole distribution as log median + sigma t + sd z of the log price.
COLUMNS = ("median", *(f"{end}_{100 * level:.0f}" for level in LEVELS for end in ("low", "high")),
           "freedom", "sigma", "sd")  # fmt: skip
HELD_OUT = 0.25  # share of the rows before by which an engine without a trial of its own is stretched
ALL = "all"

Forecaster = Callable[[pl.DataFrame, pl.DataFrame], pl.DataFrame]


@dataclass(frozen=True)
class Book:
    """The book's own model, as `hangtab fit` would have fitted and recalibrated it on the last day before.

    days: those tried from. Half-years apart, they share the fits by which each is recalibrated, so fits are remembered
    (by day and count, which tell the rows before a day of one table from those before another).
    """

    days: tuple[date, ...]
    seed: int = 0
    remembered: dict[tuple[object, int], Fitted] = field(default_factory=dict, compare=False, repr=False)

    def __call__(self, before: pl.DataFrame, tried: pl.DataFrame) -> pl.DataFrame:
        """Fit, recalibrate and predict. before, tried: rows of one `engine_table`, all dated."""
        last: date = before["sold"].max()  # type: ignore[assignment] # a column of dates
        day = min(d for d in self.days if d > last)
        made = fit_table(before, day - timedelta(days=1), self.seed, ignore_step, self._fitted)
        said = predicted(made.fitted, tried.with_columns(price=pl.lit(None, pl.Float64), ask=pl.lit(None, pl.Float64)))
        return shown(said, made.fitted, made.calibration, tried["form"].to_list())

    def _fitted(self, table: pl.DataFrame) -> Fitted:
        key = (table["sold"].max(), len(table))
        if key not in self.remembered:
            self.remembered[key] = fitter(self.seed)(table)
        return self.remembered[key]


@dataclass(frozen=True)
class Engine:
    """Any table's model, recalibrated on its last quarter (without dates: a quarter drawn) before.

    form: column by whose values ranges are stretched apart, None for all alike.
    """

    spec: Spec
    form: str | None = None
    seed: int = 0

    def __call__(self, before: pl.DataFrame, tried: pl.DataFrame) -> pl.DataFrame:
        """Fit a part and calibrate on the rest, then fit all and predict."""
        first, rest = held_out(before, self.spec.when, self.seed)
        trial = self._said(fit(first, self.spec, seed=self.seed), rest)
        trial = trial.with_columns(form=pl.Series(self._forms(rest), dtype=pl.String), price=rest[self.spec.price])
        fitted = fit(before, self.spec, seed=self.seed)
        return shown(self._said(fitted, tried), fitted, calibrate(trial), self._forms(tried))

    def _said(self, fitted: Fitted, rows: pl.DataFrame) -> pl.DataFrame:
        return fitted.predict(rows.drop(self.spec.price, strict=False), levels=LEVELS, kind="next")

    def _forms(self, rows: pl.DataFrame) -> list[str]:
        return rows[self.form].cast(pl.String).fill_null("").to_list() if self.form else [ALL] * len(rows)


def held_out(before: pl.DataFrame, when: str | None, seed: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The first part of the rows before and the last: by date, or drawn where there is none."""
    cut = int(len(before) * (1 - HELD_OUT))
    if when:
        ordered = before.sort(when, maintain_order=True)
        return ordered[:cut], ordered[cut:]
    drawn = np.random.default_rng(seed).permutation(len(before))
    return before[np.sort(drawn[:cut])], before[np.sort(drawn[cut:])]


def shown(said: pl.DataFrame, fitted: Fitted, calibration: Calibration, forms: Sequence[str]) -> pl.DataFrame:
    """What the engine said, as the pages show it: every range stretched by its form's factor on the log scale."""
    wider = np.array([calibration.scale(form) for form in forms])
    median = said["median"].to_numpy()
    ranges = {
        name: median * (said[name].to_numpy() / median) ** wider for name in COLUMNS if name.startswith(("low", "high"))
    }
    freedom = fitted.components.get("freedom", fitted.spec.nu or np.inf)
    whole = {
        "freedom": np.full(len(said), max(float(freedom), LEAST_FREEDOM)),
        "sigma": said["log_noise"].to_numpy() * wider,
        "sd": said["log_sd"].to_numpy() * wider,
    }
    return pl.DataFrame({"median": median, **ranges, **whole}).select(COLUMNS)


def student(centre: ArrayLike, freedom: ArrayLike, scale: ArrayLike) -> pl.DataFrame:
    """A forecast whose log price is centre + scale * t; freedom inf: normal. All of one length."""
    middle, nu, s = floats(centre), floats(freedom), floats(scale)
    out: dict[str, Floats] = {"median": np.exp(middle), "freedom": nu, "sigma": s, "sd": np.zeros(len(middle))}
    for level in LEVELS:
        upper = 0.5 + level / 2
        half = np.where(np.isinf(nu), ndtri(upper), stdtrit(np.where(np.isinf(nu), 1.0, nu), upper)) * s
        out[f"low_{100 * level:.0f}"] = np.exp(middle - half)
        out[f"high_{100 * level:.0f}"] = np.exp(middle + half)
    return pl.DataFrame(out).select(COLUMNS)
