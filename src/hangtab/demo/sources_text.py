"""Pasted lines: one sale a line, as typed into a chat or a mail. Sets each entry's place."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

import numpy as np

from hangtab.demo.entries import Entry
from hangtab.demo.layouts import iso, worded
from hangtab.domain.evidence import Kind

_SIGNS = {"USD": "$", "GBP": "£", "EUR": "€", "CAD": "C$"}


def write_pasted(folder: Path, entries: list[Entry], rng: np.random.Generator) -> None:
    """One text file a year and place."""
    files: dict[str, list[Entry]] = defaultdict(list)
    for e in entries:
        name = "swap-shed" if e.fact.venue == "swap-shed" else "quayside"
        files[f"pasted/{name}-{e.ended.year}.txt"].append(e)
    for name, rows in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        lines = []
        for number, entry in enumerate(rows, start=1):
            entry.file, entry.locator = name, f"line {number}"
            lines.append(_line(entry, rng))
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _line(e: Entry, rng: np.random.Generator) -> str:
    shed = e.fact.venue == "swap-shed"
    where = "Swap Shed" if shed else f"Quayside {e.fact.country}"
    amount = f"{e.price_shown:g}"
    price = f"{_SIGNS[e.currency]}{amount}" if rng.random() < 0.5 else f"{amount} {e.currency}"
    post = "" if e.quoted is None else " free post" if e.quoted == 0 else f" + {e.quoted:g} post"
    verb = {Kind.TRADE: "traded at", Kind.AUCTION: "sold at auction"}.get(e.fact.kind, "sold")
    post = "" if e.fact.kind is Kind.TRADE else post
    day = worded(e.ended) if rng.random() < 0.7 else iso(e.ended)
    title = e.title.lower() if rng.random() < 0.5 else e.title
    sign = ", " if rng.random() < 0.4 else " "
    return f"{title}{sign}{verb} {price}{post}{sign}{where} {day}"
