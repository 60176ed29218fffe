"""A large crossed design: 73,421 ratings of 1,128 lecturers by 2,972 students, by both roads of the engine.

Data: `InstEval` of R's lme4 (Bates, Mächler, Bolker & Walker 2015), a survey of ETH Zurich; columns s, d,
dept, service, y.
Sources: MixedModels.jl, test/pls.jl, "InstEval" (the maximum-likelihood objective), and lme4 1.1-31:
    lmer(y ~ 1 + service + (1|s) + (1|d) + (1|dept), InstEval, REML = reml,
         control = lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-9, maxfun = 1e5)))
and REMLcrit, VarCorr and summary of it. lme4's default optimiser stops a little earlier (dept: 0.0069117).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import scipy.sparse as sp

from hangtab.worth import Spec, border, fit, sparse
from hangtab.worth.problem import make_problem
from hangtab.worth.sheet import read_table

TABLE = Path(__file__).parent / "data" / "insteval.parquet"
CRITERION = {"reml": 237733.83412752, "ml": 237721.7687745563}
VARIANCES = {
    "reml": {"s": 0.105997987712, "d": 0.265221135525, "dept": 0.006912097122, "residual": 1.386500351745},
    "ml": {"s": 0.105972678332, "d": 0.265204429986, "dept": 0.006167888309, "residual": 1.386488584260},
}
COEFFICIENTS = {
    "reml": {"service": (-0.0926417138, 0.0133891871), "intercept": (3.2825877581, 0.0293460424)},
    "ml": {"service": (-0.0925886146, 0.0133831770), "intercept": (3.2825811823, 0.0284116422)},
}


def spec(criterion: str, groups: tuple[str, ...]) -> Spec:
    return Spec(price="y", groups=groups, factors=("service",), priors={"service": "flat"}, reference={"service": "0"},
                tails="normal", scale="plain", criterion=criterion)  # fmt: skip


@pytest.mark.parametrize("criterion", ["reml", "ml"])
def test_forest_finds_the_published_fit(criterion):
    fitted = fit(pl.read_parquet(TABLE), spec(criterion, ("s", "d", "dept")))
    assert fitted.report.converged
    assert fitted.report.criterion == pytest.approx(CRITERION[criterion], abs=1e-5)
    assert fitted.components == pytest.approx(VARIANCES[criterion], rel=1e-5)
    found = {row["term"]: (row["estimate"], row["se"]) for row in fitted.coefficients.iter_rows(named=True)}
    for term, expected in COEFFICIENTS[criterion].items():
        assert found[term] == pytest.approx(expected, rel=1e-5)


@dataclass(frozen=True)
class SparseFit:
    """Criterion and gradient in log variances at given ones, by the sparse road alone."""

    criterion: float
    gradient: dict[str, float]


def sparse_fit(at: dict[str, float]) -> SparseFit:
    """Henderson's equations with lecturers as the chain and students crossing it: a border of 2,988 columns.

    Criterion and slopes are written out here: -2 log L = n log(2 pi) + n log(noise) + log det + y'V^-1 y, and the slope
    in log v of an effect is its degrees of freedom less its squares over v.
    Source: Searle, Casella & McCulloch 1992, ch. 7 and 8 (from memory).
    """
    wide = spec("ml", ("d", "s", "dept"))
    problem = make_problem(wide, read_table(pl.read_parquet(TABLE), wide))
    prior = problem.prior(np.log([at[name] for name in problem.layout.names]), np.zeros(problem.forest.p, bool))
    noise, n = at["residual"], len(problem.y)
    equations = sparse.make_equations(problem.forest, sp.coo_array(prior.border))
    system = sparse.eliminate(equations, np.full(n, 1.0 / noise), prior)
    solution = sparse.solution(system, problem.y[:, None] / noise)
    rest = (
        problem.y
        - sparse.as_matrix(system.rows, equations.columns.N) @ np.concatenate([*solution.effects, solution.g])[:, 0]
    )
    value = n * np.log(2 * np.pi * noise) + system.logdet
    value += float(problem.y @ problem.y) / noise - float(solution.explained[0, 0])
    gaps = sparse.gaps(system, known_flat=True)
    slopes = {"d": gaps.levels[0] - float((solution.effects[0] ** 2).sum()) / at["d"]}
    for term, start in zip(problem.border.terms, problem.border.starts, strict=True):
        if term.name in ("s", "dept"):
            own = np.arange(start, start + term.size)
            b, column = solution.g[problem.forest.T + own, 0], equations.columns.border + own
            spread = sparse.covariances(system, column, column, known_flat=True)
            slopes[term.name] = term.size - float(spread.sum() + b @ b) / at[term.name]
    slopes["residual"] = n - float(rest @ rest) / noise - float(gaps.rows.sum()) / noise
    return SparseFit(float(value), slopes)


def test_sparse_equations_have_their_summit_at_the_published_fit(monkeypatch):
    monkeypatch.setattr(border, "WIDEST", 3000)
    found = sparse_fit(VARIANCES["ml"])
    assert found.criterion == pytest.approx(CRITERION["ml"], abs=1e-5)
    # With second derivatives H of 1 and more, a slope of 1e-3 is less than 1e-3 standard errors, sqrt(2 / H), away.
    assert found.gradient == pytest.approx(dict.fromkeys(found.gradient, 0.0), abs=1e-3)
