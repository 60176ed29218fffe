"""What the book keeps as it is: settings, the catalogue's files, sources, layouts, fits, back-tests, and the journal.

Promises that a source comes back byte for byte under its hash, and that the journal only grows. Each function works
inside the caller's transaction.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from hashlib import sha256

from sqlalchemy import Connection, delete, func, insert, select

from hangtab.domain.errors import BookError
from hangtab.storage.deriving import next_id
from hangtab.storage.tables import catalogue_file, fit, journal, layout, setting, source, study
from hangtab.usecases.ports import Entry, FitRecord, SourceRecord, StudyRecord

CURRENCY = "currency"
FITS_KEPT = 3
STUDIES_KEPT = 3
_PACKED, _PLAIN = "zlib", "plain"


def write_journal(connection: Connection, entry: Entry, **more: object) -> None:
    """Add a line; `more` is what only the book knows."""
    line = {"at": entry.at, "who": entry.who, "verb": entry.verb, "detail": {**entry.detail, **more}}
    connection.execute(insert(journal).values(id=next_id(connection, journal), **line))


def read_journal(connection: Connection, limit: int) -> tuple[Entry, ...]:
    """The newest lines, newest first."""
    rows = connection.execute(select(journal).order_by(journal.c.id.desc()).limit(limit))
    return tuple(Entry(row.who, row.at, row.verb, row.detail) for row in rows)


def read_setting(connection: Connection, name: str) -> str:
    """A setting, empty when never set."""
    return connection.execute(select(setting.c.value).where(setting.c.name == name)).scalar() or ""


def write_setting(connection: Connection, name: str, value: str) -> None:
    """Set a setting."""
    connection.execute(delete(setting).where(setting.c.name == name))
    connection.execute(insert(setting).values(name=name, value=value))


def read_catalogue_files(connection: Connection) -> dict[str, bytes]:
    """The catalogue's files by path."""
    rows = connection.execute(select(catalogue_file).order_by(catalogue_file.c.path))
    return {row.path: bytes(row.data) for row in rows}


def write_catalogue_files(connection: Connection, files: Mapping[str, bytes]) -> None:
    """Replace the catalogue's files."""
    connection.execute(delete(catalogue_file))
    for path, data in sorted(files.items()):
        connection.execute(insert(catalogue_file).values(path=path, data=data))


def keep_source(connection: Connection, record: SourceRecord) -> None:
    """Keep a source unless it is there. Raises ValueError when the hash is not that of the bytes."""
    if sha256(record.data).hexdigest() != record.sha256:
        raise ValueError(f"The hash given for {record.name} is not that of its bytes")
    if connection.execute(select(source.c.size).where(source.c.sha256 == record.sha256)).first():
        return
    packed = zlib.compress(record.data)
    packing, data = (_PACKED, packed) if len(packed) < len(record.data) else (_PLAIN, record.data)
    about = {"sha256": record.sha256, "name": record.name, "media": record.media, "size": len(record.data)}
    connection.execute(insert(source).values(**about, packing=packing, data=data))


def unpack(packing: str, data: bytes) -> bytes:
    """The bytes as they came. Raises zlib.error when they are damaged."""
    return zlib.decompress(data) if packing == _PACKED else bytes(data)


def read_source(connection: Connection, digest: str, where: str) -> SourceRecord:
    """A source as it came. Raises BookError when there is none, or its bytes are damaged."""
    row = connection.execute(select(source).where(source.c.sha256 == digest)).one_or_none()
    if row is None:
        raise BookError(f"No source {digest[:12]} in this book", where=where, mend="Take it in first")
    try:
        data = unpack(row.packing, row.data)
    except zlib.error as error:
        mend = "Go back to a backup, or take the same file in again into a new book"
        raise BookError(f"The bytes of {row.name} are damaged", where=where, mend=mend) from error
    return SourceRecord(row.sha256, row.name, row.media, data)


def read_layouts(connection: Connection) -> dict[str, str]:
    """Remembered columns by fingerprint."""
    return {row.fingerprint: row.columns for row in connection.execute(select(layout).order_by(layout.c.fingerprint))}


def write_layout(connection: Connection, fingerprint: str, columns: str) -> None:
    """Remember columns."""
    connection.execute(delete(layout).where(layout.c.fingerprint == fingerprint))
    connection.execute(insert(layout).values(fingerprint=fingerprint, columns=columns))


def write_fit(connection: Connection, record: FitRecord) -> None:
    """Keep a fit as the newest; older ones beyond the last three go, and an older one of the same key."""
    connection.execute(delete(fit).where(fit.c.key == record.key))
    values = {"key": record.key, "made": record.made, "meta": dict(record.meta), "blob": record.blob}
    connection.execute(insert(fit).values(id=next_id(connection, fit), **values))
    kept = connection.execute(select(fit.c.id).order_by(fit.c.id.desc()).limit(FITS_KEPT)).scalars().all()
    connection.execute(delete(fit).where(fit.c.id < kept[-1]))


def newest_fit_key(connection: Connection) -> str:
    """Key of the newest fit, empty when there is none."""
    return connection.execute(select(fit.c.key).order_by(fit.c.id.desc()).limit(1)).scalar() or ""


def newest_journal_id(connection: Connection) -> int:
    """Number of the journal's newest line, 0 when it is empty."""
    return connection.execute(select(func.max(journal.c.id))).scalar() or 0


def read_fit(connection: Connection) -> FitRecord | None:
    """The newest fit."""
    row = connection.execute(select(fit).order_by(fit.c.id.desc()).limit(1)).one_or_none()
    return FitRecord(row.key, row.made, bytes(row.blob), row.meta) if row else None


def write_study(connection: Connection, record: StudyRecord, rows: bytes) -> None:
    """Keep a back-test as the newest; older ones beyond the last three go, and an older one of the same key."""
    connection.execute(delete(study).where(study.c.key == record.key))
    values = {"key": record.key, "made": record.made, "summary": dict(record.summary), "rows": rows}
    connection.execute(insert(study).values(id=next_id(connection, study), **values))
    kept = connection.execute(select(study.c.id).order_by(study.c.id.desc()).limit(STUDIES_KEPT)).scalars().all()
    connection.execute(delete(study).where(study.c.id < kept[-1]))


def read_study(connection: Connection) -> StudyRecord | None:
    """The newest back-test without its rows."""
    columns = (study.c.key, study.c.made, study.c.summary)
    row = connection.execute(select(*columns).order_by(study.c.id.desc()).limit(1)).one_or_none()
    return StudyRecord(row.key, row.made, row.summary) if row else None


def read_study_rows(connection: Connection, key: str) -> bytes | None:
    """The rows of one back-test."""
    rows = connection.execute(select(study.c.rows).where(study.c.key == key)).scalar()
    return bytes(rows) if rows is not None else None
