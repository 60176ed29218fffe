"""Writes the invented catalogue as the plain files a user would keep. Reads catalogue values, gives a folder."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from hangtab.catalogue.model import Grader, Names, Scale, Tier, Venue
from hangtab.demo import general
from hangtab.demo.lines import LineRows

NOTE = "Everything in this folder is invented: makers, lines, graders, venues, people and prices."


def _aliases(names: Names) -> str:
    return ";".join(f"{a.language}:{a.text}" if a.language else a.text for a in names.aliases)


def _table(path: Path, header: str, rows: Iterable[tuple[object, ...]]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(header.split(","))
        out.writerows(rows)


def _quoted(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)  # a JSON string or list of strings is a TOML one too


def _named(ident: str, names: Names) -> list[str]:
    aliases = [f"{a.language}:{a.text}" if a.language else a.text for a in names.aliases]
    return [f"id = {_quoted(ident)}", f"name = {_quoted(names.name)}", f"aliases = {_quoted(aliases)}"]


def write_catalogue(folder: Path, lines: tuple[LineRows, ...]) -> None:
    """Write the whole catalogue folder."""
    head = [f"# {NOTE}", f"name = {_quoted('The invented demo catalogue')}", ""]
    for ident, names in general.MAKERS.items():
        head += [f"[makers.{ident}]", f"name = {_quoted(names.name)}", "aliases = []", ""]
    _text(folder / "catalogue.toml", head)
    _general_tables(folder)
    for grader in general.GRADERS:
        _text(folder / "graders" / f"{grader.id}.toml", _grader(grader))
    for venue in general.VENUES:
        _text(folder / "venues" / f"{venue.id}.toml", _venue(venue))
    for rows in lines:
        _line(folder / "lines" / rows.line.id, rows)


def _text(path: Path, rows: list[str]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


def _general_tables(folder: Path) -> None:
    _table(
        folder / "features.csv",
        "id,kind,name,line,transplantable,aliases",
        (
            (f.id, f.kind.value, f.names.name, f.line, "yes" if f.transplantable else "no", _aliases(f.names))
            for f in general.FEATURES
        ),
    )
    _table(folder / "words.csv", "role,language,text", ((w.role, w.language, w.text) for w in general.word_rows()))
    _table(folder / "taxes.csv", "country,valid_from,rate", ((t.country, t.valid_from, t.rate) for t in general.TAXES))


def _grader(grader: Grader) -> list[str]:
    rows = [f"# {NOTE}", *_named(grader.id, grader.names), f"certificate = {_quoted(grader.certificate)}"]
    for ident, names in grader.generations:
        rows += ["", "[[generations]]", *_named(ident, names)]
    for qualifier in grader.qualifiers:
        rows += ["", "[[qualifiers]]", *_named(qualifier.id, qualifier.names)]
    for scale in grader.scales:
        rows += ["", *_scale(scale)]
    return rows


def _scale(scale: Scale) -> list[str]:
    subs = [s.name for s in scale.subgrades]
    rows = [
        "[[scales]]",
        f"id = {_quoted(scale.id)}",
        f"forms = {_quoted([f.value for f in scale.forms])}",
        f"patterns = {_quoted(list(scale.patterns))}",
        f"subgrades = {_quoted(subs)}",
        "[scales.grades]",
    ]
    return rows + [f"{_quoted(g.label)} = {g.position}" for g in scale.grades]


def _tiers(tiers: tuple[Tier, ...]) -> str:
    parts = [
        f'{{ share = "{t.share}"' + (f', up_to = "{t.up_to}"' if t.up_to is not None else "") + " }" for t in tiers
    ]
    return f"tiers = [{', '.join(parts)}]"


def _venue(venue: Venue) -> list[str]:
    rows = [f"# {NOTE}", *_named(venue.id, venue.names), f"kind = {_quoted(venue.kind)}"]
    rows += [
        f"tax_on_premium = {str(venue.tax_on_premium).lower()}",
        f"tax_in_price = {str(venue.tax_in_price).lower()}",
    ]
    for site in venue.sites:
        pairs = (("country", site.country), ("currency", site.currency), ("zone", site.zone),
                 ("language", site.language), ("host", site.host))  # fmt: skip
        rows += ["", "[[sites]]", *(f"{k} = {_quoted(v)}" for k, v in pairs)]
    for premium in venue.premiums:
        rows += ["", "[[premiums]]", f"valid_from = {premium.valid_from}", _tiers(premium.tiers)]
    for fee in venue.fees:
        rows += ["", "[[fees]]", f"valid_from = {fee.valid_from}", _tiers(fee.tiers), f'fixed = "{fee.fixed}"']
    return rows


@dataclass(frozen=True, slots=True)
class _Sheet:
    name: str
    header: str
    rows: list[tuple[object, ...]]


def _line(folder: Path, rows: LineRows) -> None:
    line = rows.line
    text = [f"# {NOTE}", *_named(line.id, line.names), f"maker = {_quoted(line.maker)}"]
    text += [
        f"first_year = {line.first_year}",
        f"last_year = {line.last_year}",
        f'packaging = "{line.packaging.value}"',
    ]
    for card in line.cards:
        text += ["", "[[cards]]", *_named(card.id, card.names), f"order = {card.order}", f"year = {card.year}"]
        text += [f"width_mm = {card.width_mm}", f"height_mm = {card.height_mm}"]
    _text(folder / "line.toml", text)
    for sheet in _sheets(rows):
        _table(folder / f"{sheet.name}.csv", sheet.header, sheet.rows)


def _sheets(rows: LineRows) -> list[_Sheet]:
    return [
        _Sheet(
            "characters", "id,name,kind,aliases",
            [(c.id, c.names.name, c.kind, _aliases(c.names)) for c in rows.characters],
        ),
        _Sheet(
            "figures", "id,character,name,aliases",
            [(f.id, f.character, f.names.name, _aliases(f.names)) for f in rows.figures],
        ),
        _Sheet(
            "releases", "id,character,figure,card,year,name,packaging,features,aliases",
            [
                (r.id, _character(rows, r.figure), r.figure, r.card, r.year, r.names.name, r.packaging.value,
                 ";".join(r.features), _aliases(r.names))
                for r in rows.releases
            ],
        ),
        _Sheet(
            "changes", "id,release,name,attribute,known_since,aliases",
            [
                (c.id, c.release, c.names.name, c.attribute, c.known_since or "", _aliases(c.names))
                for c in rows.changes
            ],
        ),
        _Sheet(
            "prototypes", "id,character,stage,finish,name,aliases",
            [(p.id, p.character, p.stage, p.finish, p.names.name, _aliases(p.names)) for p in rows.prototypes],
        ),
        _Sheet(
            "parts", "id,of,name,kind,aliases",
            [(p.id, p.of, p.names.name, p.kind, _aliases(p.names)) for p in rows.parts],
        ),
    ]  # fmt: skip


def _character(rows: LineRows, figure: str) -> str:
    return next(f.character for f in rows.figures if f.id == figure)
