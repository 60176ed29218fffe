"""The stable JSON for scripts, the same from the command line and from the web.

Promises: keys are never renamed; numbers are unrounded, dates ISO 8601; with B the base and g the gains,
log middle.median = (1 - sum g) log B + sum g log adjusted.
Gives: plain dictionaries. Not here: printing them.
"""

from __future__ import annotations

from typing import Any

from hangtab.domain.name import Candidate, Naming, Reason
from hangtab.domain.subject import Subject
from hangtab.domain.worth import Span, Worth

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
