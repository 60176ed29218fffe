"""How wrong the estimates were, in words and cells: the same on the page and in the terminal; and as JSON for scripts.

Promises: every share stands with the number of sales it is a share of. Reads: a study. Gives: text, plain dictionaries.
Not here: drawings (track_charts), markup, any figure that is not in the study.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from hangtab.backtest import ALL, ENGINE, LAST_FIVE, Class, Held, Study
from hangtab.rendering import words
from hangtab.usecases.backtest import class_said

FEWEST = 20  # sales of a class before it gets a line of its own
FIGURES = ("Off by", "In 25 %", "5 in 10", "8 in 10", "9 in 10", "CRPS")
THIN_HEADS = ("Earlier sales", "Sales", *FIGURES)
KIND_HEADS = ("Pieces", "Sales", *FIGURES)
PEER_HEADS = ("Way", *FIGURES)
BAND_HEADS = ("Value", "Sales", "Median ratio", "COD", "PRD", "PRB")
PEER_NAMES = {ENGINE: "Hangtab", LAST_FIVE: "Last five sales"}
THIN_NAMES = {"0": "none", "1": "one", "10+": "10 or more"}


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: its head and its figures, set for the eye."""

    head: str
    cells: tuple[str, ...]


def study_json(study: Study, made: datetime) -> dict[str, Any]:
    """The study for scripts: shares of one, unrounded; what does not exist is null."""
    said = study.to_dict()
    del said["format"]
    return {"made": made.isoformat(), **said}


def headline(study: Study) -> tuple[str, ...]:
    """The study in a few sentences: the middle, the ranges, thin against thick, the other ways."""
    every = study.overall
    held = [words.per_cent(share) for share in (every.held_80, every.held_50, every.held_90)]
    said = [
        f"{_off_by(every)} at the middle of {_sales(every)} that came later.",
        f"{words.per_cent(every.near)} of them brought within a quarter of what was estimated.",
        f"Eight-in-ten ranges held {held[0]} of them, five-in-ten {held[1]}, nine-in-ten {held[2]}.",
    ]
    thin = [c for c in by_thinness(study.classes) if c.sales >= FEWEST]
    if len(thin) > 1:
        said.append(" ".join(_thin_said(c) for c in (thin[0], thin[-1])))
    said += [_peer_said(p.name, p.overall) for p in study.peers if p.name != ENGINE]
    return tuple(said)


def _thin_said(one: Class) -> str:
    return f"{_pieces(one)}: {_off_by(one).lower()} ({_sales(one)})."


def _peer_said(name: str, overall: Class) -> str:
    said = "The last five sales of the variant" if name == LAST_FIVE else f"{name}, not tuned,"
    return f"{said} on the same sales: off by {words.per_cent(overall.error)}."


def sentences(classes: Iterable[Class]) -> tuple[str, ...]:
    """A plain sentence for each class: “Carded graded pieces with one earlier sale: off by 17 % at the middle; ...”."""
    return tuple(
        f"{_pieces(one)}: {_off_by(one).lower()} at the middle; eight-in-ten ranges held {words.per_cent(one.held_80)}"
        f" of {_sales(one)}."
        for one in classes
    )


def by_thinness(classes: Iterable[Class]) -> list[Class]:
    """All kinds of piece, by how many sales of the variant came before."""
    return [c for c in classes if c.form == ALL and c.thin != ALL]


def by_kind(classes: Iterable[Class]) -> list[Class]:
    """Each kind of piece, most sales first."""
    return sorted((c for c in classes if c.form != ALL and c.thin == ALL), key=lambda c: -c.sales)


def narrow(classes: Iterable[Class]) -> list[Class]:
    """Kind and thinness together, those with enough sales."""
    return [c for c in classes if ALL not in (c.form, c.thin) and c.sales >= FEWEST]


def class_row(one: Class) -> Row:
    """A class as a line under `THIN_HEADS` or `KIND_HEADS`, by its shortest name."""
    thin = THIN_NAMES.get(one.thin, one.thin)
    kind = f"{one.form[:1].upper()}{one.form[1:]}"
    head = f"{kind}, {one.thin}" if kind and thin else kind or thin or "All"
    return Row(head, (words.grouped(str(one.sales)), *_figures(one)))


def peer_row(name: str, overall: Class) -> Row:
    """One way over all sales, as a line under `PEER_HEADS`."""
    return Row(PEER_NAMES.get(name, f"{name}, not tuned"), _figures(overall))


def band_rows(study: Study) -> tuple[Row, ...]:
    """The assessors' ratio study by value and whole, under `BAND_HEADS`."""
    rows = [
        Row(
            words.span(b.low, b.high, study.currency),
            (words.grouped(str(b.study.sales)), f"{b.study.median:.2f}", f"{b.study.cod:.1f}", f"{b.study.prd:.2f}",
             _signed(b.study.prb.slope)),
        )
        for b in study.bands
    ]  # fmt: skip
    whole = study.ratios
    if whole is not None:
        figures = (f"{whole.median:.2f}", f"{whole.cod:.1f}", f"{whole.prd:.2f}", _signed(whole.prb.slope))
        rows.append(Row("All", (words.grouped(str(whole.sales)), *figures)))
    return tuple(rows)


def held_row(one: Held) -> Row:
    """A nominal range, the share it held, and the interval of that share."""
    interval = f"{100 * one.low:.0f}{words.DASH}{100 * one.high:.0f}"
    return Row(f"{10 * one.nominal:.0f} in 10", (f"{100 * one.held:.1f}", interval, words.grouped(str(one.sales))))


def _pieces(one: Class) -> str:
    said = class_said(one.form, one.thin)
    return said[0].upper() + said[1:]


def _off_by(one: Class) -> str:
    return f"Off by {words.per_cent(one.error)}"


def _sales(one: Class) -> str:
    return words.count(one.sales, "sale")


def _figures(one: Class) -> tuple[str, ...]:
    shares = (one.error, one.near, one.held_50, one.held_80, one.held_90)
    return (*(f"{100 * share:.0f}" for share in shares), f"{one.crps:.3f}")


def _signed(value: float) -> str:
    if math.isnan(value):
        return "–"
    return f"{value:+.2f}".replace("-", words.MINUS)
