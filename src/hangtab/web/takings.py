"""Take-ins: what came when, from whom, and the way back."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from hangtab.rendering import words
from hangtab.web.doors import Desk
from hangtab.web.pages import Pages


def routes(desk: Desk, pages: Pages) -> APIRouter:
    """The routes of this page."""
    router = APIRouter()

    @router.get("/take-ins")
    def take_ins(request: Request, undone: int = -1) -> Response:
        went = words.count(undone, "piece of evidence", "pieces of evidence") if undone >= 0 else ""
        return pages.show(request, "take_ins.html", page="take-ins", rows=desk.take_ins(), went=went)

    @router.post("/take-ins/{take_in}/undo")
    def undo(take_in: int) -> Response:
        return RedirectResponse(f"/take-ins?undone={desk.undo_take_in(take_in)}", status_code=303)

    return router
