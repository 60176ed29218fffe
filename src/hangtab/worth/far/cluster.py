"""A fit over a dask cluster: places are tasks, their messages go through the scheduler to the hub in this process.

Promises: rows stay on the workers; a worker lost in mid-fit is made up for by another, with the same result (hub.py
says how); a scheduler that does not answer is refused at once.
Reads: paths that every worker can read. Gives: `FarFitted`.
Not here: sums (hub.py), the fit (place.py).
"""

from __future__ import annotations

import glob
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from hangtab.worth.errors import TableError
from hangtab.worth.far.meeting import Lines, Meeting, connect
from hangtab.worth.far.place import Place, fit_share, read_share
from hangtab.worth.far.shares import Contents, contents_of, homes, shared_out
from hangtab.worth.fitted import Fitted, Table, When
from hangtab.worth.fitting import Report
from hangtab.worth.noise import LEVELS
from hangtab.worth.progress import Step, ignore_step
from hangtab.worth.spec import Spec
from hangtab.worth.table import joined_words, read_rows


@dataclass(frozen=True)
class Moved:
    """What travelled. places: rows of each; steps: questions asked; bytes of a step at the middle, at most, of all."""

    places: tuple[int, ...]
    steps: int
    middle: int
    most: int
    total: int


class FarFitted:
    """A fit whose rows lie on a cluster. It answers until `close` lets the workers forget it."""

    def __init__(self, meeting: Meeting, futures: list[Any], shares: list[list[Contents]], spec: Spec) -> None:
        """Made by `fit_far`."""
        self._meeting, self._futures, self._homes = meeting, futures, homes(shares)
        self.spec = spec
        about = meeting.wait([meeting.client.submit(_about, futures[0], pure=False)])[0]
        self.report: Report = about[0]
        self.components: dict[str, float] = about[1]
        self.coefficients: pl.DataFrame = about[2]
        moved = sorted(meeting.hub.moved)
        self.moved = Moved(tuple(sum(f.rows for f in s) for s in shares), len(moved),
                           moved[len(moved) // 2], moved[-1], sum(moved))  # fmt: skip

    def predict(
        self, rows: Table, at: When = None, levels: Sequence[float] = LEVELS, kind: str = "next"
    ) -> pl.DataFrame:
        """Worth of each row, as `Fitted.predict`; each is answered where the rows of its first group lie."""
        frame = read_rows(rows, self.spec)
        place = pl.Series([0] * len(frame))
        if self.spec.chain:
            words = joined_words(frame, self.spec.chain[0].split("/"))
            place = words.replace_strict(self._homes, default=0, return_dtype=pl.Int64).fill_null(0)
        asked = [frame.filter(place == k) for k in range(len(self._futures))]
        submit = self._meeting.client.submit
        answers = self._meeting.wait(
            [submit(_predict, f, part, (at, tuple(levels), kind), pure=False)
             for f, part in zip(self._futures, asked, strict=True) if len(part)]
        )  # fmt: skip
        order = pl.concat([pl.int_range(len(frame), eager=True).filter(place == k) for k in range(len(asked))])
        ordered: pl.DataFrame = pl.concat(answers)[order.arg_sort()]
        return ordered

    def close(self) -> None:
        """Let the workers forget the fit."""
        self._meeting.close()


def fit_far(
    pattern: str | Sequence[str], spec: Spec, scheduler: str, *, places: int | None = None,
    on_step: Callable[[Step], None] = ignore_step,
) -> FarFitted:  # fmt: skip
    """Fit the rows of Parquet files on a dask cluster.

    pattern: like "folder/*.parquet", or paths, which every worker can read. scheduler: its address. places: shares of
    the rows (None: one a worker). on_step: called as in `fit`.
    Raises WorthError if the scheduler does not answer, there are no files, or the rows cannot be fitted.
    """
    paths = sorted(glob.glob(pattern)) if isinstance(pattern, str) else list(pattern)  # noqa: PTH207 - a pattern
    if not paths:
        raise TableError("There are no files to fit", where=str(pattern), mend="Give a pattern that some files match.")
    meeting = Meeting(connect(scheduler), on_step)
    try:
        return _fit(meeting, paths, spec, places)
    except BaseException:
        meeting.close()
        raise


def _fit(meeting: Meeting, paths: list[str], spec: Spec, places: int | None) -> FarFitted:
    client = meeting.client
    contents = meeting.wait(client.map(contents_of, paths, spec=spec, pure=False))
    shares = shared_out(contents, places or max(1, len(client.scheduler_info()["workers"])))
    if not shares:
        raise TableError("The files have no rows", where=paths[0], mend="Give files with at least one row.")
    meeting.begin(len(shares))
    futures = [client.submit(_fit_here, k, [f.path for f in share], spec, meeting.lines, pure=False)
               for k, share in enumerate(shares)]  # fmt: skip
    meeting.wait(futures, gather=False)
    return FarFitted(meeting, futures, shares, spec)


def _fit_here(number: int, paths: list[str], spec: Spec, lines: Lines) -> Fitted:
    """The task of one place."""
    with lines.open(number) as line:

        def on_step(step: Step) -> None:
            if number == 0:
                line.tell(step)

        return fit_share(read_share(paths, spec), spec, Place(number, line.send), on_step)


def _about(fitted: Fitted) -> tuple[Report, dict[str, float], pl.DataFrame]:
    return fitted.report, fitted.components, fitted.coefficients


def _predict(fitted: Fitted, rows: pl.DataFrame, how: tuple[Any, tuple[float, ...], str]) -> pl.DataFrame:
    at, levels, kind = how
    return fitted.predict(rows, at, levels, kind)
