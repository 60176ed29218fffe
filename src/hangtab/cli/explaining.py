"""Draws how a fit fits in a terminal: warnings first, then short tables, the most telling first.

The words are those of the page. Not here: any sum.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from hangtab.cli.showing import console, plain, table
from hangtab.rendering import fits
from hangtab.rendering.words import exact, grouped, per_cent, when

if TYPE_CHECKING:
    from hangtab.usecases.explaining import Explained

SHOWN_EFFECTS, SHOWN_MOVERS = 2, 10


def show(made: Explained) -> None:
    """The whole explanation."""
    out = console()
    out.print(fits.summary(made))
    out.print(fits.explained_words(made))
    for warning in made.warnings:
        out.print(Text.assemble("║ ", plain(warning)))
    _carried(made)
    _effects(made)
    _left(made)
    _movers(made)
    _degrees(made)


def _head(text: str) -> None:
    console().print(Text(f"\n{text}", style="bold"))


def _carried(made: Explained) -> None:
    _head("What carries the prices")
    known = {c.name: c for c in made.components}
    shown = table("Component", "Share, %", "Degrees of freedom", "Its values spread by")
    for row in fits.shares(made):
        part = known.get(row.name)
        own = (fits.freedom(part), fits.spread(part)) if part else ("", "")
        shown.add_row(plain(row.name), f"{row.shown:.1f}".replace("-", "−"), *own)
    console().print(shown)


def _effects(made: Explained) -> None:
    _head("The largest of each")
    shown = table("Value", "Component", "Sales", "Factor", words=("Component",))
    for part in made.components:
        if abs(part.share) >= fits.LEAST:
            for one in part.largest[:SHOWN_EFFECTS]:
                shown.add_row(plain(one.value), plain(part.name), grouped(str(one.sales)), fits.effect(one))
    console().print(shown)


def _left(made: Explained) -> None:
    _head("What is left over")
    console().print(fits.not_flagged(made))
    shown = table("Class", "Sales", "Middle off", "Spread", "Low weight", "", words=("",))
    for row in [*fits.told_classes(made), *(t for t in made.times if t.flag)]:
        name = row.value if row.by in fits.ALWAYS else f"{row.by}: {row.value}"
        shown.add_row(plain(name), grouped(str(row.sales)), fits.off(row), f"× {row.spread:.2f}", per_cent(row.low),
                      fits.FLAGS[row.flag])  # fmt: skip
    console().print(shown)
    console().print(f"Low weight: sales that count for less than half; {per_cent(made.usually_low)} is usual.")


def _movers(made: Explained) -> None:
    _head("Sales that move their own estimate most")
    for one in made.movers[:SHOWN_MOVERS]:
        sold = when(one.sold) if one.sold else ""
        said = ", ".join(p for p in (one.text, one.place, sold, exact(one.price, made.currency)) if p)
        console().print(plain(said))
        console().print(Text(f"  {fits.moved(one)}", style="dim"))


def _degrees(made: Explained) -> None:
    _head("Degrees of freedom")
    sums = dict(fits.degrees(made))
    effects, left, rows = (sums[name] for name in (fits.EFFECTS, fits.LEFT, fits.ROWS))
    console().print(f"{effects} for all effects and {left} left to the noise are the {rows} rows.")
    console().print(f"Criterion {made.criterion:.4f}, largest slope {made.gradient:.2g}.")
