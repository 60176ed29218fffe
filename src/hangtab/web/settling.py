"""To settle: one item at a time with its source, its answers and what each changes; every answer can be undone."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from hangtab.domain.errors import HangtabError
from hangtab.rendering import words
from hangtab.rendering.svg import picture, tag
from hangtab.usecases.desk import BookInfo
from hangtab.usecases.ports import Waiting
from hangtab.usecases.views import Choice, Question
from hangtab.web.doors import NONE_OF_THESE, SET_ASIDE, Desk
from hangtab.web.evidence import excerpt_view
from hangtab.web.pages import Pages

_QUEUE = 10
_BAR = 156
_LEAST = 0.005  # under half of one per cent, "under 1 %"
_TELLING = 0.01  # an answer that changes a worth by less than this may wait for ever
_DONE = {
    "taken": "Taken.", NONE_OF_THESE: "Answered: none of these.", SET_ASIDE: "Set aside.",
    "undone": "The last answer is taken back.", "nothing": "Nothing is left to undo.",
}  # fmt: skip


def routes(desk: Desk, pages: Pages) -> APIRouter:
    """The routes of this page."""
    router = APIRouter()

    @router.get("/settle")
    def settle(
        request: Request,
        id: str = "",  # noqa: A002 - a word of the address
        at: int = 1,
        done: str = "",
        say: str = "",
    ) -> Response:
        question = desk.question(id, at, say.strip())
        if question is None:
            return pages.show(request, "settled.html", page="settle", done=_DONE.get(done, ""))
        return pages.show(
            request, "settle.html", page="settle", done=_DONE.get(done, ""), say=say.strip(),
            **_view(question, desk.queue(_QUEUE), desk.info()),
        )  # fmt: skip

    @router.post("/settle")
    def answered(
        id: Annotated[str, Form()],  # noqa: A002 - a field of the form
        at: Annotated[int, Form()] = 1,
        act: Annotated[str, Form()] = "take",
        choice: Annotated[str, Form()] = "",
    ) -> Response:
        taken = _taken(act, choice)
        desk.settle(id, taken)
        return _next(at, taken if act in {"none", "aside"} else "taken")

    @router.post("/settle/undo")
    def undo() -> Response:
        back = desk.undo_settle()
        if not back:
            return _next(1, "nothing")
        return RedirectResponse("/settle?" + urlencode({"id": back, "done": "undone"}), status_code=303)

    return router


def _taken(act: str, choice: str) -> str:
    """The answer that a button means. Raises HangtabError when none was marked."""
    taken = {"none": NONE_OF_THESE, "aside": SET_ASIDE}.get(act, choice)
    if not taken:
        raise HangtabError("No answer is marked", where="the item to settle", mend="Mark one, or set the item aside")
    return taken


def _next(at: int, done: str) -> Response:
    return RedirectResponse("/settle?" + urlencode({"at": max(at, 1), "done": done}), status_code=303)


def _view(question: Question, queue: Sequence[Waiting], info: BookInfo) -> dict[str, Any]:
    total = question.answered + question.waiting
    return {
        "id": question.id,
        "at": question.number,
        "item": f"Item {words.grouped(str(question.number))} of {words.grouped(str(question.waiting))}",
        "answered": question.answered,
        "waiting": question.waiting,
        "total": total,
        "progress": f"{_answered(question.answered)}, {words.grouped(str(question.waiting))} to go.",
        "question": question.question,
        "why": question.why,
        "raw": excerpt_view(question.raw, dict(info.venues)) if question.raw else None,
        "currency": words.currency_name(info.currency),
        "choices": [_choice(c, i) for i, c in enumerate(question.choices, 1)],
        "problem": question.problem,
        "queue": [_waiting(w, question.id) for w in queue],
        "more": max(question.waiting - len(queue), 0),
        "before": max(question.number - 1, 1),
        "after": question.number + 1,
    }


def _answered(number: int) -> str:
    return words.count(number, "answered", "answered").capitalize() if number else "None answered yet"


def _choice(choice: Choice, number: int) -> dict[str, Any]:
    width = max(1.0, _BAR * choice.probability)
    bar = tag("rect", x=0, y=5.5, width=_BAR, height=1, fill="var(--rule)")
    bar += tag("rect", x=0, y=2, width=width, height=8, fill="var(--estimate)")
    return {
        "number": number,
        "subject": choice.subject,
        "text": choice.text,
        "why": choice.why,
        "per_cent": words.per_cent(choice.probability)
        if choice.probability >= _LEAST
        else f"< {words.per_cent(_LEAST * 2)}",
        "bar": picture(_BAR, 12, bar),
        "changes": choice.changes,
    }


def _waiting(waiting: Waiting, current: str) -> dict[str, Any]:
    return {
        "title": waiting.title,
        "impact": words.per_cent(waiting.impact, 1) if waiting.impact >= _TELLING / 10 else "",
        "href": "/settle?" + urlencode({"id": waiting.id}),
        "current": waiting.id == current,
    }
