"""The truth, apart: what each piece of evidence really was, every piece, and the middle of the market at the end.

Promises that nothing of it stands in sources/ or catalogue/. Writes Parquet files.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from hangtab.demo.agents import Collectors, Mood, Offered, willing
from hangtab.demo.entries import START_END, Entry
from hangtab.demo.facts import Fact
from hangtab.demo.market import DAYS
from hangtab.demo.pieces import Piece, PieceMaker, crowd_log
from hangtab.demo.said import Lookup, read
from hangtab.demo.variants import Floats, Variants
from hangtab.domain.evidence import Kind, Outcome
from hangtab.domain.subject import Feature, FeatureState, Packaging, Part, PartState, Seal, Subject

DRAWS = 200


def true_subject(piece: Piece, variants: Variants) -> Subject:
    """The subject that a piece truly is: every feature confirmed, every flaw named."""
    v = variants.rows[piece.variant]
    parts = tuple(Part(p, PartState.MISSING) for p in piece.missing)
    features = tuple(Feature(f, FeatureState.CONFIRMED) for f in v.features)
    return Subject(v.thing, v.packaging, piece.seal, parts, piece.grading, features, piece.flaws)


@dataclass(frozen=True, slots=True)
class Ledger:
    """What is needed to write the truth down: the variants, the rows by name, and rates by day."""

    variants: Variants
    lookup: Lookup
    rates: dict[str, Floats]


def evidence_frame(entries: list[Entry], ledger: Ledger) -> pl.DataFrame:
    """One row for each telling; a fact told twice has two rows with the same `evidence`."""
    return pl.DataFrame([_row(e, ledger) for e in entries], infer_schema_length=None)


def _row(e: Entry, ledger: Ledger) -> dict[str, object]:
    fact, piece, variants = e.fact, e.fact.piece, ledger.variants
    reading = read(e.said, ledger.lookup)
    rate = float(ledger.rates[e.currency][min(int(fact.end), len(ledger.rates["USD"]) - 1)])
    danger = bool(e.said.danger)
    lot = len(fact.pieces) > 1
    v = variants.rows[piece.variant]
    grading = piece.grading
    return {
        "evidence": f"{fact.venue}/{fact.listing}" if fact.listing else "",
        "fact": fact.number, "file": e.file, "locator": e.locator, "venue": fact.venue, "country": fact.country,
        "listing": fact.listing, "kind": fact.kind.value, "outcome": fact.outcome.value,
        "standing": "hearsay" if fact.kind is Kind.HEARSAY else "reported", "lot": lot, "none": danger,
        "title": e.title, "said_subject": reading.key, "nameable": reading.nameable and not lot,
        "fits": ";".join(reading.fits), "true_subject": "" if danger or lot else true_subject(piece, variants).key,
        "thing": "" if danger or lot else v.thing, "packaging": v.packaging.value, "line": v.line,
        "features_true": ",".join(v.features), "features_claimed": ",".join(variants.rows[piece.claimed].features),
        "grader": grading.grader if grading else "", "grade": grading.grade if grading else "",
        "flaws": ",".join(piece.flaws), "parts_missing": ",".join(piece.missing), "seal": piece.seal.value,
        "pieces": ";".join(str(p.number) for p in fact.pieces), "condition": piece.condition,
        "members": ";".join(true_subject(p, variants).key for p in fact.pieces) if lot else "",
        "is_wrong": bool(e.wrong), "wrong": ";".join(e.wrong), "bad_row": bool(e.spoiled), "seller": fact.seller.number,
        "started": e.started, "ended": e.ended, "currency": e.currency, "price": fact.price, "ask": fact.ask,
        "postage": fact.postage, "postage_shown": e.quoted, "crowd_eur": fact.value,
        "all_in_eur": _all_in(fact, rate), "price_eur": None if fact.price is None else fact.price / rate,
        "ask_eur": None if fact.ask is None else fact.ask / rate,
    }  # fmt: skip


def _all_in(fact: Fact, rate: float) -> float | None:
    """What the buyer paid to have it in hand, in EUR."""
    if fact.price is None:
        return None
    return (fact.price + _premium(fact) + fact.postage) / rate


def _premium(fact: Fact) -> float:
    """The house's premium on a hammer, with 20 % tax on it."""
    if fact.venue != "harrow-lane" or fact.price is None:
        return 0.0
    old = ((5000.0, 0.20), (float("inf"), 0.15))
    new = ((1000.0, 0.25), (10000.0, 0.20), (float("inf"), 0.12))
    low = total = 0.0
    for up_to, share in old if int(fact.end) < 1338 else new:  # noqa: PLR2004 - days to 1 July 2023
        total += max(min(fact.price, up_to) - low, 0.0) * share * 1.2
        low = up_to
    return total


