"""Everything a text can be about, as flat rows per character.

Promises one row for each thing in each packaging it can have. Reads a `Catalogue`. Not here: weighing rows (`weigh`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from hangtab.catalogue.model import Catalogue, FeatureKind, Prototype, Release
from hangtab.domain.subject import Packaging
from hangtab.naming.text import words


@dataclass(frozen=True, slots=True)
class Row:
    """One thing in one packaging. Empty text where a thing does not go that deep."""

    id: str
    packaging: Packaging
    line: str
    character: str
    figure: str = ""
    release: str = ""
    card: str = ""
    year: int = 0
    change: str = ""
    stage: str = ""
    finish: str = ""
    own_name: bool = False
    features: frozenset[str] = frozenset()
    implied: tuple[str, ...] = ()  # features that the release's own name says: a mail-away is one


@dataclass(frozen=True)
class Things:
    """Rows by character, and what limits them."""

    rows: Mapping[str, tuple[Row, ...]]
    anywhere: frozenset[str]  # features that no release has to list: anybody can sign a card
    parts: Mapping[str, tuple[str, ...]]  # accessories by character, figure or release
    card_line: Mapping[str, str]
    figures_of: Mapping[str, str]  # character by figure version
    holding: Mapping[str, tuple[Row, ...]]  # rows by anything that they hold: card, figure, change, stage, feature ...


def things(catalogue: Catalogue) -> Things:
    """The rows of a catalogue."""
    rows: dict[str, list[Row]] = defaultdict(list)
    for figure in catalogue.figures.values():
        line = catalogue.characters[figure.character].line
        rows[figure.character].append(Row(figure.id, Packaging.LOOSE, line, figure.character, figure.id))
    for release in catalogue.releases.values():
        row = _row(catalogue, release, release.id, release.packaging)
        rows[row.character].append(row)
    for change in catalogue.changes.values():
        release = catalogue.releases[change.release]
        row = _row(catalogue, release, change.id, release.packaging, change.id)
        rows[row.character] += [row, _row(catalogue, release, change.id, Packaging.LOOSE, change.id)]
    for proto in catalogue.prototypes.values():
        line = catalogue.characters[proto.character].line
        rows[proto.character].append(
            Row(
                proto.id,
                Packaging.PROTOTYPE,
                line,
                proto.character,
                stage=proto.stage,
                finish=proto.finish,
                own_name=bool(_own_words(proto)),
            )
        )
    parts: dict[str, list[str]] = defaultdict(list)
    for part in catalogue.parts.values():
        parts[part.of].append(part.id)
    return Things(
        {character: tuple(found) for character, found in rows.items()},
        frozenset(f.id for f in catalogue.features.values() if f.kind is FeatureKind.SIGNATURE),
        {of: tuple(found) for of, found in parts.items()},
        {card.id: line.id for line in catalogue.lines.values() for card in line.cards},
        {figure.id: figure.character for figure in catalogue.figures.values()},
        _holding(row for found in rows.values() for row in found),
    )


def _holding(rows: Iterable[Row]) -> dict[str, tuple[Row, ...]]:
    found: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        own = {row.id, row.card, row.figure, row.release, row.change, row.stage, row.finish, *row.features} - {""}
        for key in own:
            found[key].append(row)
    return {key: tuple(holders) for key, holders in found.items()}


def implied(catalogue: Catalogue, release: Release) -> tuple[str, ...]:
    """Features of a release that are called as the release itself."""
    own = words(release.names.name)
    return tuple(f for f in release.features if own and words(catalogue.features[f].names.name) == own)


def _own_words(proto: Prototype) -> set[str]:
    """Words of a prototype's name that its stage and finish do not say."""
    return set(words(proto.names.name)) - set(words(f"{proto.stage} {proto.finish}"))


def _row(catalogue: Catalogue, release: Release, key: str, packaging: Packaging, change: str = "") -> Row:
    character = catalogue.figures[release.figure].character
    return Row(
        key,
        packaging,
        catalogue.characters[character].line,
        character,
        release.figure,
        release.id,
        release.card,
        release.year,
        change,
        own_name=bool(release.names.name),
        features=frozenset(release.features),
        implied=implied(catalogue, release),
    )
