"""What changes after take-in: names and prices made anew, a person's answers, and how much an answer would change.

Promises that text never overwrites a person's answer, and that an answer outlives its evidence: it lies dormant while
the evidence is retracted and holds again when it is taken in again.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select, update

from hangtab.domain.errors import BookError
from hangtab.domain.price import AllInPrice
from hangtab.storage.deriving import batches, held_values, next_id, write_names, write_nodes, write_prices
from hangtab.storage.engines import insert_many, update_many
from hangtab.storage.keeping import CURRENCY, read_setting, write_journal, write_setting
from hangtab.storage.readback import answers_for, names_of, row_number
from hangtab.storage.records import NAMED_COLUMNS, PRICED_COLUMNS, name_json, priced_values
from hangtab.storage.tables import answer, assertion, evidence, impact, name, price, unread_row
from hangtab.usecases.ports import Entry, StoredName


def rename(connection: Connection, names: Iterable[tuple[str, StoredName]], entry: Entry) -> None:
    """Replace names that text gave; ids that are not active are passed over."""
    count = 0
    for batch in batches(names):
        given = dict(batch)
        led = _led(connection, list(given))
        leading = [row.assertion for row in led]
        _mark_others(connection, [row.id for row in led], leading, "name_old")
        connection.execute(delete(name).where(name.c.assertion.in_(leading)))
        write_names(connection, [(row.assertion, given[row.id]) for row in led])
        write_nodes(connection, given.values())
        answers = answers_for(connection, given)
        rows = [(*held_values(row.id, row.title, given[row.id], answers), row.id) for row in led]
        update_many(connection, evidence, NAMED_COLUMNS, "id", rows)
        count += len(led)
    write_journal(connection, entry, renamed=count)


def reprice(
    connection: Connection, prices: Iterable[tuple[str, AllInPrice | None]], currency: str, entry: Entry
) -> None:
    """Replace all-in prices. A change of currency drops every price that is not given anew."""
    if currency != read_setting(connection, CURRENCY):
        connection.execute(delete(price))
        connection.execute(update(evidence).values(all_in=None, item=None))
        connection.execute(update(assertion).values(price_old=1))
        write_setting(connection, CURRENCY, currency)
    count = 0
    for batch in batches(prices):
        given = dict(batch)
        led = _led(connection, list(given))
        leading = [row.assertion for row in led]
        _mark_others(connection, [row.id for row in led], leading, "price_old")
        connection.execute(delete(price).where(price.c.assertion.in_(leading)))
        fresh = [(row.assertion, made) for row in led if (made := given[row.id])]
        write_prices(connection, fresh, currency)
        connection.execute(update(assertion).where(assertion.c.id.in_([id_ for id_, _ in fresh])).values(problem=None))
        update_many(
            connection, evidence, PRICED_COLUMNS, "id", [(*priced_values(given[row.id]), row.id) for row in led]
        )
        count += len(led)
    write_journal(connection, entry, repriced=count, currency=currency)


def outdated(connection: Connection) -> tuple[str, ...]:
    """Evidence that came to rest on another assertion after names or prices were made anew."""
    asked = select(evidence.c.id).join(assertion, assertion.c.id == evidence.c.assertion).order_by(evidence.c.id)
    old = (assertion.c.name_old == 1) | (assertion.c.price_old == 1)
    return tuple(connection.execute(asked.where(old)).scalars())


def settle(connection: Connection, target: str, settled: StoredName | None, entry: Entry, where: str) -> None:
    """Record an answer. Raises BookError for an id the book does not hold, or a name for an unreadable row."""
    number = row_number(target)
    found = select(evidence.c.id).where(evidence.c.id == target)
    if number is not None:
        found = select(unread_row.c.locator).where(unread_row.c.id == number, unread_row.c.assertion.is_not(None))
        if settled is not None:
            mend = "Mend the row in its source and take that in, or set the row aside"
            raise BookError("A row that could not be read has nothing to name", where=f"{where}, {target}", mend=mend)
    if connection.execute(found).first() is None:
        mend = "Choose one of those that wait, or take its source in again"
        raise BookError(f"No evidence {target} in this book", where=where, mend=mend)
    about = {"target": target, "at": entry.at, "who": entry.who}
    value = name_json(settled) if settled else None
    connection.execute(insert(answer).values(id=next_id(connection, answer), **about, name=value))
    if settled:
        write_nodes(connection, [settled])
    _refresh(connection, target)
    first = settled.candidates[0][0] if settled and settled.candidates else ""
    write_journal(connection, entry, target=target, subject=first, aside=settled is None)


def undo_last(connection: Connection, entry: Entry) -> str:
    """Take back the last answer that still holds; what it was about, empty when there is none."""
    asked = select(answer.c.id, answer.c.target).where(answer.c.undone.is_(None)).order_by(answer.c.id.desc()).limit(1)
    last = connection.execute(asked).one_or_none()
    if last is None:
        return ""
    connection.execute(update(answer).where(answer.c.id == last.id).values(undone=entry.at))
    _refresh(connection, last.target)
    write_journal(connection, entry, target=last.target)
    return str(last.target)


def count_answers(connection: Connection) -> int:
    """How many answers stand."""
    asked = select(func.count(answer.c.target.distinct())).where(answer.c.undone.is_(None), answer.c.name.is_not(None))
    return connection.execute(asked).scalar_one()


def write_impacts(connection: Connection, impacts: Iterable[tuple[str, float]]) -> None:
    """Replace how much an answer would change, for the ids given."""
    for batch in batches(dict(impacts).items()):
        connection.execute(delete(impact).where(impact.c.id.in_([id_ for id_, _ in batch])))
        insert_many(connection, impact, ("id", "value"), [(id_, float(value)) for id_, value in batch])


def _led(connection: Connection, ids: Sequence[str]) -> Sequence[Any]:
    asked = select(evidence.c.id, evidence.c.assertion, evidence.c.title).where(evidence.c.id.in_(ids))
    return connection.execute(asked).all()


def _mark_others(connection: Connection, ids: Sequence[str], leading: Sequence[int], mark: str) -> None:
    """Say that what was made for these ids is new for their leading assertions and old for all others."""
    mine = assertion.c.evidence_id.in_(ids)
    old = assertion.c[mark]
    connection.execute(update(assertion).where(mine, assertion.c.id.not_in(leading), old == 0).values({mark: 1}))
    connection.execute(update(assertion).where(assertion.c.id.in_(leading), old == 1).values({mark: 0}))


def _refresh(connection: Connection, target: str) -> None:
    answers = answers_for(connection, [target])
    number = row_number(target)
    if number is not None:
        waits = int(target not in answers)
        connection.execute(update(unread_row).where(unread_row.c.id == number).values(waits=waits))
        return
    for row in _led(connection, [target]):
        text = names_of(connection, [row.assertion]).get(row.assertion)
        values = (*held_values(row.id, row.title, text, answers), row.id)
        update_many(connection, evidence, NAMED_COLUMNS, "id", [values])
