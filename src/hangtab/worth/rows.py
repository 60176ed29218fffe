"""A table's rows in another order, without a second table.

Promises: the caller's columns are shared, never copied whole; a column, or a piece of one, is put in order when it is
asked for. Gives: `Rows`, read like a frame by columns. Not here: which order (table.py).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from hangtab.worth.arrays import Ints, Places
from hangtab.worth.threads import side_by_side

ROW = "row"


@dataclass(frozen=True)
class Rows:
    """Rows `order` of `source` (None: all of them, as they stand). held: columns already put in order.

    The column `row` is the caller's row number: one of `source`, or else the row's place in it.
    """

    source: pl.DataFrame
    order: Places | None = None
    held: Mapping[str, pl.Series] = field(default_factory=dict, repr=False)

    def __len__(self) -> int:
        """How many rows."""
        return len(self.source) if self.order is None else len(self.order)

    def __getitem__(self, name: str) -> pl.Series:
        """One column in this order."""
        if name in self.held:
            return self.held[name]
        if name == ROW and ROW not in self.source.columns:
            places = np.arange(len(self.source)) if self.order is None else self.order
            return pl.Series(ROW, places.astype(np.int64))
        column = self.source[name]
        return column if self.order is None else _taken(column, self.order)

    @property
    def schema(self) -> pl.Schema:
        """Types of the caller's columns."""
        return self.source.schema

    def piece(self, at: slice | Ints) -> Rows:
        """Some of the rows: a slice of them, or those numbered, in the order given."""
        if self.order is not None:
            return Rows(self.source, self.order[at])
        return Rows(self.source, np.arange(len(self.source), dtype=np.int32)[at])

    def holding(self, names: Iterable[str], threads: int = 1) -> Rows:
        """The same rows with some columns put in order once, to be read more than once."""
        if self.order is None:
            return self
        return Rows(self.source, self.order, {column.name: column for column in self.frame(names, threads)})

    def frame(self, names: Iterable[str], threads: int = 1) -> pl.DataFrame:
        """Some columns in this order, as a frame of their own."""
        return pl.DataFrame(side_by_side(self.__getitem__, threads, dict.fromkeys(names)))

    def whole(self) -> pl.DataFrame:
        """All columns in this order as a frame of their own, `row` the last."""
        return self.frame([*self.source.columns, ROW])


# What columns are read from: a frame, or rows in an order of their own.
Read = pl.DataFrame | Rows


def _taken(column: pl.Series, order: Places) -> pl.Series:
    """A column in another order; plain numbers by way of numpy, which takes half the time."""
    plain = column.dtype.is_integer() or column.dtype.is_float() or column.dtype == pl.Date
    if not plain or column.null_count():
        return column.gather(order)
    return pl.Series(column.name, column.to_physical().to_numpy()[order]).cast(column.dtype)
