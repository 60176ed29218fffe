"""What is wrong with a book, by name: the database's own integrity, hashes, references, and what was derived.

Reads everything once and changes nothing. Not here: mending.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from hashlib import sha256

from sqlalchemy import Connection, exists, func, select

from hangtab.domain.errors import Problem
from hangtab.storage.deriving import batches
from hangtab.storage.engines import damage
from hangtab.storage.keeping import unpack
from hangtab.storage.leading import leads_first
from hangtab.storage.readback import row_number
from hangtab.storage.records import fact_of, fact_said
from hangtab.storage.tables import answer, assertion, evidence, journal, source, unread_row

_BACKUP = "Go back to a backup of the book"


def find_problems(connection: Connection, where: str) -> Iterator[Problem]:
    """All that is wrong, in no particular order of weight."""
    for said in damage(connection):
        yield Problem(f"The database says: {said}", where, _BACKUP)
    yield from _sources(connection)
    yield from _evidence(connection)
    yield from _answers(connection)
    yield from _journal(connection)


def _sources(connection: Connection) -> Iterator[Problem]:
    digests = connection.execute(select(source.c.sha256).order_by(source.c.sha256)).scalars().all()
    for digest in digests:
        row = connection.execute(select(source).where(source.c.sha256 == digest)).one()
        try:
            data = unpack(row.packing, row.data)
        except zlib.error:
            data = b""
        if sha256(data).hexdigest() != digest or len(data) != row.size:
            yield Problem(f"The bytes of {row.name} do not fit their hash", f"source {digest[:12]}", _BACKUP)
    kept = set(digests)
    for id_, photos in connection.execute(select(evidence.c.id, evidence.c.photos).order_by(evidence.c.id)):
        for digest in set(photos) - kept:
            mend = "Take its source in again with the photo beside it"
            yield Problem(f"A photo is missing: {digest[:12]}", f"evidence {id_}", mend)


def _evidence(connection: Connection) -> Iterator[Problem]:
    """Evidence must be what its leading active assertion says, and every fact asserted must have its evidence."""
    ranked = select(assertion, leads_first().label("place")).where(
        assertion.c.active == 1, assertion.c.evidence_id.is_not(None)
    )
    leading = ranked.subquery()
    asked = select(leading.c.evidence_id, leading.c.id, leading.c.said).where(leading.c.place == 1)
    expected = {row.evidence_id: (row.id, row.said) for row in connection.execute(asked)}
    mend = "Undo the take-in it came from and take that in again"
    for row in connection.execute(select(evidence).order_by(evidence.c.id)).mappings():
        id_, rests = row["id"], expected.pop(row["id"], None)
        if rests is None:
            yield Problem("Evidence that no source states", f"evidence {id_}", mend)
        elif rests[0] != row["assertion"]:
            yield Problem("Evidence that does not rest on its leading source", f"evidence {id_}", mend)
        elif fact_of(id_, row) != fact_said(id_, rests[1]):
            yield Problem("Evidence that says another thing than its source", f"evidence {id_}", mend)
    for id_ in sorted(expected):
        yield Problem("A fact that a source states is not in the evidence", f"evidence {id_}", mend)


def _answers(connection: Connection) -> Iterator[Problem]:
    """An answer may be about retracted evidence, but never about what the book has not seen."""
    targets = connection.execute(select(answer.c.target).distinct().order_by(answer.c.target)).scalars().all()
    for batch in batches(targets):
        seen = set(
            connection.execute(
                select(assertion.c.evidence_id).distinct().where(assertion.c.evidence_id.in_(batch))
            ).scalars()
        )
        for target in batch:
            number = row_number(target)
            known = target in seen
            if number is not None:
                known = connection.execute(select(exists().where(unread_row.c.id == number))).scalar_one()
            if not known:
                yield Problem(
                    "A settled name points at evidence the book has never seen", f"answer for {target}", _BACKUP
                )


def _journal(connection: Connection) -> Iterator[Problem]:
    last, count = connection.execute(select(func.coalesce(func.max(journal.c.id), 0), func.count(journal.c.id))).one()
    if last != count:
        yield Problem(f"The journal misses {last - count} of {last} lines", "journal", _BACKUP)
