"""Catalogue values out of checked rows: what each file's columns mean.

Promises to succeed on rows that `schemas` and `checking` have passed. Fills what may be left out: a character without
a figure version gets one, a release takes its character's first figure, its line's packaging and its card's year.
Not here: words about what is wrong.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from hangtab.catalogue.checking import Records, follow, list_of
from hangtab.catalogue.model import (
    Alias,
    Card,
    Catalogue,
    Change,
    Character,
    ConditionDef,
    FeatureDef,
    FeatureKind,
    Figure,
    FlawDef,
    Grade,
    Grader,
    Line,
    Measure,
    Names,
    PartDef,
    Premium,
    Prototype,
    Qualifier,
    Release,
    Scale,
    SellerFee,
    Site,
    TaxRule,
    Tier,
    Venue,
    Word,
)
from hangtab.catalogue.rows import Row
from hangtab.domain.subject import Packaging

_LANGUAGE = re.compile(r"([a-z]{2}):\s*(\S.*)")
Table = Row | Mapping[str, Any]


def alias(text: str) -> Alias:
    """One alias with its language.

    >>> alias("de:Hafenmeister"), alias("HM")
    (Alias(text='Hafenmeister', language='de'), Alias(text='HM', language=''))
    """
    match = _LANGUAGE.fullmatch(text.strip())
    return Alias(match.group(2), match.group(1)) if match else Alias(text.strip())


def names(row: Table) -> Names:
    """Name and aliases of a record; the name is empty where it has none of its own."""
    aliases = row.get("aliases") or ()
    parts = list_of(aliases) if isinstance(aliases, str) else aliases
    return Names(row.get("name") or "", tuple(alias(part) for part in parts))


def build(records: Records, digest: str) -> Catalogue:
    """The catalogue that the records describe."""
    lines = {row["id"]: _line(row) for row in records.of("line")}
    characters = {
        r["id"]: Character(r["id"], r.folder, names(r), r.get("kind") or "character") for r in records.of("character")
    }
    figures = _figures(records, characters)
    first = {figure.character: figure.id for figure in reversed(figures.values())}
    redirects: Mapping[str, str] = next((r.values.get("redirects", {}) for r in records.of("catalogue")), {})
    return Catalogue(
        makers={row["id"]: names(row) for row in records.of("maker")},
        lines=lines,
        characters=characters,
        figures=figures,
        releases={r["id"]: _release(r, lines[r.folder], first) for r in records.of("release")},
        changes={r["id"]: _change(r) for r in records.of("change")},
        prototypes={r["id"]: _prototype(r) for r in records.of("prototype")},
        parts={r["id"]: PartDef(r["id"], r["of"], names(r), r.get("kind") or "accessory") for r in records.of("part")},
        features={r["id"]: _feature(r) for r in records.of("feature")},
        flaws={r["id"]: FlawDef(r["id"], names(r), _forms(list_of(r.get("packaging")))) for r in records.of("flaw")},
        conditions={r["id"]: ConditionDef(r["id"], names(r), float(r["position"])) for r in records.of("condition")},
        graders={r["id"]: _grader(r) for r in records.of("grader")},
        venues={r["id"]: _venue(r) for r in records.of("venue")},
        taxes=tuple(TaxRule(r["country"], _day(r["valid_from"]), Decimal(r["rate"])) for r in records.of("tax")),
        words=tuple(Word(r["text"], r["role"], r.get("language")) for r in records.of("word")),
        measures={r["id"]: _measure(r) for r in records.of("measure")},
        redirects={old: follow(redirects, old) for old in redirects},
        digest=digest,
    )


def _day(text: str) -> date:
    return date.fromisoformat(text)


def _forms(words: Iterable[str]) -> tuple[Packaging, ...]:
    return tuple(Packaging(word) for word in words)


def _line(row: Row) -> Line:
    cards = (
        Card(
            c["id"],
            names(c),
            c["order"],
            c.get("year") or 0,
            float(c.get("width_mm") or 0),
            float(c.get("height_mm") or 0),
        )
        for c in row.tables("cards")
    )
    return Line(
        row["id"],
        names(row),
        row["maker"],
        row["first_year"],
        row["last_year"],
        Packaging(row["packaging"]),
        tuple(sorted(cards, key=lambda card: card.order)),
    )


def _figures(records: Records, characters: Mapping[str, Character]) -> dict[str, Figure]:
    """The figure versions; one made up for each character that has none, in the order of the characters."""
    figures = {r["id"]: Figure(r["id"], r["character"], names(r)) for r in records.of("figure")}
    have = {figure.character for figure in figures.values()}
    for character in characters:
        if character not in have:
            figures[f"{character}-f"] = Figure(f"{character}-f", character, Names(""))
    return figures


def _release(row: Row, line: Line, first: Mapping[str, str]) -> Release:
    card_year = next((card.year for card in line.cards if card.id == row.get("card")), 0)
    return Release(
        row["id"],
        row.get("figure") or first[row["character"]],
        names(row),
        int(row.get("year") or card_year or line.first_year),
        Packaging(row.get("packaging") or line.packaging),
        row.get("card"),
        tuple(list_of(row.get("features"))),
    )


def _change(row: Row) -> Change:
    since = row.get("known_since")
    return Change(row["id"], row["release"], names(row), row.get("attribute"), _day(since) if since else None)


def _prototype(row: Row) -> Prototype:
    lists = (tuple(list_of(row.get(key))) for key in ("colours", "date_marks", "parts", "paperwork"))
    return Prototype(row["id"], row["character"], names(row), row["stage"], row.get("finish"), *lists)


def _measure(row: Row) -> Measure:
    return Measure(row["id"], row["of"], row["what"], float(row["mm"]), float(row.get("tolerance_mm") or 0))


def _feature(row: Row) -> FeatureDef:
    kind, movable = FeatureKind(row["kind"]), row.get("transplantable") == "yes"
    return FeatureDef(row["id"], kind, names(row), row.get("line"), movable, row.get("signer"), row.get("inscription"))


def _grader(row: Row) -> Grader:
    return Grader(
        row["id"],
        names(row),
        tuple(_scale(scale) for scale in row.tables("scales")),
        tuple((g["id"], names(g)) for g in row.tables("generations")),
        tuple(Qualifier(q["id"], names(q)) for q in row.tables("qualifiers")),
        row.get("certificate"),
    )


def _scale(row: Row) -> Scale:
    grades = (Grade(label, float(position)) for label, position in row["grades"].items())
    return Scale(
        row["id"],
        tuple(sorted(grades, key=lambda grade: grade.position)),
        tuple(Names(sub) if isinstance(sub, str) else names(sub) for sub in row.get("subgrades")),
        tuple(row.get("patterns")),
        _forms(row.get("forms")),
    )


def _tiers(row: Row) -> tuple[Tier, ...]:
    return tuple(
        Tier(Decimal(tier["share"]), Decimal(tier["up_to"]) if "up_to" in tier else None) for tier in row["tiers"]
    )


def _venue(row: Row) -> Venue:
    return Venue(
        row["id"],
        names(row),
        row["kind"],
        tuple(Site(s["country"], s["currency"], s["zone"], s["language"], s.get("host")) for s in row.tables("sites")),
        tuple(Premium(_day(p["valid_from"]), _tiers(p)) for p in row.tables("premiums")),
        tuple(SellerFee(_day(f["valid_from"]), _tiers(f), Decimal(f.get("fixed") or 0)) for f in row.tables("fees")),
        bool(row.get("tax_on_premium")),
        bool(row.get("tax_in_price")),
    )
