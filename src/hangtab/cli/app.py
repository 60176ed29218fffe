"""The commands put together, and how errors leave: stated ones in three lines on stderr with exit code 1."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from hangtab.cli import asking, books, serving, trying
from hangtab.domain.errors import CatalogueError, HangtabError

SHOWN_PROBLEMS = 5  # of a catalogue; the rest is counted

app = typer.Typer(
    name="hangtab",
    help="What one exact toy variant in one exact condition is worth, from your own evidence. Not an appraisal.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
books.add_to(app)
asking.add_to(app)
trying.add_to(app)
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
        sys.stderr.write(f"{_said(error)}\n")
        sys.exit(1)
    except PermissionError as error:
        known = HangtabError(
            "This may not be read or written", where=str(error.filename), mend="Change who may, or choose another place"
        )
        sys.stderr.write(f"{known}\n")
        sys.exit(1)


def _said(error: HangtabError) -> str:
    """The error, and what else is wrong with a catalogue, three lines each; nothing that a terminal would obey."""
    found = error.problems if isinstance(error, CatalogueError) else ()
    others = [str(HangtabError(p.what, where=p.where, mend=p.mend)) for p in found[1:SHOWN_PROBLEMS]]
    left = len(found) - SHOWN_PROBLEMS
    text = "\n".join((str(error), *others, *([f"and {left} more"] if left > 0 else [])))
    return "".join(c if c.isprintable() or c == "\n" else " " for c in text)
