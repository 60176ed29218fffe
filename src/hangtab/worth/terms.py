"""Border columns: what each factor, number, curve and crossed group adds to a row.

Promises: a term gives the same entries for the same values at fitting and at prediction; a value it has
not seen adds no entry and is reported, so that its prior variance can be added.
Gives: sparse entries, prior precisions (fixed or to be learned), bounds at zero for curves that may not turn.
Not here: the order of the columns in the border (border.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import polars as pl
import scipy.sparse as sp

from hangtab.worth.arrays import Floats, Ints
from hangtab.worth.rows import Read
from hangtab.worth.spec import Curve
from hangtab.worth.table import joined_words, numbers, placed, worded

# Flat columns keep a trace of a prior so that collinear ones do not stop the fit; relative effect on an
# estimate at most 1e-8 sigma^2 / (n var(y)).
TRACE = 1e-8


@dataclass(frozen=True)
class Entries:
    """Non-zeros of n rows: row, local column, value; unseen (n,): multiplier of the term's prior variance."""

    row: Ints
    col: Ints
    val: Floats
    unseen: Floats


@dataclass(frozen=True)
class Part:
    """One piece of a term's prior precision: K / variance; variance None is learned under `name`."""

    K: sp.csr_array
    variance: float | None
    name: str


class Term(Protocol):
    """What the border asks of a term."""

    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def size(self) -> int: ...  # noqa: D102
    @property
    def flat(self) -> bool: ...  # noqa: D102
    @property
    def bounded(self) -> bool: ...  # noqa: D102
    @property
    def reads(self) -> tuple[str, ...]:
        """The columns it is made from."""

    @property
    def most(self) -> int | None:
        """Entries of a row at most, where nearly every row has as many; None where rows differ."""

    def entries(self, frame: Read) -> Entries: ...  # noqa: D102
    def parts(self) -> list[Part]: ...  # noqa: D102
    def labels(self) -> list[str]: ...  # noqa: D102


@dataclass(frozen=True)
class Intercept:
    """The level of everything, flat."""

    name: str = "intercept"
    size: int = 1
    flat: bool = True
    bounded: bool = False
    reads: tuple[str, ...] = ()
    most: int | None = 1

    def entries(self, frame: Read) -> Entries:
        """One for every row."""
        n = len(frame)
        return Entries(np.arange(n), np.zeros(n, np.int64), np.ones(n), np.zeros(n))

    def parts(self) -> list[Part]:
        """No prior at all."""
        return []

    def labels(self) -> list[str]:
        """Its only column."""
        return [""]


@dataclass(frozen=True)
class Words:
    """A factor or crossed group: an effect per value. paths: columns joined to one value.

    many: the column holds lists and each listed value adds its effect. variance: of the prior; None learned.
    base: the value without a column, from which a flat term's effects are counted.
    """

    name: str
    paths: tuple[str, ...]
    levels: tuple[str, ...]
    many: bool
    flat: bool
    variance: float | None
    bounded: bool = False
    base: str | None = None

    @property
    def reads(self) -> tuple[str, ...]:
        """The columns joined to a value."""
        return (self.name,) if self.many else self.paths

    @property
    def most(self) -> int | None:
        """One value a row, but for lists."""
        return None if self.many else 1

    @property
    def size(self) -> int:
        """One column per value."""
        return len(self.levels)

    def entries(self, frame: Read) -> Entries:
        """One at the column of each value; a missing value has no effect."""
        rows, values = self._values(frame)
        place, strange = placed(values, self.levels)
        new = strange & (values != self.base).fill_null(value=True).to_numpy() if self.base is not None else strange
        at = np.flatnonzero(place >= 0)
        unseen = np.bincount(rows[new], minlength=len(frame)).astype(float)
        return Entries(rows[at], place[at], np.ones(len(at)), unseen)

    def shared_unseen(self, frame: Read) -> Floats:
        """How many unseen values two rows have in common, (rows, rows)."""
        rows, values = self._values(frame)
        known = {None, *self.levels, self.base}
        new = [(i, v) for i, v in zip(rows, values, strict=True) if v not in known]
        place = {v: j for j, v in enumerate(sorted({v for _, v in new}))}
        has = np.zeros((len(frame), len(place)))
        for i, v in new:
            has[i, place[v]] = 1.0
        return np.asarray(has @ has.T)

    def _values(self, frame: Read) -> tuple[Ints, pl.Series]:
        return listed(frame[self.name]) if self.many else (np.arange(len(frame)), joined_words(frame, self.paths))

    def parts(self) -> list[Part]:
        """Independent effects."""
        return [Part(sp.eye_array(self.size, format="csr"), self.variance, self.name)]

    def labels(self) -> list[str]:
        """The values."""
        return list(self.levels)


@dataclass(frozen=True)
class Number:
    """A straight line, in standard deviations from the table's mean; a missing value is the mean."""

    name: str
    mean: float
    unit: float
    flat: bool
    variance: float
    size: int = 1
    bounded: bool = False
    most: int | None = 1

    @property
    def reads(self) -> tuple[str, ...]:
        """Its one column."""
        return (self.name,)

    def entries(self, frame: Read) -> Entries:
        """The standardised value."""
        z = np.nan_to_num((numbers(frame[self.name]) - self.mean) / self.unit)
        at = np.flatnonzero(z)
        return Entries(at, np.zeros(len(at), np.int64), z[at], np.zeros(len(z)))

    def parts(self) -> list[Part]:
        """A proper weak prior."""
        return [Part(sp.eye_array(1, format="csr"), self.variance, self.name)]

    def labels(self) -> list[str]:
        """Its only column."""
        return [""]


