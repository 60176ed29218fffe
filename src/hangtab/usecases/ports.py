"""What the use-cases ask of the edges: the book, the clock, the rates. Storage and wiring fulfil it.

Records here are what crosses that border, both ways. Not here: SQL, files, and anything a page shows (views).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol

import polars as pl

from hangtab.domain.errors import Problem
from hangtab.domain.evidence import Evidence, Reading
from hangtab.domain.price import AllInPrice


@dataclass(frozen=True, slots=True)
class Entry:
    """One line for the journal: who did what, when (UTC); `detail` is JSON-able."""

    who: str
    at: datetime
    verb: str
    detail: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class SourceRecord:
    """A source as it came; `sha256` is of `data`, hex. `media` as intake sniffed it."""

    sha256: str
    name: str
    media: str
    data: bytes


@dataclass(frozen=True, slots=True)
class StoredName:
    """The name of one piece of evidence as the book keeps it.

    `candidates`: up to five (subject key, sentence, probability), likeliest first. `by` is "text" or who settled it.
    `decided`: the first candidate may be used; `lot` and `why` as in `Naming`. A settled "none of these" has no
    candidates and is decided. `nodes`: catalogue ids the first candidate hangs under or carries (line, character,
    figure, release, change, prototype, features), by which the list of sales is filtered; empty for unnamed evidence.
    """

    candidates: tuple[tuple[str, str, float], ...]
    none: float
    decided: bool
    by: str = "text"
    lot: bool = False
    why: str = ""
    nodes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TakenFact:
    """One reading with what became of it. Either `evidence` (with its name) or `problem` is set.

    `price` is the all-in price of a sale, or of its ask for asks and hidden offers (not a price); None when
    it cannot be levelled, then `problem` says why and the evidence still stands.
    """

    reading: Reading
    evidence: Evidence | None
    problem: Problem | None = None
    name: StoredName | None = None
    price: AllInPrice | None = None


@dataclass(frozen=True, slots=True)
class Receipt:
    """What a take-in of one source brought."""

    take_in: int
    source: str
    name: str
    new: int
    known: int
    waiting: int
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class TakeInRow:
    """One take-in as listed: `undone` when it was taken back."""

    id: int
    at: datetime
    who: str
    source: str
    name: str
    new: int
    known: int
    waiting: int
    undone: datetime | None


@dataclass(frozen=True, slots=True)
class Stored:
    """One piece of evidence out of the book, with where it came from: (source sha256, source name, locator)."""

    evidence: Evidence
    name: StoredName | None
    price: AllInPrice | None
    sources: tuple[tuple[str, str, str], ...]
    problem: Problem | None = None


@dataclass(frozen=True, slots=True)
class Waiting:
    """Something that waits for a person: evidence without a certain name, or a row that could not be read.

    `id` is the evidence id, or "row:<number>" for an unreadable row. `impact` orders the list, largest first.
    """

    id: str
    title: str
    why: str
    impact: float
    take_in: int


@dataclass(frozen=True, slots=True)
class SalesFilter:
    """What the list of sales shows. Empty values filter nothing. `order` is a column name, "-" first for descending.

    `things` are catalogue ids all of which the subject's chain must hold (line, character, release, feature ...): each
    one narrows the list further.
    """

    text: str = ""
    things: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    venue: str = ""
    since: date | None = None
    until: date | None = None
    packaging: str = ""
    graded: bool | None = None
    order: str = "-sold"
    offset: int = 0
    limit: int = 100


@dataclass(frozen=True, slots=True)
class SaleRow:
    """One row of the list of sales; money in minor units of the book's currency, None where there is no price.

    `asked`: the money is what was asked (asks, unsold listings, offers at a hidden price), which is no price.
    """

    id: str
    kind: str
    sold: str  # ISO, with its precision
    title: str
    subject: str  # key, empty when not named
    text: str  # canonical sentence, empty when not named
    decided: bool
    venue: str
    country: str
    all_in: int | None
    item: int | None
    outcome: str
    standing: str
    asked: bool = False


@dataclass(frozen=True, slots=True)
class SalesPage:
    """Rows of one page and how many there are in all."""

    rows: tuple[SaleRow, ...]
    total: int


@dataclass(frozen=True, slots=True)
class FitRecord:
    """A stored fit: `key` hashes levelled rows and design; `meta` holds seed, as_of, digests, report and diagnosis."""

    key: str
    made: datetime
    blob: bytes
    meta: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class StudyRecord:
    """A stored back-test: `key` hashes rows, design, day and what was tried; `summary` is its figures, JSON-able."""

    key: str
    made: datetime
    summary: Mapping[str, object]


class Book(Protocol):
    """The user's one data file."""

    @property
    def currency(self) -> str:
        """The currency everything is levelled to."""

    def setting(self, name: str) -> str:
        """A setting kept in the book, empty when never set."""

    def set_setting(self, name: str, value: str, entry: Entry) -> None:
        """Keep a setting that changes numbers."""

    def set_setting_to(self, name: str, source: SourceRecord, entry: Entry) -> None:
        """Keep a file that changes numbers, and have a setting name it by its hash."""

    def catalogue_files(self) -> Mapping[str, bytes]:
        """The catalogue's files as last taken in."""

    def put_catalogue(self, files: Mapping[str, bytes], entry: Entry) -> None:
        """Replace the catalogue's files."""

    def has_source(self, sha256: str) -> bool:
        """Whether an active take-in of these bytes exists."""

    def take_in(
        self, source: SourceRecord, facts: Iterable[TakenFact], entry: Entry, photos: Sequence[SourceRecord] = ()
    ) -> Receipt:
        """Write one source with all it brought and the photos that it shows, in one transaction."""

    def undo_take_in(self, take_in: int, entry: Entry) -> int:
        """Retract what a take-in asserted; evidence with another source stays. Returns how many went."""

    def outdated(self) -> tuple[str, ...]:
        """Evidence that, after an undo, rests on a reading that was not named or levelled with the last ones."""

    def take_ins(self) -> tuple[TakeInRow, ...]:
        """All take-ins, newest first."""

    def source(self, sha256: str) -> SourceRecord:
        """A source's bytes. Raises BookError when the book has none of that hash."""

    def evidence(self) -> Iterator[Stored]:
        """All active evidence in order of id."""

    def version(self) -> int:
        """Grows with each line of the journal; cheap, so that a server knows when to look again."""

    def latest_fit_key(self) -> str:
        """Key of the newest fit without its blob, empty when there is none; cheap."""

    def evidence_count(self) -> int:
        """How many pieces of active evidence there are."""

    def sold_subjects(self) -> Mapping[str, int]:
        """Completed, priced, decided sales per subject key."""

    def layouts(self) -> Mapping[str, str]:
        """All remembered columns by fingerprint, as JSON."""

    def facts(self) -> Iterator[Evidence]:
        """What all active evidence states, in order of id, without names, prices and sources; much cheaper."""

    def find(self, evidence_id: str) -> Stored | None:
        """One piece of evidence."""

    def find_all(self, ids: Iterable[str]) -> Mapping[str, Stored]:
        """Several pieces of evidence at once, by id; ids the book does not hold are left out."""

    def reading(self, evidence_id: str) -> Reading | None:
        """The reading that the evidence rests on."""

    def sales(self, wanted: SalesFilter) -> SalesPage:
        """The list of sales."""

    def rows(self) -> pl.DataFrame:
        """Active evidence for valuing, one row each.

        Columns: id, kind, outcome, standing, sold (date), precision, venue, country, listing, all_in and item (minor
        units, null), is_ask, subject (key, null when not decided), probability, lot.
        """

    def rename(self, names: Iterable[tuple[str, StoredName]], entry: Entry) -> None:
        """Replace names that text gave (not those a person settled)."""

    def reprice(self, prices: Iterable[tuple[str, AllInPrice | None]], currency: str, entry: Entry) -> None:
        """Replace all-in prices after a change of currency, rates or fees."""

    def waiting(self, limit: int, offset: int = 0) -> tuple[Waiting, ...]:
        """What waits to be settled, the most telling first."""

    def waiting_count(self) -> int:
        """How much waits."""

    def answered_count(self) -> int:
        """How many answers stand (neither undone nor set aside)."""

    def unread(self, waiting_id: str) -> Problem:
        """Why a row ("row:<number>" of `Waiting.id`) could not be read."""

    def settle(self, evidence_id: str, name: StoredName | None, entry: Entry) -> None:
        """Record a person's answer; None sets it aside."""

    def undo_last(self, entry: Entry) -> str:
        """Take back the last answer that was not yet undone; the id it was about, empty when there is none."""

    def set_impacts(self, impacts: Iterable[tuple[str, float]]) -> None:
        """How much an answer would change, relative, per waiting evidence."""

    def layout(self, fingerprint: str) -> str:
        """Remembered columns of one kind of source as JSON, empty when unknown."""

    def remember_layout(self, fingerprint: str, columns: str, entry: Entry) -> None:
        """Remember corrected columns."""

    def save_fit(self, fit: FitRecord, entry: Entry) -> None:
        """Keep a fit; the last three stay."""

    def latest_fit(self) -> FitRecord | None:
        """The newest fit."""

    def save_study(self, study: StudyRecord, rows: bytes, entry: Entry) -> None:
        """Keep a back-test with its rows (Parquet); the last three stay."""

    def latest_study(self) -> StudyRecord | None:
        """The newest back-test without its rows; cheap, since every answer looks at it."""

    def study_rows(self, key: str) -> bytes | None:
        """The rows of one back-test, None when the book has it no more."""

    def journal(self, limit: int = 100) -> tuple[Entry, ...]:
        """The journal, newest first."""

    def check(self) -> tuple[Problem, ...]:
        """Integrity, hashes and references; what is wrong, by name."""
