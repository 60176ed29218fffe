"""The look-up page: one box, its suggestions, and the answer."""

from __future__ import annotations

from collections.abc import Sequence

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from hangtab.naming import split_price
from hangtab.rendering import strips as drawn_strips
from hangtab.rendering import words
from hangtab.usecases.desk import Compared, SalesWanted, SeveralPieces
from hangtab.usecases.views import Answer
from hangtab.web import answer_page
from hangtab.web.doors import Desk
from hangtab.web.pages import Pages, parse_day
from hangtab.web.sales import sales_address


def routes(desk: Desk, pages: Pages) -> APIRouter:
    """The routes of this page."""
    router = APIRouter()

    @router.get("/")
    def look_up(
        request: Request, q: str = "", price: str = "", at: str = "", subject: str = "", about: str = ""
    ) -> Response:
        subject = subject or ("" if q.strip() or not price.strip() else about)
        if not q.strip() and not subject:
            return pages.show(request, "look_up.html", page="ask", price=price)
        day = parse_day(at, "the day of the estimate")
        answer = desk.answer(q.strip(), price=price.strip(), at=day, subject=subject, about=about)
        if isinstance(answer, SalesWanted):
            return RedirectResponse(sales_address(answer.wanted, said=answer.said), status_code=303)
        # A price typed among the words moves to its own field, where it can be changed.
        price = price or split_price(q)[1] or ""
        if isinstance(answer, Compared):
            return pages.show(request, "compared.html", page="ask", price=price, at=at, **_compared(answer))
        if isinstance(answer, SeveralPieces):
            return pages.show(request, "several.html", page="ask", price=price, at=at, about=about, **_several(answer))
        return pages.show(request, "answer.html", page="ask", **_answered(desk, answer, price, at))

    return router


def _answered(desk: Desk, answer: Answer, price: str, at: str) -> answer_page.View:
    key = answer.worth.subject.key
    sold = desk.as_sold([c.id for c in answer.worth.comparables], key)
    return answer_page.view(answer, sold, desk.outline(key), price, at)


def _several(answer: SeveralPieces) -> answer_page.View:
    return {
        "asked": answer.asked,
        "currency": words.currency_name(answer.currency),
        "rows": [
            {"text": o.text, "worth": words.worth(o.median), "href": answer_page.look_up(subject=o.subject)}
            for o in answer.others
        ],
    }


def _compared(answer: Compared) -> answer_page.View:
    spans = [side.worth.next_sale for side in answer.sides]
    drawn = drawn_strips.strips(
        [
            drawn_strips.Strip(s.ranges[80][0], s.ranges[50][0], s.median, s.ranges[50][1], s.ranges[80][1])
            for s in spans
        ]
    )
    first = answer.sides[0].worth
    shared, own = _shared([side.worth.text for side in answer.sides])
    return {
        "shared": shared,
        "asked": answer.asked,
        "about": first.subject.key,
        "sure": answer.sure,
        "currency": words.currency_name(first.currency),
        "at_day": words.day(first.at),
        "strip_head": drawn.head,
        "ratio": answer.ratio and tuple(f"{r:.2f}" for r in answer.ratio),
        "sides": [
            {
                "text": text,
                "worth": words.worth(side.worth.middle.median),
                "range": words.span(*side.worth.next_sale.ranges[80]),
                "seen": side.worth.seen,
                "strip": strip,
                "href": answer_page.look_up(subject=side.worth.subject.key),
            }
            for side, strip, text in zip(answer.sides, drawn.rows, own, strict=True)
        ],
    }


def _shared(sentences: Sequence[str]) -> tuple[str, list[str]]:
    """The beginning that all sentences share, and what each says beyond it; none is left empty.

    >>> _shared(["Night Diver, carded, Plumb 10, yellowed", "Night Diver, carded, Plumb 10"])
    ('Night Diver, carded', ['Plumb 10, yellowed', 'Plumb 10'])
    """
    parts = [sentence.split(", ") for sentence in sentences]
    most = min(len(p) for p in parts) - 1
    same = next((i for i in range(most) if len({p[i] for p in parts}) > 1), most)
    return ", ".join(parts[0][:same]), [", ".join(p[same:]) for p in parts]
