"""How well the variances themselves are known, and which two cannot be told apart.

Promises: standard errors and correlations from the average information at the fit's own parameters; a variance at its
lower limit has none. Source: Gilmour, Thompson & Cullis 1995; the criterion is minus twice a log likelihood, so the
covariance of the estimates is twice the inverse of its second derivatives.
Reads: a solved state. Gives: a frame and warnings. Not here: the search (variances.py).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl

from hangtab.worth.arrays import Floats, Ints
from hangtab.worth.confounding import Confounded
from hangtab.worth.information import average_information
from hangtab.worth.mode import Search
from hangtab.worth.problem import NOTHING, Problem, make_problem
from hangtab.worth.sheet import SALE
from hangtab.worth.state import State
from hangtab.worth.table import ROW
from hangtab.worth.variances import evaluate

CLOSE = -0.8
MOST_ROWS = 300_000
ONE_CHILD = 0.8
SCHEMA = {"component": pl.String, "variance": pl.Float64, "low": pl.Float64, "high": pl.Float64}


@dataclass(frozen=True)
class Known:
    """What the sales say of the variances. problem: the sales alone, with its parameters `logs`.

    free: which parameters are not at their lower limit; cov: covariance of their logs.
    """

    problem: Problem
    logs: Floats
    free: Ints
    cov: Floats


def known_variances(state: State) -> Known:
    """Average information of the parameters, from the sales alone."""
    problem, logs, start = _of_sales(state)
    least = np.log(1.01 * NOTHING * problem.border.unit**2)
    free = np.flatnonzero((logs > least) | (np.arange(len(logs)) == problem.layout.freedom))
    point = evaluate(problem, logs, Search(start=start))
    H = average_information(problem, point)[np.ix_(free, free)]
    unit = np.sqrt(np.maximum(np.diag(H), 1e-12))
    values, vectors = np.linalg.eigh(H / np.outer(unit, unit))
    inverse = (vectors / np.maximum(values, 1e-6)) @ vectors.T
    return Known(problem, logs, free, 2.0 * inverse / np.outer(unit, unit))


def _of_sales(state: State) -> tuple[Problem, Floats, Floats]:
    """The same model of the sales alone, its parameters, and the fitted values to start from."""
    p, sale = state.problem, state.problem.kind == SALE
    if sale.all():
        return p, state.logs, state.eta
    problem = make_problem(p.spec, p.sheet.part(sale))
    known = dict(zip(p.layout.names, state.logs, strict=True))
    fitted = np.empty(len(p.y))
    fitted[p.sheet.frame[ROW].to_numpy()] = state.eta
    start = fitted[problem.sheet.frame[ROW].to_numpy()]
    return problem, np.array([known[name] for name in problem.layout.names]), start


def known_within(known: Known) -> pl.DataFrame:
    """component, variance and its 95 % range; a variance of nothing has none."""
    out: list[tuple[str, float, float | None, float | None]] = []
    half = dict(zip(known.free.tolist(), 1.96 * np.sqrt(np.maximum(np.diag(known.cov), 0.0)), strict=True))
    for j, (name, log) in enumerate(zip(known.problem.layout.names, known.logs, strict=True)):
        if j not in half:
            out.append((name, 0.0, None, None))
            continue
        low, high = (float(np.exp(np.clip(log + s * half[j], -700.0, 700.0))) for s in (-1.0, 1.0))
        out.append((name, float(np.exp(log)), low, high))
    return pl.DataFrame(out, schema=SCHEMA, orient="row")


def variances_apart(known: Known) -> Iterator[Confounded]:
    """Neighbouring chain levels whose variances only trade against each other: nearly all nodes have one child."""
    p = known.problem
    spread = np.sqrt(np.maximum(np.diag(known.cov), 1e-300))
    place = {int(j): i for i, j in enumerate(known.free)}
    for k in range(p.layout.levels - 1):
        children = np.bincount(p.chain.parent[k + 1], minlength=len(p.chain.value[k]))
        alone = int((children == 1).sum())
        if k not in place or k + 1 not in place or alone < ONE_CHILD * len(children):
            continue
        i, j = place[k], place[k + 1]
        close = float(known.cov[i, j] / (spread[i] * spread[j]))
        if close <= CLOSE:
            effects = ((p.spec.chain[k], ""), (p.spec.chain[k + 1], ""))
            yield Confounded("variances", effects, alone, len(children), 0.0, close)
