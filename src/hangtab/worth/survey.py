"""What a model must know of a whole table before any row can be placed in it.

Promises: the survey of two tables together is the merge of their surveys, in whatever order; so a table may lie in many
pieces, none of which has to be in memory with another.
Gives: values of words, moments of numbers, distinct values of curves, first and last month, noise classes.
Not here: what is made of them (border.py, problem.py).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import reduce
from typing import TypeVar

import numpy as np
import polars as pl

from hangtab.worth.arrays import Flags, Floats, Ints
from hangtab.worth.rows import Read
from hangtab.worth.sheet import SALE, Sheet
from hangtab.worth.spec import Spec
from hangtab.worth.table import NO_MONTH, joined_words, months, numbers, worded
from hangtab.worth.terms import listed
from hangtab.worth.threads import side_by_side

V = TypeVar("V")


@dataclass(frozen=True)
class Moments:
    """Count, mean and sum of squares about it."""

    count: int = 0
    mean: float = 0.0
    squares: float = 0.0

    @classmethod
    def of(cls, x: Floats) -> Moments:
        """Moments of the finite values of x (n,)."""
        finite = np.isfinite(x)
        x = x if finite.all() else x[finite]
        if not len(x):
            return cls()
        mean = float(x.mean())
        off = x - mean
        off *= off
        return cls(len(x), mean, float(off.sum()))

    @property
    def sd(self) -> float:
        """Standard deviation, of the values themselves (not of a sample); 0.0 without any."""
        return float(np.sqrt(self.squares / self.count)) if self.count else 0.0

    def __add__(self, other: Moments) -> Moments:
        """Moments of both together (Chan, Golub & LeVeque 1983, from memory)."""
        if not self.count or not other.count:
            return self if self.count else other
        n, gap = self.count + other.count, other.mean - self.mean
        mean = self.mean + gap * other.count / n
        return Moments(n, mean, self.squares + other.squares + gap**2 * self.count * other.count / n)


@dataclass(frozen=True)
class Values:
    """Distinct finite values of a number, rising, and how often each occurs."""

    at: Floats
    times: Ints

    @classmethod
    def of(cls, x: Floats) -> Values:
        """Values of x (n,)."""
        at, times = np.unique(x[np.isfinite(x)], return_counts=True)
        return cls(at, times.astype(np.int64))

    def __add__(self, other: Values) -> Values:
        """Values of both together."""
        at, place = np.unique(np.concatenate([self.at, other.at]), return_inverse=True)
        return Values(at, np.bincount(place, np.concatenate([self.times, other.times])).astype(np.int64))


@dataclass(frozen=True)
class Survey:
    """words: values by factor, crossed group and curves' `by`; many: which of them hold lists.

    price: moments of the sales' responses. months: first and last, None without dates. classes: sales by noise class.
    """

    rows: int
    price: Moments
    words: Mapping[str, frozenset[str]]
    many: frozenset[str]
    numbers: Mapping[str, Moments]
    values: Mapping[str, Values]
    months: tuple[int, int] | None
    classes: Mapping[str, int]
    only_sales: bool

    def __add__(self, other: Survey) -> Survey:
        """The survey of both tables together."""
        spans = [m for m in (self.months, other.months) if m is not None]
        return Survey(
            self.rows + other.rows,
            self.price + other.price,
            _merged(self.words, other.words, frozenset.union),
            self.many | other.many,
            _merged(self.numbers, other.numbers, Moments.__add__),
            _merged(self.values, other.values, Values.__add__),
            (min(m[0] for m in spans), max(m[1] for m in spans)) if spans else None,
            _merged(self.classes, other.classes, int.__add__),
            self.only_sales and other.only_sales,
        )


def _merged(one: Mapping[str, V], other: Mapping[str, V], both: Callable[[V, V], V]) -> dict[str, V]:
    names = dict.fromkeys([*one, *other])
    return {n: both(one[n], other[n]) if n in one and n in other else one.get(n, other.get(n)) for n in names}  # type: ignore[misc]


def survey(spec: Spec, sheet: Sheet, threads: int = 1) -> Survey:
    """The survey of one table, `threads` numbers at a time."""
    frame, sale = sheet.rows, sheet.kind == SALE
    named = dict.fromkeys([*spec.crossed, *spec.factors, *(c.by for c in spec.shapes.values() if c.by)])
    many = frozenset(n for n in named if "/" not in n and isinstance(frame.schema[n], pl.List))
    moments = side_by_side(lambda n: Moments.of(numbers(frame[n])), threads, spec.numbers)
    month = months(frame[spec.when]) if spec.when else np.zeros(0, np.int64)
    known = month[month != NO_MONTH]
    return Survey(
        rows=len(frame),
        price=Moments.of(sheet.y[sale]),
        words={n: _different(frame, n, many=n in many) for n in named},
        many=many,
        numbers=dict(zip(spec.numbers, moments, strict=True)),
        values={n: Values.of(numbers(frame[n])) for n in spec.curves},
        months=(int(known.min()), int(known.max())) if len(known) else None,
        classes=_classes(spec, frame, sale) if spec.spread_by else {},
        only_sales=bool(sale.all()),
    )


def _different(frame: Read, path: str, *, many: bool) -> frozenset[str]:
    values = listed(frame[path])[1] if many else joined_words(frame, path.split("/"))
    return frozenset(values.drop_nulls().unique().to_list())


def _classes(spec: Spec, frame: Read, sale: Flags) -> dict[str, int]:
    counts = pl.DataFrame({"name": class_words(spec, frame), "sales": sale}).group_by("name").agg(pl.col("sales").sum())
    return dict(counts.sort("name").iter_rows())


def class_words(spec: Spec, frame: Read) -> pl.Series:
    """Noise class of each row, in words."""
    if not spec.spread_by:
        return pl.repeat("", len(frame), dtype=pl.String, eager=True)
    columns = [worded(frame[c]).fill_null("?") for c in spec.spread_by]
    return pl.select(pl.concat_str(columns, separator=", ")).to_series()


def survey_all(surveys: list[Survey]) -> Survey:
    """All together."""
    return reduce(Survey.__add__, surveys)
