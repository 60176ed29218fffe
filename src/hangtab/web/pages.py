"""Templates with what every page shows: the running head, the look, the words of figures.

Promises: every value in a page is escaped; only drawings of the rendering room are not.
"""

from __future__ import annotations

from datetime import date, datetime

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined

from hangtab.domain.dates import asked_day
from hangtab.domain.errors import HangtabError
from hangtab.rendering import words
from hangtab.usecases.desk import BookInfo
from hangtab.web.doors import Desk


class Pages:
    """Sets pages."""

    def __init__(self, desk: Desk, theme: str) -> None:
        """Keep the desk for the running head, and the theme (auto, light or dark)."""
        self._desk = desk
        self._theme = theme
        self._env = Environment(
            loader=PackageLoader("hangtab.web"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
            lstrip_blocks=True,
        )  # fmt: skip
        self._env.filters.update(
            grouped=lambda n: words.grouped(str(n)),
            day=lambda d: words.day(d.date() if isinstance(d, datetime) else d),
            when=words.when,
            per_cent=words.per_cent,
            minute=_minute,
            since_fit=since_fit,
        )

    def show(self, request: Request, template: str, *, status: int = 200, **values: object) -> HTMLResponse:
        """A page from its template."""
        del request  # the same page for everyone
        return HTMLResponse(self.text(template, info=self._info(), **values), status_code=status)

    def text(self, template: str, **values: object) -> str:
        """A template filled in."""
        said = {"theme": self._theme, "page": "", "info": None, **values}
        return self._env.get_template(template).render(said)

    def failure(self, request: Request, failure: HangtabError, status: int, *, fragment: bool = False) -> HTMLResponse:
        """A stated failure as a page, or as the part of one."""
        if fragment:
            return HTMLResponse(self.text("_error.html", failure=failure), status_code=status)
        asked = {name: request.query_params.get(name, "") for name in ("q", "price", "at", "about")}
        return self.show(request, "error.html", status=status, failure=failure, failure_status=status, **asked)

    def _info(self) -> BookInfo | None:
        try:
            return self._desk.info()
        except HangtabError:
            return None  # the page that reports the failing book must not fail as well


def parse_day(text: str, name: str) -> date | None:
    """A day of a query, None when empty. Raises HangtabError on what is no day."""
    if not text:
        return None
    try:
        return asked_day(text)
    except ValueError:
        raise HangtabError(
            f"Not a day: {text[:40]}", where=name, mend="Write year, month and day, such as 2026-11-20"
        ) from None


def since_fit(info: BookInfo) -> str:
    """What the newest fit does not know yet."""
    if info.fitted is None:
        return "Not fitted yet."
    newer = words.count(info.newer, "newer piece of evidence", "newer pieces of evidence") if info.newer else ""
    answers = words.count(info.answers, "answer") if info.answers else ""
    return f"{' and '.join(p for p in (newer, answers) if p)} since the fit.".capitalize()


def _minute(moment: datetime) -> str:
    return f"{words.day(moment.date())}, {moment:%H:%M}"
