"""Try forecasters on sales they had not seen: before and after several days, or in folds where there are no dates.

Promises: of a sale tried, a forecaster sees neither its price nor anything dated on or after the origin; every
forecaster is tried on the very same sales. Reads: an engine table and days. Gives: one row per sale and forecaster.
Not here: what the rows come to (summary).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl

from hangtab.backtest.arrays import Floats
from hangtab.backtest.forecast import Forecaster
from hangtab.backtest.mixture import NextSales
from hangtab.domain.progress import OnStep, Step, ignore_step

ORIGINS = 6
SPAN_DAYS = 6 * 183  # three years, in half-years of one length
LEAST_BEFORE = 200  # sales; from fewer the book's own fit would not try itself either
THIN = ((0, 0, "0"), (1, 1, "1"), (2, 4, "2–4"), (5, 9, "5–9"), (10, 10**9, "10+"))


@dataclass(frozen=True)
class Split:
    """Rows to learn from, and sales to try; `name` is the origin's day or the fold."""

    name: str
    before: pl.DataFrame
    tried: pl.DataFrame


@dataclass(frozen=True)
class Columns:
    """Where the table keeps what a row of the study needs.

    variant: the columns that together say which variant a sale is of, for counting earlier ones (empty: none counted).
    form: the kind of piece, None for one kind.
    """

    id: str = "id"
    price: str = "price"
    when: str | None = "sold"
    kind: str | None = "kind"
    form: str | None = "form"
    variant: tuple[str, ...] = ()


def choose_origins(days: pl.Series, as_of: date, count: int = ORIGINS) -> tuple[date, ...]:
    """Days to try from, oldest first: `count` equal steps back over the last three years of the sales up to `as_of`.

    A book of fewer years is cut into equal steps over its later half, so that there is something before the first.
    """
    known = days.drop_nulls().filter(days.drop_nulls() <= as_of)
    if not len(known):
        return ()
    first, last = _day(known.min()), _day(known.max())
    end = last + timedelta(days=1)
    span = min(SPAN_DAYS, (end - first).days // 2)
    found = [end - timedelta(days=round(span * (count - i) / count)) for i in range(count)]
    return tuple(dict.fromkeys(d for d in found if d < end))


def time_splits(
    table: pl.DataFrame, origins: Sequence[date], as_of: date, columns: Columns, least: int = LEAST_BEFORE
) -> Iterator[Split]:
    """For each origin all that is dated before it, and the sales from it up to the next one (the last: up to `as_of`).

    Undated rows are left out, since nobody knows which side they are on. Origins with under `least` sales before, or
    none after, give nothing.
    """
    when = columns.when
    if when is None:
        raise ValueError("Splits in time need a column of dates")
    dated = table.filter(pl.col(when).is_not_null() & (pl.col(when) <= as_of))
    ends = [*origins[1:], as_of + timedelta(days=1)]
    for origin, end in zip(origins, ends, strict=False):  # without an origin there is no end either
        before = dated.filter(pl.col(when) < origin)
        after = sales_of(dated.filter((pl.col(when) >= origin) & (pl.col(when) < end)), columns)
        if len(sales_of(before, columns)) >= least and len(after):
            yield Split(origin.isoformat(), before, after)


def folds(table: pl.DataFrame, count: int, draw: np.random.Generator, columns: Columns) -> Iterator[Split]:
    """Each sale in one of `count` folds drawn at random, tried by what was learned from the others."""
    sales = sales_of(table, columns)
    fold = draw.permutation(len(sales)) % count
    for k in range(count):
        yield Split(f"fold {k + 1}", sales.filter(pl.Series(fold != k)), sales.filter(pl.Series(fold == k)))


def sales_of(table: pl.DataFrame, columns: Columns) -> pl.DataFrame:
    """The rows that are sales at a stated price."""
    return table.filter(pl.col(columns.kind) == "sale") if columns.kind else table


def try_out(
    splits: Iterable[Split], forecasters: Mapping[str, Forecaster], columns: Columns, on_step: OnStep = ignore_step
) -> pl.DataFrame:
    """Every forecaster on every split.

    Returns: one row per sale and forecaster: by, origin, id, form, earlier (sales of the variant before), thin (its
    class), sold, price, median, low_50 ... high_90, log_crps, pit, log_score. Empty when there is no split.
    """
    rows = []
    for split in splits:
        about = _about(split, columns)
        unseen = split.tried.with_columns(pl.lit(None, split.tried.schema[columns.price]).alias(columns.price))
        for done, (name, forecaster) in enumerate(forecasters.items()):
            on_step(Step(f"Trying {name} from {split.name}", done, len(forecasters)))
            said = forecaster(split.before, unseen)
            rows.append(_scored(about, said).select(pl.lit(name).alias("by"), pl.all()))
    return pl.concat(rows) if rows else pl.DataFrame()


def thin_class(earlier: int) -> str:
    """The class of so many earlier sales of the same variant.

    >>> [thin_class(n) for n in (0, 1, 3, 9, 40)]
    ['0', '1', '2–4', '5–9', '10+']
    """
    return next(name for low, high, name in THIN if low <= earlier <= high)


def _about(split: Split, columns: Columns) -> pl.DataFrame:
    tried = split.tried
    counts = earlier_sales(sales_of(split.before, columns), tried, columns.variant)
    return pl.DataFrame({
        "origin": [split.name] * len(tried),
        "id": tried[columns.id].cast(pl.String),
        "form": tried[columns.form].cast(pl.String).fill_null("") if columns.form else ["all"] * len(tried),
        "earlier": counts,
        "thin": [thin_class(n) for n in counts],
        "sold": tried[columns.when] if columns.when else pl.Series([None] * len(tried), dtype=pl.Date),
        "price": tried[columns.price].cast(pl.Float64),
    })  # fmt: skip


def earlier_sales(before: pl.DataFrame, tried: pl.DataFrame, variant: Sequence[str]) -> list[int]:
    """How many of the sales before are of the same variant as each one tried."""
    if not variant:
        return [0] * len(tried)
    counted = before.group_by(variant).agg(earlier=pl.len())
    joined = tried.select(variant).join(counted, on=list(variant), how="left", nulls_equal=True, maintain_order="left")
    return joined["earlier"].fill_null(0).cast(pl.Int64).to_list()


def _scored(about: pl.DataFrame, said: pl.DataFrame) -> pl.DataFrame:
    y = np.log(about["price"].to_numpy())
    crps, pit, log_score = np.empty(len(y)), np.empty(len(y)), np.empty(len(y))
    freedom = said["freedom"].to_numpy()
    for nu in np.unique(freedom):
        at = freedom == nu
        sales = NextSales(float(nu), *(_array(said, name)[at] for name in ("median", "sigma", "sd")))
        crps[at], pit[at], log_score[at] = sales.crps(y[at]), sales.below(y[at]), -sales.log_density(y[at])
    ranges = said.drop("freedom", "sigma", "sd")
    return pl.concat([about, ranges], how="horizontal").with_columns(
        log_crps=pl.Series(crps), pit=pl.Series(pit), log_score=pl.Series(log_score)
    )


def _array(said: pl.DataFrame, name: str) -> Floats:
    values = said[name].to_numpy()
    return np.asarray(np.log(values) if name == "median" else values)


def _day(value: object) -> date:
    assert isinstance(value, date)  # noqa: S101 - a column of dates
    return value
