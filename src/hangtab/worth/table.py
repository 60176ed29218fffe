"""Reading the caller's table: polars, pandas, Arrow or plain rows, put into one fixed order.

Promises: the same rows in any order give the same frame.
Gives: the caller's own frame and an order of its rows (rows.py); its columns as words, numbers or months.
Not here: what a row says (sheet.py), what the model makes of the columns (terms.py, chain.py).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import numpy as np
import polars as pl

from hangtab.worth import kernels, rows
from hangtab.worth.arrays import Flags, Floats, Ints, Places
from hangtab.worth.errors import TableError
from hangtab.worth.rows import Read, Rows
from hangtab.worth.spec import Spec

ROW = rows.ROW
NO_MONTH = -1
MONTHS_BEFORE_1970 = 1970 * 12
MOST_KEYS = 2**62
DIGIT = 11
MOST_NARROW = 2**31


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


def worded(series: pl.Series) -> pl.Series:
    """A column as words; numbers and flags become their text, empty text becomes null."""
    if series.dtype == pl.Boolean:
        series = series.cast(pl.Int8).cast(pl.String).replace({"1": "true", "0": "false"})
    text = series.cast(pl.String)
    return text.set(text == "", None)


def words(series: pl.Series) -> list[str | None]:
    """A column as a list of words, None where there is none."""
    return worded(series).to_list()


def joined_words(frame: Read, columns: Sequence[str]) -> pl.Series:
    """Several columns as one of words; null where any of them is."""
    if len(columns) == 1:
        return worded(frame[columns[0]])
    return pl.select(pl.concat_str([worded(frame[c]) for c in columns], separator="\x1f")).to_series()


def placed(series: pl.Series, levels: Sequence[str]) -> tuple[Ints, Flags]:
    """Place of each word among `levels` (-1: none of them), and which rows have a word that is none of them."""
    known = pl.DataFrame({"word": pl.Series(levels, dtype=pl.String), "place": np.arange(len(levels))})
    place = pl.DataFrame({"word": series}).join(known, on="word", how="left", maintain_order="left")["place"]
    found = place.fill_null(-1).to_numpy().astype(np.int64)
    return found, (found < 0) & series.is_not_null().to_numpy()


def group_keys(series: pl.Series) -> pl.Series:
    """A column of group names to compare and sort by: whole numbers as they are, all else as words."""
    return series if series.dtype.is_integer() else worded(series)


def numbers(series: pl.Series) -> Floats:
    """A column as numbers; what is none, infinite or missing becomes NaN."""
    if series.dtype != pl.Float64 or series.null_count():
        series = series.cast(pl.Float64, strict=False).fill_null(np.nan)
    out = series.to_numpy()
    finite = np.isfinite(out)
    return out if finite.all() else np.where(finite, out, np.nan)


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


def canonical(frame: pl.DataFrame, spec: Spec) -> Rows:
    """The caller's rows in an order that is a function of their content alone: by path along the chain, then by a hash.

    Rows of one path stand together, those without a name first.
    """
    columns = list(dict.fromkeys(part for path in spec.chain for part in path.split("/")))
    order = sorted_by(_packed([group_keys(frame[c]) for c in columns]), _hashes(frame))
    return Rows(frame, None if (order[1:] > order[:-1]).all() else order)


def sorted_by(keys: list[Ints], last: Ints) -> Places:
    """Order of whole numbers of at least 0, by the first key, then the next..., at the very last by `last`.

    Digit by digit, the last first; what is equal in all keys stands in short runs, each of which is sorted by itself.

    >>> sorted_by([np.array([2, 1, 2])], np.array([9, 5, 7])).tolist()
    [1, 2, 0]
    """
    order: Places = np.arange(len(last), dtype=np.int32 if len(last) < MOST_NARROW else np.int64)
    new = np.zeros(len(last), bool)
    new[:1] = True
    for key in keys[::-1]:
        now = key[order]
        for low in range(0, int(key.max()).bit_length(), DIGIT):
            now, order = kernels.sort_by_digit(now, order, low, DIGIT)
    for key in keys:
        now = key[order]
        new[1:] |= now[1:] != now[:-1]
    kernels.sort_runs(last[order], order, np.append(np.flatnonzero(new), len(last)))
    return order


def _packed(columns: list[pl.Series]) -> list[Ints]:
    """Sort keys, as few as hold the columns' values side by side in 63 bits."""
    keys: list[Ints] = []
    room = 0
    for column in columns:
        own, size = _ranks(column)
        if keys and size * room < MOST_KEYS:
            keys[-1] = keys[-1] * size + own
            room *= size
        else:
            keys.append(own)
            room = size
    return keys


def _ranks(column: pl.Series) -> tuple[Ints, int]:
    """Whole numbers that sort as the column does, nulls first, from 0 on, and how many they can be."""
    if column.dtype.is_integer() and column.null_count() == 0:
        low, high = int(column.min()), int(column.max())  # type: ignore[arg-type]
        if high - low < MOST_KEYS:
            return column.to_numpy().astype(np.int64) - low, high - low + 1
    different = column.drop_nulls().unique().sort()
    known = pl.DataFrame({"key": different, "rank": np.arange(1, len(different) + 1)})
    found = pl.DataFrame({"key": column}).join(known, on="key", how="left", maintain_order="left")
    return found["rank"].fill_null(0).to_numpy().astype(np.int64), len(different) + 1


def _hashes(frame: pl.DataFrame) -> Ints:
    """A number of 44 bits for each row's content, (rows,): rows of one path hardly ever share one by chance."""
    plain = [
        pl.col(n).list.eval(pl.element().cast(pl.String)).list.join("\x1f") if isinstance(t, pl.List)
        else pl.col(n) if t.is_numeric() or t in (pl.String, pl.Date, pl.Boolean) else pl.col(n).cast(pl.String)
        for n, t in frame.schema.items() if n != ROW
    ]  # fmt: skip
    return np.asarray((frame.select(plain).hash_rows(seed=1).to_numpy() >> np.uint64(20)).astype(np.int64))
