"""Workbooks: the auction house's results, the user's own tidy list of graded pieces, and private notes.

Promises title rows above some headers, real date cells, and notes; locators name sheet and spreadsheet row. Reads
entries, writes files, sets each entry's place.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import xlsxwriter

from hangtab.demo.entries import Entry
from hangtab.demo.layouts import FORMAT, STATUS
from hangtab.domain.evidence import Kind, Outcome

Value = str | float | date | None
# A workbook carries the time it was made; a fixed one keeps the bytes the same for the same generator.
_MADE = datetime(2026, 11, 2, 9, 0, 0)  # noqa: DTZ001 - Excel's own stamp has no zone


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: rows above the header, the header, and a value per column and entry."""

    name: str
    above: tuple[str, ...]
    columns: tuple[tuple[str, Callable[[Entry], Value]], ...]
    entries: list[Entry]


def write_workbook(folder: Path, name: str, sheets: list[Sheet]) -> None:
    """Write one workbook and set the place of every entry in it."""
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    with xlsxwriter.Workbook(str(path)) as book:
        book.set_properties({"created": _MADE, "comments": "Invented for a demo"})
        day = book.add_format({"num_format": "d mmm yyyy"})
        for sheet in sheets:
            _write_sheet(book.add_worksheet(sheet.name), sheet, day, name)


def _write_sheet(page: Any, sheet: Sheet, day: Any, name: str) -> None:  # noqa: ANN401 - xlsxwriter has no types
    row = 0
    for text in sheet.above:
        page.write_string(row, 0, text)
        row += 1
    for column, (header, _) in enumerate(sheet.columns):
        page.write_string(row, column, header)
    for entry in sheet.entries:
        row += 1
        entry.file, entry.locator = name, f"sheet {sheet.name}, row {row + 1}"
        for column, (_, value) in enumerate(sheet.columns):
            _write_cell(page, (row, column), value(entry), day)


def _write_cell(page: Any, at: tuple[int, int], value: Value, day: Any) -> None:  # noqa: ANN401 - as above
    if value is None or value == "":
        return
    if isinstance(value, date):
        page.write_datetime(*at, datetime(value.year, value.month, value.day), day)  # noqa: DTZ001 - a cell has no zone
    elif isinstance(value, str):
        page.write_string(*at, value)
    else:
        page.write_number(*at, value)


def write_house(folder: Path, entries: list[Entry]) -> None:
    """The auction house: one workbook a year, one sheet a sale."""
    years: dict[int, dict[str, list[Entry]]] = defaultdict(lambda: defaultdict(list))
    for e in entries:
        years[e.ended.year][f"Sale {e.ended:%Y-%m}"].append(e)
    columns: tuple[tuple[str, Callable[[Entry], Value]], ...] = (
        ("Lot no.", lambda e: e.fact.listing),
        ("Description", lambda e: e.title),
        ("Reserve (GBP)", lambda e: e.fact.ask),
        ("Hammer (GBP)", lambda e: e.price_shown),
        ("Postage (GBP)", lambda e: e.quoted),
        ("Sold on", lambda e: e.ended),
        ("Result", lambda e: STATUS["en"]["sale" if e.fact.price else "unsold"] if e.fact.outcome is Outcome.COMPLETED
         else STATUS["en"][e.fact.outcome.value]),
        ("Notes", lambda e: f"certificate {e.fact.piece.certificate}" if e.fact.piece.certificate else ""),
    )  # fmt: skip
    for year, sales in years.items():
        sheets = [
            Sheet(
                name,
                (f"Harrow Lane, results of {name.lower()}", "Hammer prices without premium and tax", ""),
                columns,
                rows,
            )
            for name, rows in sales.items()
        ]
        write_workbook(folder, f"harrow-lane/harrow-lane-{year}.xlsx", sheets)


def write_tidy(folder: Path, entries: list[Entry]) -> None:
    """The user's own list of graded pieces, one sheet a line, the piece told by columns."""
    lines: dict[str, list[Entry]] = defaultdict(list)
    for e in entries:
        lines[e.columns["Line"]].append(e)
    headers = (
        "Line",
        "Figure",
        "Look",
        "Card",
        "Territory",
        "Sticker",
        "Change",
        "Form",
        "Grader",
        "Grade",
        "Certificate",
    )
    told = tuple((h, _column(h)) for h in headers)
    rest: tuple[tuple[str, Callable[[Entry], Value]], ...] = (
        ("Price", lambda e: None if e.fact.kind is Kind.OFFER else e.price_shown),
        ("Ask", lambda e: e.fact.ask),
        ("Postage", lambda e: e.quoted),
        ("Currency", lambda e: e.currency),
        ("Date", lambda e: e.ended),
        ("Where", lambda e: f"Quayside {e.fact.country}"),
        ("Listing", lambda e: e.fact.listing),
        (
            "How",
            lambda e: f"{FORMAT['en'][0 if e.fact.kind is Kind.AUCTION else 1]}, {STATUS['en'][e.fact.kind.value]}",
        ),
    )
    sheets = [Sheet(name, ("My list of graded pieces", ""), told + rest, rows) for name, rows in lines.items()]
    write_workbook(folder, "my-lists/graded-pieces.xlsx", sheets)


def _column(header: str) -> Callable[[Entry], Value]:
    return lambda e: e.columns.get(header, "")


def write_notes(folder: Path, groups: dict[str, list[Entry]]) -> None:
    """The user's own notes: private purchases, trades, hearsay, and prices of accepted offers revealed later."""
    title: tuple[str, Callable[[Entry], Value]] = ("What", lambda e: e.title)
    currency: tuple[str, Callable[[Entry], Value]] = ("Currency", lambda e: e.currency)
    sheets = [
        Sheet("Private", (), (
            ("Date", lambda e: e.ended), title, ("Paid", lambda e: e.price_shown), currency,
            ("From", lambda e: f"seller {e.fact.seller.number}"), ("Kind", lambda _: "private sale, in person"),
        ), groups["private"]),
        Sheet("Trades", ("Trades, value both sides agreed on",), (
            ("When", lambda e: f"{e.ended:%Y-%m}"), title, ("Value agreed", lambda e: e.price_shown), currency,
            ("With", lambda e: f"seller {e.fact.seller.number}"), ("Kind", lambda _: "trade"),
        ), groups["trade"]),
        Sheet("Heard", (), (
            ("When", lambda e: f"{e.ended:%Y-%m}"), title, ("Said price", lambda e: e.price_shown), currency,
            ("Who said so", lambda e: f"seller {e.fact.seller.number}"), ("Kind", lambda _: "hearsay"),
        ), groups["hearsay"]),
        Sheet("Offers revealed", ("True prices of accepted offers, told later",), (
            ("Listing", lambda e: e.fact.listing), ("Where", lambda e: f"Quayside {e.fact.country}"), title,
            ("True price", lambda e: e.fact.price), ("Asked", lambda e: e.fact.ask), currency,
            ("Postage", lambda e: e.quoted), ("Sold", lambda e: e.ended), ("Kind", lambda _: "offer accepted"),
        ), groups["revealed"]),
    ]  # fmt: skip
    write_workbook(folder, "my-lists/notes.xlsx", sheets)
