"""The tables of the book.

`assertion` is what a source said and is never derived; `evidence` is one market fact, derived from the assertion that
leads among the active ones, with what lists and filters need beside it. Names and prices belong to the assertion whose
reading they were made from; what a person answered belongs to the evidence's id and outlives the evidence.
Alembic makes these tables (migrations); a test holds both to the same shape.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import CheckConstraint, Column, ForeignKey, Index, MetaData, Table, UniqueConstraint
from sqlalchemy.types import TypeEngine

from hangtab.storage.columns import Bytes, Count, Day, Flag, Instant, Json, Real, Words

METADATA = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _need(name: str, kind: TypeEngine[Any] | type[TypeEngine[Any]], *more: ForeignKey) -> Column[Any]:
    return Column(name, kind, *more, nullable=False)


def _may(name: str, kind: TypeEngine[Any] | type[TypeEngine[Any]], *more: ForeignKey) -> Column[Any]:
    return Column(name, kind, *more, nullable=True)


def _key(name: str, kind: TypeEngine[Any], *more: ForeignKey) -> Column[Any]:
    return Column(name, kind, *more, primary_key=True, autoincrement=False, nullable=False)


def _table(name: str, *parts: Column[Any] | CheckConstraint | UniqueConstraint | Index, rowid: bool = True) -> Table:
    # Narrow rows under a composite key live in the key's own tree: half the writing, half the file.
    return Table(name, METADATA, *parts, sqlite_strict=True, sqlite_with_rowid=rowid)


setting = _table("setting", _key("name", Words), _need("value", Words))
catalogue_file = _table("catalogue_file", _key("path", Words), _need("data", Bytes))

source = _table(
    "source",
    _key("sha256", Words),
    _need("name", Words),
    _need("media", Words),
    _need("packing", Words),  # "zlib", or "plain" where packing gains nothing (photos)
    _need("size", Count),  # bytes as they came
    _need("data", Bytes),
)
take_in = _table(
    "take_in",
    _key("id", Count),
    _need("source", Words, ForeignKey("source.sha256")),
    _need("at", Instant),
    _need("who", Words),
    _need("new", Count),
    _need("known", Count),
    _need("waiting", Count),
    _may("undone", Instant),
    Index(None, "source"),
)
assertion = _table(
    "assertion",
    _key("id", Count),
    _need("take_in", Count, ForeignKey("take_in.id")),
    _need("source", Words, ForeignKey("source.sha256")),
    _need("locator", Words),
    _may("evidence_id", Words),  # null when the reading could not be understood
    _need("rank", Count),
    _may("day", Day),
    _need("fields", Json),  # [[name, text, where, sure], ...] of the reading
    _may("said", Json),  # the evidence as this reading meant it
    _may("problem", Json),  # [what, where, mend]
    _need("active", Flag),
    _need("name_old", Flag),  # the evidence was named anew while another assertion led
    _need("price_old", Flag),  # the same for its price
    Index(None, "evidence_id"),
    Index(None, "take_in"),
    CheckConstraint("active IN (0, 1)", name="active"),
)
unread_row = _table(
    "unread_row",
    _key("id", Count),  # stays the same when its source is taken in again
    _need("source", Words, ForeignKey("source.sha256")),
    _need("locator", Words),
    _need("title", Words),
    _need("why", Words),
    _may("assertion", Count, ForeignKey("assertion.id")),  # null while the take-in is undone
    _need("waits", Flag),
    UniqueConstraint("source", "locator"),
)
name = _table(
    "name",
    _key("assertion", Count, ForeignKey("assertion.id")),
    _need("none", Real),
    _need("decided", Flag),
    _need("by", Words),
    _need("lot", Flag),
    _need("why", Words),
)
candidate = _table(
    "candidate",
    _key("assertion", Count, ForeignKey("name.assertion", ondelete="CASCADE")),
    _key("place", Count),
    _need("subject", Words),
    _need("text", Words),
    _need("probability", Real),
    CheckConstraint("place BETWEEN 0 AND 4", name="place"),
    rowid=False,
)
subject_node = _table(
    "subject_node", _key("subject", Words), _key("place", Count), _need("node", Words), Index(None, "node"), rowid=False
)
price = _table(
    "price",
    _key("assertion", Count, ForeignKey("assertion.id")),
    _need("total", Count),
    _need("item", Count),
    _need("currency", Words),
    _may("rate_day", Day),
    _need("estimated", Flag),
)
price_step = _table(
    "price_step",
    _key("assertion", Count, ForeignKey("price.assertion", ondelete="CASCADE")),
    _key("place", Count),
    _need("kind", Words),
    _need("label", Words),
    _may("amount", Count),
    _may("currency", Words),
    _may("rate", Words),  # a decimal, exact
    _need("estimated", Flag),
    rowid=False,
)
evidence = _table(
    "evidence",
    _key("id", Words),
    _need("assertion", Count, ForeignKey("assertion.id")),  # the leading one
    # what the leading reading says
    _need("kind", Words),
    _need("title", Words),
    _need("day", Day),
    _need("precision", Words),
    _may("price", Count),
    _may("price_currency", Words),
    _may("ask", Count),
    _may("ask_currency", Words),
    _need("postage_kind", Words),
    _may("postage", Count),
    _may("postage_currency", Words),
    _may("started", Day),
    _may("started_precision", Words),
    _need("venue", Words),
    _need("country", Words),
    _need("listing", Words),
    _need("seller", Words),
    _need("standing", Words),
    _need("outcome", Words),
    _need("description", Words),
    _need("said", Json),
    _need("quantity", Count),
    _need("certificate", Words),
    _need("converted", Flag),
    _need("premium_included", Flag),
    _need("total_only", Flag),
    _need("language", Words),
    _need("photos", Json),
    # what lists and valuing ask for, from the name and the price that hold
    _need("is_ask", Flag),
    _may("all_in", Count),
    _may("item", Count),
    _need("subject", Words),  # key of the likeliest candidate, empty when there is none
    _need("sentence", Words),
    _may("probability", Real),
    _need("decided", Flag),
    _need("lot", Flag),
    _need("waits", Flag),
    _need("why", Words),
    _need("packaging", Words),
    _may("graded", Flag),  # null when not named
    _need("search", Words),  # title and sentence, case folded
    Index(None, "assertion"),
    Index(None, "day", "id"),
    Index(None, "subject"),
)
answer = _table(
    "answer",
    _key("id", Count),
    _need("target", Words),  # id of evidence, active or not, or "row:<number>"
    _need("at", Instant),
    _need("who", Words),
    _may("name", Json),  # null: set aside
    _may("undone", Instant),
    Index(None, "target"),
)
impact = _table("impact", _key("id", Words), _need("value", Real))
fit = _table(
    "fit", _key("id", Count), _need("key", Words), _need("made", Instant), _need("meta", Json), _need("blob", Bytes)
)
study = _table(
    "study",
    _key("id", Count),
    _need("key", Words),
    _need("made", Instant),
    _need("summary", Json),
    _need("rows", Bytes),  # one row for each sale tried, Parquet
)
layout = _table("layout", _key("fingerprint", Words), _need("columns", Words))
journal = _table(
    "journal", _key("id", Count), _need("at", Instant), _need("who", Words), _need("verb", Words), _need("detail", Json)
)
