"""Commands that make, fill, fit and guard a book."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from hangtab.cli import showing
from hangtab.cli.options import AtOption, BookOption, JsonOption, WhoOption, book_path, day, parts_of
from hangtab.domain.errors import Problem, SourceError
from hangtab.settings import read_settings

if TYPE_CHECKING:
    from hangtab.usecases.parts import Parts

KINDS = "CSV, TSV, XLSX, saved HTML pages or text with one sale a line"


def add_to(app: typer.Typer) -> None:
    """Register this module's commands."""
    app.command("new")(new)
    app.command("catalogue")(catalogue)
    app.command("take-in")(take_in)
    app.command("take-ins")(take_ins)
    app.command("undo")(undo)
    app.command("rates")(rates)
    app.command("currency")(currency)
    app.command("fit")(fit)
    app.command("explain")(explain)
    app.command("check")(check)
    app.command("backup")(backup)
    app.command("columns")(columns)
    app.command("journal")(journal)


def new(
    path: Annotated[Path | None, typer.Argument(help="Where the book shall be.")] = None,
    book: BookOption = None,
    currency: Annotated[str, typer.Option(help="ISO 4217 code everything is levelled to.")] = "EUR",
    catalogue: Annotated[Path | None, typer.Option(readable=False, help="Folder of catalogue files.")] = None,
    who: WhoOption = None,
) -> None:
    """Make a new book."""
    from hangtab import wiring

    target, code = path or book_path(book), currency.upper()
    wiring.new_book(target, currency=code, catalogue=catalogue, who=read_settings({"who": who}).get("who"))
    typer.echo(f"Made {target} in {code}")


def catalogue(
    folder: Annotated[Path, typer.Argument(readable=False, help="Folder of catalogue files.")],
    book: BookOption = None,
    who: WhoOption = None,
) -> None:
    """Replace the book's catalogue; name its evidence and level its prices anew."""
    from hangtab import wiring
    from hangtab.usecases.levels import relevel
    from hangtab.usecases.naming import rename_all

    parts = parts_of(book, who)
    known = wiring.put_catalogue(parts, folder)
    with showing.progress() as on_step:
        renewed = wiring.open_parts(book_path(book), parts.who)
        changed = rename_all(renewed, on_step)
        relevel(renewed, on_step, everything=True)
    typer.echo(
        f"{len(known.lines)} lines, {len(known.releases)} releases; {changed} names changed. Fit anew: hangtab fit"
    )


def take_in(
    paths: Annotated[list[Path], typer.Argument(readable=False, help="Files or folders.")],
    book: BookOption = None,
    who: WhoOption = None,
) -> None:
    """Take in files and folders: CSV, TSV, XLSX, saved HTML with its photos, pasted lines.

    A row that cannot be read waits to be settled. A file that cannot be read at all is named, and the exit code is 1.
    """
    from hangtab import wiring
    from hangtab.usecases.take_in import take_in as run

    parts = parts_of(book, who)
    with showing.progress() as on_step:
        taken = run(parts, wiring.gather(paths), on_step)
    if not taken.receipts and not taken.refused:
        raise SourceError("No file to take in", where=", ".join(map(str, paths)), mend=f"Give {KINDS}")
    showing.receipts(taken)
    if taken.refused:
        showing.problems(taken.refused, error=True)
        raise typer.Exit(1)


def take_ins(book: BookOption = None) -> None:
    """List what was taken in."""
    showing.take_ins(parts_of(book).book.take_ins())


def undo(
    take_in: Annotated[int, typer.Argument(help="Number of a take-in, see take-ins.")],
    book: BookOption = None,
    who: WhoOption = None,
) -> None:
    """Take a take-in back; evidence that has another source stays."""
    from hangtab.usecases.undo import undo_take_in

    with showing.progress() as on_step:
        gone = undo_take_in(parts_of(book, who), take_in, on_step)
    typer.echo(f"Took back {gone} pieces of evidence. Fit anew: hangtab fit")


def rates(
    table: Annotated[Path, typer.Argument(readable=False, help="The bank's eurofxref-hist.zip or .csv.")],
    book: BookOption = None,
    who: WhoOption = None,
) -> None:
    """Use a newer table of reference exchange rates, and level every price anew."""
    from hangtab.storage.rates_file import rates_file
    from hangtab.usecases.rates import keep_rates

    content = rates_file(table)
    with showing.progress() as on_step:
        count = keep_rates(parts_of(book, who), table.name, content, on_step)
    typer.echo(f"{count} prices levelled anew. Fit anew: hangtab fit")


