"""Rows out of the bytes of one catalogue file, each knowing the line its keys stand on.

Promises that a row's place can be said to a person ("lines/skyloom/releases.csv, line 12, key card") and that a file
that cannot be read at all becomes a `Problem`, not a crash. Reads UTF-8 CSV (RFC 4180) and TOML 1.0. Not here: what
the values may be (`schemas`) and what they mean (`building`).
"""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from hangtab.domain.errors import Problem

Path = tuple[str | int, ...]

_KEY = r"""(?:"[^"\n]*"|'[^'\n]*'|[A-Za-z0-9_-]+)"""
_DOTTED = rf"{_KEY}(?:\s*\.\s*{_KEY})*"
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]\]?")
_SETTING = re.compile(rf"\s*({_DOTTED})\s*=")
_AT_LINE = re.compile(r"\(at line (\d+)")


@dataclass(frozen=True, slots=True)
class Row:
    """One record: a line of a CSV file, a TOML file, or one table inside it.

    `values` holds no empty cells. `places` maps key paths of a TOML file to lines; `prefix` is the path of this record.
    """

    file: str
    line: int
    values: Mapping[str, Any]
    places: Mapping[Path, int] = field(default_factory=dict)
    prefix: Path = ()

    def __getitem__(self, key: str) -> Any:  # noqa: ANN401 - the schema has said what it is
        """Value of a key."""
        return self.values[key]

    def get(self, key: str) -> Any:  # noqa: ANN401 - the schema has said what it is
        """Value of a key, empty text when it was left out."""
        return self.values.get(key, "")

    @property
    def folder(self) -> str:
        """Name of the folder the file lies in; for the files of a line its id."""
        return self.file.rpartition("/")[0].rpartition("/")[2]

    def where(self, *key: str | int) -> str:
        """The place of a key, for people."""
        path = self.prefix + key
        line = next((self.places[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self.places), self.line)
        names = ".".join(str(part) for part in path if isinstance(part, str))
        return f"{self.file}, line {line}" + (f", key {names}" if names else "")

    def problem(self, what: str, mend: str, *key: str | int) -> Problem:
        """Something wrong at a key of this row."""
        return Problem(what, self.where(*key), mend)

    def tables(self, key: str) -> Iterator[Row]:
        """The tables of an array of tables as rows of their own; what is no table is left to the schema."""
        for number, values in enumerate(self.values.get(key, ())):
            path = (*self.prefix, key, number)
            if isinstance(values, dict):
                yield Row(self.file, self.places.get(path, self.line), values, self.places, path)


def read_text(file: str, content: bytes, found: list[Problem]) -> str:
    """The text of a file; empty, with a problem, when it is not UTF-8."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        mend = "Save the file as UTF-8"
        found.append(Problem(f"Not UTF-8: byte 0x{content[error.start]:02x}", f"{file}, line {line}", mend))
        return ""


def read_csv(file: str, content: bytes, found: list[Problem]) -> tuple[list[str], list[Row]]:
    """Column names and rows of a CSV file; blank lines are skipped, cells are stripped, empty cells left out."""
    reader = csv.reader(io.StringIO(read_text(file, content, found), newline=""), strict=True)
    rows: list[Row] = []
    header: list[str] = []
    line = 1
    try:
        for cells in reader:
            start, line = line, reader.line_num + 1
            if not any(cell.strip() for cell in cells):
                continue
            if not header:
                header = [cell.strip() for cell in cells]
            elif len(cells) > len(header):
                what = f"{len(cells)} cells under {len(header)} column names"
                mend = 'Put a cell that holds a comma into quotes, such as "Keeper, old"'
                found.append(Problem(what, f"{file}, line {start}", mend))
            else:
                rows.append(Row(file, start, _cells(header, cells)))
    except csv.Error as error:
        mend = "Close each quote, write a quote inside quotes twice, and keep cells short"
        found.append(Problem(f"Not CSV: {error}", f"{file}, line {line}", mend))
    return header, rows


def _cells(header: list[str], cells: list[str]) -> dict[str, str]:
    pairs = zip(header, (cell.strip() for cell in cells), strict=False)
    return {name: cell for name, cell in pairs if cell}


def read_toml(file: str, content: bytes, found: list[Problem]) -> Row | None:
    """The row of a TOML file, None with a problem when it is malformed. Fractions stay exact, dates become text."""
    text = read_text(file, content, found)
    try:
        values = tomllib.loads(text.replace("\r\n", "\n"), parse_float=Decimal)
    except (tomllib.TOMLDecodeError, InvalidOperation, RecursionError) as error:
        at = _AT_LINE.search(str(error))
        line = at.group(1) if at else text.count("\n") + 1
        what = f"Not TOML: {re.sub(r' *[(]at .*', '', str(error)) or 'unreadable'}"
        mend = 'Write key = "text", key = 12 or [table]; text stands in quotes'
        found.append(Problem(what, f"{file}, line {line}", mend))
        return None
    return Row(file, 1, _plain(values), toml_places(text)) if text else None


def _plain(value: Any) -> Any:  # noqa: ANN401 - a tree of whatever TOML holds
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_plain(inner) for inner in value]
    if isinstance(value, Decimal) and not value.is_finite():
        return str(value)
    return value.isoformat() if isinstance(value, date | datetime) else value


def toml_places(text: str) -> dict[Path, int]:
    r"""Line of each table and key of a TOML text, by path; the n-th table of an array has the path part n from 0.

    >>> toml_places('id = "a"\n[[cards]]\nid = "b"\n[[cards]]\nid = "c"')[("cards", 1, "id")]
    5
    """
    places: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    here: Path = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            here = _resolve(header.group(2), counts)
            if header.group(1) == "[[":
                counts[here] = counts.get(here, 0) + 1
                here = (*here, counts[here] - 1)
            places.setdefault(here, number)
        elif setting := _SETTING.match(line):
            places.setdefault(here + tuple(_parts(setting.group(1))), number)
    return places


def _parts(dotted: str) -> list[str]:
    return [part.strip("\"'") for part in re.findall(_KEY, dotted)]


def _resolve(dotted: str, counts: Mapping[Path, int]) -> Path:
    """Path of a header; a table below an array of tables belongs to the array's newest table."""
    path: Path = ()
    parts = _parts(dotted)
    for position, part in enumerate(parts):
        path = (*path, part)
        if path in counts and position < len(parts) - 1:
            path = (*path, counts[path] - 1)
    return path