@dataclass(frozen=True)
class CurveTerm:
    """Increments over the segments between knots; with `by`, first the common curve's, then each value's.

    Each segment's column runs from 0 to 1 (falls to -1 where decreasing) as the number crosses it, so that
    increments of one sign make a curve that never turns. average: the table's mean of those columns.
    """

    name: str
    curve: Curve
    knots: tuple[float, ...]
    average: tuple[float, ...]
    levels: tuple[str, ...]
    variance: float
    flat: bool = False
    most: int | None = None

    @property
    def reads(self) -> tuple[str, ...]:
        """The number, and what its curves go by."""
        return (self.name, self.curve.by) if self.curve.by else (self.name,)

    @property
    def bounded(self) -> bool:
        """Whether increments may not be negative."""
        return self.curve.direction != "free"

    @property
    def segments(self) -> int:
        """Pieces between knots."""
        return len(self.knots) - 1

    @property
    def size(self) -> int:
        """Columns: one per segment and curve."""
        return self.segments * (1 + len(self.levels))

    def entries(self, frame: Read) -> Entries:
        """How much of every segment lies below the row's number, in the columns of the row's own curve."""
        x = numbers(frame[self.name])
        H = ramp(x, self.knots)
        missing = np.isnan(x)
        H[missing] = np.array(self.average) if self.curve.missing == "mean" else 0.0
        offset = np.zeros(len(x), np.int64)
        unseen = np.zeros(len(x))
        if self.curve.by:
            place, stranger = placed(worded(frame[self.curve.by]), self.levels)
            offset = place + 1
            unseen = np.where(stranger, (H**2 * self._widths()).sum(axis=1), 0.0)
        rows, cols = np.nonzero(H)
        sign = -1.0 if self.curve.direction == "decreasing" else 1.0
        return Entries(rows, cols + offset[rows] * self.segments, sign * H[rows, cols], unseen)

    def parts(self) -> list[Part]:
        """Slopes of a weak size, neighbours alike (learned), each value's curve near the common one (learned)."""
        k, w = self.segments, self._widths()
        common = np.zeros((self.size, self.size))
        common[:k, :k] = np.diag(1.0 / w**2) / k
        out = [Part(sp.csr_array(common), self.variance, f"{self.name} size")]
        if k > 1:
            D = np.diff(np.eye(k), axis=0) / w[None, :]
            gap = (w[1:] + w[:-1]) / 2
            smooth = np.zeros_like(common)
            smooth[:k, :k] = D.T @ (D / gap[:, None])
            out.append(Part(sp.csr_array(smooth), None, f"{self.name} bend"))
        if self.levels:
            J = np.hstack([np.tile(np.eye(k), (len(self.levels), 1)), -np.eye(k * len(self.levels))])
            apart = J.T @ (J / np.tile(w, len(self.levels))[:, None])
            out.append(Part(sp.csr_array(apart), None, f"{self.name} by {self.curve.by}"))
        return out

    def labels(self) -> list[str]:
        """Segment, and whose curve."""
        spans = [f"{a:g} to {b:g}" for a, b in zip(self.knots, self.knots[1:], strict=False)]
        return spans + [f"{level}: {span}" for level in self.levels for span in spans]

    def _widths(self) -> Floats:
        k = np.array(self.knots)
        return np.asarray(np.diff(k) / (k[-1] - k[0]))


def ramp(x: Floats, knots: tuple[float, ...]) -> Floats:
    """Share of each segment that lies below x, (rows, segments); NaN stays NaN.

    >>> ramp(np.array([0.0, 15.0, 40.0]), (0.0, 10.0, 20.0)).tolist()
    [[0.0, 0.0], [1.0, 0.5], [1.0, 1.0]]
    """
    k = np.array(knots)
    return np.asarray(np.clip((x[:, None] - k[None, :-1]) / np.diff(k)[None, :], 0.0, 1.0))


def listed(series: pl.Series) -> tuple[Ints, pl.Series]:
    """Every value in a column of lists, each once a row: (its row, the value); plain words count as lists of one."""
    if isinstance(series.dtype, pl.List):
        flat = pl.DataFrame({"row": np.arange(len(series)), "value": series}).explode("value")
        flat = flat.with_columns(pl.col("value").cast(pl.String)).filter(pl.col("value") != "").unique()
        flat = flat.sort("row", "value")
        return flat["row"].to_numpy().astype(np.int64), flat["value"]
    text = worded(series)
    at = np.flatnonzero(text.is_not_null().to_numpy())
    return at, text.gather(at)


def list_pairs(series: pl.Series) -> list[tuple[int, str]]:
    """(row, value) of every value in a column of lists, each once a row; plain words count as lists of one."""
    rows, values = listed(series)
    return list(zip(rows.tolist(), values.to_list(), strict=True))
