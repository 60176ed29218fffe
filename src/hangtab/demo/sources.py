"""Decides which telling goes to which file, as a user's folder grows over seven years.

Most of Quayside comes as exports; some listings were saved as pages with their photo, some sales were pasted as lines,
graded pieces of one stretch were kept in an own list, the auction house sends workbooks. Each telling stands in one
file, but for one listing that is both exported and saved, a month that was exported twice,
and offers whose price was revealed later.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np

from hangtab.demo.entries import Entry
from hangtab.demo.general import GRADERS
from hangtab.demo.said import Lookup, Said
from hangtab.demo.sources_csv import spoil_some, write_again, write_exports
from hangtab.demo.sources_pages import write_pages
from hangtab.demo.sources_text import write_pasted
from hangtab.demo.sources_xlsx import write_house, write_notes, write_tidy
from hangtab.demo.variants import Variants
from hangtab.domain.evidence import Kind, Outcome
from hangtab.domain.subject import FeatureState, Packaging

PAGES, PASTED, TIDY, REVEALED = 300, 220, 330, 70
_SCRIPT = "<script>alert('not run')</script>"
_FEATURE_COLUMN = {"territory-b": ("Territory", "B"), "territory-d": ("Territory", "D"),
                   "glow-sticker": ("Sticker", "glow sticker"), "kite-fair": ("Sticker", "Kite Fair exclusive"),
                   "signed": ("Sticker", "signed")}  # fmt: skip


def write_sources(
    folder: Path, entries: list[Entry], world: tuple[Variants, Lookup], rng: np.random.Generator, scale: float
) -> list[Entry]:
    """Write everything below `folder`; gives the tellings in the order of their files, each with its place."""
    variants, lookup = world
    groups: dict[str, list[Entry]] = defaultdict(list)
    for e in entries:
        groups[_group(e)].append(e)
    open_ones = groups["quayside"]
    pages = _take(open_ones, int(PAGES * scale) + 3, rng, _page_like)
    pasted = _take(open_ones, int(PASTED * scale) + 2, rng, _pasteable)
    tidy = _take(open_ones, int(TIDY * scale) + 2, rng, _tidy_like)
    spoil_some(open_ones, rng)
    for e in tidy:
        _tell_by_columns(e, variants, lookup)
    write_exports(folder, open_ones)
    exported_again = write_again(folder, open_ones)
    scripted = pages[0]
    scripted.title += f" {_SCRIPT}"
    common = [e for e in open_ones if e.fact.kind is Kind.SALE and e.fact.country == "US" and not e.wrong]
    again = [replace(e, file="", locator="") for e in common[:1]]
    write_pages(folder, [*pages, *again], world)
    write_pasted(folder, pasted + groups["forum"], rng)
    write_house(folder, groups["house"])
    write_tidy(folder, tidy)
    hidden = [
        e for e in open_ones if e.fact.kind is Kind.OFFER and not e.spoiled and e.fact.outcome is Outcome.COMPLETED
    ]
    picks = sorted(int(k) for k in rng.permutation(len(hidden))[: int(REVEALED * scale) + 1])
    revealed = [replace(hidden[k], file="", locator="") for k in picks]
    notes = {"private": groups["private"], "trade": groups["trade"], "hearsay": groups["hearsay"], "revealed": revealed}
    write_notes(folder, notes)
    told = [*open_ones, *exported_again, *again, *pages, *pasted, *tidy, *revealed]
    return told + [e for name in ("forum", "house", "private", "trade", "hearsay") for e in groups[name]]


def _group(e: Entry) -> str:
    if e.fact.kind is Kind.HEARSAY:
        return "hearsay"
    if e.fact.venue == "harrow-lane":
        return "house"
    if e.fact.venue == "private":
        return "private"
    if e.fact.venue == "swap-shed":
        return "trade" if e.fact.kind is Kind.TRADE and e.fact.number % 2 else "forum"
    return "quayside"


def _take(pool: list[Entry], count: int, rng: np.random.Generator, fits: object) -> list[Entry]:
    """Move up to `count` fitting entries out of the pool."""
    test = fits if callable(fits) else bool
    places = [k for k, e in enumerate(pool) if test(e)]
    chosen = {places[int(k)] for k in rng.permutation(len(places))[:count]}
    taken = [e for k, e in enumerate(pool) if k in chosen]
    pool[:] = [e for k, e in enumerate(pool) if k not in chosen]
    return taken


def _page_like(e: Entry) -> bool:
    packed = e.said.packaging not in (Packaging.LOOSE, Packaging.PROTOTYPE) or e.fact.number % 3 == 0
    return packed and e.fact.country in ("US", "GB", "DE") and len(e.fact.pieces) == 1 and e.ended.year >= 2023


def _pasteable(e: Entry) -> bool:
    done = e.fact.outcome is Outcome.COMPLETED
    return done and e.fact.kind in (Kind.SALE, Kind.AUCTION) and not e.said.danger and e.quoted is not None


def _tidy_like(e: Entry) -> bool:
    plain = not e.said.danger and "wrong title" not in e.wrong and e.fact.outcome is Outcome.COMPLETED
    form = e.said.packaging in (None, Packaging.CARDED, Packaging.BOXED)
    sold = e.fact.kind in (Kind.SALE, Kind.AUCTION, Kind.OFFER) and not e.said.lot
    return plain and form and sold and e.said.grading is not None and not e.said.grading.generation


def _tell_by_columns(e: Entry, variants: Variants, lookup: Lookup) -> None:
    """Tell the piece by columns alone, as its owner keeps a list."""
    grading = e.said.grading
    if grading is None:
        return
    v = variants.rows[e.fact.piece.claimed]
    cast = lookup.cast[v.character]
    grader = next(g for g in GRADERS if g.id == grading.grader)
    marks = [q.names.name for q in grader.qualifiers if q.id in grading.qualifiers]
    said = Said(line=v.line, character=cast.names.name, card=v.card, packaging=v.packaging)
    said.grading = replace(grading, subgrades=())
    columns = {"Line": lookup.lines[v.line].names.name, "Figure": cast.names.name, "Form": v.packaging.value,
               "Grader": grader.names.name, "Grade": " ".join([grading.grade, *marks]),
               "Certificate": e.fact.piece.certificate}  # fmt: skip
    if v.card:
        columns["Card"] = lookup.cards[v.card].names.name
    if lookup.many_looks(v.figure):
        said.figure = lookup.figures[v.figure].names.name
        columns["Look"] = said.figure
    for feature in v.features:
        said.features[feature] = FeatureState.CLAIMED
        header, text = _FEATURE_COLUMN.get(feature, ("Sticker", feature))
        columns[header] = f"{columns[header]}, {text}" if header in columns else text
    if v.change:
        said.attribute = lookup.changes[v.change].names.name
        columns["Change"] = said.attribute
    e.title, e.said, e.columns = "", said, columns
