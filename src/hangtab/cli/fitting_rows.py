"""`hangtab fit --rows`: files of rows in, what the fit found out."""

from __future__ import annotations

import glob
import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl
import typer

from hangtab.cli import showing
from hangtab.domain.errors import SourceError

if TYPE_CHECKING:
    from hangtab.usecases.fitting_rows import RowsFit


@dataclass(frozen=True)
class Wanted:
    """What was asked beside the rows."""

    scheduler: str | None
    model: Path | None
    ask: Path | None
    out: Path | None
    as_json: bool


def run(pattern: str, wanted: Wanted) -> None:
    """Fit and show."""
    from hangtab.usecases.fitting_rows import fit_rows, fit_rows_far, model_of

    if (wanted.ask is None) != (wanted.out is None):
        raise typer.BadParameter("--ask and --out go together: rows to ask about, and where their worths go")
    model = model_of(None if wanted.model is None else _model(wanted.model))
    asked = None if wanted.ask is None else _read([str(wanted.ask)])
    with showing.progress() as on_step:
        if wanted.scheduler is None:
            made = fit_rows(_read(sorted(glob.glob(pattern)), pattern), model, asked, on_step)  # noqa: PTH207
        else:
            made = fit_rows_far(pattern, wanted.scheduler, model, asked, on_step)
    if wanted.out is not None and made.worths is not None:
        made.worths.write_parquet(wanted.out)
    if wanted.as_json:
        typer.echo(json.dumps(_plain(made), indent=1))
    else:
        _show(made, wanted.out)


def _read(paths: list[str], pattern: str = "") -> pl.DataFrame:
    if not paths:
        raise SourceError("No file matches", where=pattern, mend="Give a pattern such as 'folder/*.parquet'")
    try:
        return pl.concat([pl.read_parquet(path) for path in paths], how="vertical_relaxed")
    except (OSError, pl.exceptions.PolarsError) as error:
        raise SourceError(
            "The rows cannot be read", where=", ".join(paths[:3]), mend=f"Give Parquet files of like columns ({error})"
        ) from error


def _model(path: Path) -> dict[str, Any]:
    try:
        values = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise SourceError("The model cannot be read", where=str(path), mend=f"Give a JSON file ({error})") from error
    if not isinstance(values, dict):
        raise SourceError("The model is not an object", where=str(path), mend='Write it as {"price": "...", ...}')
    return values


def _plain(made: RowsFit) -> dict[str, Any]:
    return {
        "report": asdict(made.report),
        "components": made.components,
        "travelled": None if made.travelled is None else asdict(made.travelled),
    }


def _show(made: RowsFit, out: Path | None) -> None:
    from hangtab.rendering.words import grouped

    report, console = made.report, showing.console()
    state = "converged" if report.converged else "DID NOT CONVERGE: do not trust its figures"
    console.print(f"Fitted {grouped(str(report.rows))} rows: {state}, {report.iterations} iterations, "
                  f"{report.seconds:.1f} s")  # fmt: skip
    shown = showing.table("Component", "Variance")
    for name, value in made.components.items():
        shown.add_row(showing.plain(name), f"{value:.6g}")
    console.print(shown)
    if made.travelled is not None:
        t = made.travelled
        places = ", ".join(grouped(str(n)) for n in t.places)
        console.print(f"{len(t.places)} places with {places} rows; {t.steps} sums asked: {t.middle / 1e3:.1f} kB at "
                      f"the middle, {t.most / 1e6:.2f} MB at most, {t.total / 1e6:.1f} MB in all")  # fmt: skip
    if out is not None:
        console.print(f"Worths written to {out}")
    for warning in report.warnings:
        console.print(showing.plain(warning))
