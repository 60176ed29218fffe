"""What intake takes and gives: sources, layouts, readings of a source, and excerpts with marks.

Plain frozen values. A `Layout` says how a table was understood and can be corrected; it goes to JSON text and back, so
that a book can remember it. Not here: how any of it is decided.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from enum import StrEnum
from functools import cached_property

from hangtab.catalogue.model import Venue
from hangtab.domain.errors import Problem
from hangtab.domain.evidence import Evidence, Reading
from hangtab.intake.venues import Places

PhotoBytes = bytes
OnRow = Callable[[int], None]
IGNORE = "ignore"


class Media(StrEnum):
    """What a source is, by its content."""

    CSV = "csv"
    TSV = "tsv"
    XLSX = "xlsx"
    HTML = "html"
    TEXT = "text"
    PHOTO = "photo"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class SourceFile:
    """A file as it came. `beside` maps relative names of photos near it to their bytes."""

    name: str
    data: bytes
    beside: Mapping[str, PhotoBytes] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a table is written.

    `decimal` is "." or "," ("" when the cells do not tell), `dates` "dmy", "mdy" or "". `header_row` counts from 1 as a
    spreadsheet does; 0 means that there is none.
    """

    delimiter: str = ""
    encoding: str = "utf-8"
    decimal: str = ""
    dates: str = ""
    header_row: int = 1


@dataclass(frozen=True, slots=True)
class ColumnGuess:
    """What one column means, how sure that is (0 to 1) and why.

    `meaning` is a name of `domain.evidence.FIELDS`, `said:...`, or "ignore". `form` is the column's own decimal mark or
    order of day and month, empty when its cells do not tell. `constants` are fields that the header itself states,
    (name, text) pairs: "Price (EUR)" gives the currency.
    """

    index: int
    header: str
    meaning: str
    confidence: float = 1.0
    why: str = ""
    form: str = ""
    constants: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """The meanings of all columns of one kind of source, in their order."""

    columns: tuple[ColumnGuess, ...]

    def corrected(self, header: str, meaning: str) -> ColumnMap:
        """The same columns with a person's word on one of them; whoever held the meaning before loses it."""
        changed = []
        for column in self.columns:
            if column.header == header:
                changed.append(replace(column, meaning=meaning, confidence=1.0, why="corrected by hand"))
            elif column.meaning == meaning != IGNORE:
                changed.append(replace(column, meaning=IGNORE, why=f"{header} holds it"))
            else:
                changed.append(column)
        return ColumnMap(tuple(changed))

    def to_json(self) -> str:
        """Text for keeping; the inverse of `from_json`."""
        return json.dumps([asdict(c) for c in self.columns], ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> ColumnMap:
        """Inverse of `to_json`."""
        return cls(tuple(_column(c) for c in json.loads(text)))


@dataclass(frozen=True, slots=True)
class Layout:
    """How one table was understood. `fingerprint` is the hash of its normalised headers; `sheet` of a workbook."""

    fingerprint: str
    columns: tuple[ColumnGuess, ...]
    dialect: Dialect
    sheet: str = ""

    def to_json(self) -> str:
        """Text for keeping; the inverse of `from_json`."""
        return json.dumps(asdict(self), ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> Layout:
        """Inverse of `to_json`."""
        raw = json.loads(text)
        columns = tuple(_column(c) for c in raw["columns"])
        return cls(raw["fingerprint"], columns, Dialect(**raw["dialect"]), raw["sheet"])


def _column(raw: dict[str, object]) -> ColumnGuess:
    pairs = raw.pop("constants", [])
    constants = tuple((str(n), str(t)) for n, t in pairs) if isinstance(pairs, list) else ()
    return ColumnGuess(**raw, constants=constants)  # type: ignore[arg-type] # JSON carries no types


@dataclass(frozen=True)
class Setting:
    """What intake must be told: venues, remembered columns by fingerprint, and the day it is.

    `default_currency` (ISO 4217) is used only where neither cell, column, site nor country says one.
    """

    venues: Mapping[str, Venue]
    habits: Mapping[str, ColumnMap]
    default_currency: str
    today: date

    @cached_property
    def places(self) -> Places:
        """The venues by name and host."""
        return Places.of(self.venues)


Fact = tuple[Reading, Evidence | Problem]


@dataclass(frozen=True, slots=True)
class SourceReading:
    """One source being read: `facts` is a generator and can be walked once.

    `layouts` has one entry per table (one per sheet of a workbook), empty for pages and lines. `rows` is about how many
    facts will come, for a progress bar.
    """

    sha256: str
    media: Media
    layouts: tuple[Layout, ...]
    facts: Iterator[Fact]
    rows: int = 0

    @property
    def layout(self) -> Layout | None:
        """The first table's layout, None for pages and lines."""
        return self.layouts[0] if self.layouts else None


@dataclass(frozen=True, slots=True, order=True)
class Mark:
    """Characters of an excerpt that were read as a field, start to end (exclusive)."""

    start: int
    end: int
    name: str


@dataclass(frozen=True, slots=True)
class Excerpt:
    """The part of a source a fact was read from, as it came, with what was read marked."""

    text: str
    marks: tuple[Mark, ...]
