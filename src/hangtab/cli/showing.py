"""Draws lists and reports in a terminal. Figures and words are those of the pages; nothing is worked out here.

Promises that text from a source is shown as it is, never as markup or as a command to the terminal, and that tables fit
80 columns. Not here: one answer (answering).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date
from itertools import groupby
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from hangtab.domain.errors import Problem
from hangtab.domain.money import Money
from hangtab.domain.progress import OnStep, Step

if TYPE_CHECKING:
    from hangtab.domain.name import Naming, Reason
    from hangtab.intake import Layout
    from hangtab.usecases.desk import Asked
    from hangtab.usecases.ports import Entry, FitRecord, Receipt, SalesPage, Stored, TakeInRow
    from hangtab.usecases.take_in import TakenIn

SHOWN_PROBLEMS = 5
MOST_SOURCES = 20  # more than these are summed up by folder
HASH = 12  # characters by which a hash can be told from others
TITLE = 100  # characters of a title in a list
Row = tuple[str, int, int, int, int]


def console(*, error: bool = False) -> Console:
    """The terminal; `error` for stderr."""
    return Console(highlight=False, soft_wrap=False, stderr=error)


@contextmanager
def progress() -> Iterator[OnStep]:
    """A bar on stderr where that is a terminal; a step without a total shows how many are done."""
    shown = console(error=True)
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(bar_width=30),
        TextColumn("{task.completed:.0f}"),
        TimeRemainingColumn(),
        console=shown,
        transient=True,
        disable=not shown.is_terminal,
    )
    with bar:
        task = bar.add_task("Starting", total=None)

        def on_step(step: Step) -> None:
            bar.update(task, description=step.stage, completed=step.done, total=step.total or None)

        yield on_step


def plain(text: str) -> Text:
    """Text from a stranger: shown as it is, never as markup, control characters dropped."""
    return Text("".join(c if c.isprintable() else " " for c in text))


def problems(found: Sequence[Problem], *, error: bool = False) -> None:
    """Problems in three lines each; `error` for those that end a command with exit code 1."""
    out = console(error=error)
    for problem in found:
        out.print(plain(problem.what), style="bold", soft_wrap=True)
        out.print(plain(f"  where: {problem.where}"), soft_wrap=True)
        out.print(plain(f"  mend:  {problem.mend}"), soft_wrap=True)


def receipts(taken: TakenIn) -> None:
    """What each source brought, by folder when there are many, and the first rows that could not be read."""
    from hangtab.rendering.words import grouped

    out = console()
    rows = [_receipt(r) for r in taken.receipts]
    many = len(rows) > MOST_SOURCES
    shown = table("Folder", "Files", "New", "Known", "To settle", "Not read") if many else table(
        "Source", "New", "Known", "To settle", "Not read"
    )  # fmt: skip
    for name, *counts in _by_folder(rows) if many else rows:
        shown.add_row(plain(str(name)), *(grouped(str(c)) for c in counts))
    if rows:
        out.print(shown)
    found = [p for r in taken.receipts for p in r.problems]
    problems(found[:SHOWN_PROBLEMS])
    if len(found) > SHOWN_PROBLEMS:
        out.print(f"and {len(found) - SHOWN_PROBLEMS} more; they wait to be settled")
    new = sum(r.new for r in taken.receipts)
    out.print(f"In all {grouped(str(new))} new. Now fit: hangtab fit" if new else "Nothing new.")


def _receipt(receipt: Receipt) -> Row:
    return receipt.name, receipt.new, receipt.known, receipt.waiting, len(receipt.problems)


def _by_folder(rows: Sequence[Row]) -> Iterator[tuple[object, ...]]:
    """Sums by folder, in the order of the sources: folder, files, then the sum of each count."""
    for folder, group in groupby(rows, key=lambda row: str(PurePosixPath(row[0]).parent)):
        mine = list(group)
        yield ("files" if folder == "." else folder, len(mine), *(sum(c) for c in list(zip(*mine, strict=True))[1:]))


def table(*heads: str, words: Sequence[str] = ()) -> Table:
    """A table without rules; the first column and those of `words` start on the left, figures end on the right."""
    made = Table(box=None, padding=(0, 2, 0, 0), header_style="italic")
    for i, head in enumerate(heads):
        made.add_column(head, justify="left" if i == 0 or head in words else "right", overflow="fold")
    return made


def take_ins(rows: Sequence[TakeInRow]) -> None:
    """All take-ins, newest first; what was taken back only where there is any, so that the rest fits 80 columns."""
    back = ("Taken back",) if any(r.undone for r in rows) else ()
    shown = table("Source", "No.", "When", "Who", "New", "Known", *back, words=("When", "Who"))
    for r in rows:
        undone = [f"{r.undone:%Y-%m-%d}" if r.undone else ""] if back else []
        shown.add_row(plain(r.name), f"{r.id}", f"{r.at:%Y-%m-%d}", plain(r.who), f"{r.new}", f"{r.known}", *undone)
    console().print(shown)


def fit_report(record: FitRecord) -> None:
    """How the fit went, in a line or two."""
    from hangtab.rendering.words import day, grouped, per_cent

    report = record.meta["report"]
    tried = record.meta["calibration"]
    assert isinstance(report, dict)  # noqa: S101 - our own record
    assert isinstance(tried, dict)  # noqa: S101 - our own record
    state = "converged" if report["converged"] else "DID NOT CONVERGE: do not trust its figures"
    out = console()
    when = day(date.fromisoformat(str(record.meta["as_of"])))
    out.print(f"Fitted as of {when}: {state}, {report['iterations']} iterations, {report['seconds']:.1f} s")
    for row in tried["tried"]:
        if row["form"] == "":
            out.print(
                f"On {grouped(str(row['sales']))} sales of the last two years, unseen: off by {per_cent(row['error'])} "
                f"at the middle, {row['inside_80'] * 100:.0f} of 100 inside the eight-in-ten range"
            )


def naming(made: Naming) -> None:
    """Candidates with the words for and against each."""
    from hangtab.rendering.words import per_cent

    out = console()
    for c in made.candidates[:5]:
        out.print(Text.assemble((f"{per_cent(c.probability, 1):>7}  ", "bold"), plain(c.text)))
        for head, reasons in (("for", c.speaks_for), ("against", c.speaks_against)):
            if reasons:
                out.print(plain(f"         {head}: {', '.join(map(_reason, reasons))}"))
    out.print(f"{per_cent(made.none, 1):>7}  none of these")
    if made.why:
        out.print(plain(f"It would wait to be settled: {made.why}"))


def _reason(reason: Reason) -> str:
    """The words of the title and what they speak for: “red coat” (release)."""
    return f"“{reason.text}” ({reason.kind})" if reason.text else reason.meaning


def subjects(found: Iterable[Asked]) -> None:
    """What can be asked about."""
    shown = table("Piece", "Sales")
    for one in found:
        shown.add_row(plain(one.text), f"{one.sales}")
    console().print(shown)


def evidence(stored: Iterable[Stored]) -> None:
    """Evidence, a line each."""
    from hangtab.rendering.words import paid, when

    out = console()
    for one in stored:
        e = one.evidence
        price = paid(e.price) if e.price else ""
        out.print(plain(f"{e.id}  {e.kind.value}  {when(e.when)}  {price}  {e.title[:TITLE]}"))


def sales(page: SalesPage, currency: str, venues: Mapping[str, str]) -> None:
    """The list of sales; `venues` are names by id."""
    from hangtab.rendering.words import paid, when

    shown = table("Title", "Kind", "Sold", "All in", "Venue", words=("Kind", "Venue"))
    for r in page.rows:
        total = paid(Money(r.all_in, currency)) if r.all_in is not None else ""
        total = f"asked {total}" if r.asked and total else total
        venue = " ".join(part for part in (venues.get(r.venue, r.venue), r.country) if part)
        shown.add_row(plain(r.text or r.title), r.kind, when(r.sold) if r.sold else "", total, plain(venue))
    out = console()
    out.print(shown)
    out.print(f"{len(page.rows)} of {page.total}")


def columns(layouts: Sequence[Layout]) -> None:
    """What each column is read as."""
    from hangtab.rendering.words import per_cent

    out = console()
    for layout in layouts:
        shown = table("Column", "Read as", "Sure", "Why", words=("Read as", "Why"))
        for c in layout.columns:
            shown.add_row(plain(c.header), plain(c.meaning), per_cent(c.confidence), plain(c.why))
        if layout.sheet:
            out.print(plain(f"Sheet {layout.sheet}"), style="bold")
        out.print(shown)


def journal(entries: Sequence[Entry]) -> None:
    """Who did what, when (UTC)."""
    shown = table("When", "Who", "What", "Detail", words=("Who", "What", "Detail"))
    for e in entries:
        shown.add_row(f"{e.at:%Y-%m-%d %H:%M:%S}", plain(e.who), e.verb, plain(detail_words(e.detail)))
    console().print(shown)


def detail_words(detail: Mapping[str, object]) -> str:
    """The detail of a line of the journal in words.

    >>> detail_words({"name": "gb.csv", "new": 12, "files": ["a", "b", "c"], "corrected": {"Sum": "price"}})
    'name gb.csv, new 12, files 3, corrected Sum = price'
    """
    return ", ".join(f"{name.replace('_', ' ')} {_value(value)}" for name, value in detail.items() if value != "")


def _value(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{k} = {v}" for k, v in value.items())
    if isinstance(value, list):
        return f"{len(value)}"
    text = str(value)
    is_hash = len(text) == 64 and all(c in "0123456789abcdef" for c in text)  # noqa: PLR2004 - SHA-256 in hex
    return text[:HASH] if is_hash else text
