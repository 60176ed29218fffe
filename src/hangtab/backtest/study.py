"""The study of one book: how wrong its estimates were on sales that came later, as kept and shown.

Promises: `Study.from_dict(study.to_dict())` is the same study, NaN included as none. Reads: an engine table of the
book. Gives: the study, and its rows. Not here: where it is kept (storage), what is said of it (use-cases, pages).
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

import polars as pl

from hangtab.backtest.forecast import Book, Forecaster
from hangtab.backtest.peers import LastFive, Learner, load_learner
from hangtab.backtest.ratios import Band, RatioStudy, Trend
from hangtab.backtest.rolling import ORIGINS, Columns, choose_origins, sales_of, time_splits, try_out
from hangtab.backtest.summary import ALL, Class, Held, reliability, summarise, value_bands, whole_ratios
from hangtab.domain.progress import OnStep
from hangtab.valuing import CHAIN, book_spec, digest

ENGINE, LAST_FIVE, LEARNER = "Hangtab", "the last five sales", "LightGBM"
FORMAT = 1  # of the kept study; an older one is not read
ENOUGH = 20  # sales of a class before it speaks for a piece
VARIANT = CHAIN[:-1]
COLUMNS = Columns(variant=VARIANT)


@dataclass(frozen=True, slots=True)
class Trial:
    """What to try: from how many days, with which seed, and whether the general learner is tried as well."""

    origins: int = ORIGINS
    seed: int = 0
    learner: bool = False


@dataclass(frozen=True, slots=True)
class Peer:
    """One way to estimate: over all sales tried, and by how many sales of the variant came before."""

    name: str
    overall: Class
    thin: tuple[Class, ...]


@dataclass(frozen=True)
class Study:
    """A back-test of the book.

    as_of: the last day looked at. origins: days from which sales were tried. sales: how many were. classes: of the
    book's own estimates. held: whether its ranges held. ratios, bands: the assessors' ratio study, whole and by value
    in `currency`. peers: the book's way and simpler ones on the very same sales, best CRPS first.
    """

    as_of: date
    origins: tuple[str, ...]
    currency: str
    sales: int
    classes: tuple[Class, ...]
    held: tuple[Held, ...]
    ratios: RatioStudy | None
    bands: tuple[Band, ...]
    peers: tuple[Peer, ...]

    @property
    def overall(self) -> Class:
        """All sales tried."""
        return next(c for c in self.classes if (c.form, c.thin) == (ALL, ALL))

    def class_of(self, form: str, thin: str) -> Class | None:
        """One class, None when nothing of it was tried."""
        return next((c for c in self.classes if (c.form, c.thin) == (form, thin)), None)

    def speaks_for(self, form: str, thin: str) -> Class:
        """The narrowest class with enough sales: kind and thinness, else all kinds that thin, else the kind, else all.

        How much is known tells more than the kind of piece, so thinness goes first.
        """
        tried = (self.class_of(form, thin), self.class_of(ALL, thin), self.class_of(form, ALL))
        return next((c for c in tried if c is not None and c.sales >= ENOUGH), self.overall)

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {"format": FORMAT, **_plain(asdict(self))}

    @classmethod
    def from_dict(cls, kept: Mapping[str, Any]) -> Study:
        """What `to_dict` gave. Raises ValueError for one of another format."""
        if kept.get("format") != FORMAT:
            raise ValueError(f"A study of format {kept.get('format')}, this program reads {FORMAT}")
        return cls(
            date.fromisoformat(kept["as_of"]),
            tuple(kept["origins"]),
            kept["currency"],
            kept["sales"],
            tuple(_class(c) for c in kept["classes"]),
            tuple(Held(**h) for h in kept["held"]),
            _ratios(kept["ratios"]) if kept["ratios"] else None,
            tuple(Band(b["low"], b["high"], _ratios(b["study"])) for b in kept["bands"]),
            tuple(_peer(p) for p in kept["peers"]),
        )


def study_book(
    table: pl.DataFrame, as_of: date, currency: str, trial: Trial, on_step: OnStep
) -> tuple[Study, pl.DataFrame] | None:
    """Try the book's way and simpler ones on its last three years.

    Args:
        table: the engine's table (`engine_table`).
        as_of: the last day looked at.
        currency: of the prices.
        trial: what to try; the general learner raises HangtabError when it is not installed.
        on_step: told of each fit.

    Returns: the study and one row per sale and way; None when no origin has enough before it and something after.
    """
    days = choose_origins(sales_of(table, COLUMNS)["sold"], as_of, trial.origins)
    splits = list(time_splits(table, days, as_of, COLUMNS))
    rows = try_out(splits, ways(trial, days), COLUMNS, on_step)
    if rows.is_empty():
        return None
    return summed_up(rows, as_of, [s.name for s in splits], currency), rows


def ways(trial: Trial, days: tuple[date, ...]) -> dict[str, Forecaster]:
    """What is tried from those days, the book's own way first."""
    found: dict[str, Forecaster] = {ENGINE: Book(days, trial.seed), LAST_FIVE: LastFive(CHAIN)}
    if trial.learner:
        load_learner()  # missing, it is said at once and not after the first fit
        found[LEARNER] = Learner(book_spec(), "form", trial.seed)
    return found


def summed_up(rows: pl.DataFrame, as_of: date, origins: Sequence[str], currency: str) -> Study:
    """The study of rows that were tried."""
    mine = rows.filter(pl.col("by") == ENGINE)
    return Study(
        as_of, tuple(origins), currency, len(mine), summarise(mine), reliability(mine), whole_ratios(mine),
        value_bands(mine), compare(rows),
    )  # fmt: skip


def compare(rows: pl.DataFrame) -> tuple[Peer, ...]:
    """Every way over all sales, best CRPS first."""
    peers = []
    for (name,), part in rows.group_by("by", maintain_order=True):
        overall, *thin = summarise(part, forms=False)
        peers.append(Peer(str(name), overall, tuple(thin)))
    return tuple(sorted(peers, key=lambda p: p.overall.crps))


def study_key(table: pl.DataFrame, as_of: date, trial: Trial) -> str:
    """Hash of rows, design, day and trial: the key under which a study is kept."""
    said = [digest(table, book_spec(), as_of, trial.seed), FORMAT, trial.origins, trial.learner]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


def _plain(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, date):
        return value.isoformat()
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _class(kept: Mapping[str, Any]) -> Class:
    known: dict[str, Any] = {k: math.nan if v is None else v for k, v in kept.items()}
    return Class(**known)


def _peer(kept: Mapping[str, Any]) -> Peer:
    return Peer(kept["name"], _class(kept["overall"]), tuple(_class(c) for c in kept["thin"]))


def _ratios(kept: Mapping[str, Any]) -> RatioStudy:
    trend = Trend(**{k: math.nan if v is None else v for k, v in kept["prb"].items()})
    return RatioStudy(**{**kept, "prb": trend})
