"""The truth, apart: what each piece of evidence really was, every piece, and the middle of the market at the end.

Promises that nothing of it stands in sources/ or catalogue/. Writes Parquet files.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl

from hangtab.demo.entries import START_END, Entry
from hangtab.demo.facts import Fact
from hangtab.demo.oracle import Oracle
from hangtab.demo.pieces import Piece
from hangtab.demo.said import Lookup, read
from hangtab.demo.variants import Floats, Variants
from hangtab.domain.evidence import Kind, Outcome
from hangtab.domain.subject import Feature, FeatureState, Part, PartState, Seal, Subject

# Of the draws three in ten find no bidder at the start price. A median of 200 is known to about two per cent.
DRAWS = 600
# Words kinder than the piece are a way of telling it: whoever reads them cannot know.
_KIND = {"condition overstated"}


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
    listing = "" if e.file.startswith("pasted/") else fact.listing  # a pasted line gives no number
    v = variants.rows[piece.variant]
    grading = piece.grading
    return {
        "evidence": f"{fact.venue}/{listing}" if listing else "",
        "fact": fact.number, "file": e.file, "locator": e.locator, "venue": fact.venue, "country": fact.country,
        "listing": listing, "kind": fact.kind.value, "outcome": fact.outcome.value,
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
        "postage": fact.postage, "postage_shown": e.quoted, "crowd_log": fact.crowd, "mood_log": fact.mood,
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
    for up_to, share in old if int(fact.end) < 1338 else new:
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


def worth_frame(entries: list[Entry], ledger: Ledger, oracle: Oracle, count: int) -> pl.DataFrame:
    """Worths of `count` subjects as texts name them, half of them sold at least once under just that name.

    What a text leaves open is drawn from all pieces that were told the same way (`_likeness`): "good condition" stands
    for whatever sellers call so, a grade for whatever got it. Features claimed stay claimed, with the crowd's belief.
    """
    examples: dict[str, Entry] = {}
    sales: dict[str, int] = {}
    donors: dict[tuple[object, ...], list[Entry]] = {}
    for e in entries:
        reading = read(e.said, ledger.lookup)
        if not reading.nameable or set(e.wrong) - _KIND or _unlike(e, ledger):
            continue
        donors.setdefault(_likeness(e, ledger), []).append(e)
        if e.wrong:
            continue
        examples.setdefault(reading.key, e)
        sold = e.fact.price is not None and e.fact.outcome is Outcome.COMPLETED
        sales[reading.key] = sales.get(reading.key, 0) + int(sold)
    rng = np.random.default_rng(count)
    rows = []
    for key in _chosen(sales, count, rng):
        pool = donors[_likeness(examples[key], ledger)]
        like = [_told_alike(examples[key], pool[int(k)]) for k in rng.integers(len(pool), size=DRAWS)]
        drawn = oracle.middle(like)
        rows.append({"subject": key, "at": START_END, "currency": "EUR", "middle": drawn.middle,
                     "unreserved": drawn.unreserved, "sold": drawn.sold, "draws": DRAWS,
                     "sales": sales[key], "donors": len(pool)})  # fmt: skip
    return pl.DataFrame(rows)


def _chosen(sales: dict[str, int], count: int, rng: np.random.Generator) -> list[str]:
    seen = sorted(k for k, n in sales.items() if n > 0)
    unseen = sorted(k for k, n in sales.items() if n == 0)
    weight = np.array([sales[k] for k in seen], dtype=float)
    half = min(count * 2 // 3, len(seen))
    first = rng.choice(len(seen), half, replace=False, p=weight / weight.sum())
    second = rng.choice(len(unseen), min(count - half, len(unseen)), replace=False)
    return sorted([seen[int(k)] for k in first] + [unseen[int(k)] for k in second])


def _likeness(e: Entry, ledger: Ledger) -> tuple[object, ...]:
    """What a telling says of the state: pieces with the same are alike as far as a reader can know."""
    grading = e.said.grading
    packaging = ledger.variants.rows[e.fact.piece.claimed].packaging
    state = (
        (grading.grader, grading.grade, bool(grading.qualifiers))
        if grading
        else (e.said.note, min(len(e.said.flaws), 2))
    )
    lacking = sum(p.state is PartState.MISSING for p in e.said.parts)
    return (packaging, e.said.seal, len(e.said.parts) > lacking, lacking > 0, *state)


def _told_alike(example: Entry, donor: Entry) -> Piece:
    """The example's piece in the state of a donor: what the words say stays, the rest is the donor's."""
    other, said = donor.fact.piece, example.said
    unsaid = tuple(f for f in other.flaws if f not in donor.said.flaws and f not in said.flaws)
    # A part that nobody mentions is missing as often as it is from a donor; which one does not matter to the crowd.
    untold = tuple(p for p in other.missing if p not in {q.id for q in donor.said.parts})
    gone = tuple(p.id for p in said.parts if p.state is PartState.MISSING) + untold
    graded = other.grading if said.grading else None
    return replace(
        example.fact.piece, variant=example.fact.piece.claimed, condition=other.condition, seal=other.seal,
        flaws=(*said.flaws, *unsaid), missing=gone, grading=graded, position=other.position,
    )  # fmt: skip


def _unlike(e: Entry, ledger: Ledger) -> bool:
    """Whether the telling names less than the piece is claimed to be, or hides that a graded piece is graded."""
    v = ledger.variants.rows[e.fact.piece.claimed]
    unsaid = bool(v.change) and not e.said.attribute
    return (
        unsaid or set(v.features) != set(e.said.features) or (e.said.grading is None) != (e.fact.piece.grading is None)
    )


def variant_frame(variants: Variants) -> pl.DataFrame:
    """What the crowd thinks of each variant in middling state (log EUR, without mood) and how often it is offered."""
    rows = [
        {"thing": v.thing, "packaging": v.packaging.value, "features": ",".join(v.features), "line": v.line,
         "crowd_log": float(variants.crowd[k]), "share": float(variants.share[k])}
        for k, v in enumerate(variants.rows)
    ]  # fmt: skip
    return pl.DataFrame(rows)


def write_truth(folder: Path, frames: dict[str, pl.DataFrame]) -> None:
    """Write the frames as Parquet files."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in frames.items():
        frame.write_parquet(folder / f"{name}.parquet")
