"""One fit's fixed parts: rows, forest, border, and which variances are to be found.

Promises: the order of the parameters, and the prior they stand for. Parameters are logs: chain levels, own walk,
market walk, border parts, residual variance per class, degrees of freedom.
Not here: any search (mode.py, variances.py).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import scipy.sparse as sp

from hangtab.worth.arrays import Flags, Floats, Ints, Places, alike
from hangtab.worth.border import Border, make_border
from hangtab.worth.chain import Chain, blocks_of, make_chain
from hangtab.worth.errors import SizeError
from hangtab.worth.forest import Forest, Prior, make_forest
from hangtab.worth.habits import Habits
from hangtab.worth.likelihood import Noise
from hangtab.worth.routes import Road
from hangtab.worth.rows import Read
from hangtab.worth.sheet import Sheet
from hangtab.worth.sparse import Equations, make_equations
from hangtab.worth.spec import MARKET, Spec
from hangtab.worth.survey import Survey, class_words, survey, survey_all
from hangtab.worth.table import NO_MONTH, months, placed
from hangtab.worth.together import Alone, Crew

FREEDOM = "freedom"
MOST_KNOTS = 480
MOST_CELLS = 3e8
# Border columns that are kept dense; with more, all effects go into one sparse matrix.
WIDEST = 2000
# Effects of that matrix that are left to a dense factor: its inverse and it take 2.3 GB then.
MOST_DENSE = 12_000
FEWEST_OF_CLASS = 20
# A variance below this share of the response's counts as none.
NOTHING = 1e-8


@dataclass(frozen=True)
class Calendar:
    """Knots of the walks: T of them from month `first` on, `width` months each."""

    first: int
    width: int
    T: int

    def knot(self, month: Ints) -> tuple[Ints, Ints]:
        """Nearest knot of each month (-1: no date, or no walks) and how many knots it lies outside."""
        if self.T == 0:
            return np.full(len(month), -1, np.int64), np.zeros(len(month), np.int64)
        raw = (month - self.first) // self.width
        inside = np.clip(raw, 0, self.T - 1)
        beyond = np.where(month == NO_MONTH, 0, np.abs(raw - inside))
        return np.where(month == NO_MONTH, -1, inside), beyond


@dataclass(frozen=True)
class Layout:
    """Names and places of the parameters. Indices are -1 where a walk or the freedom is not in the model."""

    levels: int
    line: int
    market: int
    border: tuple[str, ...]
    classes: tuple[str, ...]
    freedom: int
    names: tuple[str, ...]

    @property
    def first_border(self) -> int:
        """Place of the first border variance."""
        return self.levels + (self.line >= 0) + (self.market >= 0)

    @property
    def first_class(self) -> int:
        """Place of the first residual variance."""
        return self.first_border + len(self.border)


@dataclass(frozen=True)
class Whole:
    """The table in four figures: rows, whether all are sales, mean response of the sales, newest month or NO_MONTH."""

    rows: int
    only_sales: bool
    middle: float
    last_month: int


@dataclass(frozen=True)
class Plan:
    """What is the same for all rows of a table, wherever they lie."""

    spec: Spec
    border: Border
    calendar: Calendar
    layout: Layout
    whole: Whole


@dataclass(frozen=True)
class Problem:
    """Everything a fit does not change. Rows in the order of the forest. equations: where the border is wide."""

    spec: Spec
    sheet: Sheet
    chain: Chain
    border: Border
    forest: Forest
    calendar: Calendar
    layout: Layout
    knot: Places
    klass: Ints
    whole: Whole
    equations: Equations | None = None
    habits: Habits = field(default_factory=Habits)

    @property
    def road(self) -> Road:
        """What this problem is solved by."""
        return self.forest if self.equations is None else self.equations

    @cached_property
    def nodes(self) -> Places:
        """Nodes of every row from the root down, (rows, levels)."""
        return self.forest.paths(slice(None))

    @property
    def y(self) -> Floats:
        """Responses and bounds."""
        return self.sheet.y

    @property
    def kind(self) -> Ints:
        """What each row is, as in `Sheet`."""
        return self.sheet.kind

    @property
    def ml(self) -> bool:
        """Whether flat columns count as known."""
        return self.spec.criterion == "ml"

    def scale(self, logs: Floats) -> Floats:
        """Noise scale of each row."""
        scales = np.exp(0.5 * logs[self.layout.first_class :])
        if alike(self.klass) and alike(self.sheet.wider) and len(self.klass):
            return np.broadcast_to(scales[self.klass[0]] * self.sheet.wider[0], len(self.klass))
        return np.asarray(scales[self.klass] * self.sheet.wider)

    def freedom(self, logs: Floats) -> float:
        """Degrees of freedom of the noise."""
        if self.spec.tails == "normal":
            return float("inf")
        return float(np.exp(logs[self.layout.freedom])) if self.layout.freedom >= 0 else float(self.spec.nu or np.inf)

    def noise(self, logs: Floats) -> Noise:
        """What the likelihood takes beside linear predictors."""
        return Noise(self.scale(logs), self.freedom(logs), self.spec.overlooked, self.habits)

    def variances(self, logs: Floats) -> dict[str, float]:
        """Learned border variances by name."""
        a = self.layout.first_border
        return {name: float(np.exp(logs[a + k])) for k, name in enumerate(self.layout.border)}

    def prior(self, logs: Floats, held: Flags) -> Prior:
        """The prior these parameters stand for."""
        out = self.layout
        nothing = NOTHING * self.border.unit**2
        line = float(np.exp(logs[out.line])) if out.line >= 0 else nothing
        market = float(np.exp(logs[out.market])) if out.market >= 0 else nothing
        Q, logdet = self.border.precision(self.variances(logs), held)
        return Prior(np.exp(logs[: out.levels]), line, market, Q, logdet, held)


def make_problem(spec: Spec, sheet: Sheet, crew: Crew | None = None) -> Problem:
    """Lay out rows, forest and parameters of a table, of which the crew's other places may hold more rows."""
    crew = crew or Crew()
    held = replace(sheet, rows=sheet.rows.holding([*spec.numbers, *spec.curves], crew.threads))
    seen = survey_all(crew.together.every("survey", survey(spec, held, crew.threads)))
    return replace(place_rows(make_plan(spec, seen), held, crew), sheet=sheet)


