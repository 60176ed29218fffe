"""Draws answers in a terminal. Figures and words are those of the pages; nothing is worked out here."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from hangtab.domain.errors import Problem
from hangtab.domain.money import Money
from hangtab.domain.progress import OnStep, Step

if TYPE_CHECKING:
    from hangtab.domain.name import Naming
    from hangtab.intake import Layout
    from hangtab.usecases.desk import Asked
    from hangtab.usecases.ports import Entry, FitRecord, SalesPage, Stored, TakeInRow
    from hangtab.usecases.take_in import TakenIn
    from hangtab.usecases.views import Answer

SHOWN_PROBLEMS = 5
WIDTH = 100


def _console() -> Console:
    return Console(highlight=False, soft_wrap=False)


@contextmanager
def progress() -> Iterator[OnStep]:
    """A bar on stderr; a step without a total shows how many are done."""
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(bar_width=30),
        TextColumn("{task.completed:.0f}"),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    with bar:
        task = bar.add_task("Starting", total=None)

        def on_step(step: Step) -> None:
            bar.update(task, description=step.stage, completed=step.done, total=step.total or None)

        yield on_step


def _plain(text: str) -> Text:
    """Text from a stranger: shown as it is, never as markup, control characters dropped."""
    return Text("".join(c if c.isprintable() else " " for c in text))


def problems(found: Sequence[Problem]) -> None:
    """Problems in three lines each."""
    out = _console()
    for problem in found:
        out.print(_plain(problem.what), style="bold")
        out.print(_plain(f"  where: {problem.where}"))
        out.print(_plain(f"  mend:  {problem.mend}"))


def receipts(taken: TakenIn) -> None:
    """What each source brought, and the first rows that could not be read."""
    out = _console()
    table = _table("Source", "New", "Known", "To settle", "Not read")
    for r in taken.receipts:
        table.add_row(_plain(r.name), f"{r.new}", f"{r.known}", f"{r.waiting}", f"{len(r.problems)}")
    out.print(table)
    found = [p for r in taken.receipts for p in r.problems] + list(taken.refused)
    problems(found[:SHOWN_PROBLEMS])
    if len(found) > SHOWN_PROBLEMS:
        out.print(f"and {len(found) - SHOWN_PROBLEMS} more; they wait to be settled")
    out.print(f"In all {sum(r.new for r in taken.receipts)} new. Now fit: hangtab fit")


def _table(*heads: str) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="italic")
    for i, head in enumerate(heads):
        table.add_column(head, justify="left" if i == 0 else "right", overflow="fold")
    return table


def take_ins(rows: Sequence[TakeInRow]) -> None:
    """All take-ins, newest first."""
    table = _table("Source", "Number", "When", "Who", "New", "Known", "To settle", "Taken back")
    for r in rows:
        back = f"{r.undone:%Y-%m-%d}" if r.undone else ""
        table.add_row(
            _plain(r.name), f"{r.id}", f"{r.at:%Y-%m-%d %H:%M}", r.who, f"{r.new}", f"{r.known}", f"{r.waiting}", back
        )
    _console().print(table)


def fit_report(record: FitRecord) -> None:
    """How the fit went, in a line or two."""
    report = record.meta["report"]
    tried = record.meta["calibration"]
    assert isinstance(report, dict)  # noqa: S101 - our own record
    assert isinstance(tried, dict)  # noqa: S101 - our own record
    state = "converged" if report["converged"] else "DID NOT CONVERGE: do not trust its figures"
    out = _console()
    out.print(
        f"Fitted as of {record.meta['as_of']}: {state}, {report['iterations']} iterations, {report['seconds']:.1f} s"
    )
    for row in tried["tried"]:
        if row["form"] == "":
            out.print(
                f"On {row['sales']} sales of the last year, unseen: off by {row['error'] * 100:.0f} % at the middle, "
                f"{row['inside_80'] * 100:.0f} of 100 inside the eight-in-ten range"
            )


def answer(made: Answer) -> None:
    """One answer: figure, range, verdict, sales, cautions."""
    from hangtab.rendering.words import day, money, span

    out, worth = _console(), made.worth
    out.print(Text(made.head.headword, style="bold"))
    out.print(Text(f"{made.head.origin}. ", style="italic").append(Text(made.head.description, style="not italic")))
    coming, middle, code = worth.next_sale, worth.middle, worth.currency
    figure = span(*coming.ranges[80], code) if made.never_sold else money(coming.median, code)
    out.print(Padding(Text(figure, style="bold"), (1, 0, 0, 0)))
    eight, five = (span(*coming.ranges[k], code) for k in (80, 50))
    out.print(f"Next sale, all in, on {day(worth.at)}: eight of ten in {eight}, five in {five}.")
    out.print(f"Middle of the market: {money(middle.median, code)} ({span(*middle.ranges[80], code)}, eight in ten).")
    out.print(f"Item price, without postage: {money(worth.item_price.median, code)}.")
    if worth.verdict:
        out.print(f"{money(worth.verdict.price, code)} all in. {worth.verdict.words}.", style="bold")
    out.print(_grid(made))
    for note in made.notes:
        if note.section == "worth":
            out.print(Text.assemble((note.run_in, "bold"), " ", note.text))
    for head, rest in made.cautions:
        out.print(Text.assemble("║ ", (head, "bold"), " " if head else "", rest))


def _grid(made: Answer) -> Table:
    table = _table("Comparable", "Sold", "All in", "Adjusted", "Counts, %")
    worth = made.worth
    share = sum(c.gain for c in worth.comparables)
    table.add_row("The rest of the market", "", "", f"{worth.base:.2f}", f"{(1 - share) * 100:.1f}")
    for letter, c in zip("abcdefghijkl", worth.comparables, strict=False):
        table.add_row(f"{letter}  {c.id}", f"{c.sold}", f"{c.all_in:.2f}", f"{c.adjusted:.2f}", f"{c.gain * 100:.1f}")
    table.add_row("Estimate, middle", "", "", f"{worth.middle.median:.2f}", "100.0", style="bold")
    return table


def naming(made: Naming) -> None:
    """Candidates with the words for and against each."""
    out = _console()
    for c in made.candidates[:5]:
        out.print(Text.assemble((f"{c.probability * 100:5.1f} %  ", "bold"), _plain(c.text)))
        if c.speaks_for:
            out.print(
                _plain("         for: " + ", ".join(f"{r.text or 'nothing said'} → {r.meaning}" for r in c.speaks_for))
            )
        if c.speaks_against:
            out.print(
                _plain(
                    "         against: "
                    + ", ".join(f"{r.text or 'nothing said'} → {r.meaning}" for r in c.speaks_against)
                )
            )
    out.print(f"{made.none * 100:5.1f} %  none of these")
    if made.why:
        out.print(_plain(f"It would wait to be settled: {made.why}"))


def subjects(found: Iterable[Asked]) -> None:
    """What can be asked about."""
    table = _table("Piece", "Sales")
    for one in found:
        table.add_row(_plain(one.text), f"{one.sales}")
    _console().print(table)


def evidence(stored: Iterable[Stored]) -> None:
    """Evidence, a line each."""
    out = _console()
    for one in stored:
        e = one.evidence
        price = f"{e.price.amount} {e.price.currency}" if e.price else ""
        out.print(_plain(f"{e.id}  {e.kind.value}  {e.when}  {price}  {e.title[:WIDTH]}"))


def sales(page: SalesPage, currency: str) -> None:
    """The list of sales."""
    from hangtab.rendering.words import paid

    table = _table("Title", "Kind", "Sold", "All in", "Venue")
    for r in page.rows:
        total = paid(Money(r.all_in, currency)) if r.all_in is not None else ""
        table.add_row(_plain(r.text or r.title), r.kind, r.sold, total, f"{r.venue} {r.country}")
    out = _console()
    out.print(table)
    out.print(f"{len(page.rows)} of {page.total}")


def columns(layouts: Sequence[Layout]) -> None:
    """What each column is read as."""
    for layout in layouts:
        table = _table("Column", "Read as", "Sure", "Why")
        for c in layout.columns:
            table.add_row(_plain(c.header), c.meaning, f"{c.confidence * 100:.0f} %", c.why)
        _console().print(table)


def journal(entries: Sequence[Entry]) -> None:
    """Who did what, when."""
    table = _table("When", "Who", "What", "Detail")
    for e in entries:
        table.add_row(f"{e.at:%Y-%m-%d %H:%M:%S}", e.who, e.verb, _plain(str(dict(e.detail))[:WIDTH]))
    _console().print(table)
