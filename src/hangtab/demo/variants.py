"""Every variant of the world with how much of it exists and what the crowd thinks of it.

Promises log prices that spread over a line as a practitioner would believe (see `_levels`); what a single collector
would pay is in `agents`. Reads the lines' rows, gives arrays.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from hangtab.demo.lines import LineRows
from hangtab.domain.subject import Packaging

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LEVELS = {"tidewardens": 34.0, "lantern-circus": 52.0, "skyloom": 19.0}  # middle price in EUR at the start
SHARES = {"tidewardens": 0.5, "lantern-circus": 0.2, "skyloom": 0.3}  # of what is offered
# The r-th variant of the head is offered ~ (r + SHIFT) ** -ZIPF; the long tail falls gently. The top tenth takes
# 60-70 % of sales and yet only a third is seen at most twice: both hold only with a tail that is nearly flat.
ZIPF, SHIFT, HEAD, HEAD_PART, TAIL_FALL = 0.95, 6.0, 0.1, 0.605, 0.15


@dataclass(frozen=True, slots=True)
class Variant:
    """One variant: catalogue thing, packaging and the features that it truly has."""

    thing: str
    packaging: Packaging
    features: tuple[str, ...]
    line: str
    character: str
    figure: str
    release: str = ""
    card: str = ""
    change: str = ""
    year: int = 0


@dataclass(frozen=True, slots=True)
class Variants:
    """Arrays over variants.

    `share` of what is offered, `crowd` log price in EUR in middling state, `plain` the index
    of the same piece without its transplantable feature (-1: has none).
    """

    rows: tuple[Variant, ...]
    line: Ints
    character: Ints
    card: Ints
    share: Floats
    crowd: Floats
    plain: Ints
    lines: tuple[str, ...]
    characters: tuple[str, ...]
    cards: tuple[str, ...]

    def level(self, index: int) -> float:
        """Log price of the middle sale of the variant's line."""
        return float(np.log(LEVELS[self.rows[index].line]))


def variants_of(lines: tuple[LineRows, ...], rng: np.random.Generator) -> Variants:
    """All variants of the lines."""
    rows = tuple(v for line in lines for v in _of_line(line))
    popularity = {i: c.popularity for line in lines for i, c in line.cast.items()}
    scarce, taste = _draw(rows, popularity, rng)
    names = tuple(line.line.id for line in lines)
    characters = tuple(popularity)
    cards = tuple(c.id for line in lines for c in line.line.cards)
    share = _shares(rows, scarce)
    crowd = _levels(rows, share, taste - 0.42 * scarce)
    index = {(v.thing, v.packaging, v.features): k for k, v in enumerate(rows)}
    plain = [_plain(v, index) for v in rows]
    return Variants(
        rows,
        np.array([names.index(v.line) for v in rows]),
        np.array([characters.index(v.character) for v in rows]),
        np.array([cards.index(v.card) if v.card else len(cards) for v in rows]),
        share, crowd, np.array(plain), names, characters, cards,
    )  # fmt: skip


def _plain(v: Variant, index: dict[tuple[str, Packaging, tuple[str, ...]], int]) -> int:
    if "glow-sticker" not in v.features:
        return -1
    return index[(v.thing, v.packaging, tuple(f for f in v.features if f != "glow-sticker"))]


def _of_line(rows: LineRows) -> list[Variant]:
    line = rows.line.id
    owner = {f.id: f.character for f in rows.figures}
    found: list[Variant] = []
    for release in rows.releases:
        where = (line, owner[release.figure], release.figure, release.id, release.card)
        things = [("", release.id)] + [(c.id, c.id) for c in rows.changes if c.release == release.id]
        for (change, thing), extra in product(things, _extras(release.features)):
            found.append(Variant(thing, release.packaging, extra, *where, change, release.year))
    found.extend(Variant(f.id, Packaging.LOOSE, (), line, f.character, f.id) for f in rows.figures)
    found.extend(Variant(p.id, Packaging.PROTOTYPE, (), line, p.character, "") for p in rows.prototypes)
    return found


