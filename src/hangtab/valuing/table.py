"""The book's evidence as the engine's table, and the book's Spec.

Promises that no ask is treated as a price: asks, unsold listings and start prices become bounds; an accepted offer at a
hidden price tells by its ask and by what sellers accept.
Sales that fell through, lots, and evidence whose name is not decided stay out. Reads the frame of `Book.rows`.
Not here: fitting (the engine) and what an estimate looks like (valuer).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from contextlib import suppress
from datetime import date

import polars as pl

from hangtab.catalogue.model import Catalogue
from hangtab.domain.evidence import FALLEN_THROUGH, PRICED, Kind, Outcome
from hangtab.domain.money import minor_digits
from hangtab.domain.subject import Subject
from hangtab.valuing.columns import CHAIN, PieceColumns, piece_columns
from hangtab.worth import Curve, Spec

SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "id": pl.String, "price": pl.Float64, "ask": pl.Float64, "kind": pl.String, "sold": pl.Date, "wider": pl.Float64,
    "site": pl.String, "mechanism": pl.String, "season": pl.String, "subject": pl.String,
    **dict.fromkeys(CHAIN, pl.String), "state": pl.String, "card": pl.String, "scale": pl.String,
    "position": pl.Float64, "generation": pl.String, "premium": pl.String,
    "note": pl.String, "attribute": pl.String, "stage": pl.String,
    "marks": pl.List(pl.String), "features": pl.List(pl.String),
}  # fmt: skip
# Hearsay is somebody's word: its noise is taken twice as wide until the engine learns it (common practice, no source).
WIDER = {"hearsay": 2.0}
# How each kind's price came about: asks and offers count with fixed prices.
MECHANISMS = {
    **{kind.value: kind.value for kind in Kind},
    **dict.fromkeys([Kind.ASK.value, Kind.UNSOLD.value, Kind.OFFER.value], Kind.SALE.value),
    Kind.START.value: Kind.AUCTION.value,
}
# Venue and country as one level; evidence without a venue shares one.
SITE = pl.concat_str(
    pl.col("venue").replace("", "unknown"), pl.lit("/"), pl.col("country")
).str.strip_chars_end("/")  # fmt: skip
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
        "card generation premium note attribute stage marks features site mechanism season".split(), "learned"
    ),
}


# What a book's spreads usually are, log price (common practice, no source): a weak prior, a factor of two either way. A
# book of some dozen sales can be explained by effects alone, and its noise would be found to be nothing.
USUAL: dict[str, float] = {
    **{"/".join(CHAIN[: i + 1]): sd for i, sd in enumerate((0.6, 0.5, 0.2, 0.35, 0.2, 0.3, 0.25))},
    "card": 0.15, "generation": 0.1, "premium": 0.2, "note": 0.15, "attribute": 0.2, "stage": 0.5, "marks": 0.25,
    "features": 0.5, "site": 0.1, "mechanism": 0.1, "season": 0.03, "market walk": 0.02, "line walk": 0.03,
    "residual": 0.33, "freedom": 6.0,
}  # fmt: skip


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
        usual=USUAL,
        beside=("subject",),
    )


def engine_table(rows: pl.DataFrame, catalogue: Catalogue, currency: str) -> pl.DataFrame:
    """Evidence that says something about a price, one engine row each.

    Args:
        rows: frame of `Book.rows`; money in minor units of `currency`.
        catalogue: what exists.
        currency: the book's currency.

    Returns: frame of `SCHEMA`, prices in major units, ordered by id.
    """
    fallen = [o.value for o in FALLEN_THROUGH]
    usable = rows.filter(
        pl.col("subject").is_not_null()
        & pl.col("all_in").is_not_null()
        & (pl.col("all_in") > 0)
        & ~pl.col("lot")
        & ~pl.col("outcome").is_in(fallen)
        & (pl.col("kind") != Kind.LOT.value)
    ).sort("id")
    usable = usable.with_columns(early=_early(catalogue))
    joined = usable.join(_pieces(usable, catalogue), on=["subject", "early"]).sort("id")
    amount = pl.col("all_in") * 10.0 ** -minor_digits(currency)
    stated = pl.col("kind").is_in([k.value for k in PRICED]) | (
        (pl.col("kind") == Kind.OFFER.value) & ~pl.col("is_ask")
    )
    # What came back of a part-refunded price is not stated: the piece brought less than it says.
    priced = stated & (pl.col("outcome") != Outcome.PART_REFUNDED.value)
    hidden = (pl.col("kind") == Kind.OFFER.value) & pl.col("is_ask").cast(pl.Boolean)
    return joined.with_columns(
        price=pl.when(priced).then(amount),
        ask=pl.when(~priced).then(amount),
        kind=pl.when(priced).then(pl.lit("sale")).when(hidden).then(pl.lit("offer")).otherwise(pl.lit("below")),
        wider=pl.coalesce(_mapped("standing", WIDER), _mapped("kind", WIDER), 1.0),
        site=SITE,
        mechanism=_mapped("kind", MECHANISMS),
        season=pl.col("sold").dt.strftime("%m"),
    ).select(pl.col(name).cast(kind) for name, kind in SCHEMA.items())


def _early(catalogue: Catalogue) -> pl.Expr:
    """Whether a piece sold before a running change of its release was known."""
    dated = {c.release: c.known_since for c in catalogue.changes.values() if c.known_since}
    since = pl.col("subject").str.split("|").list.first().replace_strict(dated, default=None, return_dtype=pl.Date)
    return (pl.col("sold") < since).fill_null(value=False)


def _pieces(usable: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    """Columns of each different piece; what the catalogue no longer has is left out."""
    found = []
    for key, early in usable.select("subject", "early").unique().iter_rows():
        with suppress(KeyError, ValueError):
            piece = piece_columns(Subject.parse(key), catalogue, date.min if early else None)
            found.append({"subject": key, "early": early, **piece})
    schema = {"subject": pl.String, "early": pl.Boolean, **{c: SCHEMA[c] for c in PieceColumns.__annotations__}}
    return pl.DataFrame(found, schema=schema)


def _mapped(column: str, values: Mapping[str, object]) -> pl.Expr:
    return pl.col(column).replace_strict(values, default=None)


def digest(table: pl.DataFrame, spec: Spec, as_of: date, seed: int) -> str:
    """Hash of levelled rows, design, day and seed: the key under which a fit is kept."""
    body = hashlib.sha256(json.dumps([repr(spec), as_of.isoformat(), seed]).encode())
    body.update(table.write_json().encode())
    return body.hexdigest()
