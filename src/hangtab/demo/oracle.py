"""Draws auctions anew: what honest ones at the reference venue (Quayside US) bring at the end of the world.

Promises that a drawn auction goes by the venue's own rules (`selling.auction`): a seller who guesses from what similar
pieces brought sets the start price, collectors pass by, the second of them sets the price, no shill bids. Those that
find no bidder are no sales and are left out, as they are from what a book can learn. Not here: which pieces (truth).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hangtab.demo.agents import Offered, willing
from hangtab.demo.market import DAYS, PACK, WIDTH, Market, postage
from hangtab.demo.pieces import Piece, crowd_log, state_log
from hangtab.demo.selling import Consignment, Terms, auction
from hangtab.demo.variants import Floats

SITE, CURRENCY = "US", "USD"
_CALM = np.zeros(1)  # nothing changes within one auction


@dataclass(frozen=True, slots=True)
class Drawn:
    """All-in prices in EUR at the middle: of the auctions that sold, and of the same ones without any start price.

    `sold` is how many of the draws found a bidder.
    """

    middle: float
    unreserved: float
    sold: int


class Oracle:
    """Draws auctions from a market that has run to its end; all chance comes from `rng`."""

    def __init__(self, market: Market, rng: np.random.Generator) -> None:
        """`market` is read only."""
        self._market, self._rng = market, rng
        self._rate = float(market.rates[CURRENCY][-1])
        self._seller = next(s for s in market.sellers if s.honest)

    def middle(self, likes: list[Piece]) -> Drawn:
        """One auction each of `likes`, pieces that are all told as one subject."""
        values = self._values(likes)
        paid = [self._paid(piece, row) for piece, row in zip(likes, values, strict=True)]
        bidders = np.clip(self._rng.poisson(self._interest(likes)), 2, WIDTH)
        seconds = [np.sort(row[:n])[-2] for row, n in zip(values, bidders, strict=True)]
        sold = [price for price in paid if price is not None]
        unreserved = float(np.median(np.exp(seconds)))
        return Drawn(float(np.median(sold)) if sold else unreserved, unreserved, len(sold))

    def _interest(self, likes: list[Piece]) -> Floats:
        return np.array([float(self._market.interest[p.claimed]) for p in likes])

    def _values(self, likes: list[Piece]) -> Floats:
        """Log of what the passing collectors would pay for each piece, all in EUR: shape (pieces, WIDTH)."""
        market, variants = self._market, self._market.variants
        worths = [crowd_log(p, variants) for p in likes]
        v = np.array([p.claimed for p in likes])
        mood = market.mood.at(DAYS, int(variants.line[v[0]]), int(variants.character[v[0]]))
        graded = np.array([p.grading is not None for p in likes])
        crowd = np.array([w for w, _ in worths]) + mood
        offered = Offered(v, crowd, np.array([c for _, c in worths]), graded)
        return willing(offered, WIDTH, (variants, market.people), self._rng)

    def _paid(self, piece: Piece, values: Floats) -> float | None:
        """What the buyer of one auction pays all in, in EUR; None when nobody bids the start price."""
        market, rng = self._market, self._rng
        packaging = market.variants.rows[piece.claimed].packaging
        dear = float(market.variants.crowd[piece.claimed]) - market.variants.level(piece.claimed)
        guess = market.memory.expects(piece.claimed) + state_log(piece, packaging, dear)[0] + rng.normal(0, 0.1)
        parcel = round(postage(SITE, PACK[packaging], guess, rng) * self._rate * 2) / 2
        terms = Terms(self._rate, float(market.interest[piece.claimed]), parcel, np.inf, _CALM)
        offer = Consignment((piece,), self._seller, "auction", DAYS, guess)
        price = auction(offer, values, terms, rng).price
        return None if price is None else (price + parcel) / self._rate
