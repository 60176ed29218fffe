"""How the kept fit fits: what carries the prices, what it leaves over, which sales move it, what it cannot know.

Promises: nothing is fitted. The diagnosis is kept with the fit; for a fit of before that it is worked out when asked.
Reads: the newest fit, the catalogue, the names of a few sales. Gives: `Explained`, in the words of the catalogue,
numbers unrounded. Not here: the figures themselves (the engine's diagnosis), their words (rendering).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime

import polars as pl

from hangtab.domain.errors import BookError
from hangtab.domain.subject import Subject
from hangtab.usecases.effects import component_name, effect_name, value_name
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import FitRecord
from hangtab.worth import Diagnosis, Fitted, WorthError

RESIDUAL = "residual"


@dataclass(frozen=True, slots=True)
class Effect:
    """One value of a component: the factor it puts on a price, and its standard deviation as a share."""

    value: str
    sales: int
    factor: float
    give_or_take: float


@dataclass(frozen=True, slots=True)
class Component:
    """One source of differences between prices.

    share: of the variance of log prices, all of them and "Not explained" add up to one; own: its part alone; partner
    and between: what it goes with most, and what that adds or takes. effective of `of`: degrees of freedom and values.
    spread: how far its values lie apart (standard deviation as a share), None when it is not learned; low, high: 95 %.
    """

    name: str
    share: float
    own: float
    partner: str
    between: float
    effective: float
    of: int
    spread: float | None
    low: float | None
    high: float | None
    largest: tuple[Effect, ...]


@dataclass(frozen=True, slots=True)
class Left:
    """What is left over of a class of sales.

    off: the middle price as a factor on what the fit says; error: its standard error (log price); spread: width as a
    multiple of what the noise allows; low: share that counts for less than half; flag: high, low, wide, narrow or "".
    """

    by: str
    value: str
    sales: int
    off: float
    error: float
    spread: float
    low: float
    flag: str


@dataclass(frozen=True, slots=True)
class Mover:
    """A sale that moves its own piece's estimate.

    off: what it brought as a factor on what all other evidence says; shift: the factor by which it moves the estimate;
    moves: the same in standard deviations; leverage: how far the estimate follows it; share: of a clean sale.
    """

    id: str
    text: str
    place: str
    sold: str
    price: float
    off: float
    shift: float
    moves: float
    leverage: float
    share: float


@dataclass(frozen=True, slots=True)
class Explained:
    """A fit explains itself. `warnings` come first: what was not reached, what cannot be told apart."""

    made: datetime
    as_of: date
    currency: str
    converged: bool
    iterations: int
    gradient: float
    criterion: float
    seconds: float
    rows: int
    sales: int
    noise: float
    usually_low: float
    effective: float
    residual: float
    warnings: tuple[str, ...]
    components: tuple[Component, ...]
    unexplained: float
    classes: tuple[Left, ...]
    times: tuple[Left, ...]
    movers: tuple[Mover, ...]


def explain(parts: Parts) -> Explained:
    """Explain the newest fit. Raises BookError when there is none, or none that can be used."""
    record = parts.book.latest_fit()
    if record is None:
        raise BookError("This book was never fitted", where="the book", mend="hangtab fit (after taking in some sales)")
    return explained(parts, record)


def explained(parts: Parts, record: FitRecord) -> Explained:
    """Explain one fit."""
    d, meta = _diagnosis(record), record.meta
    report = d.report
    residual = d.shares.filter(pl.col("component") == RESIDUAL)["share"].sum()
    return Explained(
        made=record.made, as_of=date.fromisoformat(str(meta["as_of"])), currency=str(meta["currency"]),
        converged=report.converged, iterations=report.iterations, gradient=report.gradient,
        criterion=float(report.criterion), seconds=report.seconds, rows=d.rows, sales=d.sales,
        noise=math.expm1(d.noise), usually_low=d.low, effective=float(d.freedom["effective"].sum()),
        residual=d.residual, warnings=_warnings(parts, d), components=_components(parts, d),
        unexplained=float(residual), classes=_left(parts, d.classes), times=_left(parts, d.times),
        movers=_movers(parts, d.influence),
    )  # fmt: skip


def _diagnosis(record: FitRecord) -> Diagnosis:
    """As kept with the fit; worked out where another version of the program kept none, or one of another shape."""
    kept = record.meta.get("diagnosis")
    if isinstance(kept, dict) and {f.name for f in fields(Diagnosis)} <= set(kept):
        return Diagnosis.from_dict(kept)
    try:
        return Fitted.from_bytes(record.blob).diagnosis()
    except WorthError as error:
        raise BookError(f"The book's fit cannot be used: {error.what}", where="the fit", mend="hangtab fit") from error


def _warnings(parts: Parts, d: Diagnosis) -> tuple[str, ...]:
    told = []
    for found in d.confounded:
        said = found.said(tuple(effect_name(parts.catalogue, name, value) for name, value in found.effects))
        told.append(said[0].upper() + said[1:])
    return (*d.report.warnings, *d.doubts, *told)


def _components(parts: Parts, d: Diagnosis) -> tuple[Component, ...]:
    freedom = {name: (effective, of) for name, effective, of in d.freedom.iter_rows()}
    spread = {name: (_spread(v), _spread(low), _spread(high)) for name, v, low, high in d.variances.iter_rows()}
    out = []
    for row in d.shares.filter(pl.col("component") != RESIDUAL).iter_rows(named=True):
        name = row["component"]
        effective, of = freedom[name]
        values = d.largest.filter(pl.col("component") == name)
        largest = tuple(
            Effect(value_name(parts.catalogue, name, value), sales, math.exp(estimate), math.expm1(se))
            for _, value, sales, estimate, se in values.iter_rows()
        )
        partner = component_name(row["partner"]) if row["partner"] else ""
        out.append(
            Component(component_name(name), row["share"], row["own"], partner, row["between"], effective, of,
                      *spread.get(name, (None, None, None)), largest)
        )  # fmt: skip
    return tuple(out)


def _spread(variance: float | None) -> float | None:
    """A variance of the log price as a standard deviation, a share of the price."""
    return None if variance is None else math.expm1(min(math.sqrt(variance), 50.0))


def _left(parts: Parts, frame: pl.DataFrame) -> tuple[Left, ...]:
    return tuple(
        Left(_by(r["by"]), _value(parts, r["by"], r["value"]), r["sales"], math.exp(r["median"]), r["error"],
             r["spread"], r["low"], r["flag"])
        for r in frame.iter_rows(named=True)
    )  # fmt: skip


def _by(column: str) -> str:
    if column.startswith("noise"):
        return "Kind of piece"
    return column if column in {"quarter", "year"} else component_name(column)


def _value(parts: Parts, by: str, value: str) -> str:
    return value if by.startswith(("noise", "quarter", "year")) else value_name(parts.catalogue, by, value)


def _movers(parts: Parts, frame: pl.DataFrame) -> tuple[Mover, ...]:
    known = {}
    for id_, stored in parts.book.find_all([str(i) for i in frame["evidence"].to_list()]).items():
        subject = Subject.parse(stored.name.candidates[0][0]) if stored.name and stored.name.candidates else None
        text = parts.namer.sentence(subject) if subject else stored.evidence.title
        venue = parts.catalogue.venues.get(stored.evidence.venue)
        places = (venue.names.name if venue else stored.evidence.venue, stored.evidence.country)
        known[id_] = (text, ", ".join(p for p in places if p), str(stored.evidence.when))
    return tuple(_mover(row, known) for row in frame.iter_rows(named=True))


def _mover(row: Mapping[str, float | str], known: Mapping[str, tuple[str, str, str]]) -> Mover:
    id_ = str(row["evidence"])
    text, place, sold = known.get(id_, ("", "", ""))
    price, moves, leverage, share = (float(row[name]) for name in ("price", "moves", "leverage", "share"))
    off, shift = (math.exp(float(row[name])) for name in ("off", "shift"))
    return Mover(id_, text, place, sold, price, off, shift, moves, leverage, share)
