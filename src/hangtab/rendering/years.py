"""Over the years: the middle of the market of one piece with its bands, and the sales as marks.

Promises: the same shapes and colours as the ruler; equal heights are equal percentages.
Reads: simple values. Gives: SVG drawn by hand in the style of charts/theme.vl.json, because the page has 100 ms for
everything and a chart maker takes that long by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from hangtab.rendering import marks, words
from hangtab.rendering.scale import LogScale, around, figures
from hangtab.rendering.svg import number, path, picture, tag, text

WIDE, NARROW = 756, 354
_HEIGHT = {WIDE: 300, NARROW: 260}
_LEFT, _TOP, _FOOT = 36.0, 12.0, 24.0
_YEAR_GAP = 52.0


@dataclass(frozen=True, slots=True)
class Point:
    """The middle of the market at one day with its 80 and 50 per cent ranges, major units."""

    day: date
    low_80: float
    low_50: float
    middle: float
    high_50: float
    high_80: float


@dataclass(frozen=True, slots=True)
class Spot:
    """One sale moved to the piece's condition but not in time."""

    day: date
    price: float
    mark: str
    letter: str = ""


@dataclass(frozen=True, slots=True)
class _Frame:
    """Days to pixels across, worth to pixels down."""

    first: int
    last: int
    left: float
    right: float
    down: LogScale

    def x(self, day: date) -> float:
        return self.left + (day.toordinal() - self.first) / (self.last - self.first) * (self.right - self.left)


def sentence(points: Sequence[Point], spots: Sequence[Spot]) -> str:
    """What the picture says."""
    peak = max(points, key=lambda p: p.middle)
    return (
        f"Worth of this piece from {points[0].day.year} to {words.day(points[-1].day)} on a log scale: "
        f"from {words.worth(points[0].middle)} over a peak of {words.worth(peak.middle)} in {peak.day.year} "
        f"to {words.worth(points[-1].middle)}; band for eight in ten, with {words.count(len(spots), 'sale')} as marks"
    )


def years(points: Sequence[Point], spots: Sequence[Spot], width: int = WIDE) -> str:
    """The picture at one of the two widths; empty text when there are fewer than two points."""
    if len(points) < 2:  # noqa: PLR2004 - a line needs two
        return ""
    height = _HEIGHT[width]
    low, high = around([v for p in points for v in (p.low_80, p.high_80)] + [s.price for s in spots], 0.05)
    days = [p.day.toordinal() for p in points] + [s.day.toordinal() for s in spots]
    down = LogScale(low, high, height - _FOOT, _TOP)
    frame = _Frame(min(days), max(days), _LEFT, width - 8.0, down)
    parts = [
        *_money(frame),
        _band(frame, [(p.day, p.low_80, p.high_80) for p in points], "80"),
        _band(frame, [(p.day, p.low_50, p.high_50) for p in points], "50"),
        path(
            "M" + "L".join(f"{number(frame.x(p.day))} {number(down.at(p.middle))}" for p in points),
            fill="none", stroke="var(--estimate)", stroke_width="2.25", stroke_linejoin="round",
        ),
        *_spots(frame, spots, letters=width == WIDE),
        *_calendar(frame, height),
    ]  # fmt: skip
    return picture(width, height, "".join(parts), sentence(points, spots))


def _band(frame: _Frame, edge: Sequence[tuple[date, float, float]], name: str) -> str:
    there = [f"{number(frame.x(d))} {number(frame.down.at(low))}" for d, low, _ in edge]
    back = [f"{number(frame.x(d))} {number(frame.down.at(high))}" for d, _, high in reversed(edge)]
    return path("M" + "L".join(there + back) + "z", fill=f"var(--band{name})")


def _money(frame: _Frame) -> list[str]:
    drawn = []
    for value in figures(frame.down, 34):
        y = frame.down.at(value)
        drawn.append(
            path(f"M{number(frame.left)} {number(y)}H{number(frame.right)}", stroke="var(--rule)", stroke_width=1)
        )
        drawn.append(
            text(frame.left - 8, y + 4.5, words.figure(value), text_anchor="end", fill="var(--quiet)", class_="tab")
        )
    return drawn


def _calendar(frame: _Frame, height: int) -> list[str]:
    base = height - _FOOT
    drawn = [
        path(f"M{number(frame.left)} {number(base)}H{number(frame.right)}", stroke="var(--ink)", stroke_width="1.25")
    ]
    first, last = date.fromordinal(frame.first), date.fromordinal(frame.last)
    starts = [date(y, 1, 1) for y in range(first.year, last.year + 1) if date(y, 1, 1) >= first]
    room = (frame.right - frame.left) * 365.25 / max(frame.last - frame.first, 1)
    every = max(1, -(-int(_YEAR_GAP) // max(int(room), 1)))
    for start in starts:
        x = frame.x(start)
        drawn.append(path(f"M{number(x)} {number(base)}v6", stroke="var(--ink)", stroke_width=1))
        if start.year % every == 0 and x < frame.right - 12:
            drawn.append(text(x, height - 4, str(start.year), text_anchor="middle", fill="var(--quiet)"))
    return drawn


def _spots(frame: _Frame, spots: Sequence[Spot], *, letters: bool) -> list[str]:
    drawn = []
    placed: list[tuple[float, float]] = [(frame.x(s.day), frame.down.at(s.price)) for s in spots]
    for spot in sorted(spots, key=lambda s: (s.letter != "", s.day)):
        x, y = frame.x(spot.day), frame.down.at(spot.price)
        drawn.append(marks.mark(spot.mark, x, y, 3.9))
        if not (spot.letter and letters):
            continue
        places = ((x, y - 13), (x, y + 14), (x - 9, y - 9), (x + 9, y - 9), (x - 10, y), (x + 10, y))
        free = (p for p in places if all(abs(p[0] - a) > 8 or abs(p[1] - b) > 10 for a, b in placed))  # noqa: PLR2004 - a letter's size
        place = next(free, places[0])
        placed.append(place)
        drawn.append(
            text(
                place[0], place[1] + 4, spot.letter, font_size=14, font_style="italic", text_anchor="middle",
                stroke="var(--paper)", stroke_width=3, paint_order="stroke",
            )
        )  # fmt: skip
    return drawn


def key_swatch() -> str:
    """The line with its bands, for the key under the picture."""
    return picture(
        28, 14,
        tag("rect", y=1, width=28, height=12, fill="var(--band80)")
        + tag("rect", y=4, width=28, height=6, fill="var(--band50)")
        + path("M0 7h28", stroke="var(--estimate)", stroke_width="2.25"),
    )  # fmt: skip


def bands_swatch() -> str:
    """The three bands of the ruler, for its key."""
    return picture(
        36, 12,
        tag("rect", width=36, height=12, fill="var(--band90)")
        + tag("rect", x=5, width=26, height=12, fill="var(--band80)")
        + tag("rect", x=11, width=14, height=12, fill="var(--band50)"),
    )  # fmt: skip
