"""Lists: the book's evidence as objects, what can be asked about, and a question that asks for a list of sales."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date

from hangtab.catalogue.variants import variants
from hangtab.domain.money import Money
from hangtab.domain.subject import Feature, Subject
from hangtab.naming import Saying
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import SalesFilter, SalesPage, Stored

SEASONS = {"spring": 3, "summer": 6, "autumn": 9, "fall": 9, "winter": 12}
MONTHS = {
    m: i
    for i, m in enumerate(
        "january february march april may june july august september october november december".split(), 1
    )
}
_ASKS_LIST = re.compile(r"^(all|every|list|show)\b.*\b(sales|sold|asks|listings|evidence)\b|\b(sales|sold)\s+since\b", re.IGNORECASE)
_SINCE = re.compile(r"\b(since|in)\s+(last\s+)?(\w+)(?:\s+(\d{4}))?", re.IGNORECASE)


def sales(parts: Parts, wanted: SalesFilter) -> SalesPage:
    """The list of sales, filtered and sorted."""
    return parts.book.sales(wanted)


def asks_for_list(parts: Parts, text: str, today: date) -> SalesFilter | None:
    """The filter that a question for a list means ("all harbour master sales since last autumn"), None for others."""
    if not _ASKS_LIST.search(text):
        return None
    since = _since(text, today)
    plain = _SINCE.sub(" ", _strip(text))
    naming = parts.namer.name(Saying(title=plain))
    kinds = () if re.search(r"\b(asks|listings|evidence)\b", text, re.IGNORECASE) else ("sale", "auction", "offer", "private", "trade")
    if not naming.candidates:
        return SalesFilter(text=plain.strip(), kinds=kinds, since=since)
    said = {r.kind for r in naming.candidates[0].speaks_for}
    subject = naming.candidates[0].subject
    chain = parts.catalogue.chain(subject.thing)
    node = chain.release if said & {"release", "card"} and chain.release else chain.character
    features = [f.id for f in subject.features]
    return SalesFilter(things=(node, *features), kinds=kinds, since=since)


def _strip(text: str) -> str:
    return re.sub(r"\b(all|every|list|show|sales?|sold|asks|listings|evidence|of|the)\b", " ", text, flags=re.IGNORECASE)


def _since(text: str, today: date) -> date | None:
    found = _SINCE.search(text)
    if not found:
        return None
    _, last, word, year = found.groups()
    word = word.lower()
    if word.isdigit() and len(word) == 4:  # noqa: PLR2004 - a year
        return date(int(word), 1, 1)
    month = SEASONS.get(word) or MONTHS.get(word)
    if month is None:
        return date(today.year - 1, 1, 1) if word == "year" and last else None
    if year:
        return date(int(year), month, 1)
    this = date(today.year, month, 1)
    # "Last autumn" in November is the autumn of the year before; without "last" the newest one that has begun.
    ended = (today.year - this.year) * 12 + today.month - month >= 3  # noqa: PLR2004 - a season's months
    begun = this <= today
    back = 0 if begun and (ended or not last) else 1
    return date(today.year - back, month, 1)


def subjects(parts: Parts, limit: int) -> Iterator[dict[str, object]]:
    """What can be asked about: named subjects of the book first, commonest first, then the catalogue's variants."""
    counts: dict[str, int] = {}
    for stored in parts.book.evidence():
        name = stored.name
        if name and name.decided and name.candidates and stored.evidence.is_price:
            counts[name.candidates[0][0]] = counts.get(name.candidates[0][0], 0) + 1
    given = 0
    for key, count in sorted(counts.items(), key=lambda p: (-p[1], p[0])):
        if given >= limit:
            return
        given += 1
        yield {"subject": subject_object(parts, Subject.parse(key)), "sales": count}
    for thing, packaging, features in variants(parts.catalogue):
        subject = Subject(thing, packaging, features=tuple(Feature(f) for f in features))
        if given >= limit:
            return
        if subject.key not in counts:
            given += 1
            yield {"subject": subject_object(parts, subject), "sales": 0}


def subject_object(parts: Parts, subject: Subject) -> dict[str, object]:
    """A subject for scripts: its key, its sentence, and the parts of both."""
    grading = subject.grading
    chain = parts.catalogue.chain(subject.thing)
    return {
        "key": subject.key,
        "text": parts.namer.sentence(subject),
        "thing": subject.thing,
        "line": chain.line,
        "character": chain.character,
        "packaging": subject.packaging.value,
        "grading": grading.key() if grading else None,
        "features": {f.id: f.state.value for f in subject.features},
        "flaws": list(subject.flaws),
        "parts": {p.id: p.state.value for p in subject.parts},
        "note": subject.note or None,
    }


def evidence_objects(parts: Parts) -> Iterator[dict[str, object]]:
    """What the book holds as stated, one object each in order of id. All-in prices are derived and not among it."""
    for stored in parts.book.evidence():
        yield evidence_object(stored)


def evidence_object(stored: Stored) -> dict[str, object]:
    """One piece of evidence for scripts."""
    e, name = stored.evidence, stored.name
    return {
        "id": e.id,
        "kind": e.kind.value,
        "title": e.title,
        "when": str(e.when),
        "started": str(e.started) if e.started else None,
        "price": _money(e.price),
        "ask": _money(e.ask),
        "postage": {"kind": e.postage.kind.value, "amount": _money(e.postage.amount)},
        "venue": e.venue,
        "country": e.country,
        "listing": e.listing,
        "seller": e.seller,
        "standing": e.standing.value,
        "outcome": e.outcome.value,
        "quantity": e.quantity,
        "certificate": e.certificate,
        "said": dict(e.said),
        "photos": list(e.photos),
        "name": None
        if name is None
        else {
            "subject": name.candidates[0][0] if name.candidates else None,
            "probability": name.candidates[0][2] if name.candidates else None,
            "decided": name.decided,
            "by": name.by,
        },
        "sources": [{"sha256": s, "name": n, "where": w} for s, n, w in stored.sources],
    }


def _money(money: Money | None) -> dict[str, object] | None:
    return {"amount": str(money.amount), "currency": money.currency} if money else None
