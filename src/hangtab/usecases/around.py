"""What a page says around an answer: how a sale is called, the outline of the card, the book in a few figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from hangtab.catalogue.model import Catalogue, FeatureKind
from hangtab.catalogue.variants import variants
from hangtab.domain.evidence import Kind
from hangtab.domain.subject import Packaging, Seal, Subject
from hangtab.usecases.desk import AsSold, BookInfo, Leader, LineHeld, Outline
from hangtab.usecases.fitting import Standing
from hangtab.usecases.parts import Parts

EXAMPLES = 4
RECENT = 2000  # lines of the journal looked through for answers since the fit
# How a piece is packed and closed stands in its condition, not in what piece it is.
FORMS = {*Packaging, *Seal, "seal unknown"}
BROKEN = (Seal.OPENED, Seal.RESEALED)
SPOTS = {FeatureKind.STICKER: "sticker", FeatureKind.TERRITORY: "strip", FeatureKind.SIGNATURE: "text"}


def as_sold(parts: Parts, ids: Sequence[str], asked: Subject | None = None) -> Mapping[str, AsSold]:
    """How each of a few pieces of evidence is called: its condition, where it sold, and what piece it is if another."""
    out = {}
    mine = _piece_words(parts, asked) if asked else []
    for i, stored in parts.book.find_all(ids).items():
        name, evidence = stored.name, stored.evidence
        venue = parts.catalogue.venues.get(evidence.venue)
        place = ", ".join(p for p in (venue.names.name if venue else evidence.venue, evidence.country) if p)
        subject = Subject.parse(name.candidates[0][0]) if name and name.candidates else None
        label = condition_label(parts.catalogue, subject) if subject else ""
        piece = _apart(parts, subject, asked, mine) if subject and asked else ""
        hidden = evidence.kind is Kind.OFFER and evidence.price is None
        kind = Kind.OFFER if hidden else Kind.SALE if evidence.kind is Kind.OFFER else evidence.kind
        out[i] = AsSold(label, place or "private", kind.value, not (name and name.decided), piece)
    return out


def _piece_words(parts: Parts, subject: Subject) -> list[str]:
    """What the canonical sentence says of the piece itself, without its condition."""
    bare = replace(subject, grading=None, parts=(), flaws=(), note="")
    said = parts.namer.sentence(bare).split(", ")
    return [word for word in said if word not in FORMS]


def _apart(parts: Parts, subject: Subject, asked: Subject, mine: Sequence[str]) -> str:
    """In what a piece is not the one asked about: "Beacon card, no glow sticker"; empty when it is the same."""
    theirs = _piece_words(parts, subject)
    apart = [word for word in theirs if word not in mine]
    lacking = {f.id for f in asked.features} - {f.id for f in subject.features}
    apart += [f"no {parts.catalogue.features[f].names.name}" for f in sorted(lacking) if f in parts.catalogue.features]
    line = parts.catalogue.lines[parts.catalogue.chain(asked.thing).line].names.name
    return ", ".join(word.removeprefix(f"{line} ") for word in apart)


def condition_label(catalogue: Catalogue, subject: Subject) -> str:
    """The condition in a few words: "Northgate 34", "raw, crease", "loose, no sail"."""
    grading = subject.grading
    if grading:
        marks = [_qualifier(catalogue, grading.grader, q) for q in grading.qualifiers]
        return ", ".join((f"{catalogue.graders[grading.grader].names.name} {grading.grade}", *marks))
    head = "raw" if subject.packaging in (Packaging.CARDED, Packaging.BOXED) else subject.packaging.value
    notes = [catalogue.conditions[subject.note].names.name] if subject.note in catalogue.conditions else []
    flaws = [catalogue.flaws[f].names.name.lower() for f in subject.flaws if f in catalogue.flaws]
    seal = [subject.seal.value] if subject.seal in BROKEN else []
    return ", ".join((head, *seal, *notes, *flaws))


def _qualifier(catalogue: Catalogue, grader: str, qualifier: str) -> str:
    known = next((q for q in catalogue.graders[grader].qualifiers if q.id == qualifier), None)
    return known.names.name.lower() if known else qualifier


def outline(catalogue: Catalogue, subject: Subject) -> Outline | None:
    """The outline of the subject's card or box with what tells it apart; None without measures."""
    chain = catalogue.chain(subject.thing)
    release = catalogue.releases.get(chain.release)
    if release is None:
        return None
    cards = {c.id: c for c in catalogue.lines[chain.line].cards}
    card = cards.get(release.card)
    if card is None or not card.width_mm:
        return None
    leaders = [Leader("title", card.names.name, str(card.year))]
    for feature in subject.features:
        known = catalogue.features.get(feature.id)
        if known:
            leaders.append(Leader(SPOTS.get(known.kind, "window"), known.names.name, feature.state.value))
    if chain.change:
        leaders.append(Leader("window", catalogue.changes[chain.change].names.name, "running change"))
    return Outline(card.width_mm, card.height_mm, release.packaging.value, tuple(leaders[:5]))


def book_info(parts: Parts, standing: Standing | None, name: str, today: date) -> BookInfo:
    """The book in a few figures."""
    counts = parts.book.sold_subjects()
    by_line: dict[str, int] = {}
    pieces: dict[str, int] = {}
    for key, count in counts.items():
        line = parts.catalogue.chain(Subject.parse(key).thing).line
        by_line[line] = by_line.get(line, 0) + count
    for thing, _, _ in variants(parts.catalogue):
        line = parts.catalogue.chain(thing).line
        pieces[line] = pieces.get(line, 0) + 1
    lines = tuple(
        LineHeld(
            line.names.name,
            parts.catalogue.makers[line.maker].name,
            f"{line.first_year}–{line.last_year}",
            pieces.get(line.id, 0),
            by_line.get(line.id, 0),
            line.id,
        )
        for line in parts.catalogue.lines.values()
    )
    return BookInfo(
        name=name,
        currency=parts.book.currency,
        evidence=parts.book.evidence_count(),
        sales=sum(counts.values()),
        waiting=parts.book.waiting_count(),
        fitted=standing.made if standing else None,
        today=today,
        lines=lines,
        venues=tuple((v.id, v.names.name) for v in parts.catalogue.venues.values()),
        examples=_examples(parts, counts),
        newer=max(parts.book.evidence_count() - standing.evidence, 0) if standing else 0,
        answers=_answers_since(parts, standing) if standing else 0,
    )


def _answers_since(parts: Parts, standing: Standing) -> int:
    """A person's answers after the fit, less those taken back."""
    standing_answers: list[str] = []
    for entry in reversed(parts.book.journal(RECENT)):
        if entry.at <= standing.made:
            continue
        if entry.verb in {"settle", "set aside"}:
            standing_answers.append(entry.verb)
        elif entry.verb == "undo answer" and standing_answers:
            standing_answers.pop()
    return standing_answers.count("settle")


def _examples(parts: Parts, counts: Mapping[str, int]) -> tuple[str, ...]:
    """The commonest piece of each line, in plain words, and one question for a list."""
    out: dict[str, str] = {}
    for key, _ in sorted(counts.items(), key=lambda p: (-p[1], p[0])):
        subject = Subject.parse(key)
        line = parts.catalogue.chain(subject.thing).line
        if line not in out:
            out[line] = parts.namer.sentence(subject)
        if len(out) >= EXAMPLES - 1:
            break
    if not out:
        return ()
    chain = parts.catalogue.chain(Subject.parse(max(counts, key=lambda k: (counts[k], k))).thing)
    character = parts.catalogue.characters[chain.character].names.name
    return (*out.values(), f"all {character} sales since last autumn")
