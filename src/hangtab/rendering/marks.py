"""The marks of evidence: one shape, one meaning, on every picture.

Filled is certain, hollow is worked out or unsure; a triangle points the way a price went.
Gives: SVG. Not here: which sale gets which mark (the view says).
"""

from __future__ import annotations

from hangtab.rendering.svg import number, path, picture, tag

SALE, OFFER, ASK, DOUBTFUL, DEAR, CHEAP = "sale", "offer", "ask", "doubtful", "dear", "cheap"

MEANS = {
    SALE: "sale",
    OFFER: "accepted offer, price hidden",
    ASK: "unsold, ask",
    DOUBTFUL: "doubtful",
    DEAR: "above the range",
    CHEAP: "below the range",
}


def _start(x: float, y: float) -> str:
    return f"M{number(x)} {number(y)}"


def mark(kind: str, x: float = 0.0, y: float = 0.0, size: float = 4.6) -> str:
    """One mark centred on a place; `size` is the radius of a disc in px, other shapes follow it."""
    if kind == OFFER:
        return tag(
            "circle", cx=x, cy=y, r=size - 0.75, fill="var(--paper)", stroke="var(--evidence)", stroke_width="1.75"
        )
    if kind == ASK:
        return path(_start(x - size, y) + f"h{number(2 * size)}", stroke="var(--evidence)", stroke_width="1.75")
    if kind == DOUBTFUL:
        a = number(size + 1.2)
        d = _start(x, y - size - 1.2) + f"l{a} {a}l-{a} {a}l-{a} -{a}z"
        return path(d, fill="var(--paper)", stroke="var(--doubtful)", stroke_width="1.75")
    if kind == DEAR:
        return path(
            _start(x, y - 6.6) + "l5.9 10.1h-11.8z", fill="var(--dear)", stroke="var(--paper)", stroke_width="1"
        )
    if kind == CHEAP:
        return path(_start(x, y + 5) + "l5.2 -9h-10.4z", fill="var(--paper)", stroke="var(--cheap)", stroke_width="2")
    return tag("circle", cx=x, cy=y, r=size, fill="var(--evidence)", stroke="var(--paper)", stroke_width="1.25")


def inline(kind: str) -> str:
    """The mark for a line of text or a key; the words beside it say what it means."""
    return picture(14, 14, mark(kind, 7, 7))
