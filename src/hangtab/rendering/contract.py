"""The stable JSON for scripts, the same from the command line and from the web.

Promises: keys are never renamed; numbers are unrounded, dates ISO 8601; with B the base and g the gains,
log middle.median = (1 - sum g) log B + sum g log adjusted.
Gives: plain dictionaries. Not here: printing them.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from hangtab.domain.money import Money
from hangtab.domain.name import Candidate, Naming, Reason
from hangtab.domain.subject import Subject
from hangtab.domain.worth import Span, Worth
from hangtab.usecases.explaining import Explained
from hangtab.usecases.ports import Stored

Json = dict[str, Any]


def subject_json(subject: Subject, text: str) -> Json:
    """A subject: its key, its sentence and its parts."""
    grading = subject.grading
    return {
        "key": subject.key,
        "text": text,
        "thing": subject.thing,
        "packaging": subject.packaging.value,
        "seal": subject.seal.value,
        "parts": {p.id: p.state.value for p in subject.parts},
        "grading": grading and {
            "grader": grading.grader,
            "scale": grading.scale,
            "grade": grading.grade,
            "generation": grading.generation,
            "subgrades": dict(grading.subgrades),
            "qualifiers": list(grading.qualifiers),
        },
        "features": {f.id: f.state.value for f in subject.features},
        "flaws": list(subject.flaws),
        "note": subject.note,
    }  # fmt: skip


def span_json(span: Span) -> Json:
    """One distribution; ranges by per cent."""
    return {
        "median": span.median,
        "mean": span.mean,
        "ranges": {str(share): list(ends) for share, ends in sorted(span.ranges.items())},
    }


def worth_json(worth: Worth) -> Json:
    """One worth with the sales that carry it."""
    verdict = worth.verdict
    return {
        "subject": subject_json(worth.subject, worth.text),
        "at": worth.at.isoformat(),
        "currency": worth.currency,
        "middle": span_json(worth.middle),
        "next_sale": span_json(worth.next_sale),
        "item_price": span_json(worth.item_price),
        "base": worth.base,
        "comparables": [
            {
                "id": c.id,
                "kind": c.kind,
                "sold": c.sold.isoformat(),
                "all_in": c.all_in,
                "adjusted": c.adjusted,
                "gain": c.gain,
            }
            for c in worth.comparables
        ],
        "effective_sales": worth.effective_sales,
        "newest": worth.newest.isoformat() if worth.newest else None,
        "verdict": verdict and {"price": verdict.price, "below": verdict.below, "words": verdict.words},
    }  # fmt: skip


def naming_json(naming: Naming) -> list[Json]:
    """The candidates of a text, likeliest first."""
    return [_candidate(c) for c in naming.candidates]


def _candidate(candidate: Candidate) -> Json:
    return {
        "subject": subject_json(candidate.subject, candidate.text),
        "text": candidate.text,
        "probability": candidate.probability,
        "for": [_reason(r) for r in candidate.speaks_for],
        "against": [_reason(r) for r in candidate.speaks_against],
    }


def _reason(reason: Reason) -> Json:
    return {"text": reason.text, "meaning": reason.meaning, "kind": reason.kind, "sure": reason.sure}


def evidence_json(stored: Stored) -> Json:
    """One piece of evidence as stated; all-in prices are derived and not among it."""
    e, name = stored.evidence, stored.name
    return {
        "id": e.id,
        "kind": e.kind.value,
        "title": e.title,
        "when": str(e.when),
        "started": str(e.started) if e.started else None,
        "price": _money(e.price),
        "ask": _money(e.ask),
        "postage": {"kind": e.postage.kind.value, "amount": _money(e.postage.amount)},
        "venue": e.venue,
        "country": e.country,
        "listing": e.listing,
        "seller": e.seller,
        "standing": e.standing.value,
        "outcome": e.outcome.value,
        "quantity": e.quantity,
        "certificate": e.certificate,
        "said": dict(e.said),
        "photos": list(e.photos),
        "name": None
        if name is None
        else {
            "subject": name.candidates[0][0] if name.candidates else None,
            "probability": name.candidates[0][2] if name.candidates else None,
            "decided": name.decided,
            "by": name.by,
        },
        "sources": [{"sha256": s, "name": n, "where": w} for s, n, w in stored.sources],
    }


def _money(money: Money | None) -> Json | None:
    return {"amount": str(money.amount), "currency": money.currency} if money else None


def fit_json(made: Explained) -> Json:
    """How a fit fits."""
    return {**asdict(made), "made": made.made.isoformat(), "as_of": made.as_of.isoformat()}