def make_plan(spec: Spec, seen: Survey) -> Plan:
    """What a table fixes for all its rows."""
    border = make_border(spec, seen)
    calendar = _calendar(seen.months) if spec.walks else Calendar(0, 1, 0)
    own_walk = bool(spec.chain) and spec.chain[0] in spec.walks and calendar.T > 0
    layout = _layout(
        spec, border, _classes(spec, seen), own_walk=own_walk, market=MARKET in spec.walks and calendar.T > 0
    )
    last = seen.months[1] if seen.months else NO_MONTH
    return Plan(spec, border, calendar, layout, Whole(seen.rows, seen.only_sales, seen.price.mean, last))


def place_rows(plan: Plan, sheet: Sheet, crew: Crew) -> Problem:
    """Lay out the rows of a table, or of some roots of its chain, by the table's plan."""
    spec, border, calendar = plan.spec, plan.border, plan.calendar
    chain, tree = make_chain(spec.chain, sheet.rows)
    month = months(sheet.rows[spec.when]) if spec.when else np.full(len(sheet.y), NO_MONTH, np.int64)
    block, walked = blocks_of(chain, tree, len(sheet.y), walks=plan.layout.line >= 0)
    wide = border.p > WIDEST
    cells = len(walked) * calendar.T * (calendar.T + border.p)
    if cells > MOST_CELLS and not wide:
        raise SizeError(
            f"{len(walked)} walks of {calendar.T} knots beside {border.p} columns do not fit in memory",
            where="Spec.walks",
            mend="Let the walk follow a coarser first group.",
        )
    knot = calendar.knot(month)[0].astype(np.int32)
    del month
    rows, _ = border.rows(sheet.rows, knot, calendar.T, crew.threads)
    forest = make_forest(rows, block, tree, walked, (calendar.T, border.p, border.flat), crew)
    klass = _class_of(plan.layout.classes, spec, sheet)
    equations = _equations(border, forest) if wide else None
    return Problem(spec, sheet, chain, border, forest, calendar, plan.layout, knot, klass, plan.whole, equations)


def _equations(border: Border, forest: Forest) -> Equations:
    """The sparse equations of a table whose border is too wide to be dense."""
    widest = max(border.terms, key=lambda t: t.size)
    where, mend = f"{widest.name}: {widest.size} columns", "Nest that group in the chain, or use a coarser one."
    if not isinstance(forest.together, Alone):
        said = f"The model has {border.p} columns beside the chain; in several places at once it may have {WIDEST}"
        raise SizeError(said, where=where, mend=mend)
    equations = make_equations(forest, sp.coo_array(border.pattern))
    dense = equations.pattern.size - equations.pattern.head
    if dense > MOST_DENSE:
        said = f"{border.p} columns cross the chain so that {dense} effects depend on each other: too many for memory"
        raise SizeError(said, where=where, mend=mend)
    return equations


def _calendar(span: tuple[int, int] | None) -> Calendar:
    if span is None:
        return Calendar(0, 1, 0)
    first, last = span
    width = (last - first) // MOST_KNOTS + 1
    return Calendar(first, width, (last - first) // width + 1)


def class_names(spec: Spec, frame: Read) -> list[str]:
    """Noise class of each row, in words."""
    return class_words(spec, frame).to_list()


def _classes(spec: Spec, seen: Survey) -> tuple[str, ...]:
    """Classes with a variance of their own; last "", the class of all others."""
    if not spec.spread_by:
        return ("",)
    own = sorted(name for name, sales in seen.classes.items() if sales >= FEWEST_OF_CLASS)
    # Rows of classes too small for a variance of their own share one.
    return (*own, "") if len(own) < len(seen.classes) or not own else tuple(own)


def _class_of(classes: tuple[str, ...], spec: Spec, sheet: Sheet) -> Ints:
    if not spec.spread_by:
        return np.broadcast_to(np.int64(0), len(sheet.y))
    own = [name for name in classes if name]
    klass, other = placed(class_words(spec, sheet.rows), own)
    klass[other] = len(own)
    return klass


def _layout(spec: Spec, border: Border, classes: tuple[str, ...], *, own_walk: bool, market: bool) -> Layout:
    names = list(spec.chain)
    line = len(names) if own_walk else -1
    names += [f"{spec.chain[0]} walk"] if own_walk else []
    at_market = len(names) if market else -1
    names += ["market walk"] if market else []
    names += border.learned
    names += [f"residual: {c}" if c else "residual" for c in classes]
    freedom = -1
    if spec.tails == "student" and spec.nu is None:
        freedom = len(names)
        names.append(FREEDOM)
    return Layout(len(spec.chain), line, at_market, border.learned, classes, freedom, tuple(names))
