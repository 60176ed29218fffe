"""The plate: a card or box in outline, with leader lines to what tells this variant.

Promises: width and height are to scale; only what a leader points to is drawn beside the plain furniture of a card.
Reads: an outline in millimetres. Gives: SVG. Not here: photos, and measuring on them (bench).
"""

from __future__ import annotations

from dataclasses import dataclass

from hangtab.rendering.svg import number, path, picture, tag, text, trace
from hangtab.usecases.desk import Leader, Outline

_WIDTH = 288
_MOST_WIDE, _MOST_HIGH = 158.0, 240.0
_TAB = 0.1  # share of a card's height that its tab takes
_GAP = 38.0  # between two leaders, two lines of text
_MOST = 5


@dataclass(frozen=True, slots=True)
class _Board:
    """The board on the page: its width and height in px, and the top edge below the tab."""

    width: float
    height: float
    top: float

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A place by shares of the width and of the height below the tab."""
        return x * self.width, self.top + y * (self.height - self.top)


_SPOTS = {
    "tab": (0.5, -0.06),
    "title": (0.86, 0.12),
    "window": (0.58, 0.5),
    "sticker": (0.8, 0.4),
    "text": (0.9, 0.58),
    "strip": (0.9, 0.9),
}


def plate(outline: Outline) -> str:
    """The picture; empty text when a measure is missing."""
    if outline.width_mm <= 0 or outline.height_mm <= 0:
        return ""
    scale = min(_MOST_WIDE / outline.width_mm, _MOST_HIGH / outline.height_mm)
    width, height = outline.width_mm * scale, outline.height_mm * scale
    board = _Board(width, height, height * _TAB if outline.form == "carded" else 0.0)
    shown = outline.leaders[:_MOST]
    spots = {leader.spot for leader in shown}
    inner = _shape(board, outline.form) + _furniture(board, spots)
    lines, foot = _leaders(board, shown)
    measure = (
        path(
            trace("M4", height + 20, "v8M", width + 4, height + 20, "v8M4", height + 24, "H", width + 4),
            stroke="var(--quiet)",
        )
        + text(
            width / 2 + 4, height + 28.5, f"{outline.width_mm:.0f}\u00a0mm", text_anchor="middle",
            fill="var(--quiet)", stroke="var(--paper)", stroke_width=8, paint_order="stroke",
        )
    )  # fmt: skip
    drawn = tag("g", inner, transform="translate(4 4)") + lines + measure
    return picture(_WIDTH, max(height + 40, foot), drawn, _sentence(outline, shown))


def _sentence(outline: Outline, shown: tuple[Leader, ...]) -> str:
    what = "box" if outline.form == "boxed" else "card"
    tells = f", with what tells this variant: {', '.join(leader.title for leader in shown)}" if shown else ""
    return f"Outline of the {what} to scale, {outline.width_mm:.0f} by {outline.height_mm:.0f} mm{tells}"


def _shape(board: _Board, form: str) -> str:
    w, h, t = board.width, board.height, board.top
    if form != "carded":
        return tag("rect", x=0, y=0, width=w, height=h, fill="var(--board)", stroke="var(--ink)", stroke_width="1.25")
    half = min(24.0, w / 4)
    d = (
        f"M2 {number(t)}q-2 0 -2 2V{number(h - 3)}q0 3 3 3H{number(w - 3)}q3 0 3 -3V{number(t + 2)}q0 -2 -2 -2"
        f"H{number(w / 2 + half + 5)}q-5 0 -6 -6l-2 {number(8 - t)}q-1 -2 -5 -2H{number(w / 2 - half + 8)}"
        f"q-4 0 -5 2l-2 {number(t - 8)}q-1 6 -6 6z"
    )
    hole = f"M{number(w / 2 - 9)} {number(t * 0.42)}a3 3 0 0 0 0 6h18a3 3 0 0 0 0 -6h-5q-1 -3 -4 -3t-4 3z"
    return path(d, fill="var(--board)", stroke="var(--ink)", stroke_width="1.25") + path(
        hole, fill="var(--paper)", stroke="var(--ink)", stroke_width="1"
    )


def _furniture(board: _Board, spots: set[str]) -> str:
    w = board.width
    left, upper = board.at(0.08, 0.06)
    right, lower = board.at(0.92, 0.19)
    middle, step = (upper + lower) / 2, w / 9.5
    wave = f"M{number(left)} {number(middle)}q{number(step / 2)} -9 {number(step)} 0" + f"t{number(step)} 0" * 7
    parts = [
        path(
            f"M{number(left)} {number(upper)}H{number(right)}M{number(left)} {number(lower)}H{number(right)}{wave}",
            fill="none", stroke="var(--ink)", stroke_width=1,
        ),
        _window(board),
    ]  # fmt: skip
    if "sticker" in spots:
        parts.append(_sticker(*board.at(*_SPOTS["sticker"])))
    if "text" in spots:
        x, y = board.at(0.67, 0.55)
        parts.append(
            path(
                trace("M", x, y, "h", w / 4, "m", -w / 4, "8h", w / 4, "m", -w / 4, "8h", w / 5),
                stroke="var(--ink)", stroke_width=1,
            )
        )  # fmt: skip
    if "strip" in spots:
        x, y = board.at(0.08, 0.87)
        parts.append(
            path(
                trace("M", x, y, "h", w * 0.84, "v15.6h", -w * 0.84, "zm", w * 0.42, "0v15.6m", -w * 0.36, "-7.8h")
                + trace(w * 0.3, "m", w * 0.12, "0h", w * 0.3),
                fill="none", stroke="var(--ink)", stroke_width=1,
            )
        )  # fmt: skip
    return "".join(parts)


def _window(board: _Board) -> str:
    """The blister with a figure in it, the figure in evidence ink."""
    x, y = board.at(0.13, 0.25)
    w, h = board.width * 0.46, (board.height - board.top) * 0.57
    bow = w * 0.26
    shell = trace("M", x, y + bow, "q0", -bow, bow, -bow, "h", w - 2 * bow, "q", bow, "0", bow, bow)
    shell += trace("v", h - bow - 6, "q0 6 -6 6h", 12 - w, "q-6 0 -6 -6z")
    unit = min(w / 8, h / 14.5)
    cx, cy = x + w / 2, y + h / 2 - 6 * unit
    arm, leg = (0.7 * unit, 1.8 * unit), (0.5 * unit, 6.5 * unit)
    body = trace("M", cx - 1.4 * unit, cy + 2.5 * unit, "h", 2.8 * unit, "l", 1.6 * unit, 5 * unit, "h", -0.8 * unit)
    body += trace("l", -arm[0], -arm[1], "l", *leg, "h", -1.5 * unit, "l", -0.5 * unit, -4.5 * unit)
    body += trace("l", -0.5 * unit, 4.5 * unit, "h", -1.5 * unit, "l", leg[0], -leg[1], "l", -arm[0], arm[1])
    body += trace("h", -0.8 * unit, "z")
    return (
        path(shell, fill="var(--paper)", fill_opacity=".75", stroke="var(--ink)", stroke_width=1)
        + tag("circle", cx=cx, cy=cy + 1.1 * unit, r=1.15 * unit, fill="var(--evidence)")
        + path(body, fill="var(--evidence)")
    )


def _sticker(x: float, y: float) -> str:
    rays = "".join(
        f"M{number(x + 4.6 * a)} {number(y + 4.6 * b)}L{number(x + 7.6 * a)} {number(y + 7.6 * b)}"
        for a, b in ((1, 0), (0.5, 0.87), (-0.5, 0.87), (-1, 0), (-0.5, -0.87), (0.5, -0.87))
    )
    return (
        tag("circle", cx=x, cy=y, r=9.9, fill="var(--paper)", stroke="var(--ink)", stroke_width="1.25")
        + path(rays, stroke="var(--ink)", stroke_width=1)
        + tag("circle", cx=x, cy=y, r=2.6, fill="var(--ink)")
    )


def _leaders(board: _Board, shown: tuple[Leader, ...]) -> tuple[str, float]:
    """The lines with their words, top to bottom without touching, and how low the last line of text reaches."""
    drawn = []
    low = -_GAP
    rows = sorted(
        ((board.at(*_SPOTS.get(leader.spot, _SPOTS["window"])), leader) for leader in shown), key=lambda r: r[0][1]
    )
    for (x, y), leader in rows:
        x_on, y_on = x + 4, y + 4
        line = max(y_on, low + _GAP)
        low = line
        x_text = board.width + 22
        d = f"M{number(x_on)} {number(y_on)}H{number(board.width + 10)}L{number(x_text - 5)} {number(line)}"
        drawn += [
            path(d, fill="none", stroke="var(--ink)", stroke_width=1),
            tag("circle", cx=x_on, cy=y_on, r=2, fill="var(--ink)"),
            text(x_text, line + 4.5, leader.title, font_weight=600),
            text(x_text, line + 20.5, leader.note, fill="var(--quiet)"),
        ]
    return "".join(drawn), low + 26
