"""The adjustment of one comparable split into what a reader asks about: time, piece, grade, flaws, venue."""

from __future__ import annotations

import math
from collections.abc import Mapping

# Engine terms by the question they answer; what is not named here belongs to the piece.
GROUPS = {
    "market": "time",
    "line walk": "time",
    "walk": "time",
    "season": "time",
    "position": "grade",
    "state": "grade",
    "generation": "grade",
    "premium": "grade",
    "note": "grade",
    "marks": "flaws",
    "site": "venue",
    "mechanism": "venue",
}
ORDER = ("time", "piece", "grade", "flaws", "venue")
PREFIX = "by "


def group_of(term: str) -> str:
    """The group of one engine term."""
    return GROUPS.get(term, "time" if term.endswith("walk") else "piece")


def group_factors(row: Mapping[str, object]) -> tuple[tuple[str, float], ...]:
    """Factors by group in the fixed order, from the columns `by <term>` (log differences) of a comparables row."""
    logs = dict.fromkeys(ORDER, 0.0)
    for column, value in row.items():
        if column.startswith(PREFIX) and isinstance(value, float):
            logs[group_of(column.removeprefix(PREFIX))] += value
    return tuple((name, math.exp(log)) for name, log in logs.items())
