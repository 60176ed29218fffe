"""Seven years of the market, month by month: who consigns what, where, and what came of it.

Promises the same facts for the same generator. Sellers learn from what similar pieces brought (`Memory`), pieces come
back, sales fall through and are offered again. Gives `Fact`s in the order they ended.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace

import numpy as np

from hangtab.demo.agents import MONTH_DAYS, MONTHS, Collectors, Mood, Offered, Seller, willing
from hangtab.demo.facts import Fact
from hangtab.demo.pieces import Piece, PieceMaker, crowd_log, state_log
from hangtab.demo.selling import Consignment, Result, Terms, auction, fixed, forum, house
from hangtab.demo.variants import Floats, Variants
from hangtab.domain.evidence import Kind, Outcome, PostageKind
from hangtab.domain.progress import OnStep, Step
from hangtab.domain.subject import Packaging, Seal

PER_MONTH = {"fixed": 86.0, "auction": 68.0, "house": 7.0, "forum": 5.0, "private": 1.6, "lot": 5.0}
_KEPT_WHOLE = 0.994  # the rest gets a part of the money back
WIDTH = 24  # passing collectors drawn for each offer
CURRENCY = {"US": "USD", "GB": "GBP", "CA": "CAD", "DE": "EUR", "NL": "EUR"}
_POSTAGE = {"US": 6.8, "GB": 4.6, "CA": 9.0, "DE": 5.2}
PACK = {Packaging.CARDED: 1.0, Packaging.BOXED: 1.35, Packaging.LOOSE: 0.72, Packaging.PROTOTYPE: 1.5}
_SOLD = (Kind.SALE, Kind.AUCTION, Kind.OFFER)
DAYS = MONTHS * MONTH_DAYS - 1


def postage(country: str, size: float, guess: float, rng: np.random.Generator) -> float:
    """Postage in EUR of a parcel of a size (1: one carded piece) to a buyer at home or, seldom, abroad."""
    away = 2.4 if rng.random() < 0.16 else 1.0
    return float(_POSTAGE[country] * size * away * rng.lognormal(0, 0.2) + 0.02 * np.exp(guess))


class Memory:
    """What sellers remember: per variant a fading mean of what it brought, shrunk to the line's drift."""

    def __init__(self, variants: Variants, rng: np.random.Generator) -> None:
        """Everybody starts with a guess that is off by a third."""
        self._variants = variants
        self._guess = variants.crowd + rng.normal(0.25, 0.33, len(variants.rows))
        self._sum, self._n = np.zeros(len(variants.rows)), np.zeros(len(variants.rows))
        self._drift = np.zeros(len(variants.lines))

    def fade(self) -> None:
        """A month passes."""
        self._sum *= 0.92
        self._n *= 0.92

    def learn(self, variant: int, brought: float) -> None:
        """Remember a log all-in price with the state of the piece taken out."""
        line = self._variants.line[variant]
        self._sum[variant] += brought
        self._n[variant] += 1
        self._drift[line] += 0.03 * (brought - self._guess[variant] - self._drift[line])

    def expects(self, variant: int) -> float:
        """Log all-in price expected for a piece in middling state."""
        prior = self._guess[variant] + self._drift[self._variants.line[variant]]
        return float((self._sum[variant] + 1.5 * prior) / (self._n[variant] + 1.5))


@dataclass(frozen=True, slots=True)
class People:
    """Who is there, what they trade, and the mood they are in."""

    variants: Variants
    mood: Mood
    buyers: Collectors
    sellers: tuple[Seller, ...]


@dataclass(frozen=True, slots=True)
class Times:
    """What changes with time.

    `rates` are units of a currency for one euro by day since the start; `discovered` maps
    running changes to the day from which they were known.
    """

    rates: dict[str, Floats]
    discovered: dict[str, float]


