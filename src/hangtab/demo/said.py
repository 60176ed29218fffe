"""What a text says, correctly read: the subject that its words pin down, and whether they suffice.

Promises to be exact about the words and blind to the truth: a claimed sticker stays claimed, a vague title says less.
A title's words narrow the releases of a character: its look, card, year, features (a release lists which exist for it),
form and running change; it names the thing when one release is left. Gives the key, or the node above.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from hangtab.catalogue.model import Change, Figure, Prototype, Release
from hangtab.demo.lines import LineRows
from hangtab.domain.subject import Feature, FeatureState, Grading, Packaging, Part, PartState, Seal, Subject


@dataclass(slots=True)
class Said:
    """What words were written. Empty means: not said. `character` is the English name, `features` id to state."""

    line: str = ""
    character: str = ""
    figure: str = ""
    card: str = ""
    year: int = 0
    attribute: str = ""
    packaging: Packaging | None = None
    stage: str = ""
    finish: str = ""
    seal: Seal = Seal.UNKNOWN
    features: dict[str, FeatureState] = field(default_factory=dict)
    grading: Grading | None = None
    flaws: list[str] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)
    note: str = ""
    lot: bool = False
    danger: str = ""  # custom, reproduction, empty: not a piece of the catalogue


@dataclass(frozen=True, slots=True)
class Reading:
    """`key` of the subject that the words name; `fits` the things that they fit; `nameable` when that is one."""

    key: str
    fits: tuple[str, ...]
    nameable: bool


class Lookup:
    """The lines' rows by character name and id."""

    def __init__(self, lines: tuple[LineRows, ...]) -> None:
        """Index the rows."""
        self.names: dict[str, list[str]] = {}
        self.line_of: dict[str, str] = {}
        for rows in lines:
            for character in rows.characters:
                self.names.setdefault(character.names.name, []).append(character.id)
                self.line_of[character.id] = rows.line.id
        self.figures: dict[str, Figure] = {f.id: f for rows in lines for f in rows.figures}
        self.releases: dict[str, Release] = {r.id: r for rows in lines for r in rows.releases}
        self.changes: dict[str, Change] = {c.id: c for rows in lines for c in rows.changes}
        self.prototypes: dict[str, Prototype] = {p.id: p for rows in lines for p in rows.prototypes}
        self.parts = {p.id: p for rows in lines for p in rows.parts}
        self.cast = {i: c for rows in lines for i, c in rows.cast.items()}
        self.cards = {c.id: c for rows in lines for c in rows.line.cards}
        self.lines = {rows.line.id: rows.line for rows in lines}
        self._releases: dict[str, list[Release]] = {}
        for release in self.releases.values():
            self._releases.setdefault(self.figures[release.figure].character, []).append(release)
        self.looks: dict[str, list[Figure]] = {}
        for figure in self.figures.values():
            self.looks.setdefault(figure.character, []).append(figure)

    def many_looks(self, figure: str) -> bool:
        """Whether a figure's character has several figure versions."""
        return len(self.looks[self.figures[figure].character]) > 1

    def releases_of(self, character: str) -> list[Release]:
        """All releases of a character."""
        return self._releases.get(character, [])


def read(said: Said, lookup: Lookup) -> Reading:
    """What the words name."""
    if said.lot or said.danger:
        return Reading("", (), nameable=False)
    people = [c for c in lookup.names.get(said.character, ()) if not said.line or lookup.line_of[c] == said.line]
    if said.packaging is Packaging.LOOSE:
        fits = [f.id for c in people for f in lookup.looks[c] if not said.figure or f.names.name == said.figure]
    elif said.packaging is Packaging.PROTOTYPE:
        fits = [p.id for p in lookup.prototypes.values() if p.character in people and _same_stage(p, said)]
    else:
        fits = [t for c in people for r in lookup.releases_of(c) for t in _fitting(r, said, lookup)]
    if not fits:
        return Reading("", (), nameable=False)
    thing = fits[0] if len(fits) == 1 else _common(fits, people, lookup)
    return Reading(_subject(thing, fits[0], said, lookup).key, tuple(fits), nameable=len(fits) == 1)


def _same_stage(p: Prototype, said: Said) -> bool:
    return p.stage == said.stage and (not said.finish or p.finish == said.finish)


def _fitting(release: Release, said: Said, lookup: Lookup) -> list[str]:
    figure = lookup.figures[release.figure]
    wrong = (
        (said.figure and figure.names.name != said.figure)
        or (said.card and release.card != said.card)
        or (said.year and release.year != said.year)
        or (said.packaging and release.packaging is not said.packaging)
        or not set(said.features) <= set(release.features)
    )
    if wrong:
        return []
    if not said.attribute:
        return [release.id]
    return [c.id for c in lookup.changes.values() if c.release == release.id and c.names.name == said.attribute]


def _common(fits: list[str], people: list[str], lookup: Lookup) -> str:
    figures = {lookup.releases[t].figure for t in fits if t in lookup.releases}
    return figures.pop() if len(figures) == 1 else people[0]


def _subject(thing: str, example: str, said: Said, lookup: Lookup) -> Subject:
    packaging = said.packaging
    if packaging is None:
        change = lookup.changes.get(example)
        packaging = lookup.releases[change.release if change else example].packaging
    features = tuple(Feature(i, state) for i, state in said.features.items())
    note = "" if said.grading else said.note
    return Subject(thing, packaging, said.seal, tuple(said.parts), said.grading, features, tuple(said.flaws), note)


def present(part: str) -> Part:
    """A part said to be there."""
    return Part(part, PartState.PRESENT)


def missing(part: str) -> Part:
    """A part said to be missing."""
    return Part(part, PartState.MISSING)
