"""What was said about a piece: a title, its description, and columns that describe it.

Reads an `Evidence` or a question; gives the one value that `Namer.name` takes. Not here: prices.
"""

from __future__ import annotations

from dataclasses import dataclass

from hangtab.domain.evidence import Evidence


@dataclass(frozen=True, slots=True)
class Saying:
    """A text to be named. `said` are (column, text) pairs without their prefix, for example ("grade", "34").

    `asked`: a person typed it as a question, so that it may state what only its owner can know ("confirmed").
    """

    title: str
    description: str = ""
    said: tuple[tuple[str, str], ...] = ()
    language: str = ""
    year: int | None = None
    quantity: int = 1
    certificate: str = ""
    asked: bool = False

    @classmethod
    def of(cls, evidence: Evidence) -> Saying:
        """What a piece of evidence says about its piece."""
        return cls(
            title=evidence.title,
            description=evidence.description,
            said=tuple((name.removeprefix("said:"), text) for name, text in evidence.said),
            language=evidence.language,
            quantity=evidence.quantity,
            certificate=evidence.certificate,
        )

    @classmethod
    def ask(cls, text: str) -> Saying:
        """A question as a person typed it."""
        return cls(title=text, asked=True)