class Market:
    """The running market. `facts` grows month by month."""

    def __init__(self, people: People, maker: PieceMaker, times: Times, rng: np.random.Generator) -> None:
        """Nothing has happened yet."""
        self.variants, self.mood, self.people, self.sellers = (
            people.variants,
            people.mood,
            people.buyers,
            people.sellers,
        )
        self.maker, self.rates, self.rng = maker, times.rates, rng
        self.memory = Memory(self.variants, rng)
        self._discovered = times.discovered
        self.facts: list[Fact] = []
        self._queue: dict[int, list[Consignment]] = defaultdict(list)
        self._news: dict[int, list[tuple[int, float]]] = defaultdict(list)
        self._owned: list[tuple[float, Piece]] = []
        busy = rng.lognormal(0, 1.1, len(self.sellers))
        self._busy = busy / busy.sum()
        order = np.argsort(np.argsort(self.variants.share))
        self.interest = 3.7 + 5.0 * (order / len(order)) ** 2

    def run(self, scale: float, on_step: OnStep) -> list[Fact]:
        """Let all months pass."""
        for month in range(MONTHS):
            on_step(Step("letting the market run", month, MONTHS))
            self.memory.fade()
            for variant, brought in self._news.pop(month, ()):
                self.memory.learn(variant, brought)
            batch = self._consign(month, scale) + self._queue.pop(month, [])
            self._sell(batch)
        self.facts.sort(key=lambda f: f.end)
        for number, fact in enumerate(self.facts):
            fact.number = number
        return self.facts

    # ---------------------------------------------------------------- who offers what
    def _consign(self, month: int, scale: float) -> list[Consignment]:
        rng, rows = self.rng, []
        grown = 0.75 + 0.4 * month / MONTHS + 0.15 * float(self.mood.line[month].mean())
        for mode, rate in PER_MONTH.items():
            for _ in range(int(rng.poisson(rate * scale * grown))):
                day = (month + rng.random()) * MONTH_DAYS
                if mode == "house":
                    day = (month // 3 * 3 + 1.5) * MONTH_DAYS + rng.integers(3)  # four sale weeks a year
                if day < DAYS:
                    rows.append(self._one(mode, day))
        return rows

    def _one(self, mode: str, day: float) -> Consignment:
        rng = self.rng
        seller = self.sellers[int(rng.choice(len(self.sellers), p=self._busy))]
        if mode == "lot":
            return self._lot(seller, day)
        pool = self._owned
        if pool and rng.random() < 0.14:
            k = int(rng.integers(len(pool)))
            bought, piece = pool[k]
            if day > bought + 60:
                pool[k] = pool[-1]
                pool.pop()
                return Consignment((self._regraded(piece, day),), seller, mode, day)
        weight = self.variants.share
        if mode == "house":  # the house takes what is dear
            dear = self.variants.crowd - np.array([4.0, 4.3, 3.4])[self.variants.line]
            weight = weight * np.exp(1.3 * np.clip(dear, -2, 3))
        variant = int(rng.choice(len(weight), p=weight / weight.sum()))
        return Consignment((self.maker.new(variant, day / 365.25),), seller, mode, day)

    def _regraded(self, piece: Piece, day: float) -> Piece:
        packaging = self.variants.rows[piece.variant].packaging
        dear = crowd_log(piece, self.variants)[0] - self.variants.level(piece.variant)
        chance = 0.08 if piece.grading else 0.02 + 0.1 * max(dear, 0)
        if packaging in (Packaging.LOOSE, Packaging.PROTOTYPE) or piece.transplanted or self.rng.random() > chance:
            return piece
        return self.maker.graded(piece, day / 365.25)

    def _lot(self, seller: Seller, day: float) -> Consignment:
        rng, weight = self.rng, self.variants.share
        line = int(rng.choice(len(self.variants.lines), p=(0.5, 0.15, 0.35)))
        loose = rng.random() < 0.6
        form = (
            Packaging.LOOSE
            if loose
            else self.variants.rows[int(np.flatnonzero(self.variants.line == line)[0])].packaging
        )
        fits = np.array([r.packaging is form for r in self.variants.rows]) & (self.variants.line == line)
        part = weight * fits
        count = int(rng.integers(3, 9))
        chosen = rng.choice(len(part), count, p=part / part.sum())
        return Consignment(tuple(self.maker.new(int(v), day / 365.25) for v in chosen), seller, "lot", day)

    # ---------------------------------------------------------------- what comes of it
    def _sell(self, batch: list[Consignment]) -> None:
        if not batch:
            return
        offered = self._offered(batch)
        values = willing(offered, WIDTH, (self.variants, self.people), self.rng)
        for k, c in enumerate(batch):
            self._outcome(c, values[k], float(offered.crowd[k]))

    def _offered(self, batch: list[Consignment]) -> Offered:
        crowd, condition = np.zeros(len(batch)), np.zeros(len(batch))
        for k, c in enumerate(batch):
            worths = [crowd_log(p, self.variants) for p in c.pieces]
            v = c.pieces[0].claimed
            mood = self._mood(c, c.day)
            crowd[k], condition[k] = worths[0][0] + mood + self._unknown(v, c.day), worths[0][1]
            if len(worths) > 1:
                crowd[k] = np.log(np.exp([w for w, _ in worths]).sum()) + mood - 0.25
            c.guess = self._guess(c)
        graded = np.array([c.pieces[0].grading is not None for c in batch])
        return Offered(np.array([c.pieces[0].claimed for c in batch]), crowd, condition, graded)

    def _mood(self, c: Consignment, day: float) -> float:
        v = c.pieces[0].claimed
        return self.mood.at(day, int(self.variants.line[v]), int(self.variants.character[v]))

    def _unknown(self, variant: int, day: float) -> float:
        """Before a running change is known, nobody pays for it."""
        v = self.variants.rows[variant]
        if day >= self._discovered.get(v.change, 0.0):
            return 0.0
        base = next(k for k, w in enumerate(self.variants.rows) if w.thing == v.release and w.features == v.features)
        return float(self.variants.crowd[base] - self.variants.crowd[variant])

    def _guess(self, c: Consignment) -> float:
        total = 0.0
        for piece in c.pieces:
            dear = float(self.variants.crowd[piece.claimed]) - self.variants.level(piece.claimed)
            state, _ = state_log(piece, self.variants.rows[piece.claimed].packaging, dear)
            total += np.exp(self.memory.expects(piece.claimed) + state)
        return float(np.log(total) + self.rng.normal(0, 0.1))

    def _outcome(self, c: Consignment, values: Floats, crowd: float) -> None:
        country = "GB" if c.mode == "house" else c.seller.country
        terms = self._terms(c, country)
        rng = self.rng
        if c.mode in ("fixed", "lot"):
            results = fixed(c, values, terms, rng)
        else:
            one = {"auction": auction, "house": house, "forum": forum, "private": forum}[c.mode]
            results = [one(c, values, terms, rng)]
        for result in results:
            self._keep(c, result, (country, terms), crowd)
        last = results[-1] if results else None
        if c.mode == "auction" and last is not None and last.kind is Kind.START and c.again < 2 and rng.random() < 0.6:
            self._requeue(c, last.end + float(rng.exponential(6)) + 1)

    def _terms(self, c: Consignment, country: str) -> Terms:
        rng = self.rng
        rate = float(self.rates[CURRENCY[country]][min(int(c.day), len(self.rates["USD"]) - 1)])
        claimed = self.variants.rows[c.pieces[0].claimed]
        size = PACK[claimed.packaging] * (1 + 0.25 * (len(c.pieces) - 1))
        eur = postage(country, size, c.guess, rng)
        if (c.mode == "fixed" and rng.random() < 0.12) or c.mode == "private":
            eur = 0.0
        popular = float(self.interest[c.pieces[0].claimed])
        line, who = int(self.variants.line[c.pieces[0].claimed]), int(self.variants.character[c.pieces[0].claimed])
        moods = self.mood.line[:, line] + self.mood.fad[:, who] - self._mood(c, c.day)
        return Terms(rate, popular, round(eur * rate * 2) / 2 if eur else 0.0, DAYS, moods)

    def _keep(self, c: Consignment, r: Result, where: tuple[str, Terms], crowd: float) -> None:
        country, terms = where
        venue = {"house": "harrow-lane", "forum": "swap-shed", "private": "private"}.get(c.mode, "quayside")
        kind = Kind.LOT if c.mode == "lot" and r.kind in _SOLD else r.kind
        shown = PostageKind.FREE if terms.shipping == 0 else PostageKind.PAID
        mood = self._mood(c, r.end)
        crowd += mood - self._mood(c, c.day)
        fact = Fact(len(self.facts), kind, c.pieces, c.seller, venue, country, r.start, r.end, r.price, r.ask,
                    terms.shipping, shown, crowd, mood, r.bids)  # fmt: skip
        fact.wrong += [r.wrong] if r.wrong else []
        fact.wrong += ["transplanted sticker"] if c.pieces[0].transplanted else []
        fact.wrong += ["resealed"] if c.pieces[0].seal is Seal.RESEALED else []
        self.facts.append(fact)
        if r.price is None or r.kind in (Kind.TRADE, Kind.PRIVATE):
            return
        self._after_sale(c, fact, terms)

    def _after_sale(self, c: Consignment, fact: Fact, terms: Terms) -> None:
        rng = self.rng
        odds = rng.random()
        falls = 0.045 + (0.2 if fact.piece.transplanted else 0.0) + (0.3 if "shill" in fact.wrong else 0.0)
        if c.mode != "forum" and odds < falls:
            ways = (Outcome.UNPAID, Outcome.CANCELLED, Outcome.RETURNED)
            fact.outcome = Outcome.RETURNED if fact.piece.transplanted else ways[int(rng.integers(3))]
            if c.again < 2 and c.mode != "house":
                self._requeue(c, fact.end + rng.uniform(6, 35))
            return
        if c.mode in ("fixed", "auction") and fact.kind is not Kind.OFFER and odds > _KEPT_WHOLE:
            fact.outcome = Outcome.PART_REFUNDED
        if len(c.pieces) == 1:
            self._owned.append((fact.end, fact.piece))
            price = fact.price or 0.0
            paid = price * (1.25 if c.mode == "house" else 1.0) + terms.shipping
            dear = float(self.variants.crowd[fact.piece.claimed]) - self.variants.level(fact.piece.claimed)
            packaging = self.variants.rows[fact.piece.claimed].packaging
            brought = np.log(max(paid, 0.5) / terms.rate) - state_log(fact.piece, packaging, dear)[0]
            self._news[int(fact.end / MONTH_DAYS) + 1].append((fact.piece.claimed, float(brought)))

    def _requeue(self, c: Consignment, day: float) -> None:
        if day < DAYS - 1:
            month = max(int(day / MONTH_DAYS), int(c.day / MONTH_DAYS) + 1)
            day = max(day, month * MONTH_DAYS)
            self._queue[month].append(replace(c, day=day, again=c.again + 1))
