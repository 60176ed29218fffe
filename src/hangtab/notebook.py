"""A book in a notebook: `hangtab.open("my.hangtab").worth("harbour master glow sticker 34 graded")`.

Translates only; every figure comes from the same use-cases as the command line and the pages.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from hangtab import wiring
from hangtab.backtest import ORIGINS, Study, Trial
from hangtab.domain.name import Naming
from hangtab.domain.progress import OnStep, ignore_step
from hangtab.domain.worth import Worth
from hangtab.usecases.backtest import back_test
from hangtab.usecases.estimate import Ask, answer, split_asked
from hangtab.usecases.fitting import fit_book, load_valuer
from hangtab.usecases.naming import name_title
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import SalesFilter, SalesPage, Stored, Waiting
from hangtab.usecases.replies import one_worth
from hangtab.usecases.settling import rank_waiting, settle
from hangtab.usecases.take_in import TakenIn, take_in
from hangtab.usecases.undo import undo_take_in
from hangtab.usecases.views import Answer


@dataclass(frozen=True)
class OpenBook:
    """An open book."""

    parts: Parts

    def worth(self, text: str = "", *, at: date | None = None, price: str = "", subject: str = "") -> Worth:
        """The worth of a piece; `price` such as "47 + 18 post" is placed among next sales."""
        return one_worth(self.parts, load_valuer(self.parts), Ask(text, at or wiring.today(), price, subject))

    def answer(self, text: str = "", *, at: date | None = None, price: str = "", subject: str = "") -> Answer:
        """The worth with its grades, years and notes."""
        asked = split_asked(Ask(text, at or wiring.today(), price, subject))
        return answer(self.parts, load_valuer(self.parts), asked)

    def name(self, title: str) -> Naming:
        """Which piece a title means."""
        return name_title(self.parts, title)

    def sales(self, wanted: SalesFilter | None = None) -> SalesPage:
        """The list of sales."""
        return self.parts.book.sales(wanted or SalesFilter())

    def evidence(self) -> Iterator[Stored]:
        """All evidence in order of id."""
        return self.parts.book.evidence()

    def take_in(self, *paths: str | Path, on_step: OnStep = ignore_step) -> TakenIn:
        """Take in files and folders."""
        sources = wiring.gather([Path(p) for p in paths])
        return take_in(self.parts, sources, on_step)

    def undo(self, take_in: int, *, on_step: OnStep = ignore_step) -> int:
        """Take a take-in back; how many pieces of evidence went."""
        return undo_take_in(self.parts, take_in, on_step)

    def waiting(self, limit: int = 100) -> tuple[Waiting, ...]:
        """What waits to be settled, the most telling first."""
        return self.parts.book.waiting(limit)

    def settle(self, evidence_id: str, choice: str) -> None:
        """Answer what waits: a subject key, "none" of these, or "aside"."""
        settle(self.parts, evidence_id, choice)

    def fit(self, *, at: date | None = None, seed: int = 0, on_step: OnStep = ignore_step) -> None:
        """Fit the book."""
        fit_book(self.parts, at or wiring.today(), seed, on_step)
        rank_waiting(self.parts, load_valuer(self.parts))

    def backtest(
        self,
        *,
        at: date | None = None,
        origins: int = ORIGINS,
        learner: bool = False,
        on_step: OnStep = ignore_step,
    ) -> Study:
        """Try the book on sales that came later, keep the study, and give it."""
        return back_test(self.parts, at or wiring.today(), Trial(origins, learner=learner), on_step).study


def open_book(path: str | Path, who: str = "me") -> OpenBook:
    """Open a book. Raises BookError when it is missing or of another version."""
    return OpenBook(wiring.open_parts(Path(path), who))
