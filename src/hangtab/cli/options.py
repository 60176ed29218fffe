"""Options that several commands share, and the book they open."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hangtab.domain.dates import FIRST_YEAR, LAST_YEAR, asked_day
from hangtab.settings import read_settings

if TYPE_CHECKING:
    from hangtab.usecases.parts import Parts

BookOption = Annotated[str | None, typer.Option("--book", help="The book; else HANGTAB_BOOK or hangtab.toml.")]
WhoOption = Annotated[str | None, typer.Option("--who", help="Who is at work, for the journal.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for scripts.")]
AtOption = Annotated[str | None, typer.Option("--at", help="The day the worth is for, ISO; today when left out.")]


def words(text: str) -> str:
    """Words as typed; bytes that are no text become question marks, so that they can be printed again."""
    return text.encode("utf-8", "replace").decode().strip()


def book_path(book: str | None) -> Path:
    """Where the book is."""
    return read_settings({"book": book}).book


def parts_of(book: str | None, who: str | None = None) -> Parts:
    """The book opened, with all that goes with it."""
    from hangtab import wiring

    settings = read_settings({"book": book, "who": who})
    return wiring.open_parts(settings.book, settings.get("who"))


def day(text: str | None) -> date:
    """A day as typed, today when none was."""
    from hangtab import wiring

    if not text:
        return wiring.today()
    try:
        return asked_day(text)
    except ValueError:
        years = f"between {FIRST_YEAR} and {LAST_YEAR}"
        raise typer.BadParameter(f"{text!r} is no day {years}; write it as 2026-11-03") from None
