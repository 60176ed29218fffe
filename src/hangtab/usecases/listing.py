"""Lists: what can be asked about, and a question that asks for a list of sales."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date

from hangtab.catalogue.variants import variants
from hangtab.domain.subject import Feature, Subject
from hangtab.naming import Saying
from hangtab.usecases.desk import Asked
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import SalesFilter, SalesPage

SEASONS = {"spring": 3, "summer": 6, "autumn": 9, "fall": 9, "winter": 12}
MONTHS = {
    m: i
    for i, m in enumerate(
        "january february march april may june july august september october november december".split(), 1
    )
}
_ASKS_LIST = re.compile(
    r"^(all|every|list|show)\b.*\b(sales|sold|asks|listings|evidence)\b|\b(sales|sold)\s+since\b", re.IGNORECASE
)
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
    naming = parts.namer.name(Saying.ask(plain))
    kinds = (
        ()
        if re.search(r"\b(asks|listings|evidence)\b", text, re.IGNORECASE)
        else ("sale", "auction", "offer", "private", "trade")
    )
    if not naming.candidates:
        return SalesFilter(text=plain.strip(), kinds=kinds, since=since)
    said = {r.kind for r in naming.candidates[0].speaks_for}
    subject = naming.candidates[0].subject
    chain = parts.catalogue.chain(subject.thing)
    node = chain.release if said & {"release", "card"} and chain.release else chain.character
    features = [f.id for f in subject.features]
    return SalesFilter(things=(node, *features), kinds=kinds, since=since)


def _strip(text: str) -> str:
    return re.sub(
        r"\b(all|every|list|show|sales?|sold|asks|listings|evidence|of|the)\b", " ", text, flags=re.IGNORECASE
    )


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


def subjects(parts: Parts, limit: int) -> Iterator[Asked]:
    """What can be asked about: named subjects of the book first, commonest first, then the catalogue's variants."""
    counts = parts.book.sold_subjects()
    given = 0
    for key, count in sorted(counts.items(), key=lambda p: (-p[1], p[0])):
        if given >= limit:
            return
        given += 1
        yield _asked(parts, Subject.parse(key), count)
    for thing, packaging, features in variants(parts.catalogue):
        subject = Subject(thing, packaging, features=tuple(Feature(f) for f in features))
        if given >= limit:
            return
        if subject.key not in counts:
            given += 1
            yield _asked(parts, subject, 0)


def _asked(parts: Parts, subject: Subject, sales: int) -> Asked:
    return Asked(subject, parts.namer.sentence(subject), sales)
