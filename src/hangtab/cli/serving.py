"""The command that serves the pages, on loopback only."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from hangtab.cli.options import BookOption, WhoOption
from hangtab.settings import read_settings


def add_to(app: typer.Typer) -> None:
    """Register this module's commands."""
    app.command("serve")(serve)


def serve(
    book: BookOption = None,
    port: Annotated[int | None, typer.Option(help="Port on this machine.")] = None,
    who: WhoOption = None,
) -> None:
    """Serve the pages of a book to this machine."""
    import uvicorn  # loads the engine

    from hangtab.storage import open_book

    settings = read_settings({"book": book, "port": str(port) if port else None, "who": who})
    open_book(settings.book).close()
    os.environ |= {"HANGTAB_BOOK": str(settings.book), "HANGTAB_WHO": settings.get("who")}
    typer.echo(f"Hangtab is at http://127.0.0.1:{settings.get('port')}/ (stop with Ctrl-C)")
    # By name: command line and pages stand side by side, and neither imports the other.
    uvicorn.run(
        "hangtab.web.serving:make_app",
        factory=True,
        host="127.0.0.1",
        port=int(settings.get("port")),
        log_level="warning",
    )
