"""Fit anew: begun by a form, made beside the server, taken up by itself. Not here: how it fits (explained)."""

from __future__ import annotations

from urllib.parse import urlsplit

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from hangtab.web.doors import Desk
from hangtab.web.pages import Pages


def routes(desk: Desk, pages: Pages) -> APIRouter:
    """The routes of the fit."""
    del pages
    router = APIRouter()

    @router.post("/fit")
    def begin(request: Request) -> Response:
        desk.fit()
        return RedirectResponse(_came_from(request), status_code=303)

    @router.get("/fit/state")
    def state() -> Response:
        info = desk.info()
        problem = "" if info.fitting else desk.fit_problem()
        return JSONResponse({"fitting": info.fitting, "fitted": str(info.fitted or ""), "problem": problem})

    return router


def _came_from(request: Request) -> str:
    """The page of this site that the form stood on, without what it reported; else the first page."""
    said = urlsplit(request.headers.get("referer", ""))
    if said.netloc != request.headers.get("host") or not said.path.startswith("/") or said.path.startswith("//"):
        return "/"
    return said.path + (f"?{said.query}" if said.query else "")
