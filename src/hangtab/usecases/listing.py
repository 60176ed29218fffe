"""Lists: what can be asked about, and a question that asks for a list of sales."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from hangtab.catalogue.variants import variants
from hangtab.domain.name import Candidate
from hangtab.domain.subject import Feature, Packaging, Subject
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
_SOLD_THEN = re.compile(r"\bsold\s+(?:in|since)\s+\w+", re.IGNORECASE)


def sales(parts: Parts, wanted: SalesFilter) -> SalesPage:
    """The list of sales, filtered and sorted."""
    return parts.book.sales(wanted)


def asks_for_list(parts: Parts, text: str, today: date, about: Subject | None = None) -> SalesFilter | None:
    """The filter that a question for a list means ("all harbour master sales since last autumn"), None for others.

    `about` is the piece last looked at: "is this the piece that sold in March?" lists its sales of that month.
    """
    if not (_ASKS_LIST.search(text) or (about and _SOLD_THEN.search(text))):
        return None
    since, until = period(text, today)
    plain = _SINCE.sub(" ", _strip(text))
    naming = parts.namer.name(Saying.ask(plain))
    kinds = (
        ()
        if re.search(r"\b(asks|listings|evidence)\b", text, re.IGNORECASE)
        else ("sale", "auction", "offer", "private", "trade")
    )
    if naming.candidates:
        things = _things(parts, naming.candidates[0])
        return SalesFilter(things=things, kinds=kinds, since=since, until=until)
    if about is not None:
        things = (about.thing, *(f.id for f in about.features))
        return SalesFilter(things=things, kinds=kinds, since=since, until=until, packaging=about.packaging.value)
    return SalesFilter(text=re.sub(r"\s+", " ", plain).strip(), kinds=kinds, since=since, until=until)


def _things(parts: Parts, candidate: Candidate) -> tuple[str, ...]:
    """The catalogue ids that the words name; a piece that only fits them narrows nothing."""
    said = {kind for r in candidate.speaks_for for kind in r.kind.split(", ")}
    chain = parts.catalogue.chain(candidate.subject.thing)
    features = tuple(f.id for f in candidate.subject.features)
    if "character" not in said and features:
        return features
    return (chain.release if said & {"release", "card"} and chain.release else chain.character, *features)


def names_of(parts: Parts, things: Sequence[str]) -> tuple[str, ...]:
    """How catalogue ids that narrow a list are called; an id the catalogue lacks stands for itself."""
    return tuple(_name_of(parts, thing) for thing in things)


def _name_of(parts: Parts, thing: str) -> str:
    catalogue = parts.catalogue
    for held in (catalogue.lines, catalogue.characters, catalogue.figures, catalogue.features):
        if thing in held:
            return held[thing].names.name
    try:
        chain = catalogue.chain(thing)
    except KeyError:
        return thing
    packaging = Packaging.PROTOTYPE if chain.prototype else Packaging.LOOSE
    if chain.release:
        packaging = catalogue.releases[chain.release].packaging
    return parts.namer.sentence(Subject(thing, packaging)).rpartition(",")[0]


def _strip(text: str) -> str:
    return re.sub(
        r"\b(all|every|list|show|sales?|sold|asks|listings|evidence|of|the)\b", " ", text, flags=re.IGNORECASE
    )


def period(text: str, today: date) -> tuple[date | None, date | None]:
    """First and last day meant; "since" has no last one, "in" a month or year has."""
    found = _SINCE.search(text)
    if not found:
        return None, None
    how, last, word, year = found.groups()
    since = _since(last, word, year, today)
    if since is None or how.lower() != "in":
        return since, None
    months = 12 if word.isdigit() or word.lower() == "year" else 3 if word.lower() in SEASONS else 1
    after = since.month - 1 + months
    return since, date(since.year + after // 12, after % 12 + 1, 1) - timedelta(days=1)


def _since(last: str, word: str, year: str, today: date) -> date | None:
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
