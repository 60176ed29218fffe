"""What each kind of catalogue record may hold: its JSON Schema, and a broken rule said in plain words.

Promises that every value is text, number or list of the stated form before anything else looks at it. Reads the
schemas beside this module. A schema's own keyword `mend` says how to put a value right. Not here: whether an id that
is named exists (`checking`).
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from difflib import get_close_matches
from importlib.resources import files
from typing import Any

from jsonschema import Draft202012Validator, FormatChecker, ValidationError

from hangtab.catalogue.rows import Row
from hangtab.domain.errors import Problem

Schema = Any  # a validator; the package has no types
_SHOWN = 60


def load_schemas() -> Mapping[str, Schema]:
    """A validator per kind of record, by kind ("release", "grader")."""
    folder = files("hangtab.catalogue").joinpath("schema")
    texts = {item.name.removesuffix(".json"): item.read_text(encoding="utf-8") for item in folder.iterdir()}
    dates = FormatChecker(formats=["date"])
    return {kind: Draft202012Validator(json.loads(text), format_checker=dates) for kind, text in sorted(texts.items())}


def closest(word: str, known: Iterable[str]) -> str:
    """The ending of a mend that names the known word nearest to a misspelt one; empty when none is near.

    >>> closest("harbour-mastre", ["night-diver", "harbour-master"])
    '; did you mean harbour-master?'
    """
    near = get_close_matches(word, list(known), n=1, cutoff=0.7)
    return f"; did you mean {near[0]}?" if near else ""


def check_header(schema: Schema, file: str, columns: list[str]) -> Iterator[Problem]:
    """Column names that the kind does not have, and those said twice."""
    known = schema.schema["properties"]
    for column in columns:
        if column not in known:
            mend = f"Write one of {', '.join(known)}{closest(column, known)}"
            where = f"{file}, line 1, key {column[:_SHOWN]}"
            yield Problem(f"Unknown column: {column[:_SHOWN]!r}", where, mend)
    for column in sorted({c for c in columns if columns.count(c) > 1}):
        yield Problem(f"Two columns {column!r}", f"{file}, line 1, key {column}", "Leave one of them out")


def missing_columns(schema: Schema, file: str, columns: list[str]) -> Iterator[Problem]:
    """Columns that the kind cannot do without."""
    for column in schema.schema["required"]:
        if column not in columns:
            yield Problem(f"No column {column!r}", f"{file}, line 1, key {column}", f"Add the column {column}")


def check_row(schema: Schema, row: Row) -> Iterator[Problem]:
    """Everything about one record that its schema forbids."""
    for error in sorted(schema.iter_errors(row.values), key=lambda e: [str(part) for part in e.absolute_path]):
        yield from _in_words(error, row)


def _in_words(error: ValidationError, row: Row) -> Iterator[Problem]:
    path = tuple(error.absolute_path)
    mend = error.schema.get("mend", "Look at the format of catalogue files in the reference")
    if error.validator == "required":
        for key in error.validator_value:
            if key not in error.instance:
                how = error.schema["properties"][key].get("mend", mend)
                yield row.problem(f"No value for {key!r}", how, *path, key)
    elif error.validator == "additionalProperties":
        known = error.schema["properties"]
        for key in error.instance:
            if key not in known:
                how = f"Write one of {', '.join(known)}{closest(key, known)}"
                yield row.problem(f"Unknown key: {key[:_SHOWN]!r}", how, *path, key)
    else:
        shown = repr(error.instance) if isinstance(error.instance, str | int | bool) else str(error.instance)
        shown = shown if len(shown) <= _SHOWN else f"{shown[:_SHOWN]}..."
        what = {
            "maxLength": f"Too long, over {error.validator_value} characters: {shown}",
            "format": f"Not a date: {shown}",
            "minItems": "Nothing listed",
        }
        yield row.problem(what.get(str(error.validator), f"Cannot be used: {shown}"), mend, *path)
