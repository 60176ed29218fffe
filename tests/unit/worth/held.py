"""Fits at variances given, by the functions that `fit` itself is made of: the one place where tests lean on them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import polars as pl

from hangtab.worth import Fitted, Spec
from hangtab.worth.fitted import _fitted
from hangtab.worth.fitting import report_of
from hangtab.worth.mode import Search
from hangtab.worth.problem import NOTHING, Problem, make_problem
from hangtab.worth.search import Found
from hangtab.worth.sheet import read_table
from hangtab.worth.terms import CurveTerm
from hangtab.worth.variances import Point, evaluate


def problem_of(table: pl.DataFrame, spec: Spec) -> Problem:
    return make_problem(spec, read_table(table, spec))


def logs_of(problem: Problem, variances: Mapping[str, float]) -> np.ndarray:
    # 0.0 is how `components` says that none was found: the lowest variance there is.
    none = NOTHING * problem.border.unit**2
    return np.log([max(variances[name], none) for name in problem.layout.names])


def point_at(problem: Problem, logs: np.ndarray) -> Point:
    return evaluate(problem, logs, Search(tolerance=1e-12))


def fit_at(table: pl.DataFrame, spec: Spec, variances: Mapping[str, float], unit: float | None = None) -> Fitted:
    """The cold mode for the variances (and `freedom`) given by name, as in `Fitted.components`.

    unit: the spread of responses that a curve's prior is measured in (None: that of the table, as in `fit`).
    """
    problem = problem_of(table, spec)
    if unit is not None:
        terms = tuple(replace(t, variance=9 * unit**2) if isinstance(t, CurveTerm) else t for t in problem.border.terms)
        problem = replace(problem, border=replace(problem.border, terms=terms))
    point = point_at(problem, logs_of(problem, variances))
    return _fitted(problem, point, report_of(problem, Found(point, 0, 0.0, converged=point.mode.settled), 0, 0.0))
