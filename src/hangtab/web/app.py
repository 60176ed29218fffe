"""The web application: pages and JSON on one desk.

Promises: nothing is loaded from elsewhere, no script or style stands in a page, a stated failure becomes a page (or
JSON, or a fragment) with its status. Reads: a Desk. Gives: an ASGI application. Not here: what the routes do.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from importlib.resources import files
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import FileResponse, JSONResponse, PlainTextResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.middleware.trustedhost import TrustedHostMiddleware

from hangtab.domain.errors import BookError, HangtabError, PriceError, SourceError, UnknownPieceError
from hangtab.rendering.fonts import faces
from hangtab.web import api, asking, evidence, explained, fitting, sales, settling, takings, track_record
from hangtab.web.doors import Desk
from hangtab.web.pages import Pages

LOCAL = ("localhost", "127.0.0.1", "[::1]", "testserver")

_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}

# How a stated failure looks over HTTP; the nearest class counts.
_STATUS: dict[type[HangtabError], int] = {
    UnknownPieceError: 404,
    PriceError: 400,
    SourceError: 400,
    BookError: 503,
    HangtabError: 400,
}


def create_app(desk: Desk, *, theme: str = "auto", hosts: Sequence[str] = LOCAL) -> FastAPI:
    """The application on a desk; `theme` is auto, light or dark, `hosts` the names it answers to."""
    app = FastAPI(
        title="Hangtab", docs_url=None, redoc_url=None, openapi_url="/api/openapi.json",
        summary="What one exact piece in one exact condition is worth.",
    )  # fmt: skip
    pages = Pages(desk, theme)
    for room in (asking, sales, evidence, settling, takings, fitting, explained, track_record):
        app.include_router(room.routes(desk, pages), include_in_schema=False)
    app.include_router(api.routes(desk))
    app.get("/static/fonts/{name}", include_in_schema=False)(_font)
    app.mount("/static", StaticFiles(directory=Path(str(files("hangtab.web") / "static"))))
    _failures(app, pages)
    app.middleware("http")(_guard)
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=list(hosts))
    return app


def _font(name: str) -> Response:
    """One face of the look."""
    if name not in faces():
        return PlainTextResponse("No such face", status_code=404)
    return FileResponse(faces()[name], media_type="font/ttf", headers={"Cache-Control": "max-age=86400"})


async def _guard(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
    """Refuse a form posted from another site, and state the rules of the page with every answer."""
    if request.method not in {"GET", "HEAD"} and _foreign(request):
        return PlainTextResponse("A form from another site is not taken", status_code=403, headers=_HEADERS)
    response = await call_next(request)
    for name, value in _HEADERS.items():
        response.headers.setdefault(name, value)
    return response


def _foreign(request: Request) -> bool:
    """Whether a browser says that the request comes from another site; programs say nothing and are let through."""
    site = request.headers.get("sec-fetch-site", "")
    origin = request.headers.get("origin", "")
    other = bool(origin) and origin.partition("://")[2] != request.headers.get("host", "")
    return other if not site else site not in {"same-origin", "none"}


def _failures(app: FastAPI, pages: Pages) -> None:
    def show(request: Request, failure: HangtabError, status: int) -> Response:
        if request.url.path.startswith("/api/"):
            said = {"what": failure.what, "where": failure.where, "mend": failure.mend}
            return JSONResponse(said, status_code=status)
        fragment = request.url.path.endswith("/open")
        return pages.failure(request, failure, status, fragment=fragment)

    async def stated(request: Request, failure: Exception) -> Response:
        known = failure if isinstance(failure, HangtabError) else HangtabError(str(failure), where="", mend="")
        status = next(_STATUS[c] for c in type(known).__mro__ if c in _STATUS)
        return show(request, known, status)

    async def missing(request: Request, failure: Exception) -> Response:
        status = failure.status_code if isinstance(failure, HTTPException) else 404
        said = "There is no such page" if status == 404 else "This cannot be done here"  # noqa: PLR2004 - not found
        error = HangtabError(said, where=request.url.path, mend="Look it up, or choose a page above")
        return show(request, error, status)

    async def unreadable(request: Request, failure: Exception) -> Response:
        problems = failure.errors() if isinstance(failure, RequestValidationError) else []
        where = ", ".join(str(p["loc"][-1]) for p in problems) or "the request"
        said = "; ".join(str(p["msg"]) for p in problems) or "It cannot be read"
        return show(request, HangtabError(said, where=where, mend="Correct it and ask again"), 400)

    async def failed(request: Request, failure: Exception) -> Response:
        del failure  # the server's log tells it
        mend = "The terminal that serves the pages says more; nothing in the book was changed"
        page = show(request, HangtabError("The program failed here", where=request.url.path, mend=mend), 500)
        page.headers.update(_HEADERS)  # made outside the guard
        return page

    app.exception_handler(Exception)(failed)
    app.exception_handler(HangtabError)(stated)
    app.exception_handler(HTTPException)(missing)
    app.exception_handler(RequestValidationError)(unreadable)
