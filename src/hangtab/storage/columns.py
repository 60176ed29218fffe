"""Column types of the book, chosen per dialect, and the shapes their values have on the wire.

Promises that one table definition makes a STRICT table in SQLite and a well-typed one in PostgreSQL, and that both
sort text by code point. Bulk rows skip SQLAlchemy, so the wire shapes here are those both drivers take as they are: ISO
text for days and instants, 0 or 1 for flags, JSON text. Not here: tables.
"""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import BigInteger, Date, DateTime, Dialect, Double, Integer, LargeBinary, SmallInteger, Text
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.dialects.sqlite import REAL
from sqlalchemy.types import TypeDecorator, TypeEngine

# Order of ids must not depend on the server's locale.
Words = Text().with_variant(Text(collation="C"), "postgresql")
Count = BigInteger().with_variant(Integer(), "sqlite")
Real: TypeEngine[Any] = Double().with_variant(REAL(), "sqlite")
Flag = SmallInteger().with_variant(Integer(), "sqlite")
Bytes = LargeBinary()


class Day(TypeDecorator[date]):
    """A calendar day: ISO text in SQLite, a date in PostgreSQL."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Choose by dialect."""
        return dialect.type_descriptor(Date() if dialect.name == "postgresql" else Text())

    def process_bind_param(self, value: date | None, dialect: Dialect) -> date | str | None:
        """To the wire."""
        return value if value is None or dialect.name == "postgresql" else value.isoformat()

    def process_result_value(self, value: date | str | None, dialect: Dialect) -> date | None:
        """From the wire."""
        del dialect
        return date.fromisoformat(value) if isinstance(value, str) else value


class Instant(TypeDecorator[datetime]):
    """A moment in UTC: ISO text of fixed length in SQLite (so that text order is time order)."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Choose by dialect."""
        return dialect.type_descriptor(DateTime(timezone=True) if dialect.name == "postgresql" else Text())

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | str | None:
        """To the wire. Raises ValueError for a time without zone."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("An instant needs its zone")
        at = value.astimezone(UTC)
        return at if dialect.name == "postgresql" else at.isoformat(timespec="microseconds")

    def process_result_value(self, value: datetime | str | None, dialect: Dialect) -> datetime | None:
        """From the wire."""
        del dialect
        at = datetime.fromisoformat(value) if isinstance(value, str) else value
        return at and at.astimezone(UTC)


class Json(TypeDecorator[Any]):
    """JSON: text in SQLite, JSONB in PostgreSQL. None is SQL's NULL."""

    impl = Text
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Choose by dialect."""
        return dialect.type_descriptor(JSONB(none_as_null=True) if dialect.name == "postgresql" else Text())

    def process_bind_param(self, value: Any, dialect: Dialect) -> Any:  # noqa: ANN401 - any JSON value
        """To the wire."""
        return value if value is None or dialect.name == "postgresql" else to_json(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> Any:  # noqa: ANN401 - any JSON value
        """From the wire."""
        return value if value is None or dialect.name == "postgresql" else json.loads(value)


_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), check_circular=False).encode


def to_json(value: object) -> str:
    """Compact JSON text.

    >>> to_json({"a": [1, "é"]})
    '{"a":[1,"é"]}'
    """
    return _encode(value)
