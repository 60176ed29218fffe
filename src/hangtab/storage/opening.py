"""Making and opening a book, and bringing an older one up to date.

Promises that nothing is touched unless the file is a book of a layout this program knows, and that every way it can
fail names the place and the mend. Alembic is loaded only when a layout has to be made or changed.
"""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from hangtab import __version__
from hangtab.domain.errors import BookError
from hangtab.domain.money import Money
from hangtab.storage.engines import (
    is_address,
    keep_wal,
    looks_like_book,
    make_engine,
    reading,
    remove_file,
    start_file,
    writing,
)
from hangtab.storage.keeping import CURRENCY, read_setting, write_journal, write_setting
from hangtab.usecases.ports import Entry

# Layouts this program can read, oldest first; the last is the one it writes. A test holds it to the migrations.
LAYOUTS = ("0001", "0002")
WRITTEN_BY = "written by"  # the setting that names the program a layout came from
WAIT = 5.0


def create(where: str | Path, currency: str, entry: Entry, wait: float) -> Engine:
    """Make a new book.

    Raises:
        BookError: something is there already, or the place cannot be written.
        PriceError: the currency is not three capitals.
    """
    Money(0, currency)
    if not is_address(where):
        _start(Path(where))
    engine = make_engine(where, wait=wait)
    try:
        with writing(engine, str(where)) as connection:
            if _layout(connection):
                _refuse_twice(str(where))
            _bring_up(connection)
            write_setting(connection, CURRENCY, currency)
            write_journal(connection, entry, currency=currency)
    except BaseException:
        engine.dispose()
        if not is_address(where):  # half a book would stand in the way of the next try
            remove_file(Path(where))
        raise
    return engine


def open_existing(where: str | Path, wait: float) -> Engine:
    """Open a book.

    Raises:
        BookError: there is none, it is not one, it is of a newer layout, or it is in use.
    """
    if not is_address(where):
        _look_at(Path(where))
    engine = make_engine(where, wait=wait)
    try:
        with reading(engine, str(where)) as connection:
            layout = _known_layout(connection, str(where))
        keep_wal(engine)
        if layout != LAYOUTS[-1]:
            with writing(engine, str(where)) as connection:
                _bring_up(connection)
    except BaseException:
        engine.dispose()
        raise
    return engine


def _start(path: Path) -> None:
    try:
        start_file(path)
    except FileExistsError:
        _refuse_twice(str(path))
    except OSError as error:
        mend = "Choose a folder that exists and can be written"
        raise BookError(f"No book can be made at {path}", where=str(path), mend=mend) from error


def _refuse_twice(where: str) -> None:
    mend = "Choose another name, or use the book that is there"
    raise BookError(f"There is something at {where} already", where=where, mend=mend)


def _look_at(path: Path) -> None:
    where = str(path)
    if not path.is_file():
        mend = f"Make one with `hangtab new --book {path}`, or name another with --book"
        raise BookError(f"No book at {path}", where=where, mend=mend)
    try:
        sound = looks_like_book(path)
    except OSError as error:
        mend = "See that you may read the file"
        raise BookError(f"The book cannot be read: {error.strerror}", where=where, mend=mend) from error
    if not sound:
        mend = "Name the file that `hangtab new` made, or make one with it"
        raise BookError(f"{path.name} is not a book", where=where, mend=mend)


def _layout(connection: Connection) -> str:
    if not inspect(connection).has_table("alembic_version"):
        return ""
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar() or ""


def _known_layout(connection: Connection, where: str) -> str:
    layout = _layout(connection)
    if not layout:
        raise BookError("This is not a book", where=where, mend="Name a book that `hangtab new` made")
    if layout not in LAYOUTS:
        needed = read_setting(connection, WRITTEN_BY) or "of a later version"
        what = f"The book has layout {layout}, newer than {LAYOUTS[-1]}, which Hangtab {__version__} knows"
        raise BookError(what, where=where, mend=f"Open it with Hangtab {needed}, or a newer one; nothing was changed")
    return layout


def _bring_up(connection: Connection) -> None:
    from alembic import command  # noqa: PLC0415 - a third of a second that most calls never need
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
    write_setting(connection, WRITTEN_BY, __version__)
