"""CSV exports per country and year, with a few rows spoiled as real ones are.

Reads entries, writes files, sets each entry's place. Locators name the row of the spreadsheet, the header being row 1.
"""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np

from hangtab.demo import layouts
from hangtab.demo.entries import Entry
from hangtab.domain.evidence import Kind

AGAIN = ("quayside/us/quayside-us-sold-2024.csv", "quayside/us/quayside-us-sold-2024-december-again.csv", 12)
_UNSOLD = (Kind.UNSOLD, Kind.START)


def place(entry: Entry) -> tuple[str, layouts.Layout]:
    """The file an entry of Quayside goes to, under sources/, and how that file is laid out."""
    country, year = entry.fact.country, entry.ended.year
    if entry.fact.kind is Kind.ASK:
        chosen = {"US": layouts.us_layout(2026, sold=False), "GB": layouts.gb_layout(2026),
                  "CA": layouts.ca_layout(2026), "DE": layouts.de_layout(2026)}[country]  # fmt: skip
        return f"quayside/running-2026-10/quayside-{country.lower()}.csv", chosen
    if country == "US":
        sold = entry.fact.kind not in _UNSOLD
        name = "sold" if sold else "unsold"
        return f"quayside/us/quayside-us-{name}-{year}.csv", layouts.us_layout(year, sold=sold)
    if country == "DE":
        return f"quayside/de/quayside-de-{year}-{1 if entry.ended.month < 7 else 2}.csv", layouts.de_layout(year)
    if country == "CA":
        return f"quayside/ca/quayside-ca-{year}.csv", layouts.ca_layout(year)
    return f"quayside/gb/quayside-gb-{year}.csv", layouts.gb_layout(year)


def write_exports(folder: Path, entries: list[Entry]) -> None:
    """Write all exports below `folder` (sources/)."""
    files: dict[str, tuple[layouts.Layout, list[Entry]]] = {}
    for entry in entries:
        name, layout = place(entry)
        files.setdefault(name, (layout, []))[1].append(entry)
    for name, (layout, rows) in files.items():
        _write(folder, name, layout, rows)


def write_again(folder: Path, entries: list[Entry]) -> list[Entry]:
    """A month that was exported a second time; gives its tellings with their second place."""
    month = [e for e in entries if e.file == AGAIN[0] and e.ended.month == AGAIN[2] and not e.spoiled]
    told = [replace(e) for e in month]
    if told:  # a very small world may have sold nothing that month
        _write(folder, AGAIN[1], place(told[0])[1], told)
    return told


def _write(folder: Path, name: str, layout: layouts.Layout, rows: list[Entry]) -> None:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    text = io.StringIO()
    out = csv.writer(text, delimiter=layout.separator, lineterminator="\r\n")
    out.writerow([header for header, _ in layout.columns])
    for number, entry in enumerate(rows, start=2):
        entry.file, entry.locator = name, f"row {number}"
        if entry.fact.country == "US" and entry.ended.year < layouts.SHIPPING_SINCE:
            entry.quoted = None  # that export has no such column
        out.writerow([_spoil(header, cell(entry), entry.spoiled) for header, cell in layout.columns])
    path.write_bytes(text.getvalue().encode(layout.encoding, errors="replace"))


_PRICES = ("Sold for", "Price", "Sale price", "Prix de vente", "Verkaufspreis")
_ENDS = ("Ended", "End date", "Date ended", "Fin", "Beendet am")
_IMPOSSIBLE = {"Ended": "02/31/2024", "End date": "31 Feb 2022", "Date ended": "2024-02-31", "Fin": "31/02/2023",
               "Beendet am": "31.02.2024"}  # fmt: skip


def _spoil(header: str, cell: str, how: str) -> str:
    if how == "letter for zero" and header in _PRICES:
        return cell.replace("0", "O", 1) if "0" in cell else cell + "O"
    if how == "no price" and header in _PRICES:
        return "n/a"
    if how == "too large" and header in _PRICES:
        return "1e309"
    if how == "impossible date" and header in _ENDS:
        return _IMPOSSIBLE[header]
    if how == "no date" and header in _ENDS:
        return ""
    return cell


def spoil_some(entries: list[Entry], rng: np.random.Generator) -> None:
    """Mark a few sold rows per country as badly typed."""
    by: dict[str, list[Entry]] = defaultdict(list)
    for e in entries:
        if e.fact.kind in (Kind.SALE, Kind.AUCTION) and 2022 <= e.ended.year <= 2024:
            by[e.fact.country].append(e)
    for rows in by.values():
        ways = ("letter for zero", "impossible date", "no date", "no price", "too large")
        for k, how in zip(rng.permutation(len(rows)), ways, strict=False):
            rows[int(k)].spoiled = how
            rows[int(k)].wrong.append(f"bad row: {how}")
