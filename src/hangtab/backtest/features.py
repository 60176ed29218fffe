"""An engine table as the matrix of a general learner: the same columns, numbers as numbers, words as codes.

Promises: codes come from the rows before alone; a word never seen there is missing. A column of lists becomes one
number per word seen often enough, 1 where the row has it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from hangtab.backtest.arrays import Floats
from hangtab.worth import Spec

OFTEN = 10  # rows that a word of a list must stand in to get a column
DAYS = 365.25


@dataclass(frozen=True)
class Matrix:
    """numbers (rows, k), words (rows, m) as codes from 0 (nan: never seen), and how many codes each word column has."""

    numbers: Floats
    words: Floats
    sizes: tuple[int, ...]


def features(before: pl.DataFrame, asked: pl.DataFrame, spec: Spec) -> tuple[Matrix, Matrix]:
    """Both parts in the columns of the Spec: its groups (each level with those above it), factors, curves, day."""
    often = {name: _often(before[name]) for name in spec.factors if isinstance(before.schema[name], pl.List)}
    both = (_dressed(before, spec, often), _dressed(asked, spec, often))
    numeric = [n for n in both[0].columns if both[0][n].dtype.is_numeric()]
    wordy = [n for n in both[0].columns if n not in numeric]
    codes = [{w: i for i, w in enumerate(sorted(both[0][n].drop_nulls().unique()))} for n in wordy]
    sizes = tuple(len(c) for c in codes)
    return _matrix(both[0], numeric, wordy, codes, sizes), _matrix(both[1], numeric, wordy, codes, sizes)


def _matrix(
    rows: pl.DataFrame, numeric: list[str], wordy: list[str], codes: list[dict[str, int]], sizes: tuple[int, ...]
) -> Matrix:
    words = [
        rows[n].replace_strict(c, default=None, return_dtype=pl.Float64) if c else pl.Series([None] * len(rows))
        for n, c in zip(wordy, codes, strict=True)
    ]
    coded = pl.DataFrame({n: w.cast(pl.Float64) for n, w in zip(wordy, words, strict=True)})
    return Matrix(_floats(rows.select(numeric), len(rows)), _floats(coded, len(rows)), sizes)


def _floats(frame: pl.DataFrame, rows: int) -> Floats:
    if not frame.width:
        return np.empty((rows, 0))
    return np.asarray(frame.cast(pl.Float64).fill_null(np.nan).to_numpy(), np.float64)


def _often(lists: pl.Series) -> list[str]:
    """Words that stand in enough rows, in order."""
    words = lists.explode(empty_as_null=True).drop_nulls().cast(pl.String).value_counts()
    return sorted(words.filter(pl.col("count") >= OFTEN)[lists.name].to_list())


def _dressed(rows: pl.DataFrame, spec: Spec, often: Mapping[str, list[str]]) -> pl.DataFrame:
    """The Spec's columns: paths of groups joined, words as text, numbers and curves as numbers, the day as years."""
    wanted: dict[str, pl.Expr] = {}
    for path in spec.groups:
        wanted[path] = pl.concat_str([pl.col(p).cast(pl.String) for p in path.split("/")], separator="/")
    for name in (*spec.numbers, *spec.curves):
        wanted[name] = pl.col(name).cast(pl.Float64)
    by = [c.by for c in spec.shapes.values() if c.by]
    for name in (*spec.factors, *by):
        if name not in often:
            wanted[name] = pl.col(name).cast(pl.String)
    for name, words in often.items():
        wanted |= {f"{name} {w}": pl.col(name).list.contains(w).cast(pl.Float64) for w in words}
    if spec.when:
        wanted[spec.when] = pl.col(spec.when).to_physical().cast(pl.Float64) / DAYS
    return rows.select(**wanted)
