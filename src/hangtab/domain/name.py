"""What a reading may be called: candidates with text-only probabilities and the words for and against each."""

from __future__ import annotations

from dataclasses import dataclass

from hangtab.domain.subject import Subject


@dataclass(frozen=True, slots=True)
class Reason:
    """One word or phrase of the text and what it speaks for; `text` may be empty (something was not said).

    `start` and `end` are the characters of the title it was read from, (-1, -1) when elsewhere.
    """

    text: str
    meaning: str  # catalogue id or role: "harbour-master", "northgate 34", "danger"
    kind: str  # line, character, release, change, grade, feature, flaw, part, packaging, state, danger, lot ...
    sure: float = 1.0
    start: int = -1
    end: int = -1


@dataclass(frozen=True, slots=True)
class Candidate:
    """One possible subject with its probability from the text alone, 0 to 1, and the reasons."""

    subject: Subject
    text: str  # canonical sentence
    probability: float
    speaks_for: tuple[Reason, ...] = ()
    speaks_against: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Naming:
    """All candidates of one text, likeliest first; `none` is the probability that it is none of them.

    `decided` is set when the first candidate is certain enough to be taken without a person. `lot` is set when the
    text offers several pieces. `unknown` names a word that looks like a line or piece the catalogue does not have.
    """

    candidates: tuple[Candidate, ...]
    none: float
    decided: bool
    lot: bool = False
    unknown: str = ""
    why: str = ""  # why it waits, in plain words, when not decided
