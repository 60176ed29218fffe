"""Which assertion a piece of evidence is derived from, when several sources state the same fact.

Promises an order that is total and does not depend on what was taken in first: sold before ended unsold before running,
a sale whose price is known before one whose price is hidden, then the latest date, then the smallest source and
locator. Not here: the id that makes two readings the same fact (domain.evidence).
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import ColumnElement, func

from hangtab.domain.evidence import Evidence, Kind
from hangtab.storage.tables import assertion

Place = tuple[int, int, str, str, int]

_RUNNING, _ENDED, _SOLD, _SOLD_FOR = range(4)


def rank_of(fact: Evidence) -> int:
    """How much a reading tells of what became of it, 0 to 3."""
    if fact.kind is Kind.ASK or (fact.kind is Kind.LOT and fact.price is None):
        return _RUNNING
    if fact.kind in {Kind.UNSOLD, Kind.START}:
        return _ENDED
    return _SOLD if fact.price is None else _SOLD_FOR


def place_of(row: Any) -> Place:  # noqa: ANN401 - a row of `assertion`
    """Sort key of an assertion; the smallest leads. Equals `leads_first` in SQL."""
    return -row.rank, -row.day.toordinal(), row.source, row.locator, row.id


def leads_first() -> ColumnElement[int]:
    """Place of each assertion among those of the same evidence, 1 for the leading one."""
    order = (assertion.c.rank.desc(), assertion.c.day.desc(), assertion.c.source, assertion.c.locator, assertion.c.id)
    return func.row_number().over(partition_by=assertion.c.evidence_id, order_by=order)
