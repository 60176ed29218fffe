"""The desk on a real book: what the pages ask, answered by the use-cases.

Promises that a newer fit or catalogue in the book is noticed at the next request. Not here: HTTP, markup.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from hangtab import wiring
from hangtab.domain.errors import BookError, UnknownPieceError
from hangtab.domain.name import Naming
from hangtab.domain.progress import ignore_step
from hangtab.domain.subject import Subject
from hangtab.usecases import about as abouts
from hangtab.usecases import around, details, listing, replies, settling
from hangtab.usecases.backtest import KeptStudy, kept_study
from hangtab.usecases.desk import (
    Asked,
    AsSold,
    BookInfo,
    Compared,
    Outline,
    SalesWanted,
    SeveralPieces,
    Suggestion,
)
from hangtab.usecases.estimate import Ask
from hangtab.usecases.explaining import Explained, explain
from hangtab.usecases.fitting import Standing, load_valuer
from hangtab.usecases.naming import name_title
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import SalesFilter, SalesPage, SourceRecord, TakeInRow, Waiting
from hangtab.usecases.undo import undo_take_in
from hangtab.usecases.views import Answer, Detail, Question
from hangtab.web.refit import Refit


@dataclass(frozen=True)
class Loaded:
    """The parts and the fit at one version of the book."""

    parts: Parts
    standing: Standing | None
    fit_key: str


class BookDesk:
    """A desk on one book file."""

    def __init__(self, path: Path, loaded: Loaded) -> None:
        """Start from what was loaded."""
        self._path = path
        self._loaded = loaded
        self._info: tuple[int, BookInfo] | None = None
        self._lock = threading.Lock()
        self._refit = Refit(path, loaded.parts.who)

    @classmethod
    def open(cls, path: Path, who: str) -> BookDesk:
        """Open a book and its newest fit."""
        return cls(path, _load(wiring.open_parts(path, who)))

    @property
    def _parts(self) -> Parts:
        return self._loaded.parts

    def _standing(self) -> Standing:
        self._take_up()
        if self._loaded.standing is None:
            return load_valuer(self._parts)
        return self._loaded.standing

    def _take_up(self) -> None:
        """Use a fit that was made beside the server."""
        if self._parts.book.latest_fit_key() == self._loaded.fit_key:
            return
        with self._lock:
            if self._parts.book.latest_fit_key() != self._loaded.fit_key:
                self._loaded = _load(wiring.open_parts(self._path, self._parts.who))
                self._info = None

    def info(self) -> BookInfo:
        """The book in a few figures, worked out once per version of the book."""
        self._take_up()
        version = self._parts.book.version()
        if self._info is None or self._info[0] != version:
            made = around.book_info(self._parts, self._loaded.standing, self._path.name, wiring.today())
            self._info = (version, made)
        return replace(self._info[1], fitting=self._refit.running())

    def answer(
        self, text: str, *, price: str = "", at: date | None = None, subject: str = "", about: str = ""
    ) -> Answer | SalesWanted | Compared | SeveralPieces:
        """The reply to what was typed in the one box."""
        day = at or wiring.today()
        last = abouts.subject_about(self._parts, about) if about else None
        wanted = listing.asks_for_list(self._parts, text, day, last) if text and not subject else None
        if wanted:
            return SalesWanted(wanted, text)
        return replies.reply(self._parts, self._standing(), Ask(text, day, price, subject), last)

    def as_sold(self, ids: Sequence[str], subject: str = "") -> Mapping[str, AsSold]:
        """How each of a few pieces of evidence is called."""
        return around.as_sold(self._parts, ids, Subject.parse(subject) if subject else None)

    def names_of(self, things: Sequence[str]) -> Sequence[str]:
        """How the catalogue ids that narrow a list are called."""
        return listing.names_of(self._parts, things)

    def outline(self, subject: str) -> Outline | None:
        """The outline of a subject."""
        return around.outline(self._parts.catalogue, Subject.parse(subject))

    def suggest(self, text: str) -> Sequence[Suggestion]:
        """Completions, likeliest first."""
        return [
            Suggestion(s.text, s.subject.key, s.subject.packaging.value)
            for s in self._parts.namer.suggest(text, limit=9)
        ]

    def name(self, text: str) -> Naming:
        """What a text may be called."""
        return name_title(self._parts, text)

    def subjects(self, limit: int) -> Sequence[Asked]:
        """What can be asked about."""
        return list(listing.subjects(self._parts, limit))

    def sales(self, wanted: SalesFilter) -> SalesPage:
        """The list of sales."""
        return listing.sales(self._parts, wanted)

    def detail(self, evidence_id: str) -> Detail | None:
        """One piece of evidence down to its raw source."""
        try:
            return details.detail(self._parts, evidence_id)
        except UnknownPieceError:
            return None

    def question(self, evidence_id: str = "", position: int = 1, said: str = "") -> Question | None:
        """One item to settle."""
        return settling.question(self._parts, self._loaded.standing, evidence_id or None, position, said)

    def queue(self, limit: int = 10) -> Sequence[Waiting]:
        """What waits, the most telling first."""
        return self._parts.book.waiting(limit)

    def settle(self, evidence_id: str, choice: str) -> None:
        """Take an answer."""
        settling.settle(self._parts, evidence_id, choice)

    def undo_settle(self) -> str:
        """Take back the last answer."""
        return settling.undo_settle(self._parts)

    def fit(self) -> None:
        """Begin to fit the book anew beside the server."""
        self._refit.start()

    def explain(self) -> Explained:
        """How the newest fit fits."""
        self._take_up()
        return explain(self._parts)

    def fit_problem(self) -> str:
        """Why the last fit begun here failed."""
        return self._refit.problem()

    def track_record(self) -> KeptStudy | None:
        """The newest back-test of the book."""
        return kept_study(self._parts)

    def take_ins(self) -> Sequence[TakeInRow]:
        """All take-ins, newest first."""
        return self._parts.book.take_ins()

    def undo_take_in(self, take_in: int) -> int:
        """Take a take-in back."""
        return undo_take_in(self._parts, take_in, ignore_step)

    def source(self, sha256: str) -> SourceRecord | None:
        """A source's bytes as they came."""
        try:
            return self._parts.book.source(sha256)
        except BookError:
            return None


def _load(parts: Parts) -> Loaded:
    key, standing = parts.book.latest_fit_key(), None
    with suppress(BookError):  # a fit that cannot be used says so when a worth is asked for; the rest is served
        standing = load_valuer(parts)
    return Loaded(parts, standing, key)
