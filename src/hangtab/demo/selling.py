"""How a piece on offer finds its buyer: auctions, fixed prices with counter-offers, the auction house, the forum.

Promises that a price is what somebody paid: second price among those who came, the ask for whoever took it, or an
accepted offer. Money is in the site's currency. Reads a consignment and what passing collectors would pay; gives what
happened. When and by whom pieces are consigned is in `market`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hangtab.demo.agents import MONTH_DAYS, Seller
from hangtab.demo.pieces import Piece
from hangtab.demo.variants import Floats
from hangtab.domain.evidence import Kind

PREMIUM_CHANGE = 1338.0  # days from 2019-11-01 to 2023-07-01
SPELL = 30.0


@dataclass(slots=True)
class Consignment:
    """A piece that a seller puts on offer. `guess` is the log all-in price in EUR that the seller expects."""

    pieces: tuple[Piece, ...]
    seller: Seller
    mode: str  # fixed, auction, house, forum, private, lot
    day: float
    guess: float = 0.0
    again: int = 0  # how often it was offered before


@dataclass(frozen=True, slots=True)
class Terms:
    """What holds for one offer.

    `rate` units of the currency for one euro, `interest` buyers who pass per month,
    `shipping` in the currency, `end` the last day of the world, `moods` by month how far the crowd's log value is from
    what it was on the day of consignment.
    """

    rate: float
    interest: float
    shipping: float
    end: float
    moods: Floats


@dataclass(slots=True)
class Result:
    """One stretch of an offer: a listing as the venue would show it. Money in the site's currency."""

    kind: Kind
    start: float
    end: float
    price: float | None
    ask: float | None
    bids: int = 0
    wrong: str = ""


def charm(amount: float) -> float:
    """An ask as people write it.

    >>> charm(17.3), charm(63.0), charm(412.0)
    (17.5, 64.99, 410.0)
    """
    if amount < 30:
        return max(round(amount * 2) / 2, 1.0)
    if amount < 100:
        return round(amount / 5) * 5 - 0.01
    return float(round(amount / 10) * 10)


def auction(c: Consignment, values: Floats, terms: Terms, rng: np.random.Generator) -> Result:
    """Second price with entry. `values` are log all-in EUR of the passing collectors."""
    n = int(rng.poisson(terms.interest))
    expected = np.exp(c.guess) * terms.rate
    low = rng.random() < 0.35
    start = max(charm(expected * (rng.uniform(0.03, 0.3) if low else rng.uniform(0.45, 1.15))), 0.99)
    bids = np.sort(np.exp(values[:n]) * terms.rate - terms.shipping)[::-1]
    end = c.day + float(rng.choice((5, 7, 7, 7, 10)))
    if end > terms.end:
        return Result(Kind.ASK, c.day, terms.end, None, start)
    if n == 0 or bids[0] < start:
        return Result(Kind.START, c.day, end, None, start)
    if n == 1 or bids[1] < start:
        return Result(Kind.AUCTION, c.day, end, start, start, 1)
    price, wrong = min(float(bids[0]), float(bids[1]) * 1.02), ""
    if not c.seller.honest and rng.random() < 0.35:
        price, wrong = max(price, float(bids[0]) * rng.uniform(0.95, 1.5)), "shill"
    return Result(Kind.AUCTION, c.day, end, round(price, 2), start, int(n + rng.poisson(n)), wrong)


