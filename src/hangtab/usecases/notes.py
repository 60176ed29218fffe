"""Margin notes and cautions of an answer: one fact each, from the same fit as the figure."""

from __future__ import annotations

import math
from datetime import date

import polars as pl

from hangtab.catalogue.model import Catalogue
from hangtab.domain.money import sign
from hangtab.domain.subject import VERIFIED, FeatureState, Subject
from hangtab.domain.worth import Worth
from hangtab.usecases.parts import Parts
from hangtab.usecases.views import Note, Track
from hangtab.valuing import CHAIN, Valuer, piece_columns

LEVEL_WORDS = {
    "variant": "same release without or with other features",
    "change": "same release",
    "release": "same figure on other cards",
    "figure": "same character",
    "character": "same line",
    "line": "the whole book",
}
FINE = 10.0
HALF = 0.5


def notes_for(parts: Parts, valuer: Valuer, worth: Worth, same: pl.DataFrame, track: Track | None) -> tuple[Note, ...]:
    """Notes for the margin, in the order of their sections."""
    return (
        *_doubts(valuer),
        _rests(worth),
        *_how_wrong(track),
        _middle(worth),
        _place(parts, valuer),
        *([] if worth.seen else [_leans(valuer, worth.subject)]),
        *_about_shares(worth),
        *_asks(same),
        *_offers(valuer, same),
    )


def _doubts(valuer: Valuer) -> list[Note]:
    """A fit that did not converge is never used silently."""
    return [Note("worth", "Do not trust this", warning) for warning in valuer.fitted.report.warnings]


def _how_wrong(track: Track | None) -> list[Note]:
    if track is None:
        return [
            Note("worth", "How wrong", "is not known yet: the book has too few sales to be tried on the last ones.")
        ]
    if track.studied:
        studied = (
            f"for {track.kind}: off by {track.error * 100:.0f}\u202f% at the middle of {_grouped(track.sales)} sales"
            f" that came later. Eight-in-ten ranges held {track.inside_80 * 100:.0f}\u202f% of them."
        )
        return [Note("worth", "How wrong", studied, "/track-record")]
    said = (
        f"such estimates have been: off by {track.error * 100:.0f}\u202f% at the middle of {track.sales} unseen sales."
        f" {round(track.inside_80 * 100)} of 100 fell inside the eight-in-ten range."
    )
    return [Note("worth", "How wrong", said)]


def _grouped(count: int) -> str:
    return f"{count:,}".replace(",", "\u202f")


def _about_shares(worth: Worth) -> list[Note]:
    notes = [Note("comparables", "Counts", "is each price’s share in the mean of the logs.")]
    if any(c.gain < 0 for c in worth.comparables):
        pulls = "pulls the other way: that sale tells of something taken off."
        notes.append(Note("comparables", "A negative share", pulls))
    least = min((c.weight for c in worth.comparables), default=1.0)
    if least < HALF:
        weigh = f"sales weigh less: the least counts for {least * 100:.0f}\u202f% of a clean sale."
        notes.append(Note("comparables", "Far off", weigh))
    return notes


def _asks(same: pl.DataFrame) -> list[Note]:
    count = len(same.filter(pl.col("kind") == "below"))
    said = f"{count} asks, unsold listings and part refunds say only that a sale would bring less."
    return [Note("years", "Bounds", said)] if count else []


def _offers(valuer: Valuer, same: pl.DataFrame) -> list[Note]:
    count = len(same.filter(pl.col("kind") == "offer"))
    share = 100 * math.exp(valuer.fitted.habits.ratio.mean)
    said = f"at a hidden price count for what sellers here accept: about {share:.0f}\u202f% of the ask."
    return [Note("years", f"{count} accepted offer{'s' if count > 1 else ''}", said)] if count else []


def _rests(worth: Worth) -> Note:
    count = len(worth.comparables)
    newest = "" if worth.newest is None else f" The newest of this variant is {_age(worth.newest, worth.at)} old."
    return Note(
        "worth",
        "Rests on",
        f"{count} nearest sales and the rest of the market; all count as {worth.effective_sales:.1f}.{newest}",
    )


def _middle(worth: Worth) -> Note:
    """Whole units, or cents where a unit would be a tenth."""
    low, high = worth.middle.ranges[80]
    digits = 2 if low < FINE else 0
    said = sign(worth.currency) + f"{low:,.{digits}f}–{high:,.{digits}f}".replace(",", "\u202f")
    return Note("worth", "Middle of the market", f"{said}, eight in ten; apart from one sale’s luck.")


def _age(newest: date, at: date) -> str:
    days = max((at - newest).days, 0)
    if days < 90:  # noqa: PLR2004 - readable up to a season
        return f"{days} day{'' if days == 1 else 's'}"
    months = round(days / 30.44)
    return f"{months} months" if months < 24 else f"{months // 12} years"  # noqa: PLR2004


def _place(parts: Parts, valuer: Valuer) -> Note:
    venue, _, country = valuer.reference.site.partition("/")
    known = parts.catalogue.venues.get(venue)
    name = known.names.name if known else "no venue named" if venue in ("", "unknown") else venue
    how = "at auction" if valuer.reference.mechanism == "auction" else "at a fixed price"
    return Note("worth", "Stated for", f"{name}{', ' + country if country else ''}, {how}, postage included.")


def _leans(valuer: Valuer, subject: Subject) -> Note:
    piece = piece_columns(subject, valuer.catalogue)
    sales = valuer.table.filter(pl.col("kind") == "sale")
    for level in reversed(CHAIN[:-1]):
        path = CHAIN[: CHAIN.index(level) + 1]
        near = sales.filter(pl.all_horizontal(*(pl.col(c) == piece[c] for c in path)))  # type: ignore[literal-required]
        if len(near):
            return Note("worth", "Leans on", f"{len(near)} sales of the {LEVEL_WORDS.get(level, level)}.")
    return Note("worth", "Leans on", "the whole book; its own line has no sale yet.")


NOT_AN_APPRAISAL = (
    "An estimate from market evidence is not an appraisal. For insurance, tax, an estate or a court, use a qualified"
    " appraiser and the local rules."
)
CLAIMED = (
    "It is claimed, not verified; only a verified one earns the full premium. A photo can contradict the claim, but"
    " cannot authenticate it."
)


def cautions_for(catalogue: Catalogue, subject: Subject) -> tuple[tuple[str, str], ...]:
    """Cautions that stand where the figure stands: (bold sentence, rest)."""
    out = []
    for feature in subject.features:
        known = catalogue.features.get(feature.id)
        if known and known.transplantable and feature.state not in VERIFIED | {FeatureState.REFUTED}:
            out.append((f"The {known.names.name.lower()} can be transplanted.", CLAIMED))
    out.append(("", NOT_AN_APPRAISAL))
    return tuple(out)
