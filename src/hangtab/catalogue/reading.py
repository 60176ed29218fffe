"""The catalogue out of its files.

Promises that every problem of every file is found in one go, each with file, line, key and mend, and that a catalogue
is only given when there is none. Reads bytes by relative path; the package's starter files (general words, flaws,
conditions) are put below the user's own: a row with the same id, or the same word, replaces the starter's.
Not here: reading folders from disk (storage).
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import replace
from importlib.resources import files as package_files

from hangtab.catalogue.building import build
from hangtab.catalogue.checking import Records, check
from hangtab.catalogue.model import Catalogue
from hangtab.catalogue.rows import Row, read_csv, read_toml
from hangtab.catalogue.schemas import Schema, check_header, check_row, closest, load_schemas, missing_columns
from hangtab.domain.errors import CatalogueError, Problem

STARTER = "starter"
_ID = r"[a-z0-9]+(?:-[a-z0-9]+)*"
_KINDS = {
    r"catalogue\.toml": "catalogue",
    r"features\.csv": "feature",
    r"flaws\.csv": "flaw",
    r"conditions\.csv": "condition",
    r"words\.csv": "word",
    r"taxes\.csv": "tax",
    rf"graders/{_ID}\.toml": "grader",
    rf"venues/{_ID}\.toml": "venue",
    rf"lines/{_ID}/line\.toml": "line",
    rf"lines/{_ID}/characters\.csv": "character",
    rf"lines/{_ID}/figures\.csv": "figure",
    rf"lines/{_ID}/releases\.csv": "release",
    rf"lines/{_ID}/changes\.csv": "change",
    rf"lines/{_ID}/prototypes\.csv": "prototype",
    rf"lines/{_ID}/parts\.csv": "part",
    rf"lines/{_ID}/measures\.csv": "measure",
}
Found = tuple[str, Row, bool]  # kind, row, whether its form is good
_PLAIN = [re.sub(r"\\", "", pattern).replace(_ID, "<id>") for pattern in _KINDS]


def starter_files() -> Mapping[str, bytes]:
    """The general words, flaws and conditions that come with the package, by file name."""
    folder = package_files("hangtab.catalogue").joinpath(STARTER)
    return {item.name: item.read_bytes() for item in sorted(folder.iterdir(), key=lambda item: item.name)}


def read_catalogue(files: Mapping[str, bytes]) -> Catalogue:
    """The catalogue of a folder's files.

    Args:
        files: Content by posix path relative to the catalogue folder ("lines/skyloom/line.toml").

    Raises:
        CatalogueError: Names the first problem and carries all of them.
    """
    everything = {f"{STARTER}/{name}": content for name, content in starter_files().items()} | dict(files)
    found: list[Problem] = []
    records = _read_records(everything, found)
    found.extend(check(records))
    if found:
        first = found[0]
        more = f" (the first of {len(found)} problems)" if len(found) > 1 else ""
        raise CatalogueError(first.what + more, where=first.where, mend=first.mend, problems=tuple(found))
    return build(records, _digest(everything))


def _digest(files: Mapping[str, bytes]) -> str:
    total = hashlib.sha256()
    for name in sorted(files):
        total.update(f"{name}\n{len(files[name])}\n".encode())
        total.update(files[name])
    return total.hexdigest()


def _read_records(files: Mapping[str, bytes], found: list[Problem]) -> Records:
    """Rows of all files; starter files come first, so that the user's rows find and replace theirs."""
    schemas = load_schemas()
    rows: dict[str, list[Row]] = {}
    ids: dict[str, dict[str, Row]] = {}
    for file in sorted(files, key=lambda name: (not name.startswith(f"{STARTER}/"), name)):
        kind = _kind(file)
        if not kind:
            mend = f"Name it {', '.join(_PLAIN)}, or move it out{closest(file, _PLAIN)}"
            found.append(Problem("Not a file of a catalogue", file, mend))
            continue
        read = _csv_rows if file.endswith(".csv") else _toml_rows
        for name, row, good in read(file, kind, files[file], schemas[kind], found):
            if isinstance(row.get("id"), str) and row.get("id"):
                ids.setdefault(name, {}).setdefault(row["id"], row)
            if good:
                rows.setdefault(name, []).append(row)
    found.extend(_homeless(files))
    for kind in ("flaw", "condition", "word"):
        rows[kind] = _replaced(rows.get(kind, []))
    return Records(rows, ids)


def _kind(file: str) -> str:
    path = file.removeprefix(f"{STARTER}/")
    return next((kind for pattern, kind in _KINDS.items() if re.fullmatch(pattern, path)), "")


def _csv_rows(file: str, kind: str, content: bytes, schema: Schema, found: list[Problem]) -> Iterator[Found]:
    """Rows of a list. A wrong column name is told once, not once per row."""
    header, rows = read_csv(file, content, found)
    found.extend(check_header(schema, file, header))
    missing = list(missing_columns(schema, file, header)) if header or not content.strip() else []
    found.extend(missing)
    known = schema.schema["properties"]
    for row in rows:
        kept = row if row.values.keys() <= known.keys() else _without(row, row.values.keys() - known.keys())
        problems = [] if missing else list(check_row(schema, kept))
        found.extend(problems)
        yield kind, kept, not missing and not problems


def _without(row: Row, columns: AbstractSet[str]) -> Row:
    return replace(row, values={key: cell for key, cell in row.values.items() if key not in columns})


def _toml_rows(file: str, kind: str, content: bytes, schema: Schema, found: list[Problem]) -> Iterator[Found]:
    """The file as one row, then its cards or makers as rows of their own."""
    whole = read_toml(file, content, found)
    if whole is None:
        return
    problems = list(check_row(schema, whole))
    found.extend(problems)
    good = not problems
    yield kind, whole, good
    if isinstance(whole.get("cards"), list):
        yield from (("card", card, good) for card in whole.tables("cards"))
    makers = whole.get("makers")
    for maker, values in makers.items() if isinstance(makers, dict) else ():
        path = ("makers", maker)
        inner = {"id": maker, **values} if isinstance(values, dict) else {"id": maker}
        yield "maker", Row(file, whole.places.get(path, 1), inner, whole.places, path), good


def _homeless(files: Iterable[str]) -> Iterator[Problem]:
    """Lists in a folder of lines/ that says no line."""
    folders = {file.rpartition("/")[0] for file in files if file.startswith("lines/") and _kind(file)}
    for folder in sorted(folders):
        if f"{folder}/line.toml" not in files:
            yield Problem("A folder of a line without line.toml", f"{folder}/line.toml", "Write that file")


def _replaced(rows: list[Row]) -> list[Row]:
    """Without the starter's rows that the user's own say again."""
    own = {_identity(row) for row in rows if not row.file.startswith(f"{STARTER}/")}
    return [row for row in rows if not row.file.startswith(f"{STARTER}/") or _identity(row) not in own]


def _identity(row: Row) -> tuple[str, str]:
    return (row.get("text").casefold(), row.get("language")) if row.get("text") else (row["id"], "")
