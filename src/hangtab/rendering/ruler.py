"""The ruler: a logarithmic scale from which the estimate hangs by its tab.

Promises: the body shows 9, 8 and 5 of ten next sales, each stem is one sale adjusted to the piece with a height
proportional to how much it counts, the dimension line is the eight-in-ten range. One picture for each width.
Reads: simple values. Gives: SVG with one sentence. Not here: the words of a verdict (valuing).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hangtab.rendering import marks, words
from hangtab.rendering.scale import LogScale, around, figures
from hangtab.rendering.svg import number, path, picture, tag, text

WIDE, NARROW = 756, 354
_BODY = 36.0
_HEAD = 26.0  # above the highest mark: a letter and air
_TALL = {WIDE: 64.0, NARROW: 58.0}
_SHORTEST = 12.0
_LETTER = (9.0, 11.0)  # width and height that a letter needs for itself
_LABEL_GAP = 54.0  # so that neighbouring thirds of a decade mostly get the same step
_REACH = 3.0  # a price is drawn in its place up to this many times beyond the nine-in-ten range, then at the edge


@dataclass(frozen=True, slots=True)
class Stem:
    """One sale: adjusted price in major units, its pull g, its mark and its letter."""

    price: float
    gain: float
    mark: str
    letter: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """What the ruler shows. `ranges` maps per cent (50, 80, 90) to (low, high); `price` was typed with the question."""

    middle: float
    ranges: dict[int, tuple[float, float]]
    stems: tuple[Stem, ...]
    currency: str
    price: float | None = None
    said: str = ""  # the price in words


def side_of(price: float, ranges: dict[int, tuple[float, float]]) -> str:
    """Which mark a price gets: dear above the nine-in-ten range, cheap below it, empty inside."""
    low, high = ranges[90]
    return marks.DEAR if price > high else marks.CHEAP if price < low else ""


def sentence(reading: Reading) -> str:
    """What the picture says, for those who do not see it."""
    low, high = reading.ranges[80]
    named = [f"{s.letter} at {words.worth(s.price)}" for s in reading.stems if s.letter]
    stand = "no sale stands on it"
    if reading.stems:
        more = f": {', '.join(named)}" if named else ""
        stand = f"{words.count(len(reading.stems), 'comparable sale stands', 'comparable sales stand')} on it{more}"
    asked = f"; the price {words.worth(reading.price)} is marked" if reading.price is not None else ""
    return (
        f"Ruler in {words.currency_name(reading.currency)}: middle {words.worth(reading.middle)}, "
        f"eight of ten next sales between {words.worth(low)} and {words.worth(high)}; {stand}{asked}"
    )


def ruler(reading: Reading, width: int = WIDE) -> str:
    """The picture at one of the two widths."""
    low90, high90 = reading.ranges[90]
    ends = [low90, high90, reading.middle, *(s.price for s in reading.stems)]
    if reading.price is not None and reading.price > 0:
        ends.append(min(max(reading.price, low90 / _REACH), high90 * _REACH))
    low, high = around(ends)
    scale = LogScale(low, high, 1, width - 1)
    top = _HEAD + (_TALL[width] if reading.stems else 0.0)
    parts = [
        *_bands(scale, top, reading.ranges),
        tag("rect", x=1, y=top, width=width - 2, height=_BODY, fill="none", stroke="var(--edge)", stroke_width=1),
        *_graduations(scale, top),
        path(f"M1 {number(top)}H{width - 1}", stroke="var(--ink)", stroke_width="1.8"),
        *_stems(scale, top, reading.stems, _TALL[width]),
        *_labels(scale, top, reading),
        *_tab(scale, top, reading, width),
    ]
    if reading.price is not None and reading.price > 0:
        parts += _price(scale, top, reading)
    return picture(width, top + _BODY + 60, "".join(parts), sentence(reading))


def _bands(scale: LogScale, top: float, ranges: dict[int, tuple[float, float]]) -> list[str]:
    drawn = []
    for share in (90, 80, 50):
        left, right = (scale.at(v) for v in ranges[share])
        drawn.append(tag("rect", x=left, y=top, width=right - left, height=_BODY, fill=f"var(--band{share})"))
    return drawn


def _graduations(scale: LogScale, top: float) -> list[str]:
    drawn = []
    done: set[float] = set()
    for gap, length, weight in ((_LABEL_GAP, 13, "1.25"), (18, 9, ".9"), (9, 5, ".9")):
        fresh = [v for v in figures(scale, gap) if v not in done and scale.start + 2 < scale.at(v) < scale.end - 2]
        d = "".join(f"M{number(scale.at(v))} {number(top)}v{length}" for v in fresh)
        if d:
            drawn.append(path(d, stroke="var(--ink)", stroke_width=weight))
        done.update(fresh)
    return drawn


def _labels(scale: LogScale, top: float, reading: Reading) -> list[str]:
    middle = scale.at(reading.middle)
    price = scale.at(reading.price) if reading.price else -99.0
    drawn = []
    for value in figures(scale, _LABEL_GAP):
        x = scale.at(value)
        if not scale.start + 16 < x < scale.end - 16 or abs(x - price) < 18:  # noqa: PLR2004 - half a label
            continue
        if abs(x - middle) < 16:  # noqa: PLR2004 - half a label: the string would run through it
            x_text, anchor = (x - 5, "end") if x <= middle else (x + 5, "start")
            x_text = min(x_text, middle - 4) if x <= middle else max(x_text, middle + 4)
            drawn.append(text(x_text, top + 29, words.figure(value), text_anchor=anchor, class_="tab"))
        else:
            drawn.append(text(x, top + 29, words.figure(value), text_anchor="middle", class_="tab"))
    return drawn


def _stems(scale: LogScale, top: float, stems: Sequence[Stem], tallest: float) -> list[str]:
    most = max((s.gain for s in stems), default=1.0)
    heights = [max(_SHORTEST, tallest * s.gain / most) if most > 0 else _SHORTEST for s in stems]
    rows = sorted(zip(heights, stems, strict=True), key=lambda row: (row[0], row[1].price))
    taken = [(scale.at(s.price), top - h) for h, s in rows]
    drawn = []
    for height, stem in rows:
        x, y = scale.at(stem.price), top - height
        doubt = stem.mark == marks.DOUBTFUL
        colour = "var(--doubtful)" if doubt else "var(--evidence)"
        foot = y + 6.2 if doubt else y
        dashed: dict[str, float | str] = {"stroke_dasharray": "3 3"} if doubt else {}
        drawn.append(
            path(f"M{number(x)} {number(top)}V{number(foot)}", stroke=colour, stroke_width="1.5", **dashed)
        )  # fmt: skip
        drawn.append(marks.mark(stem.mark, x, y, 5.0))
        if stem.letter:
            drawn.append(_letter(stem.letter, x, y, taken))
    return drawn


def _letter(letter: str, x: float, y: float, taken: list[tuple[float, float]]) -> str:
    """A letter above its mark or beside it, none in a crowd; `taken` remembers the centres of marks and letters."""
    others = [spot for spot in taken if spot != (x, y)]
    for dx, dy in ((0.0, -14.0), (-10.0, -2.0), (10.0, -2.0), (0.0, -22.0), (-11.0, -12.0), (11.0, -12.0)):
        spot = (x + dx, y + dy)
        clear = all(abs(spot[0] - a) > _LETTER[0] or abs(spot[1] - b) > _LETTER[1] for a, b in others)
        if clear and spot[1] > _LETTER[0]:
            taken.append(spot)
            return text(
                spot[0], spot[1] + 4.5, letter, font_size=14, font_style="italic", text_anchor="middle",
                stroke="var(--paper)", stroke_width=3, paint_order="stroke",
            )  # fmt: skip
    return ""


def _tab(scale: LogScale, top: float, reading: Reading, width: int) -> list[str]:
    x, y = scale.at(reading.middle), top + _BODY
    label = words.worth(reading.middle, fine=words.is_fine(reading.ranges[80][0]))
    half = max(30.0, 5.2 * len(label) + 8)
    centre = min(max(x, half + 1), width - half - 1)  # near an edge the tab stays in the picture, the string slants
    low, high = reading.ranges[80]
    fine = words.is_fine(low)
    left, right = scale.at(low), scale.at(high)
    a, b = number(left), number(right)
    line = f"M{a} {number(y + 36)}v12M{b} {number(y + 36)}v12"
    if centre - half - 6 > left:
        line += f"M{a} {number(y + 42)}H{number(centre - half - 6)}"
    if right > centre + half + 6:
        line += f"M{number(centre + half + 6)} {number(y + 42)}H{b}"
    return [
        path(
            f"M{number(x)} {number(top)}V{number(y)}L{number(centre)} {number(y + 13)}",
            fill="none", stroke="var(--estimate)", stroke_width="2.2",
        ),
        path(line, stroke="var(--estimate)", stroke_width="1.25", fill="none"),
        path(_outline(centre, y + 11, half), fill_rule="evenodd", fill="var(--estimate)"),
        text(centre, y + 49, label, font_size=17, font_weight=600, text_anchor="middle", fill="var(--paper)"),
        _end_label(min(left, centre - half) - 7, y + 47, words.worth(low, fine=fine), "end", width),
        _end_label(max(right, centre + half) + 7, y + 47, words.worth(high, fine=fine), "start", width),
    ]  # fmt: skip


def _end_label(x: float, y: float, label: str, anchor: str, width: int) -> str:
    room = 7.6 * len(label)
    x = max(x, room + 1) if anchor == "end" else min(x, width - room - 1)
    return text(x, y, label, font_size=14, text_anchor=anchor)


def _outline(x: float, y: float, half: float) -> str:
    """The tab: a body with a neck and a hole, its top at y."""
    shoulder = half - 19
    return (
        f"M{number(x - half)} {number(y + 43)}v-22q0 -4 4 -4h{number(shoulder)}q3.6 0 4 -4q1.5 -13 11 -13t11 13"
        f"q.4 4 4 4h{number(shoulder)}q4 0 4 4v22q0 4 -4 4h{number(8 - 2 * half)}q-4 0 -4 -4z"
        f"M{number(x - 3.6)} {number(y + 8.5)}a3.6 3.6 0 1 0 7.2 0a3.6 3.6 0 1 0 -7.2 0z"
    )


def _price(scale: LogScale, top: float, reading: Reading) -> list[str]:
    price = reading.price or 0.0
    side = side_of(price, reading.ranges)
    x = min(max(scale.at(price), scale.start + 6), scale.end - 6)
    middle = scale.at(reading.middle)
    colour = f"var(--{side})" if side else "var(--ink)"
    y = top + _BODY + 12
    line = path(f"M{number(x)} {number(top - 4)}V{number(y - (8 if side else -6))}", stroke=colour, stroke_width="2.5")
    right = x >= middle
    near = max(abs(x - middle), 0.0)
    away = 10.0 if near > 26 else 26.0 - near  # noqa: PLR2004 - clear of the neck of the tab
    label = f"{words.money(price, reading.currency)}{', ' + reading.said if reading.said else ''}"
    room = 7.0 * len(label)
    start = x + away if right else x - away
    anchor = "start" if right else "end"
    if right and start + room > scale.end:
        start, anchor = (x - 10, "end") if x - 10 - room > middle + 14 else (scale.end, "end")
    if not right and start - room < scale.start:
        start, anchor = (x + 10, "start") if x + 10 + room < middle - 14 else (scale.start, "start")
    drawn = [line, text(start, y + 4.5, label, font_weight=500, fill=colour, text_anchor=anchor)]
    return [*drawn, marks.mark(side, x, y)] if side else drawn
