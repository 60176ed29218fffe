"""Pasted lines to readings: one sale a line, "harbour master glow 34 sold 47 + 18 post Quayside US 3 Nov 2025".

Promises that each field keeps its characters, "line 3, characters 28-30" (from 0, end exclusive), and that what stands
before the first word of a sale is the title. A heading that ends in a colon ("Swap Shed, November 2025:") lends its
venue and date to the lines below it. Not here: the meaning of the words (kinds, facts).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from hangtab.domain.evidence import ReadField, Reading
from hangtab.intake.model import Setting, SourceFile
from hangtab.intake.rows import FROM_NAME
from hangtab.intake.spans import DAY, MONEY_SPAN, SIGNED
from hangtab.intake.tables import decoded
from hangtab.intake.venues import Places
from hangtab.intake.words import countries, header_phrases, status_phrases, statuses

_GAP = r"[\s:,;.()\0–—-]"  # between words; a currency sign is none of it
_SMALL = "for|at|by|fur|für|zu|um|bei|pour|a|à|voor|op|price|preis|prix|prijs|was|seller|is|it|hat|ist"
_LINK = rf"{_GAP}*(?:(?:{_SMALL}){_GAP}+){{0,3}}"
_LINKED = re.compile(f"(?i:{_LINK})({MONEY_SPAN.pattern})")
_LINKED_TOKEN = re.compile(rf"(?i:{_LINK})(\d\S*[^\s,;.)])")  # no amount, but it stands where one should
_ASKED = re.compile(
    rf"(?i:\b(?:asked|asking|ask|list price|verlangt|gefordert|demandé|demande|gevraagd|vraagprijs){_LINK})"
    rf"({MONEY_SPAN.pattern})"
)
_TRAILING = re.compile(
    r"(?:\W+(?:went|goes|was|were|has|is|it|for|at|ging|wurde|hat|est|a été|werd|is|voor|für|pour))+\W*$", re.IGNORECASE
)
_URL = re.compile(r"https?://\S+", re.IGNORECASE)
_LISTING = re.compile(
    r"#\s?([A-Za-z0-9-]*\d[A-Za-z0-9-]*)|\b(?:listing|item|lot|nr|no)\.?\s([A-Za-z]{0,3}-?\d{3,12})\b"
)
_COUNTRY = re.compile(r"\b[A-Z]{2}\b")
_PIECES = re.compile(r"\b(?:lot|konvolut|partij|paket|bundle)\s(?:of|von|de|van|mit)\s(\d{1,4})\b", re.IGNORECASE)
_SELLER = re.compile(r"\b(?:seller|verkaufer|vendeur|verkoper)\s\d+\b")
_LONGEST = 20_000
_BESIDE = 2  # characters


@dataclass(frozen=True, slots=True)
class _Span:
    start: int
    end: int
    name: str


def line_readings(source: SourceFile, sha256: str, setting: Setting) -> Iterator[Reading]:
    """The readings of a text, one for each line that speaks of a sale."""
    heading: tuple[ReadField, ...] = ()
    named = tuple(
        ReadField(n, t, FROM_NAME, 0.5)
        for n, t in zip(("venue", "country"), setting.places.in_name(source.name), strict=True)
        if t
    )
    for number, full in enumerate(decoded(source.data).splitlines(), 1):
        line = full[:_LONGEST]
        spans = _spans(line, setting.places)
        read = {s.name for s in spans}
        fields = tuple(_field(line, s, number) for s in spans)
        if not line.strip() or line.lstrip().startswith("//"):
            continue
        if line.rstrip().endswith(":") and "price" not in read:
            heading = tuple(f for f in fields if f.name in ("venue", "country", "sold"))
        elif "kind" in read or "price" in read:
            yield Reading(sha256, f"line {number}", (*fields, *heading, *named))


def _field(line: str, span: _Span, number: int) -> ReadField:
    where = f"line {number}, characters {span.start}-{span.end}"
    return ReadField(span.name, line[span.start : span.end], where, 0.8)


def _spans(line: str, places: Places) -> list[_Span]:
    """Everything that was found in a line, the title first."""
    folded = _folded(line)
    spans = list(_addresses(line, folded, places))
    says = [_Span(m.start(), m.end(), "kind") for m in _status_pattern().finditer(_without(folded, spans))]
    leading = [s for s in says if not folded[: s.start].strip() and "lot" not in statuses("kind", line[: s.end])]
    start = leading[0].end if leading else 0
    rest = _without(line, spans)
    spans += [*_sums(rest, says), *_side_facts(_folded(rest))]
    price = next((s for s in spans if s.name == "price"), None)
    opening = [s for s in says if s.start > start and (price is None or s.end <= price.start)]
    # The word next to the price opens the sale; without a price it is the first one.
    marks = [s.start for s in (*spans, *(opening[-1:] if price else opening[:1])) if s.start > start]
    if "quantity" in {s.name for s in spans}:  # "lot of 9 ..." is part of the title
        marks = [m for m in marks if m > next(s.end for s in spans if s.name == "quantity")]
    title = _trimmed(line, start, min(marks, default=len(line)))
    return [title, *says, *spans]


def _addresses(line: str, folded: str, places: Places) -> Iterator[_Span]:
    """Address, listing, day, venue and country: what looks the same anywhere in a line."""
    if found := _URL.search(line):
        yield _Span(*found.span(), "url")
        folded = folded[: found.start()] + " " * len(found[0]) + folded[found.end() :]
    days = list(DAY.finditer(folded))
    if days:
        yield _Span(*days[-1].span(), "sold")
    if found := _LISTING.search(line):
        group = 1 if found[1] else 2
        yield _Span(*found.span(group), "listing")
    venue = next((m for n in places.names if n and (m := re.search(rf"\b{re.escape(n)}\b", folded))), None)
    if venue:
        yield _Span(*venue.span(), "venue")
    country = _country(line, venue)
    if country:
        yield country


def _country(line: str, venue: re.Match[str] | None) -> _Span | None:
    """A country's code beside the venue, or near the end of a line that names none; "NO" in a title is no country."""
    codes = [m for m in _COUNTRY.finditer(line) if m[0].lower() in countries()]
    if venue:
        near = [m for m in codes if m.start() >= venue.end() or 0 < venue.start() - m.end() <= _BESIDE]
    else:
        near = [m for m in codes if m.start() > len(line) * 3 // 4 and not line.isupper()]
    return _Span(*near[0].span(), "country") if near else None


def _sums(rest: str, says: list[_Span]) -> Iterator[_Span]:
    """Price, postage and what was asked."""
    asked = _ASKED.search(rest)
    if asked:
        yield _Span(*asked.span(1), "ask")
        rest = _without(rest, [_Span(*asked.span(1), "ask")])
    linked = (_LINKED.match(rest, s.end) or _LINKED_TOKEN.match(rest, s.end) for s in says)
    price = next((m for m in linked if m), None)
    found = price.span(1) if price else None
    if found is None and (signed := SIGNED.search(rest)):
        found = signed.span()
    if found:
        yield _Span(*found, "price")
    at = found[1] if found else 0
    post = _postage_pattern().search(rest[at:])
    if post:
        start, end = next(post.span(i) for i in range(1, 5) if post[i])
        yield _Span(at + start, at + end, "postage")


def _side_facts(rest: str) -> Iterator[_Span]:
    if found := _PIECES.search(rest):
        yield _Span(*found.span(1), "quantity")
    if found := _SELLER.search(rest):
        yield _Span(*found.span(), "seller")


@lru_cache(maxsize=1)
def _status_pattern() -> re.Pattern[str]:
    phrases = sorted(status_phrases("kind") | status_phrases("outcome"), key=len, reverse=True)
    return re.compile(r"\b(?:" + "|".join(re.escape(p).replace(r"\ ", r"[\s'-]+") for p in phrases) + r")\b")


@lru_cache(maxsize=1)
def _postage_pattern() -> re.Pattern[str]:
    """Groups: a sum after a plus sign, one before or after a word for postage, a word that says it was free."""
    words = "|".join(
        re.escape(p).replace(r"\ ", r"\W") for p in sorted(header_phrases("postage"), key=len, reverse=True)
    )
    free = "|".join(
        re.escape(p).replace(r"\ ", r"\W") for p in sorted(status_phrases("postage"), key=len, reverse=True)
    )
    money = MONEY_SPAN.pattern
    words, free = f"(?i:{words})", f"(?i:{free})"
    return re.compile(
        rf"^\W*?\+\s*({money})|({money})\s*{words}\b|\b{words}\W+({money})|\b({free}\W+{words}|{words}\W+{free})\b"
    )


def _folded(line: str) -> str:
    """Lower case without accents, character for character, so that spans stay true."""
    return "".join(unicodedata.normalize("NFKD", c)[:1].lower()[:1] or c for c in line)


def _without(text: str, spans: list[_Span]) -> str:
    """The text with the spans blanked out."""
    for span in spans:
        text = text[: span.start] + "\0" * (span.end - span.start) + text[span.end :]
    return text


def _trimmed(line: str, start: int, end: int) -> _Span:
    inner = line[start:end]
    left = len(inner) - len(inner.lstrip(" \t:,;–—-*•"))
    right = len(_TRAILING.sub("", inner).rstrip(" \t:,;–—-(#"))
    return _Span(start + left, start + max(left, right), "title")
