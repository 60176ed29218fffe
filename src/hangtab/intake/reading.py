"""A whole source to its facts, one at a time.

Promises that one bad row never stops a file: it comes as its reading with a `Problem`. Gives a generator, so that a
large table never lives as facts all at once. Raises SourceError for a source that cannot be read at all.
Not here: storing anything.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import islice

from hangtab.domain.errors import Problem, SourceError
from hangtab.domain.evidence import Evidence, ReadField, Reading
from hangtab.intake.columns import DAYS, MONEY, fingerprint, guess_columns, header_row, with_form
from hangtab.intake.facts import evidence_from
from hangtab.intake.lines import line_readings
from hangtab.intake.model import (
    IGNORE,
    ColumnGuess,
    Dialect,
    Fact,
    Layout,
    Media,
    OnRow,
    Setting,
    SourceFile,
    SourceReading,
)
from hangtab.intake.page import page_readings
from hangtab.intake.photos import photo_field
from hangtab.intake.rows import FROM_NAME, Forms
from hangtab.intake.sniffing import sniff
from hangtab.intake.tables import Row, Table, column_letters, delimited, workbook

_SAMPLE_ROWS = 5_000
LONGEST_CELL = 20_000  # characters of one cell that a reading keeps; the source keeps all
LARGEST = 200_000_000  # bytes; the text of a table is held in memory


def read_source(source: SourceFile, setting: Setting, on_row: OnRow | None = None) -> SourceReading:
    """Read a source. `on_row` is told how many facts are done, and may raise `Cancelled`.

    Raises SourceError when it is a photo, unknown, too large, or not what it says it is.
    """
    media = sniff(source.name, source.data)
    sha256 = hashlib.sha256(source.data).hexdigest()
    if len(source.data) > LARGEST:
        raise SourceError(
            f"The source is larger than {LARGEST // 1_000_000} MB", where=source.name, mend="Split it into parts"
        )
    if media in (Media.CSV, Media.TSV, Media.XLSX):
        tables = workbook(source.data, source.name) if media is Media.XLSX else (delimited(source.data),)
        layouts = tuple(layout_of(t, setting) for t in tables)
        facts = _table_facts(source, sha256, setting, tuple(zip(tables, layouts, strict=True)))
        return SourceReading(sha256, media, layouts, _counted(facts, on_row), sum(t.count for t in tables))
    if media in (Media.HTML, Media.TEXT):
        readings = (page_readings if media is Media.HTML else line_readings)(source, sha256, setting)
        facts = ((r, located(evidence_from(r, setting, Forms()), source.name)) for r in readings)
        rows = 1 if media is Media.HTML else source.data.count(b"\n") + 1
        return SourceReading(sha256, media, (), _counted(facts, on_row), rows)
    raise SourceError(
        "This is no table, saved page or text",
        where=source.name,
        mend="Give CSV, TSV, XLSX, a saved HTML page with its photos beside it, or a text with one sale a line",
    )


def _counted(facts: Iterable[Fact], on_row: OnRow | None) -> Iterator[Fact]:
    for done, fact in enumerate(facts, 1):
        yield fact
        if on_row:
            on_row(done)


def layout_of(table: Table, setting: Setting) -> Layout:
    """How a table is understood: as remembered for its headers, else as guessed."""
    sample = [r or [] for r in islice(table.rows(), _SAMPLE_ROWS)]
    head = header_row(sample)
    width = max((len(r) for r in sample[:200]), default=0)
    headers = _headers(sample[head - 1] if head else [], width)
    rows = sample[head:]
    mark = fingerprint(headers)
    known = setting.habits.get(mark)
    columns = known.columns if known else guess_columns(headers, rows).columns
    if known:  # what the columns mean is remembered; how this file writes its numbers is its own
        columns = tuple(with_form(c, [r[c.index] for r in rows if c.index < len(r)]) for c in columns)
    dialect = Dialect(
        table.delimiter, table.encoding, _shared(columns, MONEY) or table.decimal, _shared(columns, DAYS), head
    )
    return Layout(mark, columns, dialect, table.sheet)


def _headers(row: Sequence[str], width: int) -> list[str]:
    """Each column's header, told apart where two are alike or one is missing."""
    seen: dict[str, int] = {}
    headers = []
    for i in range(width):
        text = " ".join(row[i].split())[:120] if i < len(row) else ""
        text = text or f"column {i + 1}"
        seen[text] = seen.get(text, 0) + 1
        headers.append(text if seen[text] == 1 else f"{text} ({seen[text]})")
    return headers


def _shared(columns: Iterable[ColumnGuess], meanings: frozenset[str]) -> str:
    """The form most columns of one sort share."""
    forms = [c.form for c in columns if c.meaning in meanings and c.form]
    return max(set(forms), key=lambda f: (forms.count(f), f)) if forms else ""


def _table_facts(
    source: SourceFile, sha256: str, setting: Setting, tables: Sequence[tuple[Table, Layout]]
) -> Iterator[Fact]:
    for table, layout in tables:
        forms = Forms.of(layout)
        constants = _constants(source.name, layout, setting)
        columns = [c for c in layout.columns if c.meaning != IGNORE]
        for number, row in enumerate(table.rows(), 1):
            if number <= layout.dialect.header_row or (row is not None and not any(row)):
                continue
            locator = f"sheet {table.sheet}, row {number}" if table.sheet else f"row {number}"
            if row is None:
                yield _unreadable(source.name, sha256, locator)
                continue
            cells = _fields(row, columns, _place(table, number, locator), source)
            if not cells:
                continue
            reading = Reading(sha256, locator, (*cells, *constants))
            yield reading, located(evidence_from(reading, setting, forms), source.name)


def located(fact: Evidence | Problem, name: str) -> Evidence | Problem:
    """A problem with the source's name before its place; evidence as it is."""
    return replace(fact, where=f"{name}, {fact.where}") if isinstance(fact, Problem) else fact


def _place(table: Table, number: int, locator: str) -> Callable[[ColumnGuess], str]:
    """How the place of a cell is named: the cell's own name in a workbook, row and column elsewhere."""
    if table.sheet:
        return lambda c: f"sheet {table.sheet}, cell {column_letters(table.first_column + c.index)}{number}"
    return lambda c: f"{locator}, column {c.header}"


def _fields(
    row: Row, columns: Iterable[ColumnGuess], place: Callable[[ColumnGuess], str], source: SourceFile
) -> list[ReadField]:
    fields = []
    for column in columns:
        text = row[column.index] if column.index < len(row) else ""
        if not text or text.isspace():
            continue
        if column.meaning == "photo":
            fields.append(photo_field(text, place(column), source.beside))
        else:
            fields.append(ReadField(column.meaning, text[:LONGEST_CELL], place(column), column.confidence))
    return fields


def _constants(name: str, layout: Layout, setting: Setting) -> tuple[ReadField, ...]:
    """What holds for every row: the headers' own words, then what the file's name says; a cell goes before both."""
    stated = [
        ReadField(n, text, f"header of column {c.header}", 0.9)
        for c in layout.columns
        if c.meaning != IGNORE
        for n, text in c.constants
    ]
    venue, country = setting.places.in_name(name)
    found = (("venue", venue), ("country", country))
    return (*stated, *(ReadField(n, text, FROM_NAME, 0.6) for n, text in found if text))


def _unreadable(name: str, sha256: str, locator: str) -> Fact:
    mend = "Close the quotation mark of this row, or save the table again"
    return Reading(sha256, locator, ()), Problem("The row cannot be read", f"{name}, {locator}", mend)