def _extras(features: tuple[str, ...]) -> list[tuple[str, ...]]:
    if "mail-away" in features:
        return [("mail-away",)]
    territories: list[tuple[str, ...]] = [(), *((f,) for f in features if f.startswith("territory"))]
    rest = [f for f in features if not f.startswith("territory")]
    sets = list(territories)
    for feature in rest:
        bases = territories if feature in ("glow-sticker", "kite-fair") else [()]
        sets += [tuple(sorted((*t, feature))) for t in bases]
    return sets


_WEIGHTS = {"territory-b": -0.9, "territory-d": -1.5, "glow-sticker": -0.7, "signed": -2.4, "kite-fair": -1.2,
            "mail-away": -0.8}  # fmt: skip
# A domestic card usually brings more than the territory cards of the same figure (common practice, no source).
_TASTES = {"territory-b": -0.55, "territory-d": -0.75, "glow-sticker": 0.35, "signed": 0.0, "kite-fair": 0.1,
           "mail-away": 0.2}  # fmt: skip


def _draw(rows: tuple[Variant, ...], popularity: dict[str, int], rng: np.random.Generator) -> tuple[Floats, Floats]:
    person = {c: rng.normal(0, 0.3) for c in popularity}
    release = {v.release: rng.normal(0, 0.35, 2) for v in rows if v.release}
    scarce, taste = np.zeros(len(rows)), np.zeros(len(rows))
    for k, v in enumerate(rows):
        own = release.get(v.release, np.zeros(2))
        a = 0.36 * popularity[v.character] + own[0] + sum(_WEIGHTS[f] for f in v.features)
        b = 0.2 * popularity[v.character] + person[v.character] + own[1] + sum(_TASTES[f] for f in v.features)
        if v.change:
            a, b = a - 1.0, b + rng.normal(0.1, 0.3)
        if v.packaging is Packaging.LOOSE:
            a, b = a + 0.35, b - 1.3
        if v.packaging is Packaging.PROTOTYPE:
            a, b = a - 2.6, b + 0.7
        if v.card.endswith("-1"):
            b += 0.3
        scarce[k], taste[k] = a + rng.normal(0, 0.15), b + rng.normal(0, 0.12)
    return scarce, taste


def _shares(rows: tuple[Variant, ...], abundance: Floats) -> Floats:
    order = np.argsort(-abundance, kind="stable")
    share = np.zeros(len(rows))
    head = int(HEAD * len(rows))
    top = (np.arange(head) + SHIFT) ** -ZIPF
    tail = np.exp(-TAIL_FALL * np.linspace(0, 1, len(rows) - head))
    share[order] = np.concatenate((HEAD_PART * top / top.sum(), (1 - HEAD_PART) * tail / tail.sum()))
    for line, part in SHARES.items():
        here = np.array([v.line == line for v in rows])
        share[here] *= part / share[here].sum()
    return share


def _levels(rows: tuple[Variant, ...], share: Floats, wanted: Floats) -> Floats:
    """Log prices that keep the order of `wanted`.

    Weighted by sales they spread so that percentiles 50:90:99 come out about 1:5:25 once condition, time and luck are
    added (common practice, no source).
    """
    crowd = np.zeros(len(rows))
    for line, level in LEVELS.items():
        here = np.flatnonzero([v.line == line for v in rows])
        order = here[np.argsort(wanted[here], kind="stable")]
        weight = share[order] / share[order].sum()
        below = np.cumsum(weight) - weight / 2
        z = _normal_quantile(below)
        crowd[order] = np.log(level) - 0.1 + 0.9 * z + 0.03 * np.maximum(z, 0) ** 2 + 0.09 * np.minimum(z, 0) ** 2
    return crowd


def _normal_quantile(p: Floats) -> Floats:
    """Standard normal quantile by a logistic curve.

    Source: Bowling, Khasawneh, Kaewkuekool & Cho 2009 (slope 1.702, from memory). Only order and rough spread matter
    here.
    """
    return np.clip(np.log(p / (1 - p)) / 1.702, -3.2, 3.2)
