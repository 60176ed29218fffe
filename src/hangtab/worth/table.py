"""Reading the caller's table: polars, pandas, Arrow or plain rows, checked and put into one fixed order.

Promises: the same rows in any order give the same `Sheet`; a row that cannot be used is refused by its number.
Gives: `Sheet` (responses, kinds, months) for fitting, a plain polars frame for prediction.
Not here: what the model makes of the columns (terms.py, chain.py).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from hangtab.worth.arrays import Flags, Floats, Ints
from hangtab.worth.errors import SpecError, TableError
from hangtab.worth.spec import Spec

SALE, BELOW, ABOVE = 0, 1, 2
KINDS = {"sale": SALE, "below": BELOW, "above": ABOVE}
LATER = ("offer", "listing")
ROW = "row"
NO_MONTH = -1
MONTHS_BEFORE_1970 = 1970 * 12


@dataclass(frozen=True)
class Sheet:
    """The table in canonical order. frame: the model's columns and `row`, the caller's row number.

    y: response (log price, or the log bound of a censored row). kind: SALE, BELOW, ABOVE.
    price: as given (the bound, where censored). wider: noise-scale multiplier. All (rows,).
    """

    frame: pl.DataFrame
    y: Floats
    kind: Ints
    price: Floats
    wider: Floats

    def part(self, at: Flags) -> Sheet:
        """Some of the rows, in the same order."""
        frame = self.frame.filter(pl.Series(at))
        return Sheet(frame, self.y[at], self.kind[at], self.price[at], self.wider[at])


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


def read_table(table: Any, spec: Spec) -> Sheet:  # noqa: ANN401 - as `to_frame`
    """The table to fit, checked, in canonical order."""
    frame = to_frame(table)
    for name in spec.columns:
        if name not in frame.columns:
            raise SpecError(f"The table has no column {name!r}", where="Spec", mend="Name a column the table has.")
    if len(frame) == 0:
        raise TableError("The table has no rows", mend="Give at least one row.")
    frame = frame.select(spec.columns).with_columns(pl.Series(ROW, np.arange(len(frame))))
    return sheet_of(_canonical(frame), spec)


def sheet_of(frame: pl.DataFrame, spec: Spec) -> Sheet:
    """The sheet of a frame that already is in canonical order and has its row numbers."""
    kind = _kinds(frame, spec)
    if not (kind == SALE).any():
        # Bounds on one side alone are met best by a worth of nothing, or without end.
        raise TableError("No row is a sale", where=f"column {spec.kind}", mend="Give at least one row of kind 'sale'.")
    price = _prices(frame, spec, kind)
    wider = np.ones(len(frame))
    if spec.wider:
        wider = np.nan_to_num(numbers(frame[spec.wider]), nan=1.0)
        _refuse(wider <= 0, frame, "A noise multiplier must be positive", spec.wider)
    y = np.log(price) if spec.scale == "log" else price
    return Sheet(frame, y, kind, price, wider)


def _canonical(frame: pl.DataFrame) -> pl.DataFrame:
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


def _kinds(frame: pl.DataFrame, spec: Spec) -> Ints:
    if spec.kind is None:
        return np.zeros(len(frame), np.int64)
    names = [k or "sale" for k in words(frame[spec.kind])]
    for i, name in enumerate(names):
        if name in LATER:
            raise TableError(
                f"Rows of kind {name!r} are not fitted yet",
                where=f"column {spec.kind}, row {frame[ROW][i]}",
                mend="Leave the row out, or give an unsold ask as kind 'below'.",
            )
        if name not in KINDS:
            raise TableError(
                f"No such kind of row: {name!r}",
                where=f"column {spec.kind}, row {frame[ROW][i]}",
                mend=f"Use one of {(*KINDS, *LATER)}.",
            )
    return np.array([KINDS[n] for n in names], np.int64)


def _prices(frame: pl.DataFrame, spec: Spec, kind: Ints) -> Floats:
    price = numbers(frame[spec.price])
    if spec.ask:
        ask = numbers(frame[spec.ask])
        price = np.where((kind != SALE) & np.isfinite(ask), ask, price)
    _refuse(~np.isfinite(price), frame, "The price is missing or not a number", spec.price)
    if spec.scale == "log":
        _refuse(price <= 0, frame, "The price is not positive", spec.price)
    return price


def _refuse(bad: np.ndarray[Any, Any], frame: pl.DataFrame, what: str, column: str) -> None:
    if bad.any():
        row = int(np.flatnonzero(bad)[0])
        raise TableError(
            what,
            where=f"column {column}, row {frame[ROW][row]}" + (f" and {bad.sum() - 1} more" if bad.sum() > 1 else ""),
            mend="Correct the row or leave it out.",
        )
