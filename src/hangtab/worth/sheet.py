"""What each row says: a price, a bound, an ask, a share of a lot, one name of several.

Promises: a row that cannot be used is refused by its number; the same rows in any order give the same `Sheet`.
Reads: the caller's frame. Gives: `Sheet`, the responses and kinds that a fit rests on.
Not here: reading of columns (table.py), what a kind of row says about a worth (tails.py).
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import polars as pl

from hangtab.worth.arrays import Flags, Floats, Ints
from hangtab.worth.errors import SpecError, TableError
from hangtab.worth.kept import kept
from hangtab.worth.rows import ROW, Rows
from hangtab.worth.spec import Spec
from hangtab.worth.table import canonical, numbers, to_frame, words

SALE, BELOW, ABOVE, OFFER, LISTING, SOLD, LOT, CANDIDATE = range(8)
# What a caller may say; the rest follows from the row's other columns.
KINDS = {"sale": SALE, "below": BELOW, "above": ABOVE, "offer": OFFER, "listing": LISTING, "lot": LOT}
ALL = 1.0 + 1e-6


@dataclass(frozen=True)
class Sheet:
    """The table in canonical order. rows: the model's columns and `row`, the caller's row number.

    y: response: log price; the log of bound or ask where there is no price; of the whole sum, for a lot's members.
    kind: SALE (a price of one known piece), BELOW, ABOVE, OFFER (accepted, its price hidden), LISTING (not sold),
    SOLD (a listing that sold), LOT (one member of a lot), CANDIDATE (one name of an uncertain sale).
    price: as given (the bound, where there is none). wider: noise-scale multiplier. days: on the market (NaN unknown).
    case: number of the lot or uncertain sale (-1: none). share: prior probability of a candidate, else 1. All (rows,).
    """

    rows: Rows
    y: Floats
    kind: Ints
    price: Floats
    wider: Floats
    days: Floats
    case: Ints
    share: Floats

    def part(self, at: Flags | Ints) -> Sheet:
        """Some of the rows: those flagged, in the same order, or those numbered, in the order given."""
        rows: Ints = np.flatnonzero(at) if at.dtype == bool else np.asarray(at, np.int64)
        arrays = (getattr(self, f.name)[rows] for f in fields(self)[1:])
        return Sheet(self.rows.piece(rows), *arrays)

    @kept
    def frame(self) -> pl.DataFrame:
        """The rows as a frame of their own. A fit does without: it is a second copy of the caller's table."""
        return self.rows.whole()


def read_table(table: Any, spec: Spec) -> Sheet:  # noqa: ANN401 - as `to_frame`
    """The table to fit, checked, in canonical order."""
    frame = to_frame(table)
    for name in spec.columns:
        if name not in frame.columns:
            raise SpecError(f"The table has no column {name!r}", where="Spec", mend="Name a column the table has.")
    if len(frame) == 0:
        raise TableError("The table has no rows", mend="Give at least one row.")
    return _sheet(canonical(frame.select(spec.columns), spec), spec)


def sheet_of(frame: pl.DataFrame, spec: Spec) -> Sheet:
    """The sheet of a frame that already is in canonical order and has its row numbers."""
    return _sheet(Rows(frame), spec)


def _sheet(frame: Rows, spec: Spec) -> Sheet:
    kind = _kinds(frame, spec)
    if not (kind == SALE).any():
        # Bounds on one side alone are met best by a worth of nothing, or without end.
        raise TableError("No row is a sale", where=f"column {spec.kind}", mend="Give at least one row of kind 'sale'.")
    price = _prices(frame, spec, kind)
    wider = np.broadcast_to(1.0, len(frame))  # one number in memory, however many rows
    if spec.wider:
        wider = np.nan_to_num(numbers(frame[spec.wider]), nan=1.0)
        _refuse(wider <= 0, frame, "A noise multiplier must be positive", spec.wider)
    y = np.log(price) if spec.scale == "log" else price
    case = _cases(frame, spec, kind)
    return Sheet(frame, y, kind, price, wider, _days(frame, spec, kind), case, _shares(frame, spec, kind, case))


