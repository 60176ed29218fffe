"""The small print of the two databases: the only SQL here that SQLite or PostgreSQL would not share.

Promises an engine whose reads see one moment and whose writes queue for one writer at a time, an append-only journal,
and plain failures as `BookError`. Python's own SQLite library is the only one used: a second one in the same process
opening the same file drops the first one's locks (sqlite.org, "How To Corrupt An SQLite Database File", 2.2.1).
"""

from __future__ import annotations

import errno
import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, QueuePool, Table, create_engine, event
from sqlalchemy.exc import DBAPIError, OperationalError

from hangtab.domain.errors import BookError

APPLICATION_ID = 0x48616E67  # "Hang", in the header of the file
_WRITES = "hangtab_writes"
_ONE_WRITER = 0x48616E67  # key of PostgreSQL's advisory lock


def is_address(where: str | Path) -> bool:
    """Whether it is a server's address, not a file."""
    return isinstance(where, str) and where.startswith("postgresql")


def make_engine(where: str | Path, *, wait: float) -> Engine:
    """An engine for a file or a PostgreSQL address; `wait` is seconds to wait for another writer."""
    if is_address(where):
        engine = create_engine(str(where))
        event.listen(engine, "begin", _begin_postgres(wait))
        return engine

    def connect() -> sqlite3.Connection:
        # `mode=rw`: a book is made by create_book only, never by a slip in a path.
        address = f"{Path(where).resolve().as_uri()}?mode=rw"
        made = sqlite3.connect(address, uri=True, timeout=wait, isolation_level=None, check_same_thread=False)
        made.execute("PRAGMA foreign_keys = ON")
        # NORMAL: a crash of the program loses nothing; a power cut may lose the last seconds, never the book.
        made.execute("PRAGMA synchronous = NORMAL")
        made.execute("PRAGMA cache_size = -32000")
        return made

    engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool, pool_size=8, max_overflow=24)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get(_WRITES)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _begin_postgres(wait: float) -> Any:  # noqa: ANN401 - SQLAlchemy's listener
    def begin(connection: Connection) -> None:
        if connection.get_execution_options().get(_WRITES):
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{int(wait * 1000)}ms'")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_ONE_WRITER})")
        else:
            connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")

    return begin


@contextmanager
def reading(engine: Engine, where: str) -> Iterator[Connection]:
    """A connection that sees one moment of the book."""
    with stated(where), engine.connect() as connection, connection.begin():
        yield connection


@contextmanager
def writing(engine: Engine, where: str) -> Iterator[Connection]:
    """A connection that alone may write; all or nothing."""
    with (
        stated(where),
        engine.connect().execution_options(**{_WRITES: True}) as connection,
        connection.begin(),
    ):
        yield connection


@contextmanager
def stated(where: str) -> Iterator[None]:
    """Turn the databases' failures that a person can mend into `BookError`; bugs stay bugs."""
    try:
        yield
    except DBAPIError as error:
        said = str(error.orig).splitlines()[0] if error.orig else str(error)
        if "locked" in said or "lock timeout" in said:
            mend = "Wait until the other program has finished writing, then do it again; nothing was changed"
            raise BookError("The book is in use by another program", where=where, mend=mend) from error
        if "not a database" in said or "malformed" in said:
            mend = "Go back to a backup; `hangtab check` names what else is wrong"
            raise BookError("The book is damaged", where=where, mend=mend) from error
        if isinstance(error, OperationalError):
            mend = "See that the place can be read and written and has room, then do it again"
            raise BookError(f"The book cannot be used: {said}", where=where, mend=mend) from error
        raise


def insert_many(connection: Connection, table: Table, columns: Sequence[str], rows: list[tuple[Any, ...]]) -> None:
    """Insert tuples in wire shape by the driver's own executemany."""
    mark = _mark(connection)
    names = ", ".join(f'"{column}"' for column in columns)
    marks = ", ".join([mark] * len(columns))
    if rows:
        connection.exec_driver_sql(f'INSERT INTO "{table.name}" ({names}) VALUES ({marks})', rows)  # noqa: S608 - our own names


