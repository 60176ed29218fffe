"""Whether what the catalogue's records say about each other holds.

Promises one `Problem` per broken reference or rule, with the line and how to mend it. Works on rows that their schema
has passed; ids of rows that failed still count as known, so that one slip is told once. Not here: the form of single
values (`schemas`).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from hangtab.catalogue.rows import Row
from hangtab.catalogue.schemas import closest
from hangtab.domain.errors import Problem

# Kinds whose ids share one space. Scales, case generations and qualifiers are named together with their grader.
WITH_IDS = (
    "maker", "line", "card", "character", "figure", "release", "change", "prototype", "part", "feature", "flaw",
    "measure", "condition", "grader", "venue",
)  # fmt: skip
MEASURED = ("card", "figure", "release", "change", "prototype", "part", "feature")
# What a key of a kind points to, and where that is written.
_REFERENCES = (
    ("line", "maker", ("maker",), "the makers of catalogue.toml"),
    ("feature", "line", ("line",), "the ids of the lines' line.toml"),
    ("figure", "character", ("character",), "the ids of characters.csv"),
    ("release", "character", ("character",), "the ids of characters.csv"),
    ("release", "figure", ("figure",), "the ids of figures.csv"),
    ("release", "card", ("card",), "the ids of the cards in line.toml"),
    ("change", "release", ("release",), "the ids of releases.csv"),
    ("prototype", "character", ("character",), "the ids of characters.csv"),
    ("measure", "of", MEASURED, "the id of a card, figure, release, running change, prototype, part or feature"),
    ("part", "of", ("character", "figure", "release"), "the id of a character, figure or release"),
)
_PLACEHOLDERS = ("grader", "grade", "sub", "name")


@dataclass(frozen=True, slots=True)
class Records:
    """All records by kind: `rows` those of good form, `ids` every id met with the row it first stood in, by kind."""

    rows: Mapping[str, list[Row]]
    ids: Mapping[str, Mapping[str, Row]]

    def of(self, kind: str) -> list[Row]:
        """Rows of a kind."""
        return self.rows.get(kind, [])

    def known(self, *kinds: str) -> dict[str, Row]:
        """Ids of some kinds."""
        return {key: row for kind in kinds for key, row in self.ids.get(kind, {}).items()}


def list_of(cell: str) -> list[str]:
    """Parts of a list cell.

    >>> list_of("card-ca; glow-sticker;")
    ['card-ca', 'glow-sticker']
    """
    return [part.strip() for part in cell.split(";") if part.strip()]


def check(records: Records) -> Iterator[Problem]:
    """Everything that does not hold between records."""
    yield from _twice(records)
    yield from _references(records)
    yield from _features(records)
    yield from _same_family(records)
    yield from _lines(records)
    yield from _graders(records)
    yield from _venues(records)
    yield from _redirects(records)


def _twice(records: Records) -> Iterator[Problem]:
    first: dict[str, Row] = {}
    for kind in WITH_IDS:
        for row in records.of(kind):
            if row["id"] in first:
                mend = f"Give it an id of its own; {row['id']} stands in {first[row['id']].where('id')}"
                yield row.problem(f"Id used twice: {row['id']!r}", mend, "id")
            else:
                first[row["id"]] = row
    for grader in records.of("grader"):
        for key in ("scales", "generations", "qualifiers"):
            tables = list(grader.tables(key))
            for number, table in enumerate(tables):
                if any(table["id"] == before["id"] for before in tables[:number]):
                    yield table.problem(f"Id used twice: {table['id']!r}", "Give it an id of its own", "id")


def _references(records: Records) -> Iterator[Problem]:
    for kind, key, targets, written in _REFERENCES:
        known = records.known(*targets)
        for row in records.of(kind):
            named = row.get(key)
            if named and named not in known:
                mend = f"Write one of {written}{closest(named, known)}"
                yield row.problem(f"Unknown {key}: {named!r}", mend, key)


def _features(records: Records) -> Iterator[Problem]:
    known = records.known("feature")
    for row in records.of("release"):
        for name in list_of(row.get("features")):
            if name not in known:
                mend = f"Write ids of features.csv{closest(name, known)}"
                yield row.problem(f"Unknown feature: {name!r}", mend, "features")
            elif known[name].get("line") not in ("", row.folder):
                mend = "Clear the feature's line in features.csv, or leave it out here"
                yield row.problem(f"Feature of the line {known[name]['line']!r}: {name!r}", mend, "features")


def _same_family(records: Records) -> Iterator[Problem]:
    """A release's figure is of its character, and what a line's files name is of that line."""
    figures, cards, characters = records.known("figure"), records.known("card"), records.known("character")
    for row in records.of("release"):
        figure, card = figures.get(row.get("figure")), cards.get(row.get("card"))
        if figure and figure.get("character") != row["character"]:
            what = f"Figure of another character: {row['figure']!r}"
            yield row.problem(what, f"Name a figure of {row['character']}", "figure")
        if card and card.folder != row.folder:
            yield row.problem(f"Card of another line: {row['card']!r}", f"Name a card of {row.folder}", "card")
    for kind in ("figure", "release", "prototype"):
        for row in records.of(kind):
            character = characters.get(row["character"])
            if character and character.folder != row.folder:
                what = f"Character of another line: {row['character']!r}"
                yield row.problem(what, f"Move the row to lines/{character.folder}", "character")


def _lines(records: Records) -> Iterator[Problem]:
    for kind, folder in (("line", True), ("grader", False), ("venue", False)):
        for row in records.of(kind):
            named = row.folder if folder else row.file.rpartition("/")[2].removesuffix(".toml")
            if row["id"] != named:
                place = "folder" if folder else "file"
                mend = f"Write id = {named!r}, or rename the {place}"
                yield row.problem(f"Id {row['id']!r} in the {place} of {named!r}", mend, "id")
    for row in records.of("line"):
        if row["last_year"] < row["first_year"]:
            yield row.problem("The last year is before the first", "Exchange the two years", "last_year")
        orders: set[int] = set()
        for card in row.tables("cards"):
            if card["order"] in orders:
                yield card.problem(f"Two cards of order {card['order']}", "Number them in order of issue", "order")
            orders.add(card["order"])


def _graders(records: Records) -> Iterator[Problem]:
    for row in records.of("grader"):
        try:
            re.compile(row.get("certificate"))
        except re.error as error:
            mend = "Write a regular expression in single quotes, such as '[0-9]{8}'"
            yield row.problem(f"Not a regular expression: {error}", mend, "certificate")
        for scale in row.tables("scales"):
            yield from _positions(scale)
            for number, pattern in enumerate(scale.get("patterns")):
                yield from _pattern(scale, number, pattern)


def _positions(scale: Row) -> Iterator[Problem]:
    """Positions run one way in the order they are written, so that a slip of the keyboard shows."""
    grades = list(scale["grades"].items())
    rising = grades[1][1] > grades[0][1]
    for (before, low), (label, high) in pairwise(grades):
        if low == high or (high > low) != rising:
            mend = f"Give {label} a position {'above' if rising else 'below'} {low}, the one of {before}"
            what = f"Position {high} of grade {label!r} is out of order"
            yield scale.problem(what, mend, "grades", label)


def _pattern(scale: Row, number: int, pattern: str) -> Iterator[Problem]:
    place = ("patterns", number)
    names = re.findall(r"\{([^{}]*)\}", pattern)
    for name in names:
        if name not in _PLACEHOLDERS:
            mend = f"Write {{grader}}, {{grade}}, {{sub}} or {{name}}{closest(name, _PLACEHOLDERS)}"
            yield scale.problem(f"Unknown placeholder {{{name}}} in {pattern!r}", mend, *place)
    if re.search(r"[{}]", re.sub(r"\{[^{}]*\}", "", pattern)):
        yield scale.problem(f"A brace without its other half: {pattern!r}", "Close each { by a }", *place)
    if not {"grade", "sub"} & set(names):
        mend = "Put {grade} where the grade stands, or {sub} for the sub-grades"
        yield scale.problem(f"Pattern without a grade: {pattern!r}", mend, *place)
    if {"sub", "name"} & set(names) and not scale.get("subgrades"):
        yield scale.problem(f"Pattern of sub-grades: {pattern!r}", "List the scale's subgrades", *place)


def _venues(records: Records) -> Iterator[Problem]:
    for row in records.of("venue"):
        countries = [site["country"] for site in row.tables("sites")]
        for number, site in enumerate(row.tables("sites")):
            if site["country"] in countries[:number]:
                yield site.problem(f"Two sites for {site['country']}", "Keep one site per country", "country")
        for key in ("premiums", "fees"):
            for schedule in row.tables(key):
                yield from _tiers(schedule)


def _tiers(schedule: Row) -> Iterator[Problem]:
    below = Decimal(0)
    last = len(schedule["tiers"]) - 1
    for number, tier in enumerate(schedule["tiers"]):
        if "up_to" not in tier:
            if number < last:
                yield schedule.problem("A tier without an end before the last", "Give it up_to", "tiers", number)
        elif Decimal(tier["up_to"]) <= below:
            mend = f"Write an end above {below}, lowest tier first"
            yield schedule.problem(f"Tier ends at {tier['up_to']}", mend, "tiers", number, "up_to")
        else:
            below = Decimal(tier["up_to"])


def _redirects(records: Records) -> Iterator[Problem]:
    known = records.known(*WITH_IDS)
    for row in records.of("catalogue"):
        redirects: Mapping[str, str] = row.values.get("redirects", {})
        for old, new in redirects.items():
            if old in known:
                mend = "Remove the redirect, or the record; an id is never used again"
                yield row.problem(f"Redirected id still in use: {old!r}", mend, "redirects", old)
            if follow(redirects, old) not in known:
                mend = f"Redirect to an id that exists{closest(new, known)}"
                yield row.problem(f"Redirect to nothing: {new!r}", mend, "redirects", old)


def follow(redirects: Mapping[str, str], old: str) -> str:
    """The id at the end of a chain of redirects; the id itself when they run in a circle.

    >>> follow({"a": "b", "b": "c"}, "a"), follow({"a": "b", "b": "a"}, "a")
    ('c', 'a')
    """
    seen, here = {old}, redirects[old]
    while here in redirects:
        if here in seen:
            return old
        seen.add(here)
        here = redirects[here]
    return here
