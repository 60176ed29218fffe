"""Settings that change no number: which book, port, theme, who is at work. Each value remembers where it came from.

Order: defaults < `hangtab.toml` in the working folder < environment < flags. What changes a number lives in the book.
One of the two rooms that read the environment.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from hangtab.domain.errors import BookError

FILE = "hangtab.toml"
DEFAULTS = {"book": "", "port": "8765", "theme": "auto", "who": "me"}
PREFIX = "HANGTAB_"


@dataclass(frozen=True, slots=True)
class Value:
    """One setting and its origin: default, file, environment or flag."""

    text: str
    origin: str


@dataclass(frozen=True, slots=True)
class Settings:
    """All settings by name."""

    values: Mapping[str, Value]

    def get(self, name: str) -> str:
        """Text of a setting."""
        return self.values[name].text

    @property
    def book(self) -> Path:
        """Path of the book. Raises BookError when none was named."""
        text = self.get("book")
        if not text:
            raise BookError(
                "No book was named",
                where="the command line",
                mend="Say --book PATH, set HANGTAB_BOOK, or make one: hangtab new PATH",
            )
        return Path(text)


def read_settings(flags: Mapping[str, str | None], folder: Path | None = None) -> Settings:
    """Settings from all four places; `flags` holds what the command line said, None where it was silent."""
    values = {name: Value(text, "default") for name, text in DEFAULTS.items()}
    path = (folder or Path.cwd()) / FILE
    if path.is_file():
        values |= {k: Value(str(v), "file") for k, v in _table(path).items() if k in DEFAULTS}
    for name in DEFAULTS:
        if text := os.environ.get(PREFIX + name.upper()):
            values[name] = Value(text, "environment")
    values |= {name: Value(text, "flag") for name, text in flags.items() if text is not None}
    return Settings(values)


def _table(path: Path) -> dict[str, object]:
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BookError(
            f"The settings cannot be read: {error}", where=str(path), mend="Mend or remove the file"
        ) from error
