"""How the model fits: the page of the newest fit.

Promises: what is shown adds up as shown; the words are those of the terminal. Not here: making a fit (fitting).
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from hangtab.rendering import fit_charts, fits, words
from hangtab.usecases.explaining import Explained, Left, Mover
from hangtab.web.doors import Desk
from hangtab.web.pages import Pages

SHOWN_EFFECTS, SHOWN_MOVERS = 3, 10
RULED = {fits.EFFECTS: "line", fits.ROWS: "total"}


def routes(desk: Desk, pages: Pages) -> APIRouter:
    """The routes of this page."""
    router = APIRouter()

    @router.get("/fit")
    def explained(request: Request) -> Response:
        return pages.show(request, "fit.html", **view(desk.explain()))

    return router


def view(made: Explained) -> dict[str, Any]:
    """Everything the template shows."""
    shares = fits.shares(made)
    widths = (fit_charts.WIDE, fit_charts.NARROW_PAGE)
    degrees = fits.degrees(made)
    sums = dict(degrees)
    stray = [*fits.told_classes(made), *(t for t in made.times if t.flag)]
    return {
        "summary": fits.summary(made),
        "explained": fits.explained_words(made),
        "warnings": made.warnings,
        "converged": made.converged,
        "carried": tuple(fit_charts.carried(shares, width) for width in widths),
        "effects": _effects(made),
        "drift": tuple(fit_charts.drift(made.times, width) for width in widths),
        "times": [_left(t) for t in made.times],
        "strays": fits.not_flagged(made),
        "classes": [_left(c) for c in stray],
        "usual": words.per_cent(made.usually_low),
        "movers": [_mover(m, made.currency) for m in made.movers[:SHOWN_MOVERS]],
        "currency": words.currency_name(made.currency),
        "degrees": degrees,
        "taken": sums[fits.EFFECTS],
        "left": sums[fits.LEFT],
        "ruled": RULED,
        "criterion": f"{made.criterion:.4f}",
        "slope": f"{made.gradient:.2g}",
    }


def _effects(made: Explained) -> list[dict[str, Any]]:
    """Each component that carries something with its largest values."""
    return [
        {
            "name": part.name,
            "freedom": fits.freedom(part),
            "spread": fits.spread(part),
            "values": [(e.value, fits.effect(e), words.grouped(str(e.sales))) for e in part.largest[:SHOWN_EFFECTS]],
        }
        for part in made.components
        if abs(part.share) >= fits.LEAST
    ]


def _left(row: Left) -> dict[str, Any]:
    name = row.value if row.by in (*fits.ALWAYS, "quarter", "year") else f"{row.by}: {row.value}"
    return {
        "name": name,
        "sales": words.grouped(str(row.sales)),
        "off": fits.off(row),
        "spread": f"× {row.spread:.2f}",
        "low": words.per_cent(row.low),
        "flag": fits.FLAGS[row.flag],
    }


def _mover(one: Mover, currency: str) -> dict[str, str]:
    about = ", ".join(p for p in (one.place, words.when(one.sold) if one.sold else "") if p)
    return {
        "href": f"/evidence/{quote(one.id)}",
        "text": one.text or one.id,
        "about": about,
        "price": words.exact(one.price, currency),
        "said": fits.moved(one),
        "moves": f"{abs(one.moves):.1f}",
        "share": words.per_cent(one.share),
    }
