"""What a use-case works with, put together by wiring."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from hangtab.catalogue.model import Catalogue
from hangtab.intake import ColumnMap, Setting
from hangtab.levelling import Rates
from hangtab.naming import Namer
from hangtab.usecases.ports import Book, Entry


@dataclass(frozen=True)
class Parts:
    """A book with the catalogue it holds, the index of its names, the rates, a clock and who is at work.

    `now` gives UTC.
    """

    book: Book
    catalogue: Catalogue
    namer: Namer
    rates: Rates
    now: Callable[[], datetime]
    who: str

    def setting(self) -> Setting:
        """What intake must know to read a source: venues, remembered columns, the book's currency, today."""
        habits = {mark: ColumnMap.from_json(text) for mark, text in self.book.layouts().items()}
        return Setting(self.catalogue.venues, habits, self.book.currency, self.now().date())

    def entry(self, verb: str, **detail: object) -> Entry:
        """A line for the journal, now."""
        return Entry(self.who, self.now(), verb, detail)