def update_many(connection: Connection, table: Table, columns: Sequence[str], key: str, rows: list[Any]) -> None:
    """Update by key; each row holds the columns' values in wire shape, then the key."""
    mark = _mark(connection)
    sets = ", ".join(f'"{column}" = {mark}' for column in columns)
    if rows:
        connection.exec_driver_sql(f'UPDATE "{table.name}" SET {sets} WHERE "{key}" = {mark}', rows)  # noqa: S608 - our own names


def _mark(connection: Connection) -> str:
    return "?" if connection.dialect.paramstyle == "qmark" else "%s"


def looks_like_book(path: Path) -> bool:
    """Whether a file says that it is a book; what is damaged behind its header shows when it is read.

    SQLite is asked, the file is not opened beside it: closing it would drop the locks of every connection that this
    process has on the book, and another process could then take the log away under it (sqlite.org, "How To Corrupt An
    SQLite Database File", 2.2). Raises OSError when the file may not be read.
    """
    if not os.access(path, os.R_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True)) as opened:
            mark: int = opened.execute("PRAGMA application_id").fetchone()[0]
    except sqlite3.DatabaseError as error:
        return "not a database" not in str(error)
    return mark == APPLICATION_ID


def start_file(path: Path) -> None:
    """Make an empty database with a book's mark, in WAL mode. Raises FileExistsError when something is there."""
    path.touch(exist_ok=False)
    with closing(sqlite3.connect(path)) as made:
        made.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        made.execute("PRAGMA journal_mode = WAL")


def remove_file(path: Path) -> None:
    """Take away a database and its logs."""
    for end in ("", "-wal", "-shm"):
        path.with_name(path.name + end).unlink(missing_ok=True)


def keep_wal(engine: Engine) -> None:
    """Put a book that was copied back into WAL mode, so that readers are never blocked."""
    if engine.dialect.name != "sqlite":
        return
    with closing(engine.raw_connection()) as held:
        cursor = held.cursor()
        if cursor.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
            cursor.execute("PRAGMA journal_mode = WAL")


def guard_journal(connection: Connection) -> None:
    """Forbid changing or deleting lines of the journal."""
    if connection.dialect.name == "sqlite":
        for verb in ("UPDATE", "DELETE"):
            connection.exec_driver_sql(
                f"CREATE TRIGGER journal_no_{verb.lower()} BEFORE {verb} ON journal "
                "BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END"
            )
        return
    connection.exec_driver_sql(
        "CREATE FUNCTION journal_stays() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'the journal is append-only'; END $$"
    )
    connection.exec_driver_sql(
        "CREATE TRIGGER journal_stays BEFORE UPDATE OR DELETE OR TRUNCATE ON journal "
        "FOR EACH STATEMENT EXECUTE FUNCTION journal_stays()"
    )


def damage(connection: Connection) -> list[str]:
    """What the database itself finds wrong; empty when sound. PostgreSQL keeps its own house."""
    if connection.dialect.name != "sqlite":
        return []
    sound = [row[0] for row in connection.exec_driver_sql("PRAGMA integrity_check") if row[0] != "ok"]
    lost = connection.exec_driver_sql("PRAGMA foreign_key_check")
    return sound + [f"row {row[1]} of {row[0]} points at a missing row of {row[2]}" for row in lost]


def copy_file(engine: Engine, to: Path) -> None:
    """Copy a live book to one whole file by SQLite's backup; readers and writers go on meanwhile."""
    with closing(engine.raw_connection()) as held, closing(sqlite3.connect(to)) as made:
        driver: Any = held.driver_connection
        driver.backup(made)
        made.execute("PRAGMA journal_mode = DELETE")
