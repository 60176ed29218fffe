"""Two drawings of the track record: whether the ranges held, and how the error falls with what is known.

Promises: the same figures stand in a table beside each. Reads: simple values. Gives: SVG at the two widths of a page.
Not here: the tables, and what the figures mean.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hangtab.rendering import words
from hangtab.rendering.svg import number, path, picture, tag, text

Scale = Callable[[float], float]  # a share to a pixel
WIDE, NARROW = 756, 354
_NORMAL_95 = 1.96
_LABEL = {WIDE: 120.0, NARROW: 78.0}
_END = 66.0  # room for the figure at the end of a line
_FOOT = 30.0


@dataclass(frozen=True, slots=True)
class Nominal:
    """A range meant to hold a share, the share that it held, and of how many sales."""

    share: float
    held: float
    sales: int


@dataclass(frozen=True, slots=True)
class Bar:
    """One class: its name, our error, and the simpler way's (shares); the sales tried."""

    name: str
    error: float
    other: float | None
    sales: int


def reliability(ranges: Sequence[Nominal], width: int = WIDE) -> str:
    """A line for each range: what it is meant to hold, what chance alone allows around that, and what it held."""
    if not ranges:
        return ""
    rows, left, right = 48.0, _LABEL[width], width - _END
    low = max(0.0, math.floor(10 * min(min(r.share, r.held) - _band(r) for r in ranges)) / 10)

    def at(share: float) -> float:
        return left + (share - low) / (1 - low) * (right - left)

    height = rows * len(ranges) + _FOOT
    parts = _scale(at, low, 1.0, 0.1, height - _FOOT)
    for i, one in enumerate(ranges):
        y = rows * i + rows / 2
        begin, end = at(max(one.share - _band(one), 0)), at(min(one.share + _band(one), 1))
        parts += [
            text(0, y + 5, f"{10 * one.share:.0f} in 10", font_size=14),
            path(f"M{number(left)} {number(y)}H{number(right)}", stroke="var(--rule)"),
            tag("rect", x=begin, y=y - 9, width=max(end - begin, 2), height=18, fill="var(--band80)"),
            path(f"M{number(at(one.share))} {number(y - 9)}v18", stroke="var(--estimate)", stroke_width="2.25"),
            path(f"M{number(at(one.held))} {number(y - 15)}v30", stroke="var(--evidence)", stroke_width=3),
            text(right + 12, y + 5, words.per_cent(one.held), font_size=14, class_="tab"),
        ]
    said = "; ".join(f"{10 * r.share:.0f} in 10 held {words.per_cent(r.held)}" for r in ranges)
    return picture(width, height, "".join(parts), f"Ranges against what they held of {ranges[0].sales} sales: {said}")


def errors(bars: Sequence[Bar], width: int = WIDE) -> str:
    """Two bars for each class: our error at the middle, and the simpler way's."""
    if not bars:
        return ""
    rows, left, right = 48.0, _LABEL[width], width - _END
    top = 0.1 * math.ceil(10 * max(max(b.error, b.other or 0.0) for b in bars) + 1e-9)

    def at(share: float) -> float:
        return left + share / top * (right - left)

    height = rows * len(bars) + _FOOT
    step = 0.1 if top <= 0.6 else 0.2 if top <= 1.2 else 10 ** math.ceil(math.log10(top / 6))  # noqa: PLR2004 - room for labels
    parts = _scale(at, 0.0, top, step, height - _FOOT)
    for i, one in enumerate(bars):
        y = rows * i + rows / 2
        parts += [text(0, y + 5, one.name, font_size=14), *_bar(at, y - 14, one.error, ours=True)]
        if one.other is not None:
            parts += _bar(at, y + 2, one.other, ours=False)
    said = "; ".join(_said(b) for b in bars)
    sentence = f"Error at the middle by earlier sales of the variant: {said}"
    return picture(width, height, "".join(parts), sentence)


def _bar(at: Scale, y: float, share: float, *, ours: bool) -> list[str]:
    colours = {"fill": "var(--estimate)"} if ours else {"fill": "var(--paper)", "stroke": "var(--edge)"}
    label: dict[str, float | str] = {"font_size": 13, "class_": "tab"} if ours else {
        "font_size": 13, "class_": "tab", "fill": "var(--quiet)"
    }  # fmt: skip
    return [
        tag("rect", x=at(0.0), y=y, width=max(at(share) - at(0.0), 1), height=12, **colours),
        text(at(share) + 6, y + 10.5, words.per_cent(share), **label),
    ]


def _said(bar: Bar) -> str:
    other = "" if bar.other is None else f", the last five sales {words.per_cent(bar.other)}"
    return f"{bar.name} earlier, {words.per_cent(bar.error)}{other}"


def _band(one: Nominal) -> float:
    """Half of what chance alone allows around the nominal share, 95 in 100.

    The held share lies inside exactly when its own (Wilson) interval holds the nominal one.
    """
    return _NORMAL_95 * math.sqrt(one.share * (1 - one.share) / one.sales)


def _scale(at: Scale, low: float, high: float, step: float, base: float) -> list[str]:
    """Upright hairlines with their figures under a line of ink."""
    drawn = []
    for k in range(round(low / step), round(high / step) + 1):
        x = at(k * step)
        drawn.append(path(f"M{number(x)} 0V{number(base)}", stroke="var(--rule)"))
        label = words.per_cent(k * step) if k * step >= high - step / 2 else f"{100 * k * step:.0f}"
        drawn.append(text(x, base + 20, label, text_anchor="middle", fill="var(--quiet)", class_="tab"))
    drawn.append(
        path(f"M{number(at(low))} {number(base)}H{number(at(high))}", stroke="var(--ink)", stroke_width="1.25")
    )
    return drawn


def held_swatch() -> str:
    """What it held, for the key."""
    return picture(12, 14, path("M6 0v14", stroke="var(--evidence)", stroke_width=3))


def meant_swatch() -> str:
    """What it is meant to hold and what chance allows, for the key."""
    return picture(
        28, 14,
        tag("rect", y=1, width=28, height=12, fill="var(--band80)")
        + path("M14 1v12", stroke="var(--estimate)", stroke_width="2.25"),
    )  # fmt: skip


def ours_swatch() -> str:
    """Our bar, for the key."""
    return picture(28, 14, tag("rect", y=1, width=28, height=12, fill="var(--estimate)"))


def other_swatch() -> str:
    """The simpler way's bar, for the key."""
    return picture(28, 14, tag("rect", x=0.5, y=1.5, width=27, height=11, fill="var(--paper)", stroke="var(--edge)"))
