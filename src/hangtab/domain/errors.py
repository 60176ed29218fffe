"""What went wrong, where, and how to mend it: one family for every room.

Promises that each stated failure carries the same three fields. Bugs are not wrapped: they keep their
traceback. How an error looks (exit code, HTTP status) is decided at the edges, not here.
"""

from __future__ import annotations

from dataclasses import dataclass


class HangtabError(Exception):
    """A stated failure: what happened, where, and how to mend it."""

    def __init__(self, what: str, *, where: str, mend: str) -> None:
        """Keep the three sentences; each is plain text without a full stop."""
        super().__init__(what)
        self.what = what
        self.where = where
        self.mend = mend

    def __str__(self) -> str:
        """The error as a person reads it, three lines."""
        return f"{self.what}\n  where: {self.where}\n  mend:  {self.mend}"


class CatalogueError(HangtabError):
    """The catalogue files say something that cannot be meant; `problems` are all of it, this error names the first."""

    def __init__(self, what: str, *, where: str, mend: str, problems: tuple[Problem, ...] = ()) -> None:
        """Keep the first problem's sentences and the whole list."""
        super().__init__(what, where=where, mend=mend)
        self.problems = problems


class SourceError(HangtabError):
    """A source cannot be read at all."""


class BookError(HangtabError):
    """The book is missing, of another version, or damaged."""


class PriceError(HangtabError):
    """An amount, a currency or a rate cannot be used."""


class UnknownPieceError(HangtabError):
    """What was asked about is not in the catalogue."""


class Cancelled(HangtabError):  # noqa: N818 - a person's wish, not a failure
    """A person stopped the work; raised by the progress callback."""

    def __init__(self, stage: str) -> None:
        """Name the stage that was stopped."""
        super().__init__(f"Stopped while {stage}", where=stage, mend="Start it again; what was finished is kept")


@dataclass(frozen=True, slots=True)
class Problem:
    """A bad row or file as a value: the good ones go on, this one waits to be shown."""

    what: str
    where: str
    mend: str
