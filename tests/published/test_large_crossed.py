"""A large crossed design: 73,421 ratings of 1,128 lecturers by 2,972 students, by both roads of the engine.

Data: `InstEval` of R's lme4 (Bates, Mächler, Bolker & Walker 2015), a survey of ETH Zurich; columns s, d,
dept, service, y.
Sources: MixedModels.jl, test/pls.jl, "InstEval" (the maximum-likelihood objective), and lme4 1.1-31:
    lmer(y ~ 1 + service + (1|s) + (1|d) + (1|dept), InstEval, REML = reml,
         control = lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-9, maxfun = 1e5)))
and REMLcrit, VarCorr and summary of it. lme4's default optimiser stops a little earlier (dept: 0.0069117).
"""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from hangtab.worth import Spec, fit
from hangtab.worth.problem import WIDEST

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


ROADS = {"a border of lecturers, dense": ("s", "d", "dept"), "a border of students, sparse": ("d", "s", "dept")}


@pytest.mark.parametrize("criterion", ["reml", "ml"])
@pytest.mark.parametrize("road", ROADS)
def test_both_roads_find_the_published_fit(criterion, road):
    fitted = fit(pl.read_parquet(TABLE), spec(criterion, ROADS[road]))
    assert (fitted.report.columns > WIDEST) == road.endswith("sparse")
    assert fitted.report.converged
    assert fitted.report.criterion == pytest.approx(CRITERION[criterion], abs=1e-5)
    assert fitted.components == pytest.approx(VARIANCES[criterion], rel=1e-5)
    found = {row["term"]: (row["estimate"], row["se"]) for row in fitted.coefficients.iter_rows(named=True)}
    for term, expected in COEFFICIENTS[criterion].items():
        assert found[term] == pytest.approx(expected, rel=1e-5)
