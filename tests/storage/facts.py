"""Facts of the invented world for the book's tests."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from hashlib import sha256

from hangtab.domain.dates import When
from hangtab.domain.errors import Problem
from hangtab.domain.evidence import (
    Evidence,
    Kind,
    Postage,
    PostageKind,
    ReadField,
    Reading,
    evidence_id,
)
from hangtab.domain.money import Money
from hangtab.domain.price import AllInPrice, PriceStep, StepKind
from hangtab.domain.subject import Grading, Packaging, Subject
from hangtab.usecases.ports import Entry, SourceRecord, StoredName, TakenFact

AT = datetime(2026, 11, 3, 12, tzinfo=UTC)
HARBOUR = Subject("tw-harbour-master-2", Packaging.CARDED, grading=Grading("northgate", "forty", "34"))
DIVER = Subject("tw-night-diver-1", Packaging.LOOSE)
NODES = {HARBOUR.thing: ("tidewardens", "harbour-master", HARBOUR.thing), DIVER.thing: ("tidewardens", DIVER.thing)}


def entry(verb="take in", minutes=0, **detail):
    return Entry("tester", AT + timedelta(minutes=minutes), verb, detail)


def source(name, data=None):
    content = data if data is not None else f"listing,price\n{name},47\n".encode() * 20
    return SourceRecord(sha256(content).hexdigest(), name, "csv", content)


def named(subject=HARBOUR, *, decided=True, why="", probability=0.9):
    first = (subject.key, f"{subject.thing}, {subject.packaging}", probability)
    second = ((DIVER if subject is HARBOUR else HARBOUR).key, "the other", 0.05)
    return StoredName((first, second), 0.05, decided=decided, why=why, nodes=NODES[subject.thing])


def priced(minor=6500, currency="EUR"):
    item = minor * 4 // 5
    steps = (
        PriceStep(StepKind.ITEM, "Item", Money(item, "GBP")),
        PriceStep(StepKind.POSTAGE, "Postage", Money(minor - item, "GBP"), estimated=True),
        PriceStep(StepKind.RATE, "Rate of 2 Nov", rate=Decimal("1.1489")),
        PriceStep(StepKind.ALL_IN, "All in", Money(minor, currency)),
    )
    return AllInPrice(Money(minor, currency), Money(item, currency), steps, date(2026, 11, 2), estimated=True)


def fact(record, row, listing="", *, kind=Kind.SALE, day=date(2026, 11, 3), title="Harbour Master 34", **more):
    """One taken fact of a source; `more` may hold name, price, problem, and fields of Evidence."""
    locator = f"row {row}"
    given = {"name": named(), "price": priced(), "problem": None} | {
        key: more.pop(key) for key in ("name", "price", "problem") if key in more
    }
    sold = kind not in {Kind.ASK, Kind.UNSOLD, Kind.START}
    known = Evidence(
        id=evidence_id(venue="quayside", listing=listing, source=record.sha256, locator=locator),
        kind=kind,
        title=title,
        when=more.pop("when", When(day)),
        price=more.pop("money", Money(4700, "GBP")) if sold else None,
        ask=None if sold else more.pop("money", Money(5200, "GBP")),
        postage=Postage(PostageKind.PAID, Money(1800, "GBP")),
        venue="quayside",
        listing=listing,
        country="GB",
        **more,
    )
    return TakenFact(reading(record, row, title), known, **given)


def reading(record, row, title="Harbour Master 34"):
    fields = (ReadField("title", title, f"cell B{row}"), ReadField("price", "47,00", f"cell C{row}", 0.8))
    return Reading(record.sha256, f"row {row}", fields)


def unread(record, row, what="The date is not a day: 31 February"):
    return TakenFact(reading(record, row), None, Problem(what, f"{record.name}, row {row}", "Mend the date"))
