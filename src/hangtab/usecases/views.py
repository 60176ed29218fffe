"""What an answer holds, ready to be translated by CLI, web and notebook; numbers unrounded, no markup."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from hangtab.domain.errors import Problem
from hangtab.domain.evidence import Evidence
from hangtab.domain.name import Naming
from hangtab.domain.price import AllInPrice
from hangtab.domain.subject import Subject
from hangtab.domain.worth import Worth


@dataclass(frozen=True, slots=True)
class Head:
    """Headword and entry as in a dictionary: "Harbour Master", "Tidewardens, Marrow & Pike, 1994", description."""

    headword: str
    origin: str
    description: str


@dataclass(frozen=True, slots=True)
class Rung:
    """One grade of the ladder, next sale: median, 50 and 80 % ranges in the book's currency, sales seen."""

    subject: str
    label: str
    median: float
    low_80: float
    low_50: float
    high_50: float
    high_80: float
    sales: int
    here: bool
    raw: bool = False


@dataclass(frozen=True, slots=True)
class YearPoint:
    """The middle of the market of the subject at one day, with its 50 and 80 % ranges."""

    day: date
    median: float
    low_80: float
    low_50: float
    high_50: float
    high_80: float


@dataclass(frozen=True, slots=True)
class Dot:
    """One sale moved to the subject's condition but not in time. `mark`: sale, offer, ask or doubtful."""

    id: str
    day: date
    price: float
    mark: str
    letter: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """A margin note: bold run-in word and one fact. `section`: worth, comparables, years, grades, cautions."""

    section: str
    run_in: str
    text: str
    link: str = ""


@dataclass(frozen=True, slots=True)
class Track:
    """How wrong such estimates have been: middle absolute error (share), share inside 80 %, on how many sales.

    `kind` says which in words. `studied`: by a back-test from several days; else by the trial of its last two years.
    """

    kind: str
    error: float
    inside_80: float
    sales: int
    studied: bool = False


@dataclass(frozen=True, slots=True)
class Other:
    """Another reading of the same words with its worth."""

    subject: str
    text: str
    probability: float
    median: float


@dataclass(frozen=True, slots=True)
class Answer:
    """The whole answer to one question."""

    asked: str
    naming: Naming
    head: Head
    worth: Worth
    never_sold: bool
    ladder: tuple[Rung, ...]
    years: tuple[YearPoint, ...]
    dots: tuple[Dot, ...]
    notes: tuple[Note, ...]
    cautions: tuple[tuple[str, str], ...]  # (bold first sentence or "", rest)
    others: tuple[Other, ...]
    track: Track | None
    asks: int  # unsold or running asks of the same variant
    fitted: datetime
    about: str = ""  # the piece last looked at, where the question named none


@dataclass(frozen=True, slots=True)
class Mark:
    """Read characters of a raw source: [start, end) in the excerpt, what they were read as, and the key letter."""

    start: int
    end: int
    letter: str
    meaning: str
    value: str
    sure: float


@dataclass(frozen=True, slots=True)
class RawExcerpt:
    """The part of a source that a fact was read from, never re-typeset. `photo` is a source hash or empty."""

    source: str
    source_name: str
    locator: str
    media: str
    text: str
    marks: tuple[Mark, ...]
    photo: str = ""


@dataclass(frozen=True, slots=True)
class Detail:
    """One piece of evidence opened down to its raw source."""

    evidence: Evidence
    subject: Subject | None
    text: str
    probability: float
    decided: bool
    price: AllInPrice | None
    problem: Problem | None
    raw: tuple[RawExcerpt, ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer to a question: the subject, its name, why, its chance, and what taking it changes."""

    subject: str
    text: str
    why: str
    probability: float
    changes: str


@dataclass(frozen=True, slots=True)
class Question:
    """One item to settle with its source and answers; `problem` instead of choices for a row that was not read."""

    id: str
    number: int
    waiting: int
    answered: int
    question: str
    why: str
    raw: RawExcerpt | None
    choices: tuple[Choice, ...]
    problem: Problem | None = None