def _kinds(frame: Rows, spec: Spec) -> Ints:
    """Kind of each row: what the caller says, and what its other columns add."""
    kind = np.broadcast_to(np.int64(SALE), len(frame))
    if spec.kind is not None:
        names = frame[spec.kind].cast(pl.String).replace({"": None}).fill_null("sale")
        place = names.replace_strict(KINDS, default=-1, return_dtype=pl.Int64)
        kind = place.to_numpy().astype(np.int64)
        strange = np.flatnonzero(kind < 0)
        if len(strange):
            raise TableError(
                f"No such kind of row: {names[int(strange[0])]!r}",
                where=f"column {spec.kind}, row {frame[ROW][int(strange[0])]}",
                mend=f"Use one of {tuple(KINDS)}.",
            )
        known = np.isfinite(numbers(frame[spec.price]))
        kind[(kind == OFFER) & known] = SALE
        kind[(kind == LISTING) & known] = SOLD
    if spec.share is not None:
        named = np.isfinite(numbers(frame[spec.share]))
        _refuse(named & (kind != SALE), frame, "Only a sale can have several names", spec.share)
        kind = np.where(named, CANDIDATE, kind)
    return kind


def _prices(frame: Rows, spec: Spec, kind: Ints) -> Floats:
    price = numbers(frame[spec.price])
    if spec.ask:
        ask = numbers(frame[spec.ask])
        asked = np.isin(kind, (BELOW, ABOVE, OFFER, LISTING, SOLD))
        price = np.where(asked & np.isfinite(ask), ask, price)
    elif (np.isin(kind, (OFFER, LISTING, SOLD))).any():
        raise SpecError("Listings and hidden offers need an ask", where="Spec.ask", mend="Name the column of asks.")
    _refuse(~np.isfinite(price), frame, "The price is missing or not a number", spec.price)
    if spec.scale == "log":
        _refuse(price <= 0, frame, "The price is not positive", spec.price)
    elif not np.isin(kind, (SALE, BELOW, ABOVE, CANDIDATE)).all():
        raise SpecError("Offers, listings and lots need log prices", where="Spec.scale", mend="Leave it at 'log'.")
    return price


def _days(frame: Rows, spec: Spec, kind: Ints) -> Floats:
    days = numbers(frame[spec.days]) if spec.days else np.broadcast_to(np.nan, len(frame))
    listed = np.isin(kind, (LISTING, SOLD))
    if listed.any() and spec.days is None:
        raise SpecError("Listings need the days they stood", where="Spec.days", mend="Name the column of days.")
    if spec.days:
        _refuse(listed & ~(days >= 0), frame, "The days of a listing are missing or negative", spec.days)
    return days


def _cases(frame: Rows, spec: Spec, kind: Ints) -> Ints:
    """Number of each lot and each uncertain sale, by the rows that share an id; -1 for all other rows."""
    shared = np.isin(kind, (LOT, CANDIDATE))
    if not shared.any():
        return np.broadcast_to(np.int64(-1), len(frame))
    case = np.full(len(frame), -1, np.int64)
    if spec.evidence is None:
        raise SpecError(
            "Rows that share one price need an id", where="Spec.evidence", mend="Name the column that says which."
        )
    ids = words(frame[spec.evidence])
    _refuse(shared & np.array([i is None for i in ids]), frame, "The id is missing", spec.evidence)
    place: dict[str | None, int] = {}
    for i in np.flatnonzero(shared):
        case[i] = place.setdefault(ids[i], len(place))
    y, first = numbers(frame[spec.price]), np.full(len(place), -1)
    for i in np.flatnonzero(shared):
        first[case[i]] = i if first[case[i]] < 0 else first[case[i]]
    head = first[np.maximum(case, 0)]
    unlike = shared & ((y != y[head]) | (kind != kind[head]))
    _refuse(unlike, frame, "Rows of one id have different prices or kinds", spec.evidence)
    return case


def _shares(frame: Rows, spec: Spec, kind: Ints, case: Ints) -> Floats:
    named = kind == CANDIDATE
    if spec.share is None or not named.any():
        return np.broadcast_to(1.0, len(frame))
    share = np.ones(len(frame))
    share[named] = numbers(frame[spec.share])[named]
    _refuse(named & ~((share > 0) & (share <= 1)), frame, "A share must be above 0 and at most 1", spec.share)
    total = np.bincount(case[named], share[named], minlength=case.max() + 1)
    _refuse(named & (total[np.maximum(case, 0)] > ALL), frame, "The shares of one id add up to more than 1", spec.share)
    return share


def _refuse(bad: Flags, frame: Rows, what: str, column: str) -> None:
    if bad.any():
        row = int(np.flatnonzero(bad)[0])
        raise TableError(
            what,
            where=f"column {column}, row {frame[ROW][row]}" + (f" and {bad.sum() - 1} more" if bad.sum() > 1 else ""),
            mend="Correct the row or leave it out.",
        )