def fixed(c: Consignment, values: Floats, terms: Terms, rng: np.random.Generator) -> list[Result]:
    """Spells of a listing until it sells, is withdrawn or still runs; the ask falls from spell to spell."""
    ask = np.exp(c.guess + (c.seller.markup if c.mode == "fixed" else -0.2)) * terms.rate
    wrong = ""
    slip = rng.random()
    if slip < 0.025:
        ask, wrong = ask * rng.uniform(2.5, 8), "dream ask"
    elif slip < 0.031:
        ask, wrong = ask * rng.choice((0.1, 0.1, 10.0)), "mistaken price"
    least = 2.5 * terms.rate  # below that nobody goes to the post office
    shown = max(charm(ask - terms.shipping * 0.6), charm(least))
    arrivals = c.day + np.cumsum(rng.exponential(SPELL / max(terms.interest * 0.62, 0.05), len(values)))
    months = np.minimum((arrivals / MONTH_DAYS).astype(int), len(terms.moods) - 1)
    budgets = np.exp(values + terms.moods[months]) * terms.rate - terms.shipping
    results: list[Result] = []
    begin = c.day
    for _ in range(c.seller.patience):
        until = begin + SPELL
        here = np.flatnonzero((arrivals >= begin) & (arrivals < min(until, terms.end)))
        sold = _first_taker(c.seller, shown, arrivals[here] - c.day, budgets[here], rng)
        if sold is not None:
            k, kind, price = sold
            results.append(Result(kind, begin, float(arrivals[here[k]]), price, shown, 0, wrong))
            return results
        if until > terms.end:
            results.append(Result(Kind.ASK, begin, terms.end, None, shown, 0, wrong))
            return results
        results.append(Result(Kind.UNSOLD, begin, until, None, shown, 0, wrong))
        begin = until + float(rng.choice((0.0, 0.0, 1.0, 3.0, 12.0)))
        shown = max(charm(shown * (1 - c.seller.drop)), charm(least))
        if begin >= terms.end:
            break
    return results


def _first_taker(
    seller: Seller, ask: float, waited: Floats, budgets: Floats, rng: np.random.Generator
) -> tuple[int, Kind, float] | None:
    """Who takes it: index of the arrival, how, and at which price."""
    for k, (days, most) in enumerate(zip(waited, budgets, strict=True)):
        floor = max(0.86 + seller.haggles - 0.0019 * float(days) + float(rng.normal(0, 0.035)), 0.5)
        tries = rng.random()
        if most >= ask:
            if tries < 0.17:
                share = float(np.clip(rng.normal(0.85, 0.055), 0.6, 0.97))
                if share >= floor:
                    return k, Kind.OFFER, _tidy(ask * share)
            return k, Kind.SALE, ask
        share = min(float(most / ask), 0.98) * float(rng.uniform(0.93, 1.0))
        if tries < 0.13 and floor <= share:
            return k, Kind.OFFER, _tidy(ask * share)
    return None


def _tidy(amount: float) -> float:
    return float(round(amount)) if amount > 8 else round(amount * 2) / 2


def house(c: Consignment, values: Floats, terms: Terms, rng: np.random.Generator) -> Result:
    """The auction house: bidders reckon the premium and its tax; the hammer falls on round sums; low reserves."""
    n = int(rng.poisson(terms.interest + 3))
    tiers = (
        ((5000.0, 0.20), (np.inf, 0.15))
        if c.day < PREMIUM_CHANGE
        else ((1000.0, 0.25), (10000.0, 0.20), (np.inf, 0.12))
    )
    bids = np.sort([_hammer(float(np.exp(v)) * terms.rate - terms.shipping, tiers) for v in values[:n]])[::-1]
    reserve = float(np.exp(c.guess)) * terms.rate * rng.uniform(0.35, 0.75)
    if n == 0 or bids[0] < reserve:
        return Result(Kind.START, c.day, c.day, None, _round_sum(reserve))
    second = bids[1] if n > 1 else reserve
    return Result(Kind.AUCTION, c.day, c.day, _round_sum(max(second, reserve)), _round_sum(reserve), int(n))


def _hammer(total: float, tiers: tuple[tuple[float, float], ...]) -> float:
    """The hammer whose total with premium and 20 % tax on the premium is `total`."""
    hammer = low = 0.0
    for up_to, share in tiers:
        cost = (up_to - low) * (1 + 1.2 * share)
        if total <= cost:
            return hammer + total / (1 + 1.2 * share)
        hammer, total, low = up_to, total - cost, up_to
    return hammer


def _round_sum(amount: float) -> float:
    step = 5.0 if amount < 100 else 10.0 if amount < 500 else 50.0
    return max(round(amount / step) * step, 5.0)


def forum(c: Consignment, values: NDArray[np.float64], terms: Terms, rng: np.random.Generator) -> Result:
    """Between people who know each other: close to what the third of a few would pay, a little kinder."""
    fair = float(np.exp(np.sort(values[:6])[-2] + rng.normal(-0.06, 0.06))) * terms.rate - terms.shipping
    kind = Kind.PRIVATE if c.mode == "private" else Kind.TRADE if rng.random() < 0.3 else Kind.SALE
    return Result(kind, c.day, c.day, _tidy(max(fair, 1.0)), None)