def currency(
    code: Annotated[str, typer.Argument(help="ISO 4217 code, such as USD.")],
    book: BookOption = None,
    who: WhoOption = None,
) -> None:
    """Level the book to another currency, each price at its own day's rate."""
    from hangtab.usecases.rates import change_currency

    with showing.progress() as on_step:
        count = change_currency(parts_of(book, who), code.upper(), on_step)
    typer.echo(f"{count} prices levelled to {code.upper()}. Fit anew: hangtab fit")


def fit(
    book: BookOption = None,
    at: AtOption = None,
    seed: Annotated[int, typer.Option(help="Seed kept with the fit.")] = 0,
    *,
    explain: Annotated[bool, typer.Option("--explain", help="Say afterwards how the fit fits.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="With --explain or --rows: print JSON for scripts.")] = False,
    who: WhoOption = None,
    rows: Annotated[str | None, typer.Option(help="Fit Parquet files of rows instead: 'folder/*.parquet'.")] = None,
    scheduler: Annotated[str | None, typer.Option(help="With --rows: fit on the dask cluster at this address.")] = None,
    model: Annotated[Path | None, typer.Option(help="With --rows: JSON file of the model; else the book's.")] = None,
    ask: Annotated[Path | None, typer.Option(help="With --rows: Parquet file of rows to give worths for.")] = None,
    out: Annotated[Path | None, typer.Option(help="With --ask: where their worths go, as Parquet.")] = None,
) -> None:
    """Fit the book: learn worths from its evidence. With --rows, fit files of rows and no book."""
    if rows is not None:
        from hangtab.cli import fitting_rows

        fitting_rows.run(rows, fitting_rows.Wanted(scheduler, model, ask, out, as_json))
        return
    from hangtab.usecases.fitting import fit_book, load_valuer
    from hangtab.usecases.settling import rank_waiting

    parts = parts_of(book, who)
    with showing.progress() as on_step:
        record = fit_book(parts, day(at), seed, on_step)
        rank_waiting(parts, load_valuer(parts))
    if not (explain and as_json):
        showing.fit_report(record)
    if explain:
        _explain(parts, as_json=as_json)


def explain(book: BookOption = None, as_json: JsonOption = False) -> None:
    """How the kept fit fits: what carries the prices, what is left over, what cannot be told apart."""
    _explain(parts_of(book), as_json=as_json)


def _explain(parts: Parts, *, as_json: bool) -> None:
    from hangtab.cli import explaining
    from hangtab.rendering.contract import fit_json
    from hangtab.usecases.explaining import explain as explained

    made = explained(parts)
    if as_json:
        typer.echo(json.dumps(fit_json(made), ensure_ascii=False, indent=1))
    else:
        explaining.show(made)


def check(book: BookOption = None) -> None:
    """Verify integrity, hashes and references; name what is wrong."""
    problems = parts_of(book).book.check()
    showing.problems(problems)
    if problems:
        raise typer.Exit(1)
    typer.echo("The book is sound")


def backup(target: Annotated[Path, typer.Argument(help="Where the copy shall be.")], book: BookOption = None) -> None:
    """Copy a live book safely."""
    from hangtab.storage import open_book

    open_book(book_path(book)).backup(target)
    typer.echo(f"Copied to {target}")


def columns(
    path: Annotated[Path, typer.Argument(readable=False, help="A spreadsheet.")],
    assign: Annotated[
        list[str] | None, typer.Option("--set", help="HEADER=MEANING; remembered for such files.")
    ] = None,
    book: BookOption = None,
    who: WhoOption = None,
) -> None:
    """Show what each column of a file is read as, and correct it."""
    from hangtab import wiring
    from hangtab.usecases.columns import correct_columns, guessed_columns

    if path.is_dir():
        raise typer.BadParameter("Give one file, not a folder")
    if wrong := [a for a in assign or () if "=" not in a]:
        raise typer.BadParameter(f"{wrong[0]!r} is not HEADER=MEANING")
    parts = parts_of(book, who)
    source = next(wiring.gather([path]))
    if isinstance(source, Problem):
        raise SourceError(source.what, where=source.where, mend=source.mend)
    if assign:
        # A header may hold an equals sign, a meaning never does.
        correct_columns(parts, source, {a.rpartition("=")[0]: a.rpartition("=")[2] for a in assign})
    showing.columns(guessed_columns(parts, source))


def journal(book: BookOption = None, limit: Annotated[int, typer.Option(min=1, help="How many lines.")] = 20) -> None:
    """Show who did what, when; newest first."""
    showing.journal(parts_of(book).book.journal(limit))
