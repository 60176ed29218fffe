"""Draws one reply in a terminal: figure, range, verdict, sales, cautions. The words are those of the pages.

Promises that each sale is called by what it was and where it sold. Not here: any sum.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from hangtab.cli.showing import console, plain, table
from hangtab.domain.subject import Subject
from hangtab.rendering.sums import account
from hangtab.rendering.words import day, exact, money, per_cent, span

if TYPE_CHECKING:
    from hangtab.domain.worth import Comparable, Worth
    from hangtab.usecases.desk import AsSold, Compared, SeveralPieces
    from hangtab.usecases.views import Answer

LETTERS = "abcdefghijkl"
SURE, HALF = 0.9, 0.5
Sentence = Callable[[Subject], str]


def show(made: Answer, sold: Mapping[str, AsSold], sentence: Sentence) -> None:
    """One answer. `sold` says how each comparable is called, `sentence` what a piece is."""
    out, worth = console(), made.worth
    out.print(Text(made.head.headword, style="bold"))
    out.print(Text(f"{made.head.origin}. ", style="italic").append(Text(made.head.description, style="not italic")))
    _readings(made)
    _figures(made)
    out.print(_grid(worth, sold, sentence))
    for note in made.notes:
        if note.section == "worth":
            out.print(Text.assemble((note.run_in, "bold"), " ", note.text))
    for head, rest in made.cautions:
        out.print(Text.assemble("║ ", (head, "bold"), " " if head else "", rest))


def _readings(made: Answer) -> None:
    """How sure the reading is, and what else was perhaps meant, where the words do not decide it."""
    chosen = next((c for c in made.naming.candidates if c.subject == made.worth.subject), None)
    if made.naming.decided or chosen is None:
        return
    out = console()
    none = f"; as no piece of the catalogue, {per_cent(made.naming.none)}" if made.naming.none >= HALF else ""
    why = f" {made.naming.why}." if made.naming.why else ""
    read = f" Read as the likeliest, {per_cent(chosen.probability)}{none}.{why}"
    out.print(Text.assemble(("Not certain.", "bold"), plain(read)))
    for other in made.others:
        worth = money(other.median, made.worth.currency)
        out.print(plain(f"It could also be {other.text}, {per_cent(other.probability)}. Then the worth is {worth}."))


def show_compared(made: Compared) -> None:
    """Two states set against each other."""
    out = console()
    if made.sure < SURE:
        out.print(Text.assemble(("Not certain.", "bold"), f" Read as the likeliest piece, {per_cent(made.sure)}."))
    sides = table("One against the other", "Worth", "Range", "Sales, any grade")
    for side in made.sides:
        worth = side.worth
        figure, range_ = money(worth.middle.median, worth.currency), span(*worth.next_sale.ranges[80], worth.currency)
        sides.add_row(plain(worth.text), figure, range_, f"{worth.seen}")
    out.print(sides)
    if made.ratio:
        ratio, low, high = made.ratio
        out.print(f"The first brings {ratio:.2f} times the second, eight in ten between {low:.2f} and {high:.2f}.")
    out.print("Ranges are of the next sale, eight in ten. An estimate from market evidence is not an appraisal.")


def show_several(made: SeveralPieces) -> None:
    """What a lot may hold."""
    out = console()
    out.print("Several pieces sold for one sum cannot be valued as one yet. Each piece has its own worth.")
    if made.others:
        pieces = table("Piece", "Worth")
        for other in made.others:
            pieces.add_row(plain(other.text), money(other.median, made.currency))
        out.print(pieces)
    out.print("A lot has one sum and one postage for all. Its price is no single piece’s.")


def _figures(made: Answer) -> None:
    out, worth, code = console(), made.worth, made.worth.currency
    coming, middle = worth.next_sale, worth.middle
    figure = span(*coming.ranges[80], code) if made.never_sold else money(coming.median, code)
    out.print(Padding(Text(figure, style="bold"), (1, 0, 0, 0)))
    eight, five = (span(*coming.ranges[k], code) for k in (80, 50))
    if made.never_sold:
        out.print(f"None of this variant was seen sold. Best guess {money(coming.median, code)}.")
    out.print(f"Next sale, all in, on {day(worth.at)}: eight of ten in {eight}, five in {five}.")
    out.print(f"Middle of the market: {money(middle.median, code)} ({span(*middle.ranges[80], code)}, eight in ten).")
    out.print(f"Item price, without postage: {money(worth.item_price.median, code)}.")
    if worth.verdict:
        out.print(f"{money(worth.verdict.price, code)} all in. {worth.verdict.words}.", style="bold")
    out.print()


def _grid(worth: Worth, sold: Mapping[str, AsSold], sentence: Sentence) -> Table:
    grid = table("Comparable", "Sold", "All in", "Adjusted", "Counts")
    shares = account(worth, [[one] for one in worth.comparables])
    rest = per_cent(shares.base_counts / 100, 1)
    grid.add_row("The rest of the market", "", "", exact(worth.base, worth.currency), rest)
    for letter, one, pull in zip(LETTERS, worth.comparables, shares.pulls, strict=False):
        grid.add_row(
            plain(f"{letter}  {_called(one, worth, sold, sentence)}"),
            day(one.sold),
            exact(one.all_in, worth.currency),
            exact(one.adjusted, worth.currency),
            per_cent(pull.counts / 100, 1),
        )
    total = exact(worth.middle.median, worth.currency)
    grid.add_row("Estimate, middle of the market", "", "", total, per_cent(1.0, 1), style="bold")
    return grid


def _called(one: Comparable, worth: Worth, sold: Mapping[str, AsSold], sentence: Sentence) -> str:
    """A sale of the same piece by its condition, any other by what it was; and where it sold."""
    known = sold.get(one.id)
    subject = Subject.parse(one.subject)
    what = known.label if known and subject.variant == worth.subject.variant else sentence(subject)
    return f"{what}; {known.place}" if known else what
