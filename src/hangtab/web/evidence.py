"""One piece of evidence down to its raw source: the steps of its price, what was read where, and the photo.

Promises: a source is never shown as anything but text (a photo as an image); its bytes leave only as a download.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from decimal import Context
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from hangtab.domain.errors import HangtabError, UnknownPieceError
from hangtab.domain.price import AllInPrice, PriceStep, StepKind
from hangtab.rendering import words
from hangtab.usecases.views import Detail, Mark, RawExcerpt
from hangtab.web.answer_page import SURE, look_up
from hangtab.web.doors import Desk
from hangtab.web.pages import Pages
from hangtab.web.sales import KIND_WORDS

# First bytes of the pictures a browser shows. Source: the formats' own specifications (PNG, JFIF, GIF, RIFF/WebP). What
# a file says of itself counts, not its name: anything else is never sent as a picture.
_PICTURES = ((b"\x89PNG\r\n\x1a\n", "image/png"), (b"\xff\xd8\xff", "image/jpeg"), (b"GIF8", "image/gif"))
_WEBP = (b"RIFF", b"WEBP")
_RATE_DIGITS = 5
_ISO_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_LINES = {StepKind.PAID: "line", StepKind.ALL_IN: "total"}


def routes(desk: Desk, pages: Pages) -> APIRouter:
    """The routes of evidence and sources."""
    router = APIRouter()

    def found(evidence_id: str) -> Detail:
        detail = desk.detail(evidence_id)
        if detail is None:
            raise UnknownPieceError(
                "The book has no such evidence", where=evidence_id[:80], mend="Find it in the list of sales"
            )
        return detail

    def shown(evidence_id: str) -> dict[str, Any]:
        return detail_view(found(evidence_id), dict(desk.info().venues))

    @router.get("/evidence/{evidence_id:path}/open")
    def opened(evidence_id: str) -> Response:
        return Response(pages.text("_opened.html", **shown(evidence_id)), media_type="text/html")

    @router.get("/evidence/{evidence_id:path}")
    def evidence(request: Request, evidence_id: str) -> Response:
        return pages.show(request, "evidence.html", page="sales", **shown(evidence_id))

    _sources(router, desk)
    return router


def _sources(router: APIRouter, desk: Desk) -> None:
    """Photos as images, everything else as a plain download."""

    @router.get("/photo/{sha256}")
    def photo(sha256: str) -> Response:
        record = desk.source(sha256)
        media = picture_type(record.data) if record else ""
        if record is None or not media:
            raise HangtabError("The book has no such photo", where=sha256[:64], mend="Open the sale it belongs to")
        return Response(record.data, media_type=media, headers={"Cache-Control": "max-age=31536000, immutable"})

    @router.get("/source/{sha256}")
    def source(sha256: str) -> Response:
        record = desk.source(sha256)
        if record is None:
            raise HangtabError("The book has no such source", where=sha256[:64], mend="Open the sale it belongs to")
        name = quote(record.name.replace("\\", "/").rsplit("/", 1)[-1] or "source")
        return Response(
            record.data,
            media_type="text/plain; charset=utf-8",
            headers={"Content-Disposition": f"attachment; filename*=UTF-8''{name}"},
        )


def picture_type(data: bytes) -> str:
    """The media type of a picture by its first bytes, empty for anything else.

    >>> picture_type(b"GIF89a..."), picture_type(b"<svg onload='x'>")
    ('image/gif', '')
    """
    if data[:4] == _WEBP[0] and data[8:12] == _WEBP[1]:
        return "image/webp"
    return next((media for first, media in _PICTURES if data.startswith(first)), "")


def detail_view(detail: Detail, venues: Mapping[str, str]) -> dict[str, Any]:
    """Everything that the page and its fragment show."""
    evidence = detail.evidence
    return {
        "id": evidence.id,
        "href": f"/evidence/{quote(evidence.id)}",
        "title": evidence.title,
        "description": evidence.description,
        "text": detail.text,
        "decided": detail.decided,
        "probability": detail.probability,
        "worth_href": look_up(subject=detail.subject.key) if detail.subject else "",
        "settle_href": f"/settle?id={quote(evidence.id, safe='')}",
        "problem": detail.problem,
        "facts": _facts(detail, venues),
        "steps": steps(detail.price) if detail.price else [],
        "rate_day": words.day(detail.price.rate_day) if detail.price and detail.price.rate_day else "",
        "excerpts": [excerpt_view(e, venues) for e in detail.raw],
        "photos": sorted({e.photo for e in detail.raw if e.photo} | set(evidence.photos)),
    }


def _facts(detail: Detail, venues: Mapping[str, str]) -> list[tuple[str, str]]:
    evidence = detail.evidence
    venue = ", ".join(p for p in (venues.get(evidence.venue, evidence.venue), evidence.country) if p)
    facts = [
        ("kind", KIND_WORDS[evidence.kind]),
        ("when", words.when(evidence.when)),
        ("venue", venue),
        ("asked", words.paid(evidence.ask) if evidence.ask else ""),
        ("seller", evidence.seller),
        ("standing", evidence.standing.value),
        ("outcome", evidence.outcome.value),
        ("certificate", evidence.certificate),
        *evidence.said,
    ]
    return [(name, text) for name, text in facts if text]


def steps(price: AllInPrice) -> list[dict[str, object]]:
    """The lines of the sum, as they are shown."""
    paid = next((s.amount.currency for s in price.steps if s.kind is StepKind.PAID and s.amount), "")
    return [_step(step, price, paid) for step in price.steps]


def _step(step: PriceStep, price: AllInPrice, paid: str) -> dict[str, object]:
    label, figure = step.label, ""
    if step.amount is not None:
        figure = words.exact(float(step.amount.amount), step.amount.currency)
        sign = words.sign(step.amount.currency).strip()
        if step.kind in {StepKind.ITEM, StepKind.PAID, StepKind.ALL_IN} and sign not in label:
            label = f"{label}, {sign}"
    elif step.rate is not None:
        # As many digits as the total has, and one more, so that the product can be checked to the minor unit.
        digits = max(_RATE_DIGITS, len(str(abs(price.total.minor))) + 1)
        figure = f"× {step.rate.normalize(Context(prec=digits)):f}"
        exchange = f"{words.sign(price.total.currency)}{words.HARD}for{words.HARD}{words.sign(paid)}1"
        label = label.replace(exchange.replace(words.HARD, " "), exchange)
        if paid and exchange not in label:
            label = f"{label}, {exchange}"
    return {"label": label, "figure": figure, "cls": _LINES.get(step.kind, ""), "estimated": step.estimated}


def _read(mark: Mark, venues: Mapping[str, str]) -> str:
    """What was read, as the book writes it: venues by name, days in words."""
    if mark.meaning == "venue":
        return venues.get(mark.value, mark.value)
    return words.when(mark.value) if _ISO_DAY.fullmatch(mark.value) else mark.value


def excerpt_view(excerpt: RawExcerpt, venues: Mapping[str, str] | None = None) -> dict[str, Any]:
    """A raw excerpt with its read characters set apart."""
    return {
        "source": excerpt.source,
        "name": excerpt.source_name,
        "locator": excerpt.locator,
        "photo": excerpt.photo,
        "pieces": [
            (text, None if mark is None else {"letter": mark.letter, "unsure": mark.sure < SURE})
            for text, mark in pieces(excerpt.text, excerpt.marks)
        ],
        "readings": [
            {
                "letter": m.letter,
                "meaning": m.meaning,
                "value": _read(m, venues or {}),
                "sure": m.sure,
                "unsure": m.sure < SURE,
            }
            for m in excerpt.marks
        ],
    }


def pieces(text: str, marks: tuple[Mark, ...]) -> Iterator[tuple[str, Mark | None]]:
    """The text cut at its marks, in order; a mark inside another one is left to the reading list."""
    at = 0
    for mark in sorted(marks, key=lambda m: (m.start, -m.end)):
        if mark.start < at or mark.end <= mark.start or mark.end > len(text):
            continue
        if mark.start > at:
            yield text[at : mark.start], None
        yield text[mark.start : mark.end], mark
        at = mark.end
    if at < len(text):
        yield text[at:], None