def piece_frame(facts: list[Fact], variants: Variants) -> pl.DataFrame:
    """One row for each state of a physical piece that was seen: `piece` stays the same when it is regraded."""
    seen: dict[tuple[int, str], Piece] = {}
    for fact in facts:
        for piece in fact.pieces:
            seen[piece.number, piece.certificate] = piece
    rows = [
        {
            "piece": p.number, "certificate": p.certificate, "subject": true_subject(p, variants).key,
            "claimed": ",".join(variants.rows[p.claimed].features), "condition": p.condition,
            "transplanted": p.transplanted, "resealed": p.seal is Seal.RESEALED,
        }
        for p in seen.values()
    ]  # fmt: skip
    return pl.DataFrame(rows)


class Oracle:
    """Draws honest auctions at the reference venue (Quayside US) at the end of the world."""

    def __init__(self, world: tuple[Variants, Mood, Collectors], interest: Floats, maker: PieceMaker,
                 rng: np.random.Generator) -> None:  # fmt: skip
        """`interest`: bidders to expect by variant."""
        self._variants, self._mood, self._people = world
        self._interest, self._maker, self._rng = interest, maker, rng

    def middle(self, likes: list[Piece]) -> float:
        """Median all-in price in EUR of `DRAWS` auctions of pieces drawn from `likes` (all of one subject)."""
        variants, rng = self._variants, self._rng
        chosen = [likes[int(k)] for k in rng.integers(len(likes), size=DRAWS)]
        worths = [crowd_log(p, variants) for p in chosen]
        v = np.array([p.claimed for p in chosen])
        mood = self._mood.at(DAYS, int(variants.line[v[0]]), int(variants.character[v[0]]))
        crowd = np.array([w for w, _ in worths]) + mood
        graded = np.array([p.grading is not None for p in chosen])
        offered = Offered(v, crowd, np.array([c for _, c in worths]), graded)
        values = willing(offered, 24, (variants, self._people), rng)
        count = np.clip(rng.poisson(self._interest[v]), 2, 24)
        seconds = [np.sort(row[:n])[-2] for row, n in zip(values, count, strict=True)]
        return float(np.median(np.exp(seconds)))


def worth_frame(entries: list[Entry], ledger: Ledger, oracle: Oracle, count: int) -> pl.DataFrame:
    """Worths of `count` subjects as texts name them, drawn with chance by how often they were told.

    A subject's pieces are all pieces whose telling said just that: so the truth for "worn" is the mix of pieces that
    sellers call worn. Features claimed stay claimed, with the crowd's belief in them.
    """
    groups: dict[str, list[Piece]] = {}
    sales: dict[str, int] = {}
    for e in entries:
        reading = read(e.said, ledger.lookup)
        if not reading.nameable or e.wrong or e.said.lot or _unlike(e, ledger):
            continue
        subject = Subject.parse(reading.key)
        key = Subject(subject.thing, subject.packaging, subject.seal, subject.parts, subject.grading, subject.features,
                      subject.flaws, subject.note).key  # fmt: skip
        groups.setdefault(key, []).append(e.fact.piece)
        sold = e.fact.price is not None and e.fact.outcome is Outcome.COMPLETED
        sales[key] = sales.get(key, 0) + int(sold)
    rng = np.random.default_rng(count)
    keys = sorted(groups)
    weight = np.array([len(groups[k]) for k in keys]) ** 0.5
    chosen = rng.choice(len(keys), min(count, len(keys)), replace=False, p=weight / weight.sum())
    rows = [
        {"subject": keys[k], "at": START_END, "currency": "EUR", "middle": oracle.middle(groups[keys[k]]),
         "pieces": len(groups[keys[k]]), "sales": sales[keys[k]]}
        for k in sorted(int(c) for c in chosen)
    ]  # fmt: skip
    return pl.DataFrame(rows)


def _unlike(e: Entry, ledger: Ledger) -> bool:
    """Whether the telling names another thing than the piece is claimed to be (a running change left unsaid)."""
    v = ledger.variants.rows[e.fact.piece.claimed]
    said = {f for f in e.said.features if e.said.features[f] is not FeatureState.REFUTED}
    change = bool(v.change) and not e.said.attribute
    return change or set(v.features) != said or (v.packaging is Packaging.PROTOTYPE and not e.said.stage)


def write_truth(folder: Path, frames: dict[str, pl.DataFrame]) -> None:
    """Write the frames as Parquet files."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in frames.items():
        frame.write_parquet(folder / f"{name}.parquet")
