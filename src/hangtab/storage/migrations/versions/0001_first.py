"""The first layout of the book.

Frozen: what a later layout changes stands in a later revision, never here.
"""

from __future__ import annotations

from typing import Any

from alembic import op
from sqlalchemy import CheckConstraint, Column, ForeignKey, Index, MetaData, Table, UniqueConstraint
from sqlalchemy.types import TypeEngine

from hangtab.storage.columns import Bytes, Count, Day, Flag, Instant, Json, Real, Words
from hangtab.storage.engines import guard_journal

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

TABLES = MetaData(
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
    return Table(name, TABLES, *parts, sqlite_strict=True, sqlite_with_rowid=rowid)


_table("setting", _key("name", Words), _need("value", Words))
_table("catalogue_file", _key("path", Words), _need("data", Bytes))

_table(
    "source",
    _key("sha256", Words),
    _need("name", Words),
    _need("media", Words),
    _need("packing", Words),
    _need("size", Count),
    _need("data", Bytes),
)
_table(
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
_table(
    "assertion",
    _key("id", Count),
    _need("take_in", Count, ForeignKey("take_in.id")),
    _need("source", Words, ForeignKey("source.sha256")),
    _need("locator", Words),
    _may("evidence_id", Words),
    _need("rank", Count),
    _may("day", Day),
    _need("fields", Json),
    _may("said", Json),
    _may("problem", Json),
    _need("active", Flag),
    _need("name_old", Flag),
    _need("price_old", Flag),
    Index(None, "evidence_id"),
    Index(None, "take_in"),
    CheckConstraint("active IN (0, 1)", name="active"),
)
_table(
    "unread_row",
    _key("id", Count),
    _need("source", Words, ForeignKey("source.sha256")),
    _need("locator", Words),
    _need("title", Words),
    _need("why", Words),
    _may("assertion", Count, ForeignKey("assertion.id")),
    _need("waits", Flag),
    UniqueConstraint("source", "locator"),
)
_table(
    "name",
    _key("assertion", Count, ForeignKey("assertion.id")),
    _need("none", Real),
    _need("decided", Flag),
    _need("by", Words),
    _need("lot", Flag),
    _need("why", Words),
)
_table(
    "candidate",
    _key("assertion", Count, ForeignKey("name.assertion", ondelete="CASCADE")),
    _key("place", Count),
    _need("subject", Words),
    _need("text", Words),
    _need("probability", Real),
    CheckConstraint("place BETWEEN 0 AND 4", name="place"),
    rowid=False,
)
_table(
    "subject_node", _key("subject", Words), _key("place", Count), _need("node", Words), Index(None, "node"), rowid=False
)
_table(
    "price",
    _key("assertion", Count, ForeignKey("assertion.id")),
    _need("total", Count),
    _need("item", Count),
    _need("currency", Words),
    _may("rate_day", Day),
    _need("estimated", Flag),
)
_table(
    "price_step",
    _key("assertion", Count, ForeignKey("price.assertion", ondelete="CASCADE")),
    _key("place", Count),
    _need("kind", Words),
    _need("label", Words),
    _may("amount", Count),
    _may("currency", Words),
    _may("rate", Words),
    _need("estimated", Flag),
    rowid=False,
)
_table(
    "evidence",
    _key("id", Words),
    _need("assertion", Count, ForeignKey("assertion.id")),
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
    _need("is_ask", Flag),
    _may("all_in", Count),
    _may("item", Count),
    _need("subject", Words),
    _need("sentence", Words),
    _may("probability", Real),
    _need("decided", Flag),
    _need("lot", Flag),
    _need("waits", Flag),
    _need("why", Words),
    _need("packaging", Words),
    _may("graded", Flag),
    _need("search", Words),
    Index(None, "assertion"),
    Index(None, "day", "id"),
    Index(None, "subject"),
)
_table(
    "answer",
    _key("id", Count),
    _need("target", Words),
    _need("at", Instant),
    _need("who", Words),
    _may("name", Json),
    _may("undone", Instant),
    Index(None, "target"),
)
_table("impact", _key("id", Words), _need("value", Real))
_table("fit", _key("id", Count), _need("key", Words), _need("made", Instant), _need("meta", Json), _need("blob", Bytes))
_table("layout", _key("fingerprint", Words), _need("columns", Words))
_table(
    "journal", _key("id", Count), _need("at", Instant), _need("who", Words), _need("verb", Words), _need("detail", Json)
)


def upgrade() -> None:
    """Make every table, and the guard of the journal."""
    connection = op.get_bind()
    TABLES.create_all(connection)
    guard_journal(connection)
