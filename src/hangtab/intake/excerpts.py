"""The part of a source a fact was read from, as it came, with the characters of each field marked.

Promises text of the source itself: the raw record of delimited text with its quotes, a workbook's row with its cells
parted by tabs, a page's visible text, a pasted line. What a page says only in its structured data stands in lines below
the text. Not here: how it looks.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from itertools import islice

from hangtab.domain.errors import SourceError
from hangtab.domain.evidence import ReadField
from hangtab.intake.model import IGNORE, Excerpt, Layout, Mark, Media
from hangtab.intake.tables import decoded, delimiter_of, encoding_of, lines_of, records, workbook
from hangtab.intake.visible import visible_text

_ROW = re.compile(r"(?:sheet (?P<sheet>.*), )?row (?P<row>\d+)")
_LINE = re.compile(r"line (\d+)")
_SPAN = re.compile(r"(\d+)-(\d+)$")


def raw_excerpt(
    data: bytes, media: Media, locator: str, layout: Layout | None = None, fields: Sequence[ReadField] = ()
) -> Excerpt:
    """The row, line or page of a locator. `fields` are those of its reading; tables can do with their layout alone.

    Raises SourceError when the source has no such place.
    """
    if media in (Media.CSV, Media.TSV):
        return _record(data, _row_of(locator)[1], layout)
    if media is Media.XLSX:
        return _sheet_row(data, *_row_of(locator), layout)
    if media is Media.HTML:
        return _page(data, fields)
    found = _LINE.match(locator)
    lines = decoded(data).splitlines()
    if not found or not 0 < int(found[1]) <= len(lines):
        raise _missing(locator)
    return Excerpt(lines[int(found[1]) - 1], _spans(fields))


def _missing(locator: str) -> SourceError:
    return SourceError("The source has no such place", where=locator, mend="Take the source in again")


def _row_of(locator: str) -> tuple[str, int]:
    found = _ROW.fullmatch(locator)
    if not found:
        raise _missing(locator)
    return found["sheet"] or "", int(found["row"])


def _record(data: bytes, row: int, layout: Layout | None) -> Excerpt:
    text = decoded(data, layout.dialect.encoding if layout else encoding_of(data))
    delimiter = layout.dialect.delimiter if layout else delimiter_of(text)
    lines = lines_of(text)
    found = next(islice(records(lines, delimiter), row - 1, None), None) if row > 0 else None
    if found is None:
        raise _missing(f"row {row}")
    cells, first, end = found
    raw = "".join(lines[first:end]).rstrip("\r\n")
    return Excerpt(raw, _cell_marks(raw, [c.replace('"', '""') for c in cells or ()], layout))


def _sheet_row(data: bytes, sheet: str, row: int, layout: Layout | None) -> Excerpt:
    table = next((t for t in workbook(data, "workbook") if t.sheet == sheet), None)
    cells = next((c for n, c in enumerate(table.rows(), 1) if n == row), None) if table else None
    if cells is None:
        raise _missing(f"sheet {sheet}, row {row}")
    raw = "\t".join(cells)
    return Excerpt(raw, _cell_marks(raw, cells, layout))


def _cell_marks(raw: str, cells: Sequence[str], layout: Layout | None) -> tuple[Mark, ...]:
    """Where each cell stands in its row, for the columns that were read."""
    meanings = {c.index: c.meaning for c in layout.columns if c.meaning != IGNORE} if layout else {}
    marks = []
    at = 0
    for index, cell in enumerate(cells):
        start = raw.find(cell, at)
        if start < 0:
            break
        if index in meanings and cell.strip():
            marks.append(Mark(start, start + len(cell), meanings[index]))
        at = start + len(cell)
    return tuple(marks)


def _spans(fields: Iterable[ReadField]) -> tuple[Mark, ...]:
    found = ((_SPAN.search(f.where), f.name) for f in fields if f.where.startswith(("line ", "visible text ")))
    return tuple(sorted(Mark(int(m[1]), int(m[2]), name) for m, name in found if m))


def _page(data: bytes, fields: Sequence[ReadField]) -> Excerpt:
    text = visible_text(data)
    marks = list(_spans(fields))
    for f in fields:
        if not f.where.startswith(("JSON-LD", "microdata")):
            continue
        at = text.find(f.text)
        if at < 0 or any(m.start < at + len(f.text) and at < m.end for m in marks):
            text += f"\n{f.where}: "
            at = len(text)
            text += f.text
        marks.append(Mark(at, at + len(f.text), f.name))
    return Excerpt(text, tuple(sorted(marks)))
