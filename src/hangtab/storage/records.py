"""Between the domain's values and the book's rows, both ways; pure.

Rows made here are tuples in wire shape, in the order of the `*_COLUMNS` beside them. Reading back what was written
gives the same value. Not here: SQL, and which assertion leads (leading).
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Any

from sqlalchemy import RowMapping

from hangtab.domain.dates import Precision, When
from hangtab.domain.errors import BookError, Problem
from hangtab.domain.evidence import (
    ASKED,
    Evidence,
    Kind,
    Outcome,
    Postage,
    PostageKind,
    ReadField,
    Reading,
    Standing,
)
from hangtab.domain.money import Money
from hangtab.domain.price import AllInPrice, PriceStep, StepKind
from hangtab.domain.subject import Subject
from hangtab.storage.columns import to_json
from hangtab.usecases.ports import StoredName

MOST_CANDIDATES = 5
Row = tuple[Any, ...]
Columns = Mapping[str, Any] | RowMapping

SAID_COLUMNS = tuple(
    "kind title day precision price price_currency ask ask_currency postage_kind postage postage_currency started "
    "started_precision venue country listing seller standing outcome description said quantity certificate converted "
    "premium_included total_only language photos is_ask".split()
)
PRICED_COLUMNS = ("all_in", "item")
NAMED_COLUMNS = tuple(
    "subject sentence probability decided lot waits why packaging graded search".split(),
)
EVIDENCE_COLUMNS = ("id", "assertion", *SAID_COLUMNS, *PRICED_COLUMNS, *NAMED_COLUMNS)
NAME_COLUMNS = ("assertion", "none", "decided", "by", "lot", "why")
CANDIDATE_COLUMNS = ("assertion", "place", "subject", "text", "probability")
PRICE_COLUMNS = ("assertion", "total", "item", "currency", "rate_day", "estimated")
STEP_COLUMNS = ("assertion", "place", "kind", "label", "amount", "currency", "rate", "estimated")


def said_values(fact: Evidence) -> Row:
    """What a fact states, as `SAID_COLUMNS`."""
    started, postage = fact.started, fact.postage
    return (
        fact.kind.value,
        fact.title,
        fact.when.day.isoformat(),
        fact.when.precision.value,
        *_amount(fact.price),
        *_amount(fact.ask),
        postage.kind.value,
        *_amount(postage.amount),
        started.day.isoformat() if started else None,
        started.precision.value if started else None,
        fact.venue,
        fact.country,
        fact.listing,
        fact.seller,
        fact.standing.value,
        fact.outcome.value,
        fact.description,
        to_json(fact.said) if fact.said else "[]",
        fact.quantity,
        fact.certificate,
        int(fact.converted),
        int(fact.premium_included),
        int(fact.total_only),
        fact.language,
        to_json(fact.photos) if fact.photos else "[]",
        # Without a price, what was levelled is the ask: a bound, whatever the kind.
        int(fact.kind in ASKED or fact.price is None),
    )


def said_json(values: Row) -> str:
    """`said_values` as JSON text for the assertion; what is usual is left out."""
    said = zip(SAID_COLUMNS, values, _USUAL, strict=True)
    return to_json({column: value for column, value, usual in said if value != usual})


def said_again(said: Mapping[str, Any]) -> Row:
    """Inverse of `said_json`, for the values parsed."""
    return tuple(said.get(column, usual) for column, usual in zip(SAID_COLUMNS, _USUAL, strict=True))


def fact_of(id_: str, row: Columns) -> Evidence:
    """Inverse of `said_values`; days may be dates or ISO text."""
    started = row["started"]
    return Evidence(
        id=id_,
        kind=Kind(row["kind"]),
        title=row["title"],
        when=When(_day(row["day"]), Precision(row["precision"])),
        price=_money(row["price"], row["price_currency"]),
        ask=_money(row["ask"], row["ask_currency"]),
        postage=Postage(PostageKind(row["postage_kind"]), _money(row["postage"], row["postage_currency"])),
        started=When(_day(started), Precision(row["started_precision"])) if started else None,
        venue=row["venue"],
        country=row["country"],
        listing=row["listing"],
        seller=row["seller"],
        standing=Standing(row["standing"]),
        outcome=Outcome(row["outcome"]),
        description=row["description"],
        said=tuple((name, text) for name, text in row["said"]),
        quantity=row["quantity"],
        certificate=row["certificate"],
        converted=bool(row["converted"]),
        premium_included=bool(row["premium_included"]),
        total_only=bool(row["total_only"]),
        language=row["language"],
        photos=tuple(row["photos"]),
    )


def fact_said(id_: str, said: Mapping[str, Any]) -> Evidence:
    """The evidence as an assertion meant it, from its parsed JSON."""
    row = dict(zip(SAID_COLUMNS, said_again(said), strict=True))
    return fact_of(id_, {**row, "said": json.loads(row["said"]), "photos": json.loads(row["photos"])})


def named_values(title: str, name: StoredName | None, *, aside: bool = False) -> Row:
    """What lists show of the name that holds, as `NAMED_COLUMNS`."""
    first = name.candidates[0] if name and name.candidates else None
    decided = bool(name and name.decided)
    return (
        first[0] if first else "",
        first[1] if first else "",
        first[2] if first else None,
        int(decided),
        int(bool(name and name.lot)),
        int(not decided and not aside),
        (name.why if name else "It has no name yet") if not decided else "",
        *(_state_of(first[0]) if first else ("", None)),
        f"{title}\n{first[1] if first else ''}".casefold(),
    )


def priced_values(price: AllInPrice | None) -> Row:
    """All-in and item price in minor units, as `PRICED_COLUMNS`."""
    return (price.total.minor, price.item.minor) if price else (None, None)


def name_row(assertion: int, name: StoredName) -> Row:
    """One row of `name`."""
    return assertion, name.none, int(name.decided), name.by, int(name.lot), name.why


def candidate_rows(assertion: int, name: StoredName) -> list[Row]:
    """Rows of `candidate`, likeliest first."""
    return [(assertion, place, *one) for place, one in enumerate(name.candidates[:MOST_CANDIDATES])]


def name_of(
    row: Columns,
    candidates: Iterable[tuple[str, str, float]],
    nodes: Mapping[str, tuple[str, ...]],
) -> StoredName:
    """Inverse of `name_row` and `candidate_rows`; `nodes` are the chains kept by subject."""
    ranked = tuple(candidates)
    chain = nodes.get(ranked[0][0], ()) if ranked else ()
    return StoredName(ranked, row["none"], bool(row["decided"]), row["by"], bool(row["lot"]), row["why"], chain)


def name_json(name: StoredName) -> dict[str, Any]:
    """A settled name as JSON-able values."""
    return {
        "candidates": [list(one) for one in name.candidates[:MOST_CANDIDATES]],
        "none": name.none,
        "decided": name.decided,
        "by": name.by,
        "lot": name.lot,
        "why": name.why,
        "nodes": list(name.nodes),
    }


def name_from_json(value: Mapping[str, Any]) -> StoredName:
    """Inverse of `name_json`."""
    candidates = tuple((subject, text, chance) for subject, text, chance in value["candidates"])
    return name_of(value, candidates, {candidates[0][0]: tuple(value["nodes"])} if candidates else {})


def price_row(assertion: int, price: AllInPrice, currency: str) -> Row:
    """One row of `price`. Raises BookError when it is not levelled to the book's currency."""
    if price.total.currency != currency or price.item.currency != currency:
        where = f"an all-in price in {price.total.currency}"
        raise BookError(f"The book is kept in {currency}", where=where, mend=f"Level it to {currency} first")
    day = price.rate_day.isoformat() if price.rate_day else None
    return assertion, price.total.minor, price.item.minor, currency, day, int(price.estimated)


