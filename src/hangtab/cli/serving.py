"""The command that serves the pages, on loopback only."""

from __future__ import annotations

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
    import uvicorn

    from hangtab.web.app import create_app
    from hangtab.web.desk import BookDesk

    settings = read_settings({"book": book, "port": str(port) if port else None, "who": who})
    desk = BookDesk.open(settings.book, settings.get("who"))
    at = f"http://127.0.0.1:{settings.get('port')}/"
    typer.echo(f"Hangtab is at {at} (stop with Ctrl-C)")
    uvicorn.run(create_app(desk), host="127.0.0.1", port=int(settings.get("port")), log_level="warning")
