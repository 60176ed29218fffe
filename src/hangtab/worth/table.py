"""Reading the caller's table: polars, pandas, Arrow or plain rows, put into one fixed order.

Promises: the same rows in any order give the same frame.
Gives: a plain polars frame; its columns as words, numbers or months.
Not here: what a row says (sheet.py), what the model makes of the columns (terms.py, chain.py).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import numpy as np
import polars as pl

from hangtab.worth.arrays import Floats, Ints
from hangtab.worth.errors import TableError
from hangtab.worth.spec import Spec

ROW = "row"
NO_MONTH = -1
MONTHS_BEFORE_1970 = 1970 * 12


def to_frame(table: Any) -> pl.DataFrame:  # noqa: ANN401 - three libraries' tables and plain rows
    """Any table as a polars frame."""
    if isinstance(table, pl.DataFrame):
        return table
    if isinstance(table, pl.LazyFrame):
        return table.collect()
    if isinstance(table, dict):
        # A single row may hold lists of words; a table of columns holds nothing else than lists.
        one = not all(isinstance(v, list | tuple | np.ndarray | pl.Series) for v in table.values())
        return pl.DataFrame([table], infer_schema_length=None) if one else pl.DataFrame(table, strict=False)
    if isinstance(table, Sequence):
        return pl.DataFrame(list(table), infer_schema_length=None)
    if hasattr(table, "__arrow_c_stream__") or hasattr(table, "column_names"):
        return pl.DataFrame(table)
    if hasattr(table, "iloc"):
        return pl.from_pandas(table)
    raise TableError(f"Not a table: {type(table).__name__}", mend="Give a polars, pandas or Arrow table.")


def words(series: pl.Series) -> list[str | None]:
    """A column as words; numbers and flags become their text, empty text becomes None."""
    if series.dtype == pl.Boolean:
        series = series.cast(pl.Int8).cast(pl.String).replace({"1": "true", "0": "false"})
    return [v or None for v in series.cast(pl.String).to_list()]


def numbers(series: pl.Series) -> Floats:
    """A column as numbers; what is none, infinite or missing becomes NaN."""
    out = series.cast(pl.Float64, strict=False).fill_null(np.nan).to_numpy().astype(float)
    out[~np.isfinite(out)] = np.nan
    return out


def months(series: pl.Series) -> Ints:
    """A column of dates as months since year 0; -1 where there is none."""
    if series.dtype == pl.String:
        series = series.str.slice(0, 10).str.to_date(strict=False)
    if series.dtype == pl.Null:
        return np.full(len(series), NO_MONTH, np.int64)
    if series.dtype not in (pl.Date, pl.Datetime):
        raise TableError(
            f"Not a column of dates: {series.name!r} holds {series.dtype}",
            where=series.name,
            mend="Give dates, or text like 2024-05-31.",
        )
    day = (series if series.dtype == pl.Date else series.dt.date()).to_numpy()
    month = day.astype("datetime64[M]").astype(np.int64) + MONTHS_BEFORE_1970
    return np.where(np.isnat(day), NO_MONTH, month)


def month_of(at: dt.date | str) -> int:
    """Month number of one date."""
    day = dt.date.fromisoformat(at[:10]) if isinstance(at, str) else at
    return day.year * 12 + day.month - 1


def read_rows(table: Any, spec: Spec) -> pl.DataFrame:  # noqa: ANN401 - as `to_frame`
    """Rows to predict: the model's columns, those the caller does not have as nulls."""
    frame = to_frame(table)
    known = set(frame.columns)
    return frame.select(name if name in known else pl.Series(name, [None] * len(frame)) for name in spec.columns)


def canonical(frame: pl.DataFrame) -> pl.DataFrame:
    """The rows in an order that is a function of their content alone."""
    keys = [
        (pl.col(n).list.eval(pl.element().cast(pl.String)).list.join("\x1f") if isinstance(t, pl.List) else pl.col(n))
        .cast(pl.String)
        .alias(f"key {i}")
        for i, (n, t) in enumerate(frame.schema.items())
        if n != ROW
    ]
    return (
        frame.select(ROW, *keys)
        .sort(pl.exclude(ROW), nulls_last=False, maintain_order=True)
        .select(ROW)
        .join(frame, on=ROW, how="left", maintain_order="left")
    )