def step_rows(assertion: int, price: AllInPrice) -> list[Row]:
    """Rows of `price_step`, in order."""
    return [
        (
            assertion,
            place,
            step.kind.value,
            step.label,
            *_amount(step.amount),
            str(step.rate) if step.rate is not None else None,
            int(step.estimated),
        )
        for place, step in enumerate(price.steps)
    ]


def price_of(row: Columns, steps: Iterable[PriceStep]) -> AllInPrice:
    """Inverse of `price_row`."""
    currency = row["currency"]
    total, item = Money(row["total"], currency), Money(row["item"], currency)
    return AllInPrice(total, item, tuple(steps), row["rate_day"], bool(row["estimated"]))


def step_of(row: Sequence[Any]) -> PriceStep:
    """Inverse of `step_rows` for one step: kind, label, amount, currency, rate, estimated."""
    kind, label, amount, currency, rate, estimated = row
    exact = Decimal(rate) if rate is not None else None
    return PriceStep(StepKind(kind), label, _money(amount, currency), exact, bool(estimated))


def fields_json(reading: Reading) -> str:
    """The fields of a reading as JSON text, each with where it was read."""
    return to_json([(f.name, f.text, f.where, f.sure) for f in reading.fields])


def reading_of(source: str, locator: str, fields: Sequence[Sequence[Any]]) -> Reading:
    """Inverse of `fields_json`."""
    return Reading(source, locator, tuple(ReadField(*field) for field in fields))


def problem_json(problem: Problem | None) -> str | None:
    """A problem as JSON text."""
    return to_json((problem.what, problem.where, problem.mend)) if problem else None


def problem_of(value: Sequence[str] | None) -> Problem | None:
    """Inverse of `problem_json`."""
    return Problem(*value) if value else None


@lru_cache(maxsize=10_000)  # a book holds far more sales than subjects
def _state_of(key: str) -> tuple[str, int]:
    subject = Subject.parse(key)
    return subject.packaging.value, int(subject.grading is not None)


def _amount(money: Money | None) -> tuple[int | None, str | None]:
    return (money.minor, money.currency) if money else (None, None)


def _money(minor: int | None, currency: str | None) -> Money | None:
    return Money(minor, currency) if minor is not None and currency else None


def _day(value: date | str) -> date:
    return date.fromisoformat(value) if isinstance(value, str) else value


# What most evidence says, left out of an assertion's JSON. Part of the format: a change needs a migration.
_USUAL = said_values(Evidence("", Kind.SALE, "", When(date(2000, 1, 1))))
