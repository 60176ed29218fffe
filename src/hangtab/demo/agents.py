"""Who buys and who sells: collectors with tastes and budgets, sellers with habits, and the mood of the market.

Promises prices that come from people, not from a formula of worth: each collector has own favourites, own sense for
condition, an own purse; the crowd's mood goes through a boom and a bust. Gives arrays; who meets whom is in `market`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hangtab.demo.variants import Floats, Ints, Variants

MONTHS = 84
MONTH_DAYS = 2556 / MONTHS
# The market's log level: a boom to month 28, a bust to month 50, slow growth after.
_MOOD_AT = (0, 5, 14, 28, 38, 50, 66, 84)
_MOOD = (0.0, -0.05, 0.3, 0.72, 0.42, 0.18, 0.24, 0.36)
_SEASON = (0.02, 0.0, -0.01, -0.01, -0.02, -0.04, -0.06, -0.05, -0.01, 0.02, 0.06, 0.08)  # January first


@dataclass(frozen=True, slots=True)
class Mood:
    """Log level of the crowd: `line` (months, lines) with the market's and the season's part, `fad` (months, chars)."""

    line: Floats
    fad: Floats

    def at(self, day: float, line: int, character: int) -> float:
        """Log level on a day since the start."""
        month = min(int(day / MONTH_DAYS), MONTHS - 1)
        return float(self.line[month, line] + self.fad[month, character])


def mood_of(variants: Variants, rng: np.random.Generator) -> Mood:
    """The market's path: boom, bust, a walk per line, seasons, and fads for single characters."""
    months = np.arange(MONTHS)
    market = np.interp(months, _MOOD_AT, _MOOD) + np.cumsum(rng.normal(0, 0.012, MONTHS))
    season = np.array(_SEASON)[(months + 10) % 12]  # month 0 is November
    walks = np.cumsum(rng.normal(0, 0.028, (MONTHS, len(variants.lines))), axis=0)
    fad = np.zeros((MONTHS, len(variants.characters)))
    for who in rng.choice(len(variants.characters), 14, replace=False):
        start, height = rng.integers(6, 70), rng.choice((-0.3, 0.35, 0.45))
        fad[:, who] = height * np.exp(-0.5 * ((months - start - 6) / 6.0) ** 2)
    return Mood((market + season)[:, None] + walks, fad)


@dataclass(frozen=True, slots=True)
class Collectors:
    """What collectors like and can pay.

    `likes` (collectors, characters), `cards` (collectors, cards), `eye` for condition, `trust` in graders,
    `purse` log of the most that one piece may cost in EUR; `of_line` lists who follows a line.
    """

    likes: NDArray[np.float32]
    cards: NDArray[np.float32]
    eye: Floats
    trust: Floats
    purse: Floats
    of_line: tuple[Ints, ...]


def collectors_of(variants: Variants, count: int, rng: np.random.Generator) -> Collectors:
    """Draw the collectors."""
    n_characters, n_cards = len(variants.characters), len(variants.cards) + 1
    likes = rng.normal(0, 0.2, (count, n_characters))
    likes += (rng.random((count, n_characters)) < 0.04) * rng.exponential(0.4, (count, n_characters))
    follows = rng.random((count, len(variants.lines))) < np.array([0.6, 0.35, 0.45])
    follows[:, 0] |= ~follows.any(axis=1)
    return Collectors(
        likes.astype(np.float32),
        rng.normal(0, 0.1, (count, n_cards)).astype(np.float32),
        rng.lognormal(0.0, 0.2, count),
        rng.normal(0.0, 0.12, count),
        rng.normal(np.log(900.0), 1.1, count),
        tuple(np.flatnonzero(follows[:, k]) for k in range(len(variants.lines))),
    )


@dataclass(frozen=True, slots=True)
class Offered:
    """Pieces to be looked at by buyers, as arrays: variant, crowd's log value, condition part of it, graded or not."""

    variant: Ints
    crowd: Floats
    condition: Floats
    graded: NDArray[np.bool_]


def willing(offered: Offered, width: int, world: tuple[Variants, Collectors], rng: np.random.Generator) -> Floats:
    """Log of what `width` randomly arriving collectors would pay for each piece, shape (pieces, width).

    Of three who pass by a dear piece, the one with the deepest purse stops.
    """
    variants, people = world
    shape = (len(offered.variant), width)
    who = np.zeros(shape, dtype=np.int64)
    for line, members in enumerate(people.of_line):
        here = np.flatnonzero(variants.line[offered.variant] == line)
        passing = members[rng.integers(len(members), size=(len(here), width, 3))]
        richest = np.take_along_axis(passing, people.purse[passing].argmax(axis=2)[:, :, None], axis=2)[:, :, 0]
        dear = offered.crowd[here] > np.log(120.0)
        who[here] = np.where(dear[:, None], richest, passing[:, :, 0])
    value = offered.crowd[:, None] + people.likes[who, variants.character[offered.variant][:, None]]
    value = value + people.cards[who, variants.card[offered.variant][:, None]]
    value += (people.eye[who] - 1.0) * offered.condition[:, None] + people.trust[who] * offered.graded[:, None]
    value += rng.normal(0, 0.2, shape)
    return np.minimum(value, people.purse[who])


@dataclass(frozen=True, slots=True)
class Seller:
    """One seller: where, in which language, how greedy, how patient, how careful with words."""

    number: int
    country: str
    language: str
    markup: float
    drop: float  # share taken off the ask at each relisting
    patience: int  # most spells of one listing
    haggles: float  # how readily an offer below the ask is taken
    rosy: float  # points added to the condition in words
    care: float  # 0 sloppy to 1 precise
    honest: bool


_COUNTRIES = (("US", 0.42), ("GB", 0.24), ("CA", 0.11), ("DE", 0.23))


def sellers_of(count: int, rng: np.random.Generator) -> tuple[Seller, ...]:
    """Draw the sellers; how busy each is is drawn by whoever picks them."""
    names = [c for c, _ in _COUNTRIES]
    shares = [s for _, s in _COUNTRIES]
    rows = []
    for number in range(1, count + 1):
        country = str(rng.choice(names, p=shares))
        u = rng.random()
        other = {"CA": ("fr", 0.4), "DE": ("nl", 0.2), "GB": ("nl", 0.05), "US": ("en", 0.0)}[country]
        language = other[0] if u < other[1] else "de" if country == "DE" else "en"
        rows.append(
            Seller(
                number, country, language,
                markup=float(rng.normal(0.28, 0.22)),
                drop=float(rng.choice((0.0, 0.03, 0.06, 0.1))),
                patience=int(1 + rng.geometric(0.36)),
                haggles=float(rng.normal(0.0, 0.05)),
                rosy=float(rng.normal(6.0, 6.0)),
                care=float(rng.beta(4, 2)),
                honest=bool(rng.random() > 0.09),
            )
        )  # fmt: skip
    return tuple(rows)
