"""Two small pictures of a fit: what carries the prices, and what is left over by quarter.

Promises: the shapes and colours of the other pictures; what is worked out is teal, what was seen is ink, what is not
explained is hollow. Reads: shares and classes. Gives: SVG drawn by hand. Not here: their words (fits).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from hangtab.rendering import marks
from hangtab.rendering.fits import UNEXPLAINED, Share
from hangtab.rendering.svg import number, path, picture, tag, text
from hangtab.rendering.words import MINUS, NARROW, count
from hangtab.usecases.explaining import Left

WIDE, NARROW_PAGE = 756, 354
_ROW, _BAR = 24.0, 12.0
_LABEL = {WIDE: 192.0, NARROW_PAGE: 156.0}
_FIGURE = 54.0
_LEFT, _TOP, _GAP, _FOOT = 48.0, 30.0, 48.0, 24.0
_UPPER, _LOWER = 126.0, 72.0
_YEAR_GAP = 52.0
_ERRORS = 2.0
_WIDEST = 2.0  # a spread is drawn up to this many times the noise


def carried(rows: Sequence[Share], width: int = WIDE) -> str:
    """Bars of what each component carries, the largest first; empty text when there is nothing."""
    if not rows:
        return ""
    left, right = _LABEL[width], width - _FIGURE
    low = min(0.0, *(r.share for r in rows))
    high = max(r.share for r in rows)
    scale = (right - left) / max(high - low, 1e-9)
    zero = left - low * scale
    drawn = [part for i, row in enumerate(rows) for part in _bar(row, i * _ROW, zero, scale, width)]
    drawn.append(path(f"M{number(zero)} 0V{number(len(rows) * _ROW)}", stroke="var(--ink)", stroke_width="1.25"))
    return picture(width, len(rows) * _ROW, "".join(drawn), carried_sentence(rows))


def carried_sentence(rows: Sequence[Share]) -> str:
    """What the bars say."""
    most = [r for r in rows if r.name != UNEXPLAINED][:3]
    rest = sum(r.shown for r in rows if r.name == UNEXPLAINED)
    named = ", ".join(f"{r.name} {r.shown:.1f}" for r in most)
    return f"Share of the spread of log prices in per cent, largest first: {named}; not explained {rest:.1f}"


def _bar(row: Share, top: float, zero: float, scale: float, width: int) -> list[str]:
    length = abs(row.share) * scale
    x = zero if row.share >= 0 else zero - length
    hollow = row.name == UNEXPLAINED or row.share < 0
    look: dict[str, float | str] = (
        {"fill": "var(--paper)", "stroke": "var(--edge)", "stroke_width": 1, "stroke_dasharray": "4 3"}
        if hollow
        else {"fill": "var(--estimate)"}
    )
    y = top + (_ROW - _BAR) / 2
    figure = f"{row.shown:.1f}".replace("-", MINUS)
    return [
        text(0, top + 16.5, row.name),
        tag("rect", x=x, y=y, width=max(length, 1.0), height=_BAR, **look),
        text(width, top + 16.5, figure, text_anchor="end", class_="tab"),
    ]


@dataclass(frozen=True, slots=True)
class _Place:
    """Where quarters and values stand."""

    count: int
    width: int
    reach: float

    def x(self, i: int) -> float:
        return _LEFT + (i + 0.5) * (self.width - _LEFT - 8.0) / self.count

    def upper(self, log: float) -> float:
        return _TOP + _UPPER / 2 - max(-1.0, min(1.0, log / self.reach)) * _UPPER / 2

    def lower(self, spread: float) -> float:
        share = max(-1.0, min(1.0, math.log(max(spread, 1e-6)) / math.log(_WIDEST)))
        return _TOP + _UPPER + _GAP + _LOWER / 2 - share * _LOWER / 2


def drift(times: Sequence[Left], width: int = WIDE) -> str:
    """Middle and spread of what is left over, by quarter (or year); empty text for fewer than two."""
    if len(times) < 2:  # noqa: PLR2004 - nothing to compare
        return ""
    most = max(abs(math.log(t.off)) + _ERRORS * t.error for t in times)
    place = _Place(len(times), width, _round_up(most))
    height = _TOP + _UPPER + _GAP + _LOWER + _FOOT
    drawn = [*_grid(place), *_calendar(place, times, height), *_points(place, times)]
    return picture(width, height, "".join(drawn), drift_sentence(times))


def drift_sentence(times: Sequence[Left]) -> str:
    """What the picture says."""
    stray = [t.value for t in times if t.flag]
    said = f"{', '.join(stray)} {'strays' if len(stray) == 1 else 'stray'}" if stray else "none strays"
    low, high = min(t.off for t in times), max(t.off for t in times)
    return (
        f"Middle price against the fit in {count(len(times), times[0].by)}: from {_signed(low - 1)} to "
        f"{_signed(high - 1)} per cent; spread from {min(t.spread for t in times):.2f} to "
        f"{max(t.spread for t in times):.2f} of what the noise allows; {said}"
    )


def _signed(share: float) -> str:
    return f"{share * 100:+.1f}".replace("-", MINUS)


def _round_up(log: float) -> float:
    """The reach of the upper scale: a log of 1.05, 1.1, 1.2, 1.5 or 2."""
    return math.log(next((f for f in (1.05, 1.1, 1.2, 1.5) if math.log(f) >= log), 2.0))


def _grid(place: _Place) -> list[str]:
    right = place.width - 8.0
    top = math.exp(place.reach)
    drawn = [text(0, 12, "Middle price against the fit", fill="var(--quiet)", font_style="italic")]
    for factor in (top, 1.0, 1.0 / top):
        drawn += _line(place.upper(math.log(factor)), right, f"{(factor - 1) * 100:+.0f}{NARROW}%".replace("-", MINUS))
    y = place.lower(_WIDEST) - 18
    drawn.append(text(0, y, "Spread against the noise", fill="var(--quiet)", font_style="italic"))
    for spread, label in ((_WIDEST, "× 2"), (1.0, "× 1"), (1.0 / _WIDEST, "× ½")):
        drawn += _line(place.lower(spread), right, label)
    return drawn


def _line(y: float, right: float, label: str) -> list[str]:
    label = label.replace("+0", "0")
    return [
        path(f"M{number(_LEFT)} {number(y)}H{number(right)}", stroke="var(--rule)", stroke_width=1),
        text(_LEFT - 8, y + 4.5, label, text_anchor="end", fill="var(--quiet)", class_="tab"),
    ]


def _points(place: _Place, times: Sequence[Left]) -> list[str]:
    drawn = []
    kinds = {"high": marks.DEAR, "low": marks.CHEAP}
    for i, t in enumerate(times):
        x, log = place.x(i), math.log(t.off)
        ends = (place.upper(log + _ERRORS * t.error), place.upper(log - _ERRORS * t.error))
        drawn.append(
            path(f"M{number(x)} {number(ends[0])}V{number(ends[1])}", stroke="var(--evidence)", stroke_width="1.25")
        )
        drawn.append(marks.mark(kinds.get(t.flag, marks.SALE), x, place.upper(log), 3.9))
        stray = t.flag in ("wide", "narrow")
        drawn.append(marks.mark(marks.DOUBTFUL if stray else marks.SALE, x, place.lower(t.spread), 3.0))
    return drawn


def _calendar(place: _Place, times: Sequence[Left], height: float) -> list[str]:
    """Years under the first quarter of each, as far as there is room."""
    firsts = [(i, t.value[:4]) for i, t in enumerate(times) if t.by == "year" or t.value.endswith("Q1")]
    each = (place.width - _LEFT - 8.0) / len(times) * (1 if times[0].by == "year" else 4)
    every = max(1, math.ceil(_YEAR_GAP / each))
    base = height - _FOOT
    drawn = [path(f"M{number(_LEFT)} {number(base)}H{number(place.width - 8.0)}", stroke="var(--ink)",
                  stroke_width="1.25")]  # fmt: skip
    for i, year in firsts:
        x = place.x(i)
        drawn.append(path(f"M{number(x)} {number(base)}v6", stroke="var(--ink)", stroke_width=1))
        if int(year) % every == 0 and x < place.width - 20:
            drawn.append(text(x, height - 4, year, text_anchor="middle", fill="var(--quiet)"))
    return drawn
