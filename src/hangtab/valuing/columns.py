"""A subject as the engine's columns: the chain it hangs on, and everything about its condition.

Promises that equal subjects give equal columns, and that only what was verified earns a feature's premium. Reads the
catalogue only. Not here: prices, dates and venues, which belong to a sale and not to a piece (table).
"""

from __future__ import annotations

from collections import Counter
from datetime import date
from typing import TypedDict

from hangtab.catalogue.model import Catalogue, Chain, FeatureKind
from hangtab.domain.subject import VERIFIED, Feature, FeatureState, Packaging, PartState, Seal, Subject

CHAIN = ("line", "character", "figure", "release", "change", "variant", "form")


class PieceColumns(TypedDict):
    """One subject's columns. `position` is 0 to 100 on the grader's scale, None for raw pieces."""

    line: str
    character: str
    figure: str
    release: str
    change: str
    variant: str
    form: str
    state: str
    card: str | None
    scale: str | None
    position: float | None
    generation: str | None
    premium: str | None
    note: str | None
    attribute: str | None
    stage: str | None
    marks: list[str]
    features: list[str]


def form_of(subject: Subject) -> str:
    """Packaging with raw or graded: "carded raw", "boxed graded", "loose raw"."""
    return f"{subject.packaging.value} {'graded' if subject.grading else 'raw'}"


def piece_columns(subject: Subject, catalogue: Catalogue, on: date | None = None) -> PieceColumns:
    """The engine's columns of a subject.

    Args:
        subject: the piece.
        catalogue: what exists.
        on: day of the sale; before a running change was known, a release that has one is "unchecked".

    Raises KeyError when the subject's thing is not in the catalogue.
    """
    chain = catalogue.chain(subject.thing)
    grading = subject.grading
    position = None
    if grading:
        scale = next((s for s in catalogue.graders[grading.grader].scales if s.id == grading.scale), None)
        position = scale.position(grading.grade) if scale else None
    change = catalogue.changes.get(chain.change)
    prototype = catalogue.prototypes.get(chain.prototype)
    return PieceColumns(
        line=chain.line,
        character=chain.character,
        figure=chain.figure or "prototype",
        release=_release_label(subject, chain),
        change=_change_label(chain, catalogue, on),
        variant=",".join(sorted(f.id for f in subject.features if f.state is not FeatureState.REFUTED)) or "plain",
        form=form_of(subject),
        state=f"{subject.packaging.value} {grading.grader if grading else 'raw'}",
        card=_card_label(chain, catalogue),
        scale=f"{grading.grader}:{grading.scale} {subject.packaging.value}" if grading else None,
        position=position,
        generation=f"{grading.grader} {grading.generation}" if grading and grading.generation else None,
        premium=chain.character if grading else None,
        note=f"{subject.packaging.value} {subject.note}" if subject.note and not grading else None,
        attribute=change.attribute if change and change.attribute else None,
        stage=f"{prototype.stage} {prototype.finish}".strip() if prototype else None,
        marks=_marks(subject, catalogue),
        features=_features(subject.features, catalogue),
    )


def _release_label(subject: Subject, chain: Chain) -> str:
    if subject.packaging is Packaging.LOOSE:
        return "loose"
    return chain.release or chain.prototype or "any"


def _change_label(chain: Chain, catalogue: Catalogue, on: date | None) -> str:
    if chain.change:
        return chain.change
    later = [c for c in catalogue.changes.values() if c.release == chain.release and c.known_since]
    if on and any(c.known_since and on < c.known_since for c in later):
        return "unchecked"
    return "common"


def _card_label(chain: Chain, catalogue: Catalogue) -> str | None:
    release = catalogue.releases.get(chain.release)
    return f"{chain.line} {release.card}" if release and release.card else None


def _part_kind(catalogue: Catalogue, part: str) -> str:
    known = catalogue.parts.get(part)
    return known.kind if known else "part"


def _marks(subject: Subject, catalogue: Catalogue) -> list[str]:
    """Flaws, qualifiers, missing or reproduction parts, opened or resealed packaging; sorted.

    A missing part counts by its kind: single parts are missing too seldom to learn each one's price. A second one of
    a kind is a mark of its own, since a mark counts once. In a grader's case a flaw may weigh differently: the grade
    has told of it.
    """
    where = form_of(subject).removesuffix(" raw")
    marks = [f"{where} {flaw}" for flaw in subject.flaws]
    if subject.grading:
        marks += [f"qualifier {q}" for q in subject.grading.qualifiers]
    gone: Counter[str] = Counter()
    for part in subject.parts:
        if part.state is PartState.MISSING:
            kind = _part_kind(catalogue, part.id)
            gone[kind] += 1
            marks.append(f"{where} missing {kind}" if gone[kind] == 1 else f"{where} missing {kind} {gone[kind]}")
        elif part.state is PartState.REPRODUCTION:
            marks.append(f"{where} reproduction part")
    if subject.seal in {Seal.OPENED, Seal.RESEALED}:
        marks.append(f"{where} {subject.seal.value}")
    return sorted(marks)


def _features(features: tuple[Feature, ...], catalogue: Catalogue) -> list[str]:
    """Each feature, and beside it its own discount while it is only claimed; a refuted one is none.

    What cannot be moved to another piece or forged (a territory card) is what it says; a claim takes nothing off it.
    """
    out: list[str] = []
    for feature in features:
        if feature.state is FeatureState.REFUTED:
            continue
        out.append(feature.id)
        known = catalogue.features.get(feature.id)
        doubted = known is None or known.transplantable or known.kind is FeatureKind.SIGNATURE
        if doubted and feature.state not in VERIFIED:
            out.append(f"{feature.id} unverified")
    return sorted(out)
