"""The book's evidence as the engine's table, and the book's Spec.

Promises that no ask is treated as a price: asks, unsold listings, start prices and hidden offers become bounds.
Sales that fell through, lots, and evidence whose name is not decided stay out. Reads the frame of `Book.rows`.
Not here: fitting (the engine) and what an estimate looks like (valuer).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import date
from functools import cache

import polars as pl

from hangtab.catalogue.model import Catalogue
from hangtab.domain.evidence import ASKED, FALLEN_THROUGH, PRICED, Kind
from hangtab.domain.money import minor_digits
from hangtab.domain.subject import Subject
from hangtab.valuing.columns import CHAIN, PieceColumns, piece_columns
from hangtab.worth import Curve, Spec

SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "id": pl.String, "price": pl.Float64, "ask": pl.Float64, "kind": pl.String, "sold": pl.Date, "wider": pl.Float64,
    "site": pl.String, "mechanism": pl.String, "season": pl.String, "subject": pl.String,
    **dict.fromkeys(CHAIN, pl.String), "state": pl.String, "card": pl.String, "scale": pl.String,
    "position": pl.Float64, "generation": pl.String, "note": pl.String, "attribute": pl.String, "stage": pl.String,
    "marks": pl.List(pl.String), "features": pl.List(pl.String),
}  # fmt: skip
# Hearsay is somebody's word: its noise is taken twice as wide until the engine learns it (common practice, no source).
WIDER = {"hearsay": 2.0}
# How many of the bounds say nothing: listings repeat each other, and many are never seen. Measured on the demo, fitted
# before its last year and tried on it, error at the middle: 0 37 % (variances from sales and asks together), .9 23.0 %,
# .95 22.8 %, .98 22.4 %, without asks 22.5 %.
OVERLOOKED = 0.98
# What each term may add is learned from the book, so that one that tells nothing (season, in the demo) shrinks away;
# only raw against graded is left free to be what it is. On the demo: error 22.5 % at the middle, against 22.7 % with
# standard deviations fixed by hand.
PRIORS: dict[str, str | float] = {
    "state": 1.0,
    **dict.fromkeys(
        ("card", "generation", "note", "attribute", "stage", "marks", "features", "site", "mechanism", "season"),
        "learned",
    ),
}


def book_spec() -> Spec:
    """The model of the book; see docs/explanation/worth.md for why each term is there."""
    return Spec(
        price="price",
        when="sold",
        groups=tuple("/".join(CHAIN[: i + 1]) for i in range(len(CHAIN))),
        factors=tuple(PRIORS),
        priors=PRIORS,
        curves={"position": Curve("increasing", by="scale", missing="none")},
        walks=("market", "line"),
        kind="kind",
        ask="ask",
        evidence="id",
        spread_by=("form",),
        wider="wider",
        tails="student",
        overlooked=OVERLOOKED,
    )


def columns_of(catalogue: Catalogue) -> Callable[[str, date | None], PieceColumns | None]:
    """A look-up of columns by subject key and day; None when the catalogue no longer has the thing."""
    dated = {c.release: c.known_since for c in catalogue.changes.values() if c.known_since}

    @cache
    def known(key: str, on: date | None) -> PieceColumns | None:
        try:
            return piece_columns(Subject.parse(key), catalogue, on)
        except (KeyError, ValueError):
            return None

    def look_up(key: str, on: date | None) -> PieceColumns | None:
        since = dated.get(key.split("|", 1)[0])
        return known(key, date.min if since and on and on < since else None)

    return look_up


def engine_table(rows: pl.DataFrame, catalogue: Catalogue, currency: str) -> pl.DataFrame:
    """Evidence that says something about a price, one engine row each.

    Args:
        rows: frame of `Book.rows`; money in minor units of `currency`.
        catalogue: what exists.
        currency: the book's currency.

    Returns: frame of `SCHEMA`, prices in major units, ordered by id.
    """
    look_up = columns_of(catalogue)
    fallen = [o.value for o in FALLEN_THROUGH]
    usable = rows.filter(
        pl.col("subject").is_not_null()
        & pl.col("all_in").is_not_null()
        & (pl.col("all_in") > 0)
        & ~pl.col("lot")
        & ~pl.col("outcome").is_in(fallen)
        & (pl.col("kind") != Kind.LOT.value)
    ).sort("id")
    scale = 10.0 ** -minor_digits(currency)
    out: list[dict[str, object]] = []
    for row in usable.iter_rows(named=True):
        piece = look_up(row["subject"], row["sold"])
        if piece is not None:
            out.append(_engine_row(row, piece, scale))
    return pl.DataFrame(out, schema=SCHEMA)


def _engine_row(row: dict[str, object], piece: PieceColumns, scale: float) -> dict[str, object]:
    amount = int(str(row["all_in"])) * scale
    kind = Kind(str(row["kind"]))
    sold = row["sold"]
    priced = kind in PRICED or (kind is Kind.OFFER and not row["is_ask"])
    return {
        **piece,
        "id": row["id"],
        "subject": row["subject"],
        "price": amount if priced else None,
        "ask": None if priced else amount,
        "kind": "sale" if priced else "below",
        "sold": sold,
        "wider": WIDER.get(str(row["standing"]), WIDER.get(kind.value, 1.0)),
        "site": site_label(str(row["venue"]), str(row["country"])),
        "mechanism": mechanism_of(kind),
        "season": sold.strftime("%m") if isinstance(sold, date) else None,
    }


def site_label(venue: str, country: str) -> str:
    """Venue and country as one level; evidence without a venue shares one."""
    return f"{venue or 'unknown'}/{country}".rstrip("/")


def mechanism_of(kind: Kind) -> str:
    """How the price came about. Asks and offers count with fixed prices."""
    if kind in ASKED - {Kind.START} or kind is Kind.OFFER:
        return Kind.SALE.value
    return Kind.AUCTION.value if kind is Kind.START else kind.value


def digest(table: pl.DataFrame, spec: Spec, as_of: date, seed: int) -> str:
    """Hash of levelled rows, design, day and seed: the key under which a fit is kept."""
    body = hashlib.sha256(json.dumps([repr(spec), as_of.isoformat(), seed]).encode())
    body.update(table.write_json().encode())
    return body.hexdigest()
