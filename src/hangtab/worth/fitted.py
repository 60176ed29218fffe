"""A fit and what it answers: the engine's door.

Promises: every answer comes from one posterior: medians, ranges, joint totals, comparables and leave-one-out agree.
Unknown columns, unseen values and missing values are handled as the model says, never a crash.
Not here: how the fit is found (fitting.py), the figures themselves (answers.py, comparables.py).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from hangtab.worth import answers
from hangtab.worth.arrays import Floats
from hangtab.worth.comparables import grid, support
from hangtab.worth.diagnosis import Diagnosis, diagnose
from hangtab.worth.errors import SpecError, TableError
from hangtab.worth.fitting import Report, fit_problem, refit
from hangtab.worth.habits import Habits
from hangtab.worth.noise import LEVELS, NoiseTable
from hangtab.worth.problem import NOTHING, Problem
from hangtab.worth.progress import Step, ignore_step
from hangtab.worth.sheet import read_table
from hangtab.worth.spec import Spec
from hangtab.worth.state import State, Subjects, foreseen, mode_parts, part_names, subjects
from hangtab.worth.store import pack, unpack
from hangtab.worth.table import NO_MONTH, ROW, read_rows, to_frame
from hangtab.worth.threads import one_thread
from hangtab.worth.together import Crew
from hangtab.worth.variances import Point

Table = Any  # a polars, pandas or Arrow table, a list of rows, or one row as a dict
When = dt.date | str | None


@dataclass(frozen=True)
class Carrying:
    """What carries one estimate. newest: first day of the month of the newest sale that matters, or None."""

    effective_sales: float
    newest: dt.date | None


@dataclass(frozen=True)
class Grid:
    """Comparable sales of one subject: `sales` (a frame), base price, the estimate they add up to, sum of gains.

    log(estimate) = (1 - gain) log(base) + sum over sales of gain_i log(adjusted_i), exactly.
    sales: row, evidence, price, adjusted, gain, share (of a clean sale), one column `by <part>` per adjustment
    (in log price; their sum is log(adjusted / price)).
    """

    sales: pl.DataFrame
    base: float
    estimate: float
    gain: float


class Fitted:
    """A fitted model. Immutable; `add` gives a new one."""

    def __init__(self, state: State, report: Report) -> None:
        """Made by `fit`, `add` and `from_bytes`."""
        self._state = state
        self.report = report

    @property
    def spec(self) -> Spec:
        """The model."""
        return self._state.problem.spec

    @property
    def table(self) -> pl.DataFrame:
        """The rows the fit was made from, in the caller's order: the columns of `spec.columns`."""
        rows, columns = self._state.problem.sheet.rows, self.spec.columns
        if ROW not in rows.source.columns and len(rows) == len(rows.source):
            return rows.source.select(columns)
        return rows.whole().sort(ROW).select(columns)

    @property
    def components(self) -> dict[str, float]:
        """Variances by name (walks: of one knot's step), and `freedom` of Student-t noise. 0.0: none found."""
        p, out = self._state.problem, {}
        for name, log in zip(p.layout.names, self._state.logs, strict=True):
            value = float(np.exp(log))
            out[name] = 0.0 if value <= 1.01 * NOTHING * p.border.unit**2 else value
        return out

    @property
    def habits(self) -> Habits:
        """How people sell: accepted offers over asks, the hazard of listings, the discount of lots."""
        return self._state.problem.habits

    @one_thread
    def named(self) -> pl.DataFrame:
        """Each candidate of each uncertain sale: row, its id, share (before the price), probability (after it)."""
        return answers.named(self._state)

    @property
    @one_thread
    def coefficients(self) -> pl.DataFrame:
        """Border effects: term, value, estimate, se."""
        return answers.coefficients(self._state)

    @one_thread
    def predict(
        self, rows: Table, at: When = None, levels: Sequence[float] = LEVELS, kind: str = "next"
    ) -> pl.DataFrame:
        """Worth of each row.

        at: the day (None: each row's own date, or the newest month of the fit). kind "next": the next sale;
        "middle": the middle of the market. Columns median, mean (cut to the central 99.8 %), low_50, high_50...,
        log_median, log_sd (of the middle), log_noise (scale of one sale), known_levels (of the chain).
        """
        return answers.predictions(self._state, self._subjects(rows, at), levels, kind)

    @one_thread
    def place(self, row: Table, price: float, at: When = None, kind: str = "next") -> float:
        """Probability that the next sale (kind "middle": the middle of the market) is below `price`."""
        s = self._one(row, at)
        y = np.array([self._response(price)])
        return float(answers.chance_below(self._state, answers.middle(self._state, s), y, kind)[0])

    @one_thread
    def joint(self, rows: Table, at: When = None) -> tuple[Floats, Floats]:
        """Mean vector (n,) and covariance (n, n) of the log worths (middle of the market)."""
        return answers.joint_middle(self._state, self._subjects(rows, at))

    @one_thread
    def contributions(self, row: Table, at: When = None) -> dict[str, float]:
        """The log median split by named part: intercept, terms, chain levels, walks; they sum to it."""
        values = mode_parts(self._state, self._one(row, at).targets)[0]
        return dict(zip(part_names(self._state), values.tolist(), strict=True))

    @one_thread
    def comparables(self, row: Table, at: When = None, top: int = 12) -> Grid:
        """The `top` sales that weigh most in the row's estimate, adjusted to it."""
        state, p = self._state, self._state.problem
        found = grid(state, self._one(row, at), top)
        adjusted = found.base + p.y[found.chosen] - found.own
        out: dict[str, Any] = {ROW: p.sheet.frame[ROW].gather(found.chosen)}
        if p.spec.evidence:
            out["evidence"] = p.sheet.frame[p.spec.evidence].gather(found.chosen)
        out |= {"price": p.sheet.price[found.chosen], "adjusted": self._price(adjusted), "gain": found.gain}
        out["share"] = answers.shares(state, found.chosen)
        for k, name in enumerate(part_names(state)):
            if name != "intercept":
                out[f"by {name}"] = found.adjustments[:, k]
        gain = float(found.gain.sum())
        estimate = (1.0 - gain) * found.base + float(found.gain @ adjusted)
        ends = self._price(np.array([found.base, estimate]))
        return Grid(pl.DataFrame(out), float(ends[0]), float(ends[1]), gain)

    @one_thread
    def support(self, row: Table, at: When = None) -> Carrying:
        """Effective number of sales behind the row's estimate, and the newest that matters."""
        found = support(self._state, self._one(row, at))
        newest = None if found.newest == NO_MONTH else dt.date(found.newest // 12, found.newest % 12 + 1, 1)
        return Carrying(found.effective_sales, newest)

    @one_thread
    def leave_one_out(self) -> pl.DataFrame:
        """Each sale against the fit without it, weights and variances held: chance, share of a clean sale."""
        return answers.left_out(self._state)

    @one_thread
    def diagnosis(self) -> Diagnosis:
        """What the fit says of itself: what carries the prices, what is left over, what cannot be told apart."""
        return diagnose(self._state, self.report)

    @one_thread
    def add(self, more_rows: Table) -> Fitted:
        """A fit of the longer table with the variances held; row numbers go on from the old table's.

        The mode is that of a cold fit at these variances, found from this one's side: the whole table is laid out and
        passed anew, so that new names, months and values are as good as old ones. The report's criterion and gradient
        are NaN: nothing is searched for.
        """
        state = self._state
        more = read_rows(more_rows, self.spec)
        sheet = read_table(pl.concat([self.table, more], how="vertical_relaxed"), self.spec)
        start = np.empty(len(sheet.y))
        start[state.problem.sheet.rows[ROW].to_numpy()] = state.eta
        start[len(start) - len(more) :] = foreseen(state, more)
        return _fitted(*refit(state.problem, state.logs, sheet, start), state.noise)

    def to_bytes(self) -> bytes:
        """The fit as bytes."""
        return pack(self._state, self.report)

    @classmethod
    def from_bytes(cls, data: bytes) -> Fitted:
        """The fit that `to_bytes` wrote; StoredFitError for anything else."""
        return cls(*unpack(data))

    def _subjects(self, rows: Table, at: When) -> Subjects:
        return subjects(self._state, read_rows(rows, self.spec), at)

    def _one(self, row: Table, at: When) -> Subjects:
        frame = read_rows(row, self.spec)
        if len(frame) != 1:
            raise TableError(f"One row is wanted, {len(frame)} were given", mend="Give one row.")
        return subjects(self._state, frame, at)

    def _response(self, price: float) -> float:
        if self.spec.scale == "plain":
            return price
        if not price > 0:
            raise TableError(f"The price is not positive: {price}", mend="Give a positive price.")
        return float(np.log(price))

    def _price(self, x: Floats) -> Floats:
        return answers.price_of(x, logs=self.spec.scale == "log")


@one_thread
def fit(
    table: Table, spec: Spec, on_step: Callable[[Step], None] = ignore_step, seed: int = 0, *, threads: int = 1
) -> Fitted:
    """Fit a table.

    table: polars, pandas or Arrow. on_step: called once an iteration; an exception it raises stops the fit.
    seed: kept for searches that draw; the fit of today is deterministic and does not use it.
    threads: parts of the table worked on at a time; the result is the same to the last bit.
    Raises SpecError, TableError or SizeError. A fit that did not converge says so in `report.warnings`.
    """
    del seed
    sheet = read_table(to_frame(table), spec)
    try:
        return _fitted(*fit_problem(spec, sheet, on_step, Crew(threads)))
    except np.linalg.LinAlgError as e:
        raise SpecError(
            "The rows do not tell some columns from each other",
            where="Spec.priors",
            mend="Leave out a column that says the same as others, or give it a prior that is not flat.",
        ) from e


def _fitted(problem: Problem, point: Point, report: Report, known: NoiseTable | None = None) -> Fitted:
    """known: the noise's quantiles, where an older fit has them."""
    mode, nu = point.mode, problem.freedom(point.logs)
    noise = known if known is not None and known.nu == nu else answers.full_noise_table(nu)
    state = State(problem, point.logs, mode.weight, mode.zeta, point.information, mode.factor.held, noise)
    return Fitted(state.solved(mode.solution, mode.eta) if mode.closed else state, report)
