"""The commands put together, and how errors leave: stated ones in three lines on stderr with exit code 1."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from hangtab.cli import asking, books, serving
from hangtab.domain.errors import HangtabError

app = typer.Typer(
    name="hangtab",
    help="What one exact toy variant in one exact condition is worth, from your own evidence. Not an appraisal.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
books.add_to(app)
asking.add_to(app)
serving.add_to(app)


@app.callback(invoke_without_command=True)
def _root(
    version: Annotated[bool, typer.Option("--version", help="Say the version and stop.")] = False,
) -> None:
    if version:
        import hangtab

        typer.echo(hangtab.__version__)
        raise typer.Exit


def run() -> None:
    """Run a command; a stated error becomes three lines on stderr and exit code 1."""
    try:
        app()
    except HangtabError as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(1)
