"""Tables out of bytes: delimited text and workbooks, row by row as a spreadsheet counts them.

Promises that row 1 is the first record (or the sheet's first row), that a record with line breaks inside quotes is one
row, and that blank rows keep their number. An unreadable record is None. Source of the quoting rules: RFC 4180.
Not here: which row is the header (columns).
"""

from __future__ import annotations

import codecs
import csv
import io
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

import fastexcel

from hangtab.domain.errors import SourceError

Row = list[str]
_SAMPLE = 60
_DELIMITERS = "\t;,|"
_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_MIDNIGHT = " 00:00:00"


@dataclass(frozen=True, slots=True)
class Table:
    """One table. `rows` starts afresh at each call; `count` is about how many rows there are.

    `first_column` is the spreadsheet column of a row's first cell, 0 for A. `decimal` is the mark of a table whose
    numbers are real numbers.
    """

    rows: Callable[[], Iterator[Row | None]]
    count: int
    delimiter: str = ""
    encoding: str = ""
    sheet: str = ""
    first_column: int = 0
    decimal: str = ""


def encoding_of(data: bytes) -> str:
    """UTF-8 or UTF-16 where the bytes say so, else the Western code page that spreadsheets write."""
    for bom, name in _BOMS:
        if data.startswith(bom):
            return name
    try:
        codecs.getincrementaldecoder("utf-8")().decode(data)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def decoded(data: bytes, encoding: str = "") -> str:
    """The text of a source; bytes that mean nothing become U+FFFD, NUL characters are dropped."""
    text = data.decode(encoding or encoding_of(data), errors="replace")
    return text.replace("\0", "") if "\0" in text else text


def delimited(data: bytes) -> Table:
    """A table of delimited text; the delimiter is the one that makes the most even columns."""
    encoding = encoding_of(data)
    text = decoded(data, encoding)
    delimiter = delimiter_of(text)
    return Table(lambda: _records(text, delimiter), text.count("\n") + 1, delimiter, encoding)


def delimiter_of(text: str) -> str:
    """The delimiter with the most rows of equal width, then the widest; a comma when there is none."""

    def evenness(delimiter: str) -> tuple[float, int]:
        widths = Counter(len(r) for r in islice(_records(text[:200_000], delimiter), _SAMPLE) if r and any(r))
        if not widths:
            return 0.0, 0
        width, rows = max(widths.items(), key=lambda item: (item[1] * (item[0] > 1), item[0]))
        return (rows / widths.total(), width) if width > 1 else (0.0, 1)

    best = {d: evenness(d) for d in _DELIMITERS}
    # A semicolon file with decimal commas is as even in commas; the wider table of two even ones is the true one only
    # when it is much wider, so evenness is rounded and the order of _DELIMITERS settles a draw.
    return max(_DELIMITERS, key=lambda d: (round(best[d][0], 1), best[d][0] > 0 and d in "\t;|", best[d][1]))


def _records(text: str, delimiter: str) -> Iterator[Row | None]:
    return (row for row, _, _ in records(lines_of(text), delimiter))


def lines_of(text: str) -> list[str]:
    """The lines of a text with their ends, as RFC 4180 has them."""
    return list(io.StringIO(text, newline=""))


def records(lines: Sequence[str], delimiter: str) -> Iterator[tuple[Row | None, int, int]]:
    """Each record with its first line and the line after its last.

    A quotation mark that nothing closes spoils its own line (None), not the rest of the file: reading starts afresh on
    the next line.
    """
    start = 0
    while start < len(lines):
        reader = csv.reader(islice(lines, start, None), delimiter=delimiter)
        read = 0
        while True:
            first = start + read
            try:
                row = next(reader)
            except StopIteration:
                return
            except csv.Error:
                break
            read = reader.line_num
            end = start + read
            if end == len(lines) and end - first > 1 and "".join(lines[first:end]).count('"') % 2:
                break
            yield row, first, end
        yield None, first, first + 1
        start = first + 1


def workbook(data: bytes, name: str) -> tuple[Table, ...]:
    """The sheets of a workbook that hold anything. Raises SourceError when the bytes are no workbook."""
    try:
        reader = fastexcel.read_excel(data)
        tables = [_sheet(reader, sheet) for sheet in reader.sheet_names]
    except fastexcel.FastExcelError as error:
        raise SourceError(
            "This is not a workbook that can be read",
            where=name,
            mend="Open it in a spreadsheet program and save it as XLSX or CSV",
        ) from error
    return tuple(t for t in tables if t.count)


def _sheet(reader: fastexcel.ExcelReader, name: str) -> Table:
    # skip_rows=0 keeps blank rows at the top, so that row numbers are those the spreadsheet shows.
    sheet = reader.load_sheet(name, header_row=None, skip_rows=0, dtypes="string")
    if not sheet.width or not sheet.height:
        return Table(lambda: iter(()), 0, sheet=name)
    frame = sheet.to_polars()
    first = sheet.available_columns()[0].absolute_index

    def rows() -> Iterator[Row | None]:
        for row in frame.iter_rows():
            yield [_cell(c) for c in row]

    return Table(rows, sheet.height, sheet=name, first_column=first, decimal=".")


def _cell(value: str | None) -> str:
    """A cell's text; a date without a time of day stays a date."""
    return value.removesuffix(_MIDNIGHT) if value else ""


def column_letters(index: int) -> str:
    """A spreadsheet's name of a column, counted from 0.

    >>> column_letters(0), column_letters(25), column_letters(26), column_letters(703)
    ('A', 'Z', 'AA', 'AAB')
    """
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters
