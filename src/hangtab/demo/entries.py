"""Facts as they are told: each gets its words, its slips and its place in a file.

Promises that what is wrong with a telling is named in `wrong`, and that `said` stays exact about the words. Gives
`Entry`s; which file they go to is decided in `sources`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np

from hangtab.demo.agents import Seller
from hangtab.demo.facts import Fact
from hangtab.demo.general import CONDITIONS, GRADERS, WORDS
from hangtab.demo.market import CURRENCY
from hangtab.demo.pieces import Piece
from hangtab.demo.said import Lookup, Said
from hangtab.demo.titles import Titles, Writer, phrase
from hangtab.demo.variants import Variants
from hangtab.domain.evidence import Kind, Outcome
from hangtab.domain.subject import Packaging

START = date(2019, 11, 1)
START_END = date(2026, 10, 30)
_REWRITTEN = 0.12  # chance that a listing gets new words when it is offered again
_WRONG_TITLES, _WRONG_GRADES, _YEAR_SLIPS, _DANGERS, _NUMBERED = 0.032, 0.03, 0.05, 0.011, 0.12
_OVERSTATED = 22.0  # points of condition from which words are wrong rather than kind
_COUNTRY_DIGIT = {"US": 1, "GB": 2, "CA": 3, "DE": 4}


@dataclass(slots=True)
class Entry:
    """A fact with its words.

    `file` (under sources/) and `locator` are set when it is written; `columns` are extra
    cells that describe the piece; `quoted` is postage as shown, in the currency, None when not shown.
    """

    fact: Fact
    title: str
    said: Said
    wrong: list[str]
    quoted: float | None
    file: str = ""
    locator: str = ""
    columns: dict[str, str] = field(default_factory=dict)
    price_shown: float | None = None
    spoiled: str = ""

    @property
    def currency(self) -> str:
        """Currency of the site."""
        return CURRENCY[self.fact.country]

    @property
    def ended(self) -> date:
        """Day it ended or was seen."""
        return START + timedelta(int(self.fact.end))

    @property
    def started(self) -> date:
        """Day the listing started."""
        return START + timedelta(int(self.fact.start))


@dataclass(frozen=True, slots=True)
class Words:
    """How a seller worded a piece; `factor` is what a piece that is none brings of the real one's price."""

    title: str
    said: Said
    wrong: list[str]
    factor: float = 1.0


