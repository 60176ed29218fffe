"""Take-ins: what came when, from whom, and the way back."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from hangtab.rendering import words
from hangtab.web.doors import Desk
from hangtab.web.pages import Pages

_SHOWN = 50


def routes(desk: Desk, pages: Pages) -> APIRouter:
    """The routes of this page."""
    router = APIRouter()

    @router.get("/take-ins")
    def take_ins(request: Request, undone: int = -1, every: bool = False) -> Response:
        went = words.count(undone, "piece of evidence", "pieces of evidence") if undone >= 0 else ""
        rows = desk.take_ins()
        shown = rows if every else rows[:_SHOWN]
        return pages.show(request, "take_ins.html", page="take-ins", rows=shown, more=len(rows) - len(shown), went=went)

    @router.post("/take-ins/{take_in}/undo")
    def undo(take_in: int) -> Response:
        return RedirectResponse(f"/take-ins?undone={desk.undo_take_in(take_in)}", status_code=303)

    return router
