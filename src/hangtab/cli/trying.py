"""The command that tries the book on sales that came later, and how its study is set in a terminal.

Promises that the sentences are those of the page. Not here: any figure (back-test).
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated

import typer

from hangtab.cli import showing
from hangtab.cli.options import BookOption, JsonOption, WhoOption, day, parts_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hangtab.rendering.track import Row
    from hangtab.usecases.backtest import KeptStudy

ORIGINS = 6  # the back-test's own, which is not loaded for --help; a test holds them to each other


def add_to(app: typer.Typer) -> None:
    """Register this module's command."""
    app.command("backtest")(backtest)


def backtest(
    book: BookOption = None,
    at: Annotated[str | None, typer.Option("--at", help="The last day looked at, ISO; today when left out.")] = None,
    origins: Annotated[int, typer.Option(min=1, max=36, help="From how many days to try, over three years.")] = ORIGINS,
    learner: Annotated[bool, typer.Option("--learner", help="Try LightGBM on the same sales as well.")] = False,
    as_json: JsonOption = False,
    who: WhoOption = None,
) -> None:
    """Try the book's estimates on sales that came later, and keep how wrong they were."""
    from hangtab.backtest import Trial
    from hangtab.rendering.track import study_json
    from hangtab.usecases.backtest import back_test

    parts = parts_of(book, who)
    with showing.progress() as on_step:
        kept = back_test(parts, day(at), Trial(origins, learner=learner), on_step)
    if as_json:
        typer.echo(json.dumps(study_json(kept.study, kept.made), ensure_ascii=False, indent=1))
    else:
        show(kept)


def show(kept: KeptStudy) -> None:
    """The study in sentences and tables."""
    from hangtab.rendering import track, words

    out, study = showing.console(), kept.study
    for sentence in track.headline(study):
        out.print(sentence)
    for title, heads, classes in (
        ("By earlier sales of the variant", track.THIN_HEADS, track.by_thinness(study.classes)),
        ("By kind of piece", track.KIND_HEADS, track.by_kind(study.classes)),
        ("Kind, and earlier sales", track.KIND_HEADS, track.narrow(study.classes)),
    ):
        _print(title, heads, [track.class_row(c) for c in classes])
    _print("Against other ways", track.PEER_HEADS, [track.peer_row(p.name, p.overall) for p in study.peers])
    _print(f"By value, {study.currency}", track.BAND_HEADS, track.band_rows(study))
    out.print()
    out.print(f"Sales up to {words.day(study.as_of)}, tried from {', '.join(study.origins)}.", soft_wrap=True)
    out.print("How wrong it was is no promise of how wrong it will be.")
    out.print("An estimate is not an appraisal.")


def _print(title: str, heads: Sequence[str], rows: Sequence[Row]) -> None:
    if not rows:
        return
    out = showing.console()
    shown = showing.table(*heads)
    for row in rows:
        shown.add_row(showing.plain(row.head), *row.cells)
    out.print()
    out.print(title, style="bold")
    out.print(shown)
