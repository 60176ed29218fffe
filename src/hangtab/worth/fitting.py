"""From a table and a Spec to a fit: normal tails first, then the tails asked for.

Promises: the same table in any row order gives the same fit; a fit that did not converge says so in its report.
Not here: what a fit answers (fitted.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from time import perf_counter

import numpy as np

from hangtab.worth.answers import Middle, middle
from hangtab.worth.arrays import Flags, Floats
from hangtab.worth.habits import learn_habits
from hangtab.worth.lots import lots_of
from hangtab.worth.mode import Search, find_mode
from hangtab.worth.noise import NoiseTable
from hangtab.worth.problem import Layout, Problem, make_problem
from hangtab.worth.progress import Step
from hangtab.worth.search import COARSE, Found, search_variances
from hangtab.worth.sheet import ABOVE, BELOW, SALE, Sheet
from hangtab.worth.spec import Spec
from hangtab.worth.state import State, subjects
from hangtab.worth.table import ROW
from hangtab.worth.tails import freedom_information, freedom_slope
from hangtab.worth.together import Crew
from hangtab.worth.variances import Point, evaluate, limits

MOST = 60
AT_ONCE = 4096
# Where the search for heavy tails starts, after so many steps on the distances alone, and within what.
FIRST_FREEDOM, FEWEST_FREEDOM, MOST_FREEDOM = 6.0, 2.0, 30.0
FIRST_CORE, LEAST_CORE, FIRST_STEPS = 0.6, 0.1, 10
# Normal noise shows the way, and how far it is gone says which mode is reached. A search that ended where a hundred
# times as much fall was promised led to a worse mode on 2 of 60 tables of 300 and 900 rows.
WAY = 1e-2
# Noise this many times as wide as the spread of the sales themselves is no finding.
BOUNDLESS = 10.0


@dataclass(frozen=True)
class Report:
    """How the fit went. gradient: largest slope of the criterion in a log variance; warnings: () when all is well."""

    converged: bool
    iterations: int
    gradient: float
    criterion: float
    seconds: float
    rows: int
    nodes: int
    columns: int
    knots: int
    warnings: tuple[str, ...]


def fit_problem(spec: Spec, sheet: Sheet, on_step: Callable[[Step], None], crew: Crew) -> tuple[Problem, Point, Report]:
    """Find variances and mode from a cold start."""
    began = perf_counter()
    stated = _stated(spec, sheet)
    if crew.together.most("unstated", float(not stated.all())):
        return _fit_in_turn(spec, sheet, on_step, (stated, began, crew))
    problem = make_problem(spec, sheet, crew)
    found, before = _search(problem, on_step)
    return problem, found.point, report_of(problem, found, before + found.iterations, perf_counter() - began)


def _stated(spec: Spec, sheet: Sheet) -> Flags:
    """Rows that variances rest on: prices of known pieces, and bounds where all of them tell."""
    kinds = (SALE,) if spec.overlooked > 0.0 else (SALE, BELOW, ABOVE)
    return np.isin(sheet.kind, kinds)


def _fit_in_turn(
    spec: Spec, sheet: Sheet, on_step: Callable[[Step], None], how: tuple[Flags, float, Crew]
) -> tuple[Problem, Point, Report]:
    """Variances from stated prices, then habits from what is told beside them, then the mode from everything.

    Bounds that repeat each other or that nobody saw would widen the noise of sales; so they do not speak of it.
    """
    stated, began, crew = how
    sales = make_problem(spec, sheet.part(stated), crew)
    found, before = _search(sales, on_step)
    seen = _foreseen(sales, found.point, sheet)
    problem = replace(make_problem(spec, sheet, crew), habits=learn_habits(sheet, spec, seen))
    start = _by_row(sheet, seen.eta)[problem.sheet.frame[ROW].to_numpy()]
    point = evaluate(problem, _carried(sales, found.point.logs, problem), Search(start=start))
    made = Found(point, found.iterations, found.gradient, converged=found.converged and point.mode.settled)
    return problem, point, report_of(problem, made, before + found.iterations, perf_counter() - began)


def _foreseen(problem: Problem, point: Point, sheet: Sheet) -> Middle:
    """Each row of another sheet as one fit sees it."""
    mode, nu = point.mode, problem.freedom(point.logs)
    unread = NoiseTable(nu, np.zeros(0), np.zeros((0, 0)))
    state = State(problem, point.logs, mode.weight, mode.zeta, point.information, mode.factor.held, unread)
    starts = range(0, len(sheet.y), AT_ONCE)
    pieces = [middle(state, subjects(state, sheet.frame[a : a + AT_ONCE], None)) for a in starts]
    return Middle(*(np.concatenate([getattr(p, name) for p in pieces]) for name in ("eta", "sd", "scale")))


def _by_row(sheet: Sheet, values: Floats) -> Floats:
    """Values of a sheet's rows by the caller's row number."""
    rows = sheet.frame[ROW].to_numpy()
    out = np.zeros(int(rows.max()) + 1)
    out[rows] = values
    return out


def _carried(from_: Problem, logs: Floats, to: Problem) -> Floats:
    """Parameters of one problem by name in another; what only the other has starts cold."""
    known = dict(zip(from_.layout.names, logs, strict=True))
    cold = first_logs(to)
    return np.array([known.get(name, value) for name, value in zip(to.layout.names, cold, strict=True)])


def _search(problem: Problem, on_step: Callable[[Step], None]) -> tuple[Found, int]:
    # Student-t noise has several modes; a fixed road to one of them leads through normal noise.
    spec = problem.spec
    if spec.tails == "normal":
        return search_variances(problem, _rough(problem, first_logs(problem)), on_step, most=MOST), 0
    normal = replace(problem, spec=replace(spec, tails="normal"), layout=without_freedom(problem.layout))
    first = search_variances(normal, _rough(normal, first_logs(normal)), on_step, most=12, enough=WAY, closing=False)
    core, nu = _first_tails(problem, first.point)
    logs, a = first.point.logs, problem.layout.first_class
    if problem.layout.freedom >= 0:
        logs = np.append(logs, np.log(nu))
    logs[a : a + len(problem.layout.classes)] += np.log(core)
    low, high = limits(problem)
    start = _rough(problem, np.clip(logs, low, high), first.point.mode.eta)
    return search_variances(problem, start, on_step, most=MOST), first.iterations


def _first_tails(problem: Problem, point: Point) -> tuple[float, float]:
    """Student-t noise of the sales' distances from a fit under normal noise: squared scale over variance, freedom.

    The core of heavy-tailed noise is narrower than its standard deviation. Maximum likelihood, a few steps of it: the
    scale by EM, the freedom by its expected information. The distances are as wide as their own mean square.
    """
    together, mode, sale = problem.forest.together, point.mode, problem.kind == SALE
    u2 = ((problem.y - mode.eta)[sale] / problem.scale(point.logs)[sale]) ** 2
    sales, squares = together.total("first tails", float(len(u2)), float(u2.sum()))
    core, nu = FIRST_CORE, float(problem.spec.nu or FIRST_FREEDOM)
    if squares <= 0:
        return core, nu
    u2, all_sales, none, one = u2 * (sales / squares), *(np.full(len(u2), x) for x in (SALE, 0.0, 1.0))
    for _ in range(FIRST_STEPS):
        weighed = float((u2 * (nu + 1) / (nu + u2 / core)).sum())
        bend = freedom_slope(np.sqrt(u2 / core), all_sales, none, one, nu)
        weighed, bend = together.total("first tails", weighed, bend)
        core = min(max(weighed / sales, LEAST_CORE), 1.0)
        if problem.spec.nu is None:
            nu *= float(np.exp(np.clip(-bend / (sales * freedom_information(nu)), -1.0, 1.0)))
            nu = min(max(nu, FEWEST_FREEDOM), MOST_FREEDOM)
    return core, nu


def refit(old: Problem, logs: Floats, sheet: Sheet, eta: Floats) -> tuple[Problem, Point, Report]:
    """The mode of another table with an old fit's variances held. eta: where to start, by the caller's row number.

    Nothing is searched for, so criterion and gradient are not worked out: NaN in point and report.
    """
    began = perf_counter()
    problem = replace(make_problem(old.spec, sheet, Crew(old.forest.threads)), habits=old.habits)
    place = {name: k for k, name in enumerate(old.layout.names)}
    first = old.layout.first_class
    pooled = float(np.log(np.exp(logs[first : first + len(old.layout.classes)]).mean()))
    kept = np.array([logs[place[n]] if n in place else pooled for n in problem.layout.names])
    # What lots add to the responses belongs to the weights of one step; all other rows are weighed anew at the mode.
    closing = lots_of(sheet) is not None
    mode = find_mode(problem, kept, Search(start=eta[sheet.rows[ROW].to_numpy()], closing=closing))
    if not mode.closed:
        weight = mode.said.weight
        mode = replace(mode, weight=weight, zeta=weight * mode.eta + mode.said.slope)
    prior = problem.prior(kept, mode.factor.held)
    point = Point(kept, prior, mode, mode.said.information, mode.factor, np.nan)
    found = Found(point, mode.steps, np.nan, converged=mode.settled)
    return problem, point, report_of(problem, found, mode.steps, perf_counter() - began)


def _rough(problem: Problem, logs: Floats, start: Floats | None = None) -> Point:
    """A first point: as rough as the search takes its points where much fall is promised."""
    return evaluate(problem, logs, Search(start=start, tolerance=COARSE, closing=False))


def without_freedom(layout: Layout) -> Layout:
    """The same parameters without the degrees of freedom."""
    return replace(layout, freedom=-1, names=layout.names[:-1]) if layout.freedom >= 0 else layout


def first_logs(problem: Problem) -> Floats:
    """Where a cold search starts: a tenth of the response's variance for each source, a little for the walks."""
    out, unit = problem.layout, problem.border.unit**2
    logs = np.full(len(out.names), np.log(0.1 * unit))
    for at in (out.line, out.market):
        if at >= 0:
            logs[at] = np.log(1e-3 * unit)
    logs[out.first_class : out.first_class + len(out.classes)] = np.log(0.3 * unit)
    if out.freedom >= 0:
        logs[out.freedom] = np.log(FIRST_FREEDOM)
    return logs


def report_of(problem: Problem, found: Found, iterations: int, seconds: float) -> Report:
    """The report, with every reason for doubt in words."""
    warnings = []
    if not found.converged:
        warnings.append(f"The fit did not converge in {iterations} iterations (gradient {found.gradient:.2g}).")
    if not found.point.mode.settled:
        warnings.append("The last mode was still moving.")
    first, classes = problem.layout.first_class, problem.layout.classes
    widest = float(np.exp(found.point.logs[first : first + len(classes)]).max())
    if widest > (BOUNDLESS * problem.border.unit) ** 2:
        # One sale among many bounds: the likelihood has a ridge along which noise and distance grow together.
        warnings.append("The noise has no upper end: the rows hold too few sales beside their bounds.")
    (nodes,) = problem.forest.together.total("nodes", sum(len(level) for level in problem.forest.levels))
    return Report(
        found.converged, iterations, found.gradient, found.point.criterion, seconds,
        problem.whole.rows, int(nodes), problem.forest.p, problem.forest.T, tuple(warnings),
    )  # fmt: skip
