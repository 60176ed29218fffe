"""The track record: how wrong the estimates were on sales that came later."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from hangtab.backtest import LAST_FIVE, Study
from hangtab.rendering import track, track_charts, words
from hangtab.usecases.backtest import KeptStudy
from hangtab.web.doors import Desk
from hangtab.web.pages import Pages


def routes(desk: Desk, pages: Pages) -> APIRouter:
    """The route of this page."""
    router = APIRouter()

    @router.get("/track-record")
    def track_record(request: Request) -> Response:
        kept = desk.track_record()
        return pages.show(
            request, "track_record.html", page="track-record", **(view(kept) if kept else {"study": None})
        )

    return router


def view(kept: KeptStudy) -> dict[str, Any]:
    """Everything the template shows."""
    study = kept.study
    every = study.overall
    return {
        "study": study,
        "made": kept.made,
        "figure": {"error": f"{100 * every.error:.0f}", "sales": words.count(every.sales, "sale"),
                   "near": words.per_cent(every.near), "held": words.per_cent(every.held_80)},
        "origins": [words.when(day) for day in study.origins],
        "days": words.count(len(study.origins), "day"),
        "thin": (track.THIN_HEADS, [track.class_row(c) for c in track.by_thinness(study.classes)]),
        "kinds": (track.KIND_HEADS, [track.class_row(c) for c in track.by_kind(study.classes)]),
        "peers": (track.PEER_HEADS, [track.peer_row(p.name, p.overall) for p in study.peers]),
        "bands": (track.BAND_HEADS, track.band_rows(study)),
        "held": [track.held_row(h) for h in study.held],
        "sentences": track.sentences(track.narrow(study.classes)),
        "currency": words.currency_name(study.currency),
        **_charts(study),
    }  # fmt: skip


def _charts(study: Study) -> dict[str, Any]:
    ranges = [track_charts.Nominal(h.nominal, h.held, h.sales) for h in study.held]
    other = {c.thin: c.error for p in study.peers if p.name == LAST_FIVE for c in p.thin}
    bars = [
        track_charts.Bar(track.THIN_NAMES.get(c.thin, c.thin), c.error, other.get(c.thin), c.sales)
        for c in track.by_thinness(study.classes)
    ]
    return {
        "reliability": tuple(track_charts.reliability(ranges, w) for w in (track_charts.WIDE, track_charts.NARROW)),
        "errors": tuple(track_charts.errors(bars, w) for w in (track_charts.WIDE, track_charts.NARROW)),
        "held_key": [
            (track_charts.meant_swatch(), "meant to hold, with what chance alone allows, 95 in 100"),
            (track_charts.held_swatch(), "held"),
        ],
        "errors_key": [
            (track_charts.ours_swatch(), "Hangtab"),
            *([(track_charts.other_swatch(), "the last five sales of the variant")] if other else []),
        ],
    }