class Teller:
    """Turns facts into entries."""

    def __init__(self, variants: Variants, lookup: Lookup, titles: Titles, rng: np.random.Generator) -> None:
        """All draws come from `rng`."""
        self._variants, self._lookup, self._titles, self._rng = variants, lookup, titles, rng
        self._kin = self._kin_of(variants)
        self._told: dict[tuple[tuple[int, ...], str, int, str], Words] = {}

    @staticmethod
    def _kin_of(variants: Variants) -> dict[tuple[str, Packaging, tuple[str, ...]], list[int]]:
        kin: dict[tuple[str, Packaging, tuple[str, ...]], list[int]] = {}
        for k, v in enumerate(variants.rows):
            kin.setdefault((v.line, v.packaging, v.features), []).append(k)
        return kin

    def tell(self, fact: Fact) -> Entry:
        """The fact in a seller's words; a piece offered again mostly keeps its words."""
        fact.listing = self._listing(fact)
        wrong = list(fact.wrong)
        key = tuple(p.number for p in fact.pieces), fact.piece.certificate, fact.seller.number, fact.venue
        before = self._told.get(key)
        if before is None or (not before.said.danger and self._rng.random() < _REWRITTEN):
            before = self._told[key] = self._words(fact)
        if before.said.danger:
            fact.price = None if fact.price is None else round(fact.price * before.factor, 2)
            fact.ask = None if fact.ask is None else round(fact.ask * before.factor, 2)
        return Entry(fact, before.title, before.said, wrong + before.wrong, self._quoted(fact), price_shown=fact.price)

    def _words(self, fact: Fact) -> Words:
        rng = self._rng
        writer = self._titles.writer(fact.seller, fact.end)
        if fact.venue == "harrow-lane":
            writer = Writer("en", 0.95, fact.end)
        if len(fact.pieces) > 1:
            return Words(*self._lot(fact, writer), [])
        wrong: list[str] = []
        piece, variant = self._slips(fact, wrong)
        if fact.venue != "harrow-lane" and rng.random() < _YEAR_SLIPS:
            writer = replace(writer, year_off=int(rng.choice((-1, 1, 2))))
        title, said = self._titles.title(piece, variant, writer)
        wrong += ["wrong year"] if said.year and writer.year_off else []
        note = next((c.position for c in CONDITIONS if c.id == said.note), 0.0)
        wrong += ["condition overstated"] if note > fact.piece.condition + _OVERSTATED else []
        factor = 1.0
        if rng.random() < _DANGERS and fact.venue == "quayside" and piece.grading is None:
            title = self._danger(title, said, writer.language)
            wrong.append(f"not the piece: {said.danger}")
            factor = float(rng.uniform(0.15, 0.45))
        if piece.certificate and rng.random() < _NUMBERED:
            title += f" {piece.certificate}"
        return Words(title, said, wrong, factor)

    def _listing(self, fact: Fact) -> str:
        if fact.venue == "quayside":
            number = _COUNTRY_DIGIT[fact.country] * 10**8 + 10**6 + fact.number * 37 + fact.number % 11
            return f"{fact.country}-{number}"
        if fact.venue == "harrow-lane":
            day = START + timedelta(int(fact.end))
            return f"{day:%y%m}-{100 + fact.number % 9000}"
        return ""

    def _slips(self, fact: Fact, wrong: list[str]) -> tuple[Piece, int]:
        """The piece and variant as the seller believes or pretends them to be."""
        rng, piece = self._rng, fact.piece
        piece, variant = replace(piece, condition=piece.condition + fact.seller.rosy - 6.0), piece.claimed
        if fact.venue == "harrow-lane":
            return piece, variant
        v = self._variants.rows[variant]
        if rng.random() < _WRONG_TITLES:
            kin = self._kin[(v.line, v.packaging, v.features)]
            near = [k for k in kin if self._near(v.character, self._variants.rows[k].character)]
            others = [k for k in (near or kin) if self._variants.rows[k].thing != v.thing]
            if others:
                wrong.append("wrong title")
                return replace(piece, missing=()), int(rng.choice(others))
        if piece.grading is not None and rng.random() < _WRONG_GRADES:
            scale = next(
                s for g in GRADERS if g.id == piece.grading.grader for s in g.scales if s.id == piece.grading.scale
            )
            labels = [g.label for g in scale.grades]
            k = labels.index(piece.grading.grade) + int(rng.choice((-2, -1, 1, 2, 3)))
            wrong.append("wrong grade")
            grading = replace(piece.grading, grade=labels[min(max(k, 0), len(labels) - 1)])
            return replace(piece, grading=grading), variant
        return piece, variant

    def _near(self, a: str, b: str) -> bool:
        """Whether two characters are easily taken for each other: the same, or the same first word."""
        names = self._lookup.cast[a].names.name.split()[0], self._lookup.cast[b].names.name.split()[0]
        return names[0] == names[1]

    def _danger(self, title: str, said: Said, language: str) -> str:
        rng = self._rng
        said.danger = str(rng.choice(("custom", "reproduction", "empty")))
        text = WORDS[said.danger][language][0]
        return f"{text} {title}" if rng.random() < 0.6 else f"{title} {text}"

    def _lot(self, fact: Fact, who: Writer) -> tuple[str, Said]:
        rng = self._rng
        rows = [self._variants.rows[p.claimed] for p in fact.pieces]
        said = Said(line=rows[0].line, lot=True)
        line = self._lookup.lines[rows[0].line].names.name
        count = len(rows)
        lot, form = phrase("lot", who.language, rng), phrase(rows[0].packaging.value, who.language, rng)
        names = [self._lookup.cast[r.character].names.name for r in rows]
        text = f"{lot} {count} {line} {form}"
        if rng.random() < 0.6:
            text += ": " + ", ".join(names[:3]) + (" ..." if count > 3 else "")
        return text, said

    def _quoted(self, fact: Fact) -> float | None:
        """Postage as the venue shows it.

        What was paid (GB, DE, and CA in French), or what it would cost the person who looked (US, CA in English).
        """
        rng = self._rng
        if fact.kind in (Kind.TRADE, Kind.PRIVATE) or rng.random() < 0.06:
            return None
        if fact.postage == 0:
            return 0.0
        year = (START + timedelta(int(fact.end))).year
        if fact.country in ("GB", "DE") or (fact.country == "CA" and year % 2) or rng.random() < 0.45:
            return fact.postage
        return round(fact.postage * float(rng.lognormal(0, 0.3)) * 2) / 2


def _plain(e: Entry) -> bool:
    return not e.wrong and not e.said.lot and e.fact.outcome is Outcome.COMPLETED


def hearsay(entries: list[Entry], sellers: tuple[Seller, ...], rng: np.random.Generator, scale: float) -> list[Entry]:
    """What somebody said that something had brought: real sales of which the figure is half remembered."""
    pool = [e for e in entries if e.fact.kind in (Kind.AUCTION, Kind.SALE) and _plain(e)]
    told: list[Entry] = []
    for k in rng.permutation(len(pool))[: int(90 * scale) + 2]:
        first = pool[int(k)]
        true = first.fact.price or 1.0
        price = max(float(np.round(true * rng.lognormal(0.05, 0.25), -1 if true > 80 else 0)), 1.0)
        fact = replace(
            first.fact, number=len(entries) + len(told), kind=Kind.HEARSAY, venue="", listing="", price=price, ask=None,
            seller=sellers[int(rng.integers(len(sellers)))], wrong=[], bids=0,
        )  # fmt: skip
        told.append(Entry(fact, first.title, first.said, ["half remembered"], None, price_shown=fact.price))
    return told
