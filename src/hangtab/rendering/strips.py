"""Strips: ranges drawn in the rows of a table on one common scale.

Promises: every strip of a table has the same scale, whose figures stand in the head of the column.
Reads: ranges in major units. Gives: SVG, hidden from screen readers since the row prints the same figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hangtab.rendering import words
from hangtab.rendering.scale import LogScale, around, figures
from hangtab.rendering.svg import number, path, picture, tag, text

_WIDTH, _HEIGHT = 330, 36


@dataclass(frozen=True, slots=True)
class Strip:
    """One row: 80 and 50 per cent ranges and the middle."""

    low_80: float
    low_50: float
    middle: float
    high_50: float
    high_80: float


@dataclass(frozen=True, slots=True)
class Strips:
    """The head of the column and one picture for each row."""

    head: str
    rows: tuple[str, ...]


def strips(rows: Sequence[Strip]) -> Strips:
    """Strips on one scale; none give an empty head."""
    if not rows:
        return Strips("", ())
    low, high = around(v for r in rows for v in (r.low_80, r.high_80))
    scale = LogScale(low, high, 4, _WIDTH - 4)
    lines = [v for v in figures(scale, 56) if 12 < scale.at(v) < _WIDTH - 12]  # noqa: PLR2004 - half a label
    labels = [
        text(scale.at(v), 12, words.figure(v), font_size=12, text_anchor="middle", fill="var(--quiet)") for v in lines
    ]
    grid = path("".join(f"M{number(scale.at(v))} 0v{_HEIGHT}" for v in lines) or "M0 0", stroke="var(--rule)")
    return Strips(picture(_WIDTH, 16, "".join(labels)), tuple(_row(scale, grid, r) for r in rows))


def _row(scale: LogScale, grid: str, row: Strip) -> str:
    wide, close = (scale.at(row.low_80), scale.at(row.high_80)), (scale.at(row.low_50), scale.at(row.high_50))
    parts = [grid]
    for (left, right), band in ((wide, "80"), (close, "50")):
        parts.append(tag("rect", x=left, y=13, width=max(right - left, 1), height=10, fill=f"var(--band{band})"))
    parts.append(path(f"M{number(scale.at(row.middle))} 10v16", stroke="var(--estimate)", stroke_width="2.25"))
    return picture(_WIDTH, _HEIGHT, "".join(parts))
