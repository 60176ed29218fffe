"""Columns of a file: what each is read as, and a person's correction, remembered for files of that kind."""

from __future__ import annotations

from collections.abc import Mapping

from hangtab.domain.errors import SourceError
from hangtab.domain.evidence import FIELDS
from hangtab.intake import ColumnMap, Layout, SourceFile, read_source
from hangtab.usecases.parts import Parts

IGNORE = "ignore"
DESCRIBES = "said:"  # what comes behind it is free: said:grade, said:sticker ...


def guessed_columns(parts: Parts, source: SourceFile) -> tuple[Layout, ...]:
    """How each table of a file is understood, remembered corrections included."""
    return read_source(source, parts.setting()).layouts


def correct_columns(parts: Parts, source: SourceFile, said: Mapping[str, str]) -> None:
    """Remember that headers mean something else.

    Raises SourceError for a header or a meaning that does not exist; nothing is remembered then.
    """
    layouts = guessed_columns(parts, source)
    for header, meaning in said.items():
        _check(layouts, source.name, header, meaning)
    for layout in layouts:
        mine = {h: m for h, m in said.items() if _has(layout, h)}
        columns = ColumnMap(layout.columns)
        for header, meaning in mine.items():
            columns = columns.corrected(header, meaning)
        if mine:
            parts.book.remember_layout(
                layout.fingerprint, columns.to_json(), parts.entry("columns", name=source.name, corrected=mine)
            )


def _has(layout: Layout, header: str) -> bool:
    return any(c.header == header for c in layout.columns)


def _check(layouts: tuple[Layout, ...], name: str, header: str, meaning: str) -> None:
    if not any(_has(layout, header) for layout in layouts):
        raise SourceError(f"No column is headed {header!r}", where=name, mend="See the headers: hangtab columns FILE")
    if meaning not in (*FIELDS, IGNORE) and not meaning.startswith(DESCRIBES):
        mend = f"Use one of {', '.join(FIELDS)}, {IGNORE}, or {DESCRIBES}WORD for what describes the piece"
        raise SourceError(f"A column cannot mean {meaning!r}", where=f"{name}, column {header}", mend=mend)
