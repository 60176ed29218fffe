"""Evidence out of the book as values, with its name, its price and its sources.

Reads in pages, so that a book of any size streams. Not here: lists for pages (listing), writing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Any

from sqlalchemy import Connection, RowMapping, select

from hangtab.domain.evidence import Evidence, Reading
from hangtab.domain.price import AllInPrice, PriceStep
from hangtab.storage.records import fact_of, name_from_json, name_of, price_of, problem_of, reading_of, step_of
from hangtab.storage.tables import (
    answer,
    assertion,
    candidate,
    evidence,
    name,
    price,
    price_step,
    source,
    subject_node,
    unread_row,
)
from hangtab.usecases.ports import Stored, StoredName

PAGE = 1000


def all_evidence(connection: Connection) -> Iterator[Stored]:
    """All active evidence in order of id, streaming."""
    asked = select(evidence).order_by(evidence.c.id)
    rows = connection.execute(asked, execution_options={"yield_per": PAGE}).mappings()
    for page in rows.partitions(PAGE):
        yield from stored(connection, page)


def all_facts(connection: Connection) -> Iterator[Evidence]:
    """What all active evidence states, in order of id, streaming; no name, no price, no source is read."""
    asked = select(evidence).order_by(evidence.c.id)
    rows = connection.execute(asked, execution_options={"yield_per": PAGE}).mappings()
    return (fact_of(row["id"], row) for row in rows)


def some_evidence(connection: Connection, ids: Iterable[str]) -> Iterator[Stored]:
    """Evidence by id, in no order; ids that are not active are passed over."""
    left = iter(ids)
    while page := list(islice(left, PAGE)):
        found = connection.execute(select(evidence).where(evidence.c.id.in_(page))).mappings().all()
        yield from stored(connection, found)


def row_number(id_: str) -> int | None:
    """The number of an unreadable row, None when the id is that of evidence.

    >>> row_number("row:12"), row_number("quayside/q1")
    (12, None)
    """
    head, _, number = id_.partition("row:")
    return int(number) if not head and number.isascii() and number.isdigit() else None


def leading_reading(connection: Connection, id_: str) -> Reading | None:
    """The reading that a piece of evidence, or an unreadable row, rests on."""
    asked = select(assertion.c.source, assertion.c.locator, assertion.c.fields)
    number = row_number(id_)
    if number is None:
        asked = asked.join(evidence, evidence.c.assertion == assertion.c.id).where(evidence.c.id == id_)
    else:
        asked = asked.join(unread_row, unread_row.c.assertion == assertion.c.id).where(unread_row.c.id == number)
    row = connection.execute(asked).one_or_none()
    return reading_of(row.source, row.locator, row.fields) if row else None


def stored(connection: Connection, rows: Sequence[RowMapping]) -> list[Stored]:
    """Whole records for rows of `evidence`."""
    leading = [row["assertion"] for row in rows]
    ids = [row["id"] for row in rows]
    names, prices = names_of(connection, leading), prices_of(connection, leading)
    answers = answers_for(connection, ids)
    sources, problems = _origins(connection, ids)
    return [
        Stored(
            fact_of(row["id"], row),
            answers.get(row["id"]) or names.get(row["assertion"]),
            prices.get(row["assertion"]),
            tuple(sorted(sources[row["id"]])),
            problem_of(problems.get(row["assertion"])),
        )
        for row in rows
    ]


def names_of(connection: Connection, assertions: Sequence[int]) -> dict[int, StoredName]:
    """Names that text gave, by assertion."""
    candidates: defaultdict[int, list[tuple[str, str, float]]] = defaultdict(list)
    asked = select(candidate).where(candidate.c.assertion.in_(assertions)).order_by(*candidate.primary_key)
    for id_, _, subject, text, probability in connection.execute(asked):
        candidates[id_].append((subject, text, probability))
    nodes = nodes_of(connection, list({ranked[0][0] for ranked in candidates.values()}))
    found = connection.execute(select(name).where(name.c.assertion.in_(assertions))).mappings()
    return {row["assertion"]: name_of(row, candidates.get(row["assertion"], ()), nodes) for row in found}


def nodes_of(connection: Connection, subjects: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """The kept chains, by subject."""
    asked = select(subject_node).where(subject_node.c.subject.in_(subjects))
    nodes: dict[str, tuple[str, ...]] = {}
    for subject, _, node in connection.execute(asked.order_by(subject_node.c.subject, subject_node.c.place)):
        nodes[subject] = (*nodes.get(subject, ()), node)
    return nodes


def prices_of(connection: Connection, assertions: Sequence[int]) -> dict[int, AllInPrice]:
    """All-in prices with their steps, by assertion."""
    steps: defaultdict[int, list[PriceStep]] = defaultdict(list)
    asked = select(price_step).where(price_step.c.assertion.in_(assertions)).order_by(*price_step.primary_key)
    for id_, _, *step in connection.execute(asked):
        steps[id_].append(step_of(step))
    found = connection.execute(select(price).where(price.c.assertion.in_(assertions))).mappings()
    return {row["assertion"]: price_of(row, steps[row["assertion"]]) for row in found}


def answers_for(connection: Connection, targets: Iterable[str]) -> dict[str, StoredName | None]:
    """The person's answer that holds, by target; None where it was set aside."""
    asked = select(answer.c.target, answer.c.name).where(answer.c.undone.is_(None), answer.c.target.in_(list(targets)))
    found = connection.execute(asked.order_by(answer.c.id))
    return {target: name_from_json(value) if value else None for target, value in found}


def _origins(
    connection: Connection, ids: Sequence[str]
) -> tuple[defaultdict[str, set[tuple[str, str, str]]], dict[int, Any]]:
    asked = (
        select(assertion.c.evidence_id, assertion.c.id, source.c.sha256, source.c.name, assertion.c.locator)
        .add_columns(assertion.c.problem)
        .join(source, source.c.sha256 == assertion.c.source)
        .where(assertion.c.active == 1, assertion.c.evidence_id.in_(ids))
    )
    origins: defaultdict[str, set[tuple[str, str, str]]] = defaultdict(set)
    problems = {}
    for evidence_id, id_, *origin, problem in connection.execute(asked):
        origins[evidence_id].add((origin[0], origin[1], origin[2]))
        problems[id_] = problem
    return origins, problems
