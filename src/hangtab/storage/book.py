"""The book: one file behind the doors that use-cases ask for.

Promises that every call sees or changes the book as a whole, that readers are never blocked by a writer, and that
calls may come from several threads. Each door opens one transaction; what happens inside stands in the other modules.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Self

import polars as pl
from sqlalchemy import Connection, Engine

from hangtab.domain.errors import BookError, Problem
from hangtab.domain.evidence import Evidence, Reading
from hangtab.domain.price import AllInPrice
from hangtab.storage import keeping, listing, opening, readback, revising, taking
from hangtab.storage.checking import find_problems
from hangtab.storage.engines import copy_file, is_address, reading, writing
from hangtab.usecases.ports import (
    Entry,
    FitRecord,
    Receipt,
    SalesFilter,
    SalesPage,
    SourceRecord,
    Stored,
    StoredName,
    StudyRecord,
    TakeInRow,
    TakenFact,
    Waiting,
)


def open_book(where: str | Path, *, wait: float = opening.WAIT) -> SqlBook:
    """Open a book: a file, or the address of a PostgreSQL database ("postgresql+psycopg://...").

    `wait`: seconds to wait for another writer. Raises BookError when there is no book, or none of a known layout.
    """
    return SqlBook(opening.open_existing(where, wait), where)


def create_book(where: str | Path, currency: str, entry: Entry, *, wait: float = opening.WAIT) -> SqlBook:
    """Make a new, empty book in a currency. Raises BookError when something is there already."""
    return SqlBook(opening.create(where, currency, entry, wait), where)


class SqlBook:
    """The book in SQL; fulfils `hangtab.usecases.ports.Book`."""

    def __init__(self, engine: Engine, where: str | Path) -> None:
        """Take an engine whose layout is up to date."""
        self._engine = engine
        self._where = where
        # Asked for once per piece of evidence while levelling, so it is kept; writing still checks it in the book.
        with self._reading() as connection:
            self._currency = keeping.read_setting(connection, keeping.CURRENCY)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file; after the last one has, it is a single whole file."""
        self._engine.dispose()

    def backup(self, to: Path) -> None:
        """Copy the book, live, to one whole file. Raises BookError when something is there already."""
        if is_address(self._where):
            raise BookError("A book on a server has no file", where=str(to), mend="Use the server's own backup")
        try:
            to.touch(exist_ok=False)
        except OSError as error:
            mend = "Choose a new name in a folder that can be written"
            raise BookError(f"No backup can be made at {to}", where=str(to), mend=mend) from error
        copy_file(self._engine, to)

    # ---- settings, catalogue, layouts

    @property
    def currency(self) -> str:
        """The currency everything is levelled to, as of opening, the last `reprice` or `rows` here."""
        return self._currency

    def setting(self, name: str) -> str:
        """A setting kept in the book, empty when never set."""
        with self._reading() as connection:
            return keeping.read_setting(connection, name)

    def set_setting(self, name: str, value: str, entry: Entry) -> None:
        """Keep a setting that changes numbers. The currency changes by `reprice` only."""
        if name == keeping.CURRENCY:
            raise BookError(
                "The currency is not a plain setting", where="set_setting", mend="Level the book anew in it"
            )
        with self._writing() as connection:
            keeping.write_setting(connection, name, value)
            keeping.write_journal(connection, entry, setting=name, value=value)

    def set_setting_to(self, name: str, source: SourceRecord, entry: Entry) -> None:
        """Keep a file and have a setting name it by its hash, in one transaction."""
        with self._writing() as connection:
            keeping.keep_source(connection, source)
            keeping.write_setting(connection, name, source.sha256)
            keeping.write_journal(connection, entry, setting=name, value=source.sha256)

    def catalogue_files(self) -> Mapping[str, bytes]:
        """The catalogue's files as last taken in."""
        with self._reading() as connection:
            return keeping.read_catalogue_files(connection)

    def put_catalogue(self, files: Mapping[str, bytes], entry: Entry) -> None:
        """Replace the catalogue's files."""
        with self._writing() as connection:
            keeping.write_catalogue_files(connection, files)
            keeping.write_journal(connection, entry, files=sorted(files))

    def layout(self, fingerprint: str) -> str:
        """Remembered columns of one kind of source as JSON, empty when unknown."""
        return self.layouts().get(fingerprint, "")

    def layouts(self) -> Mapping[str, str]:
        """All remembered columns, by fingerprint."""
        with self._reading() as connection:
            return keeping.read_layouts(connection)

    def remember_layout(self, fingerprint: str, columns: str, entry: Entry) -> None:
        """Remember corrected columns."""
        with self._writing() as connection:
            keeping.write_layout(connection, fingerprint, columns)
            keeping.write_journal(connection, entry, fingerprint=fingerprint)

    # ---- sources and take-in

    def has_source(self, sha256: str) -> bool:
        """Whether an active take-in of these bytes exists."""
        with self._reading() as connection:
            return taking.is_taken_in(connection, sha256)

    def source(self, sha256: str) -> SourceRecord:
        """A source's bytes. Raises BookError when the book has none of that hash."""
        with self._reading() as connection:
            return keeping.read_source(connection, sha256, str(self._where))

    def take_in(
        self, source: SourceRecord, facts: Iterable[TakenFact], entry: Entry, photos: Sequence[SourceRecord] = ()
    ) -> Receipt:
        """Write one source with all it brought and the photos that it shows, in one transaction."""
        with self._writing() as connection:
            for photo in photos:
                keeping.keep_source(connection, photo)
            return taking.take_source_in(connection, source, facts, entry)

    def undo_take_in(self, take_in: int, entry: Entry) -> int:
        """Retract what a take-in asserted; evidence with another source stays. Returns how many went."""
        with self._writing() as connection:
            return taking.undo(connection, take_in, entry, str(self._where))

    def take_ins(self) -> tuple[TakeInRow, ...]:
        """All take-ins, newest first."""
        with self._reading() as connection:
            return taking.list_take_ins(connection)

    # ---- evidence

    def evidence(self) -> Iterator[Stored]:
        """All active evidence in order of id, streaming, as of the moment of the first one."""
        with self._reading() as connection:
            yield from readback.all_evidence(connection)

    def facts(self) -> Iterator[Evidence]:
        """What all active evidence states, in order of id, streaming; a third of the work of `evidence`."""
        with self._reading() as connection:
            yield from readback.all_facts(connection)

    def find(self, evidence_id: str) -> Stored | None:
        """One piece of evidence."""
        return self.find_all([evidence_id]).get(evidence_id)

    def find_all(self, ids: Iterable[str]) -> Mapping[str, Stored]:
        """Several pieces of evidence at once, by id; ids the book does not hold are left out."""
        with self._reading() as connection:
            return {one.evidence.id: one for one in readback.some_evidence(connection, ids)}

    def reading(self, evidence_id: str) -> Reading | None:
        """The reading that the evidence, or an unreadable row ("row:<number>"), rests on."""
        with self._reading() as connection:
            return readback.leading_reading(connection, evidence_id)

    def sales(self, wanted: SalesFilter) -> SalesPage:
        """The list of sales."""
        with self._reading() as connection:
            return listing.list_sales(connection, wanted)

    def evidence_count(self) -> int:
        """How many pieces of active evidence there are."""
        with self._reading() as connection:
            return listing.count_evidence(connection)

    def sold_subjects(self) -> Mapping[str, int]:
        """Completed, priced, decided sales per subject key."""
        with self._reading() as connection:
            return listing.count_sold(connection)

    def rows(self) -> pl.DataFrame:
        """Active evidence for valuing, in order of id."""
        with self._reading() as connection:
            self._currency = keeping.read_setting(connection, keeping.CURRENCY)
            return listing.valuing_rows(connection)

    # ---- names and prices made anew

    def rename(self, names: Iterable[tuple[str, StoredName]], entry: Entry) -> None:
        """Replace names that text gave (not those a person settled)."""
        with self._writing() as connection:
            revising.rename(connection, names, entry)

    def reprice(self, prices: Iterable[tuple[str, AllInPrice | None]], currency: str, entry: Entry) -> None:
        """Replace all-in prices; with a new currency, what is not given anew loses its price."""
        with self._writing() as connection:
            revising.reprice(connection, prices, currency, entry)
        self._currency = currency

    def outdated(self) -> tuple[str, ...]:
        """Evidence that, after an undo, rests on a reading that was not named or levelled with the last ones."""
        with self._reading() as connection:
            return revising.outdated(connection)

    # ---- what waits, and answers

    def waiting(self, limit: int, offset: int = 0) -> tuple[Waiting, ...]:
        """What waits to be settled, the most telling first."""
        with self._reading() as connection:
            return listing.list_waiting(connection, limit, offset)

    def waiting_count(self) -> int:
        """How much waits."""
        with self._reading() as connection:
            return listing.count_waiting(connection)

    def answered_count(self) -> int:
        """How many answers stand (neither undone nor set aside)."""
        with self._reading() as connection:
            return revising.count_answers(connection)

    def unread(self, waiting_id: str) -> Problem:
        """Why a row ("row:<number>" of `Waiting.id`) could not be read."""
        with self._reading() as connection:
            return listing.unread_problem(connection, waiting_id, str(self._where))

    def settle(self, evidence_id: str, name: StoredName | None, entry: Entry) -> None:
        """Record a person's answer; None sets it aside."""
        with self._writing() as connection:
            revising.settle(connection, evidence_id, name, entry, str(self._where))

    def undo_last(self, entry: Entry) -> str:
        """Take back the last answer that was not yet undone; the id it was about, empty when there is none."""
        with self._writing() as connection:
            return revising.undo_last(connection, entry)

    def set_impacts(self, impacts: Iterable[tuple[str, float]]) -> None:
        """How much an answer would change, relative, per waiting evidence."""
        with self._writing() as connection:
            revising.write_impacts(connection, impacts)

    # ---- fits, back-tests, journal, check

    def save_fit(self, fit: FitRecord, entry: Entry) -> None:
        """Keep a fit; the last three stay."""
        with self._writing() as connection:
            keeping.write_fit(connection, fit)
            keeping.write_journal(connection, entry, fit=fit.key)

    def latest_fit(self) -> FitRecord | None:
        """The newest fit."""
        with self._reading() as connection:
            return keeping.read_fit(connection)

    def latest_fit_key(self) -> str:
        """Key of the newest fit without its blob, empty when there is none; cheap."""
        with self._reading() as connection:
            return keeping.newest_fit_key(connection)

    def save_study(self, study: StudyRecord, rows: bytes, entry: Entry) -> None:
        """Keep a back-test with its rows; the last three stay."""
        with self._writing() as connection:
            keeping.write_study(connection, study, rows)
            keeping.write_journal(connection, entry, study=study.key)

    def latest_study(self) -> StudyRecord | None:
        """The newest back-test without its rows; cheap."""
        with self._reading() as connection:
            return keeping.read_study(connection)

    def study_rows(self, key: str) -> bytes | None:
        """The rows of one back-test, None when the book has it no more."""
        with self._reading() as connection:
            return keeping.read_study_rows(connection, key)

    def version(self) -> int:
        """Grows with each line of the journal; cheap, so that a server knows when to look again."""
        with self._reading() as connection:
            return keeping.newest_journal_id(connection)

    def journal(self, limit: int = 100) -> tuple[Entry, ...]:
        """The journal, newest first."""
        with self._reading() as connection:
            return keeping.read_journal(connection, limit)

    def check(self) -> tuple[Problem, ...]:
        """Integrity, hashes and references; what is wrong, by name."""
        found: list[Problem] = []
        try:
            with self._reading() as connection:
                found.extend(find_problems(connection, str(self._where)))
        except BookError as error:  # so damaged that it cannot be read to the end
            found.append(Problem(error.what, error.where, error.mend))
        return tuple(found)

    def _reading(self) -> AbstractContextManager[Connection]:
        return reading(self._engine, str(self._where))

    def _writing(self) -> AbstractContextManager[Connection]:
        return writing(self._engine, str(self._where))
