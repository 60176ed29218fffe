"""Take-in and its undoing: assertions are written or retracted, evidence follows.

Promises that a source is written whole or not at all, that taking it in again changes nothing, and that what evidence
says does not depend on the order of take-in. Not here: parsing, naming, levelling; they come in as `TakenFact`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from sqlalchemy import Connection, delete, func, insert, select, update

from hangtab.domain.errors import BookError, Problem
from hangtab.storage.deriving import (
    Claim,
    batches,
    derive_again,
    next_id,
    put_evidence,
    write_names,
    write_nodes,
    write_prices,
)
from hangtab.storage.engines import insert_many
from hangtab.storage.keeping import CURRENCY, keep_source, read_setting, write_journal
from hangtab.storage.leading import Place, place_of, rank_of
from hangtab.storage.readback import answers_for
from hangtab.storage.records import Row, fields_json, problem_json, said_json, said_values
from hangtab.storage.tables import assertion, evidence, source, take_in, unread_row
from hangtab.usecases.ports import Entry, Receipt, SourceRecord, TakeInRow, TakenFact

ASSERTION_COLUMNS = tuple(
    "id take_in source locator evidence_id rank day fields said problem active name_old price_old".split(),
)
UNREAD_COLUMNS = ("id", "source", "locator", "title", "why", "assertion", "waits")
Numbered = tuple[int, TakenFact]


@dataclass(slots=True)
class _Tally:
    new: int = 0
    known: int = 0
    problems: list[Problem] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Writer:
    connection: Connection
    take_in: int
    source: str
    currency: str
    tally: _Tally


def take_source_in(connection: Connection, record: SourceRecord, facts: Iterable[TakenFact], entry: Entry) -> Receipt:
    """Write a source and all it brought. When an active take-in of it exists nothing is read or written."""
    there = _active(connection, record.sha256)
    if there is not None:
        return Receipt(there, record.sha256, record.name, 0, _asserted(connection, there), _waits(connection, there))
    keep_source(connection, record)
    id_ = next_id(connection, take_in)
    about = {"id": id_, "source": record.sha256, "at": entry.at, "who": entry.who}
    connection.execute(insert(take_in).values(**about, new=0, known=0, waiting=0))
    tally = _Tally()
    writer = _Writer(connection, id_, record.sha256, read_setting(connection, CURRENCY), tally)
    for batch in batches(enumerate(facts, next_id(connection, assertion))):
        _write(writer, batch)
    waiting = _waits(connection, id_)
    counts = {"new": tally.new, "known": tally.known, "waiting": waiting}
    connection.execute(update(take_in).where(take_in.c.id == id_).values(**counts))
    write_journal(connection, entry, take_in=id_, source=record.sha256, name=record.name, **counts)
    return Receipt(id_, record.sha256, record.name, **counts, problems=tuple(tally.problems))


def undo(connection: Connection, id_: int, entry: Entry, where: str) -> int:
    """Retract what a take-in asserted; returns how much evidence went. Raises BookError when there is none to undo."""
    row = connection.execute(select(take_in).where(take_in.c.id == id_)).one_or_none()
    if row is None or row.undone is not None:
        what = f"Take-in {id_} was taken back already" if row else f"There is no take-in {id_}"
        raise BookError(what, where=where, mend="Choose one of the list of take-ins that still stands")
    mine = select(assertion.c.id).where(assertion.c.take_in == id_)
    led = select(evidence.c.id).where(evidence.c.assertion.in_(mine))
    ids: Sequence[str] = connection.execute(led).scalars().all()
    connection.execute(update(assertion).where(assertion.c.take_in == id_).values(active=0))
    connection.execute(update(unread_row).where(unread_row.c.assertion.in_(mine)).values(assertion=None))
    connection.execute(delete(evidence).where(evidence.c.assertion.in_(mine)))
    gone = len(ids) - sum(derive_again(connection, batch) for batch in batches(ids))
    connection.execute(update(take_in).where(take_in.c.id == id_).values(undone=entry.at))
    write_journal(connection, entry, take_in=id_, source=row.source, gone=gone)
    return gone


def list_take_ins(connection: Connection) -> tuple[TakeInRow, ...]:
    """All take-ins, newest first."""
    asked = select(take_in, source.c.name).join(source, source.c.sha256 == take_in.c.source)
    rows = connection.execute(asked.order_by(take_in.c.id.desc()))
    return tuple(
        TakeInRow(row.id, row.at, row.who, row.source, row.name, row.new, row.known, row.waiting, row.undone)
        for row in rows
    )


def is_taken_in(connection: Connection, digest: str) -> bool:
    """Whether an active take-in of these bytes exists."""
    return _active(connection, digest) is not None


def _active(connection: Connection, digest: str) -> int | None:
    asked = select(take_in.c.id).where(take_in.c.source == digest, take_in.c.undone.is_(None))
    return connection.execute(asked).scalar()


def _asserted(connection: Connection, id_: int) -> int:
    asked = select(func.count()).where(assertion.c.take_in == id_, assertion.c.evidence_id.is_not(None))
    return connection.execute(asked).scalar_one()


def _waits(connection: Connection, id_: int) -> int:
    ids = select(assertion.c.evidence_id).where(assertion.c.take_in == id_)
    named = select(func.count()).where(evidence.c.waits == 1, evidence.c.id.in_(ids))
    mine = select(assertion.c.id).where(assertion.c.take_in == id_)
    unread = select(func.count()).where(unread_row.c.waits == 1, unread_row.c.assertion.in_(mine))
    return connection.execute(named).scalar_one() + connection.execute(unread).scalar_one()


def _write(writer: _Writer, batch: list[Numbered]) -> None:
    said = {id_: said_values(fact.evidence) for id_, fact in batch if fact.evidence}
    rows = [_assertion_row(writer, id_, fact, said.get(id_)) for id_, fact in batch]
    insert_many(writer.connection, assertion, ASSERTION_COLUMNS, rows)
    names = [(id_, fact.name) for id_, fact in batch if fact.evidence and fact.name]
    write_names(writer.connection, names)
    write_nodes(writer.connection, [name for _, name in names])
    prices = [(id_, fact.price) for id_, fact in batch if fact.evidence and fact.price]
    write_prices(writer.connection, prices, writer.currency)
    _write_leading(writer, batch, said)
    _write_unread(writer, [one for one in batch if one[1].evidence is None])
    writer.tally.problems += [fact.problem for _, fact in batch if fact.problem]


def _assertion_row(writer: _Writer, id_: int, fact: TakenFact, said: Row | None) -> Row:
    reading, known = fact.reading, fact.evidence
    if reading.source != writer.source:
        raise ValueError(f"{reading.locator} was read from another source than the one taken in")
    return (
        id_,
        writer.take_in,
        writer.source,
        reading.locator,
        known.id if known else None,
        rank_of(known) if known else 0,
        known.when.day.isoformat() if known else None,
        fields_json(reading),
        said_json(said) if said else None,
        problem_json(fact.problem),
        1,
        0,
        0,
    )


def _write_leading(writer: _Writer, batch: list[Numbered], said: dict[int, Row]) -> None:
    stated = [(id_, fact, fact.evidence) for id_, fact in batch if fact.evidence]
    there = _places(writer.connection, [known.id for _, _, known in stated])
    best, claims = dict(there), {}
    for id_, fact, known in stated:
        place = (-rank_of(known), -known.when.day.toordinal(), writer.source, fact.reading.locator, id_)
        if known.id not in best or place < best[known.id]:
            best[known.id] = place
            claims[known.id] = Claim(id_, known.id, said[id_], fact.name, fact.price)
    put_evidence(writer.connection, list(claims.values()))
    new = len(best) - len(there)
    writer.tally.new += new
    writer.tally.known += len(stated) - new


def _places(connection: Connection, ids: list[str]) -> dict[str, Place]:
    columns = (assertion.c.rank, assertion.c.day, assertion.c.source, assertion.c.locator, assertion.c.id)
    asked = select(evidence.c.id.label("fact"), *columns).join(assertion, assertion.c.id == evidence.c.assertion)
    return {row.fact: place_of(row) for row in connection.execute(asked.where(evidence.c.id.in_(ids)))}


def _write_unread(writer: _Writer, batch: list[Numbered]) -> None:
    """Give each unreadable row its number, the one it had when its source was taken in before."""
    if not batch:
        return
    connection = writer.connection
    asked = select(unread_row.c.locator, unread_row.c.id)
    locators = [fact.reading.locator for _, fact in batch]
    asked = asked.where(unread_row.c.source == writer.source, unread_row.c.locator.in_(locators))
    numbers = {row.locator: row.id for row in connection.execute(asked)}
    aside = answers_for(connection, [f"row:{number}" for number in numbers.values()])
    free = next_id(connection, unread_row)
    rows: dict[str, Row] = {}
    connection.execute(delete(unread_row).where(unread_row.c.id.in_(list(numbers.values()))))
    for id_, fact in batch:
        locator = fact.reading.locator
        number = numbers.setdefault(locator, free + len(rows))
        why = fact.problem.what if fact.problem else ""
        rows[locator] = (number, writer.source, locator, _title(fact), why, id_, int(f"row:{number}" not in aside))
    insert_many(connection, unread_row, UNREAD_COLUMNS, list(rows.values()))


def _title(fact: TakenFact) -> str:
    """The words by which a person finds an unreadable row again."""
    return fact.reading.get("title") or " · ".join(one.text for one in fact.reading.fields if one.text)
