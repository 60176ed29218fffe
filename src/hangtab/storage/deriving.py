"""Evidence derived from assertions: the rows that lists and valuing read.

Promises that an evidence row always says what its leading assertion says, under the name that holds: a person's answer
where there is one, else the text's. Not here: writing assertions (taking), new names and prices (revising).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import TypeVar

from sqlalchemy import Connection, Table, delete, func, select

from hangtab.domain.price import AllInPrice
from hangtab.storage.engines import insert_many
from hangtab.storage.leading import leads_first
from hangtab.storage.readback import answers_for, names_of, nodes_of, prices_of
from hangtab.storage.records import (
    CANDIDATE_COLUMNS,
    EVIDENCE_COLUMNS,
    NAME_COLUMNS,
    PRICE_COLUMNS,
    SAID_COLUMNS,
    STEP_COLUMNS,
    Row,
    candidate_rows,
    name_row,
    named_values,
    price_row,
    priced_values,
    said_again,
    step_rows,
)
from hangtab.storage.tables import assertion, candidate, evidence, name, price, price_step, subject_node
from hangtab.usecases.ports import StoredName

BATCH = 1000
_TITLE = SAID_COLUMNS.index("title")
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Claim:
    """What one assertion makes of its evidence: `said` in the order of `SAID_COLUMNS`."""

    assertion: int
    id: str
    said: Row
    name: StoredName | None
    price: AllInPrice | None


def batches(values: Iterable[_T]) -> Iterator[list[_T]]:
    """Lists of at most `BATCH` values."""
    left = iter(values)
    while batch := list(islice(left, BATCH)):
        yield batch


def next_id(connection: Connection, table: Table) -> int:
    """The next number of a table; safe because one writer at a time holds the book."""
    found: int = connection.execute(select(func.coalesce(func.max(table.c.id), 0) + 1)).scalar_one()
    return found


def put_evidence(connection: Connection, claims: Sequence[Claim]) -> None:
    """Write the evidence of leading assertions over what was there."""
    ids = [claim.id for claim in claims]
    answers = answers_for(connection, ids)
    connection.execute(delete(evidence).where(evidence.c.id.in_(ids)))
    rows = [
        (
            claim.id,
            claim.assertion,
            *claim.said,
            *priced_values(claim.price),
            *held_values(claim.id, claim.said[_TITLE], claim.name, answers),
        )
        for claim in claims
    ]
    insert_many(connection, evidence, EVIDENCE_COLUMNS, rows)


def held_values(id_: str, title: str, text: StoredName | None, answers: Mapping[str, StoredName | None]) -> Row:
    """`named_values` of the name that holds for one piece of evidence."""
    answered = answers.get(id_)
    return named_values(title, answered or text, aside=id_ in answers and answered is None)


def derive_again(connection: Connection, ids: Sequence[str]) -> int:
    """Derive evidence that has no row from what is still asserted; returns how many had something left."""
    ranked = (
        select(assertion.c.id, assertion.c.evidence_id, assertion.c.said, leads_first().label("place"))
        .where(assertion.c.active == 1, assertion.c.evidence_id.in_(ids))
        .subquery()
    )
    found = connection.execute(select(ranked).where(ranked.c.place == 1)).all()
    leading = [row.id for row in found]
    names, prices = names_of(connection, leading), prices_of(connection, leading)
    put_evidence(
        connection,
        [Claim(row.id, row.evidence_id, said_again(row.said), names.get(row.id), prices.get(row.id)) for row in found],
    )
    return len(found)


def write_names(connection: Connection, names: Sequence[tuple[int, StoredName]]) -> None:
    """Write names that text gave, by assertion; there are none yet."""
    insert_many(connection, name, NAME_COLUMNS, [name_row(*one) for one in names])
    insert_many(connection, candidate, CANDIDATE_COLUMNS, [row for one in names for row in candidate_rows(*one)])


def write_prices(connection: Connection, prices: Sequence[tuple[int, AllInPrice]], currency: str) -> None:
    """Write all-in prices with their steps, by assertion; there are none yet."""
    insert_many(connection, price, PRICE_COLUMNS, [price_row(*one, currency) for one in prices])
    insert_many(connection, price_step, STEP_COLUMNS, [row for one in prices for row in step_rows(*one)])


def write_nodes(connection: Connection, names: Iterable[StoredName]) -> None:
    """Keep the chains of first candidates, so that lists can ask for a whole line."""
    chains = {one.candidates[0][0]: one.nodes for one in names if one.candidates and one.nodes}
    there = nodes_of(connection, list(chains))
    changed = {subject: nodes for subject, nodes in chains.items() if there.get(subject) != nodes}
    if changed:
        connection.execute(delete(subject_node).where(subject_node.c.subject.in_(list(changed))))
    rows = [(subject, place, node) for subject, nodes in changed.items() for place, node in enumerate(nodes)]
    insert_many(connection, subject_node, ("subject", "place", "node"), rows)
