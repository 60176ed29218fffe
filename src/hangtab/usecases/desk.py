"""What the desk hands to a page beside the answer itself: values, no markup, numbers unrounded.

Promises that each kind of reply to the one box is its own type. Not here: the answer (views), and who fulfils the
desk (wiring).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from hangtab.domain.subject import Subject
from hangtab.usecases.ports import SalesFilter
from hangtab.usecases.views import Answer, Other


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One line under the search box: its words, the subject's key, and what it is ("character", "release" ...)."""

    text: str
    subject: str
    kind: str


@dataclass(frozen=True, slots=True)
class SalesWanted:
    """The question was about sales, not about a worth; `said` repeats how it was understood."""

    wanted: SalesFilter
    said: str


@dataclass(frozen=True, slots=True)
class Compared:
    """The question set two or more pieces against each other ("34+ yellowed against clear").

    `ratio` is how many times the second the first brings: (middle, low, high), eight in ten; None when not known.
    `sure` is the probability that the piece was read right, from its words alone.
    """

    asked: str
    sides: tuple[Answer, ...]
    ratio: tuple[float, float, float] | None = None
    sure: float = 1.0


@dataclass(frozen=True, slots=True)
class SeveralPieces:
    """The question offered several pieces for one sum, which no single worth answers; `others` are what it may hold."""

    asked: str
    currency: str
    others: tuple[Other, ...]


@dataclass(frozen=True, slots=True)
class AsSold:
    """What a row of the comparables says of one sale: "Northgate 34", "Quayside, GB".

    `kind` is the evidence's kind; `doubtful` when the name or the price is not settled. `piece` says in what it is
    another piece than the one asked about, empty when it is the same.
    """

    label: str
    place: str
    kind: str = "sale"
    doubtful: bool = False
    piece: str = ""


@dataclass(frozen=True, slots=True)
class Leader:
    """A line from the outline to what tells this variant. `spot`: tab, title, window, sticker, text or strip."""

    spot: str
    title: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Outline:
    """The card or box to be drawn from the catalogue's measures, in millimetres; `form` is the packaging."""

    width_mm: float
    height_mm: float
    form: str
    leaders: tuple[Leader, ...] = ()


@dataclass(frozen=True, slots=True)
class LineHeld:
    """One line of the catalogue and how much the book holds of it."""

    name: str
    maker: str
    years: str
    pieces: int
    sales: int
    id: str = ""


@dataclass(frozen=True, slots=True)
class BookInfo:
    """The book in a few figures.

    `today` is the day for which questions without a date are answered; `venues` are (id, name) pairs. `newer` pieces
    of evidence and `answers` of a person came after the fit and do not count in it yet; `fitting`: a new fit is made.
    """

    name: str
    currency: str
    evidence: int
    sales: int
    waiting: int
    fitted: datetime | None
    today: date
    lines: tuple[LineHeld, ...] = ()
    venues: tuple[tuple[str, str], ...] = ()
    examples: tuple[str, ...] = ()
    newer: int = 0
    answers: int = 0
    fitting: bool = False


@dataclass(frozen=True, slots=True)
class Asked:
    """A subject that can be asked about, for scripts."""

    subject: Subject
    text: str
    sales: int
