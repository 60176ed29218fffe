"""Fit a table of rows that belong to no book: files of the engine's own columns, here or on a cluster.

Promises the same figures either way; a refusal says what, where and how to mend it. Reads a frame, or paths that the
workers of a cluster can read. Gives what the fit found, and worths of asked rows. Not here: files (the edges), a book.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import polars as pl

from hangtab.domain.errors import SourceError
from hangtab.domain.progress import OnStep, Step
from hangtab.valuing import book_spec
from hangtab.worth import Report, Spec, WorthError, fit
from hangtab.worth import Step as EngineStep


@dataclass(frozen=True)
class Travelled:
    """places: rows of each. steps: sums asked; bytes of one at the middle, at most, and of all."""

    places: tuple[int, ...]
    steps: int
    middle: int
    most: int
    total: int


@dataclass(frozen=True)
class RowsFit:
    """What a fit of plain rows found. worths: the asked rows with median, low_80... beside them, None if none were."""

    report: Report
    components: dict[str, float]
    travelled: Travelled | None
    worths: pl.DataFrame | None


def model_of(values: Mapping[str, object] | None) -> Spec:
    """The model that a file describes; without one, the book's own."""
    if values is None:
        return book_spec()
    try:
        return Spec.from_dict(values)
    except WorthError as error:
        raise _refusal(error, "the model") from error


def fit_rows(rows: pl.DataFrame, model: Spec, asked: pl.DataFrame | None, on_step: OnStep, threads: int = 1) -> RowsFit:
    """Fit rows that are all here. asked: rows to give worths for."""
    try:
        fitted = fit(rows, model, on_step=_passed_on(on_step), threads=threads)
        worths = None if asked is None else pl.concat([asked, fitted.predict(asked)], how="horizontal")
    except WorthError as error:
        raise _refusal(error, "the rows") from error
    return RowsFit(fitted.report, fitted.components, None, worths)


def fit_rows_far(pattern: str, scheduler: str, model: Spec, asked: pl.DataFrame | None, on_step: OnStep) -> RowsFit:
    """Fit the rows of Parquet files on a dask cluster. scheduler: its address."""
    from hangtab.worth.far import fit_far  # noqa: PLC0415 - needs an extra

    try:
        fitted = fit_far(pattern, model, scheduler, on_step=_passed_on(on_step))
        try:
            worths = None if asked is None else pl.concat([asked, fitted.predict(asked)], how="horizontal")
        finally:
            fitted.close()
    except WorthError as error:
        raise _refusal(error, pattern) from error
    m = fitted.moved
    return RowsFit(fitted.report, fitted.components, Travelled(m.places, m.steps, m.middle, m.most, m.total), worths)


def _passed_on(on_step: OnStep) -> Callable[[EngineStep], None]:
    def told(step: EngineStep) -> None:
        on_step(Step(f"Fitting: {step.note}", step.done, step.total))

    return told


def _refusal(error: WorthError, where: str) -> SourceError:
    return SourceError(error.what, where=error.where or where, mend=error.mend or "Look at the rows")
