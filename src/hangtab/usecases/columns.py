"""Columns of a file: what each is read as, and a person's correction, remembered for files of that kind."""

from __future__ import annotations

from collections.abc import Mapping

from hangtab.domain.errors import SourceError
from hangtab.intake import ColumnMap, Layout, SourceFile, read_source
from hangtab.usecases.parts import Parts


def guessed_columns(parts: Parts, source: SourceFile) -> tuple[Layout, ...]:
    """How each table of a file is understood, remembered corrections included."""
    return read_source(source, parts.setting()).layouts


def correct_columns(parts: Parts, source: SourceFile, said: Mapping[str, str]) -> None:
    """Remember that a header means something else. Raises SourceError when the file has no such header."""
    layouts = guessed_columns(parts, source)
    for header, meaning in said.items():
        matching = [layout for layout in layouts if any(c.header == header for c in layout.columns)]
        if not matching:
            raise SourceError(
                f"No column is headed {header!r}", where=source.name, mend="See the headers: hangtab columns FILE"
            )
        for layout in matching:
            columns = ColumnMap(layout.columns).corrected(header, meaning)
            parts.book.remember_layout(
                layout.fingerprint, columns.to_json(), parts.entry("columns", header=header, meaning=meaning)
            )
