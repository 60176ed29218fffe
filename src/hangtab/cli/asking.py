"""Commands that ask the book."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from hangtab.cli import showing
from hangtab.cli.options import AtOption, BookOption, JsonOption, day, parts_of, words

if TYPE_CHECKING:
    from hangtab.usecases.estimate import Ask
    from hangtab.usecases.parts import Parts
    from hangtab.usecases.ports import SalesFilter

ROWS = 50


def add_to(app: typer.Typer) -> None:
    """Register this module's commands."""
    app.command("worth")(worth)
    app.command("name")(name)
    app.command("subjects")(subjects)
    app.command("evidence")(evidence)
    app.command("sales")(sales)


def worth(
    text: Annotated[str, typer.Argument(help="A piece as you would say it.")],
    book: BookOption = None,
    at: AtOption = None,
    price: Annotated[str | None, typer.Option(help='A price to place, such as "47 + 18 post".')] = None,
    as_json: JsonOption = False,
) -> None:
    """What a piece is worth, and where a price falls. An estimate, not an appraisal."""
    from hangtab.rendering.contract import worth_json
    from hangtab.usecases.estimate import Ask
    from hangtab.usecases.fitting import load_valuer
    from hangtab.usecases.listing import asks_for_list
    from hangtab.usecases.replies import one_worth

    asked = Ask(words(text), day(at), words(price or ""))
    parts = parts_of(book)
    if as_json:
        _print(worth_json(one_worth(parts, load_valuer(parts), asked)))
    elif wanted := asks_for_list(parts, asked.text, asked.at):
        _list(parts, wanted, ROWS)
    else:
        _reply(parts, asked)


def _reply(parts: Parts, asked: Ask) -> None:
    """Print what a person gets who asks: a worth, two set against each other, or the pieces of a lot."""
    from hangtab.cli import answering
    from hangtab.usecases.around import as_sold
    from hangtab.usecases.desk import Compared, SeveralPieces
    from hangtab.usecases.fitting import load_valuer
    from hangtab.usecases.replies import reply

    made = reply(parts, load_valuer(parts), asked, None)
    if isinstance(made, Compared):
        answering.show_compared(made)
    elif isinstance(made, SeveralPieces):
        answering.show_several(made)
    else:
        sold = as_sold(parts, [c.id for c in made.worth.comparables])
        answering.show(made, sold, parts.namer.sentence)


def name(
    text: Annotated[str, typer.Argument(help="A title.")],
    book: BookOption = None,
    as_json: JsonOption = False,
) -> None:
    """Which piece a title means: candidates with the words for and against each."""
    from hangtab.rendering.contract import naming_json
    from hangtab.usecases.naming import name_title

    parts = parts_of(book)
    naming = name_title(parts, words(text))
    if as_json:
        _print(naming_json(naming))
    else:
        showing.naming(naming)


def subjects(
    book: BookOption = None,
    limit: Annotated[int, typer.Option(min=1, help="How many at most.")] = 20,
    as_json: JsonOption = False,
) -> None:
    """What can be asked about, commonest first; one JSON object a line with --json."""
    from hangtab.rendering.contract import subject_json
    from hangtab.usecases.listing import subjects as listed

    parts = parts_of(book)
    if as_json:
        _lines({"subject": subject_json(a.subject, a.text), "sales": a.sales} for a in listed(parts, limit))
    else:
        showing.subjects(listed(parts, limit))


def evidence(
    book: BookOption = None,
    as_json: JsonOption = False,
) -> None:
    """Stream what the book holds as stated, in a stable order; one JSON object a line."""
    from hangtab.rendering.contract import evidence_json

    parts = parts_of(book)
    if as_json:
        _lines(evidence_json(s) for s in parts.book.evidence())
    else:
        showing.evidence(parts.book.evidence())


def sales(
    text: Annotated[str, typer.Argument(help='Such as "all harbour master sales since last autumn".')] = "",
    book: BookOption = None,
    limit: Annotated[int, typer.Option(min=1, help="How many rows.")] = ROWS,
) -> None:
    """List sales."""
    from hangtab.usecases.listing import asks_for_list
    from hangtab.usecases.ports import SalesFilter

    parts, asked = parts_of(book), words(text)
    _list(parts, asks_for_list(parts, asked, day(None)) or SalesFilter(text=asked), limit)


def _list(parts: Parts, wanted: SalesFilter, limit: int) -> None:
    from hangtab.usecases.listing import sales as listed

    venues = {v.id: v.names.name for v in parts.catalogue.venues.values()}
    showing.sales(listed(parts, replace(wanted, limit=limit)), parts.book.currency, venues)


def _print(value: object) -> None:
    typer.echo(json.dumps(value, ensure_ascii=False, indent=1))


def _lines(objects: Iterable[object]) -> None:
    for item in objects:
        sys.stdout.write(json.dumps(item, ensure_ascii=False) + "\n")
