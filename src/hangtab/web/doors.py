"""What the pages ask of the program.

Wiring fulfils it with use-cases on a book; tests fulfil it with invented values. Every method may raise HangtabError.
Not here: HTTP and markup.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Protocol

from hangtab.domain.name import Naming
from hangtab.usecases.backtest import KeptStudy
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
from hangtab.usecases.explaining import Explained
from hangtab.usecases.ports import SalesFilter, SalesPage, SourceRecord, TakeInRow, Waiting
from hangtab.usecases.views import Answer, Detail, Question

NONE_OF_THESE = "none"
SET_ASIDE = "aside"


class Desk(Protocol):
    """The program as the pages see it."""

    def info(self) -> BookInfo:
        """The book in a few figures; asked for by every page, so it must be cheap."""

    def answer(
        self, text: str, *, price: str = "", at: date | None = None, subject: str = "", about: str = ""
    ) -> Answer | SalesWanted | Compared | SeveralPieces:
        """The reply to what was typed in the one box.

        `price` as typed ("47 + 18 post"), `at` None for the book's own day, `subject` a key that a person chose
        instead of the likeliest reading, `about` the key of the piece last looked at, which a question that names
        none is about. Raises UnknownPieceError when no line or piece is meant.
        """

    def as_sold(self, ids: Sequence[str], subject: str = "") -> Mapping[str, AsSold]:
        """How each of a few pieces of evidence is called in the comparables of a subject; unknown ids are left out."""

    def names_of(self, things: Sequence[str]) -> Sequence[str]:
        """How the catalogue ids that narrow a list are called."""

    def outline(self, subject: str) -> Outline | None:
        """The outline of a subject, None when the catalogue has no measures."""

    def suggest(self, text: str) -> Sequence[Suggestion]:
        """Up to nine completions, likeliest first."""

    def name(self, text: str) -> Naming:
        """What a text may be called."""

    def subjects(self, limit: int) -> Sequence[Asked]:
        """What can be asked about, in a stable order."""

    def sales(self, wanted: SalesFilter) -> SalesPage:
        """The list of sales."""

    def detail(self, evidence_id: str) -> Detail | None:
        """One piece of evidence down to its raw source, None when the book has none of that id."""

    def question(self, evidence_id: str = "", position: int = 1, said: str = "") -> Question | None:
        """One item to settle: by id, or by its place in the queue (1 is the most telling); None past the end.

        `said` are a person's own words for it, which the answers are then made from.
        """

    def queue(self, limit: int = 10) -> Sequence[Waiting]:
        """What waits, the most telling first."""

    def settle(self, evidence_id: str, choice: str) -> None:
        """Take an answer: a subject's key, NONE_OF_THESE or SET_ASIDE."""

    def undo_settle(self) -> str:
        """Take back the last answer; the id it was about, empty when there is none."""

    def fit(self) -> None:
        """Begin to fit the book anew beside the server, unless that is under way; it is taken up by itself."""

    def explain(self) -> Explained:
        """How the newest fit fits."""

    def fit_problem(self) -> str:
        """Why the last fit begun here failed, empty when it did not."""

    def track_record(self) -> KeptStudy | None:
        """The newest back-test of the book, None when there is none."""

    def take_ins(self) -> Sequence[TakeInRow]:
        """All take-ins, newest first."""

    def undo_take_in(self, take_in: int) -> int:
        """Take a take-in back; how many pieces of evidence went."""

    def source(self, sha256: str) -> SourceRecord | None:
        """A source's bytes as they came (a photo is one), None when the book has none of that hash."""
