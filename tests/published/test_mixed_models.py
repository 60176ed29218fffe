"""Variances by restricted and plain maximum likelihood against published mixed-model fits.

Sources: Bates, lme4 book draft ch. 1 and 2; MixedModels.jl test/pls.jl (@2228a9a), whose stored objectives and
standard deviations are cited line by line below; Dyestuff2's table as simulated in Box & Tiao 1973.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from hangtab.worth import Fitted, Spec, fit

DATA = Path(__file__).parent / "data"


def published_fit(name: str, response: str, groups: list[str], criterion: str = "reml") -> Fitted:
    spec = Spec(price=response, groups=groups, tails="normal", scale="plain", criterion=criterion)
    fitted = fit(pl.read_csv(DATA / name, comment_prefix="#"), spec)
    assert fitted.report.converged
    return fitted


def intercept(fitted: Fitted) -> tuple[float, float]:
    row = fitted.coefficients.row(-1, named=True)
    return row["estimate"], row["se"]


def test_dyestuff_reml():
    # lme4 book ch. 1; pls.jl REML objective 319.6542768422576.
    fitted = published_fit("dyestuff.csv", "Yield", ["Batch"])
    assert fitted.report.criterion == pytest.approx(319.6542768422576, abs=1e-6)
    assert fitted.components == pytest.approx({"Batch": 1764.05, "residual": 2451.25}, rel=1e-4)
    assert intercept(fitted) == pytest.approx((1527.5, 19.3834), rel=1e-5)


def test_dyestuff_batch_effects():
    # lme4 book ch. 1: conditional modes of the six batches.
    fitted = published_fit("dyestuff.csv", "Yield", ["Batch"])
    modes = [fitted.contributions({"Batch": b})["Batch"] for b in "ABCDEF"]
    assert modes == pytest.approx([-17.6069, 0.3913, 28.5622, -23.0845, 56.7332, -44.9953], abs=2e-3)


def test_dyestuff_ml():
    # pls.jl lines 71-125.
    fitted = published_fit("dyestuff.csv", "Yield", ["Batch"], "ml")
    assert fitted.report.criterion == pytest.approx(327.327060, abs=1e-5)
    sds = {k: v**0.5 for k, v in fitted.components.items()}
    assert sds == pytest.approx({"Batch": 37.26034, "residual": 49.51010}, rel=1e-4)
    assert intercept(fitted) == pytest.approx((1527.5, 17.69455), rel=1e-4)


# Box & Tiao 1973, Bayesian Inference in Statistical Analysis: simulated yields of six batches, as in lme4 Dyestuff2.
DYESTUFF2 = {
    "A": [7.298, 3.846, 2.434, 9.566, 7.99],
    "B": [5.22, 6.556, 0.608, 11.788, -0.892],
    "C": [0.11, 10.386, 13.434, 5.51, 8.166],
    "D": [2.212, 4.852, 7.092, 9.288, 4.98],
    "E": [0.282, 9.014, 4.458, 9.446, 7.198],
    "F": [1.722, 4.782, 8.106, 0.758, 3.758],
}


def dyestuff2(criterion: str) -> Fitted:
    table = pl.DataFrame([{"Batch": b, "Yield": y} for b, ys in DYESTUFF2.items() for y in ys])
    return fit(table, Spec(price="Yield", groups=["Batch"], tails="normal", scale="plain", criterion=criterion))


def test_dyestuff2_has_no_variance_between_batches():
    # lme4: variance 0 exactly, residual sd 3.715684, mean 5.6656, REML criterion 161.82828.
    fitted = dyestuff2("reml")
    assert fitted.report.converged
    assert fitted.components["Batch"] == 0.0
    assert fitted.components["residual"] ** 0.5 == pytest.approx(3.715684, rel=1e-5)
    assert intercept(fitted)[0] == pytest.approx(5.6656, abs=1e-6)
    assert fitted.report.criterion == pytest.approx(161.82828, abs=1e-4)


def test_dyestuff2_ml():
    # pls.jl lines 171-180: objective 162.8730367, sd 3.6532314.
    fitted = dyestuff2("ml")
    assert fitted.components["Batch"] == 0.0
    assert fitted.report.criterion == pytest.approx(162.8730367, abs=1e-5)
    assert fitted.components["residual"] ** 0.5 == pytest.approx(3.6532314, rel=1e-5)


def test_penicillin_reml_crossed():
    # lme4 book ch. 2.
    fitted = published_fit("penicillin.csv", "diameter", ["plate", "sample"])
    assert fitted.report.criterion == pytest.approx(330.86059, abs=1e-4)
    assert fitted.components == pytest.approx({"plate": 0.71691, "sample": 3.7309, "residual": 0.30242}, rel=1e-3)
    assert intercept(fitted) == pytest.approx((22.972222, 0.80857), rel=1e-4)


def test_penicillin_ml_crossed():
    # pls.jl lines 195-210.
    fitted = published_fit("penicillin.csv", "diameter", ["plate", "sample"], "ml")
    assert fitted.report.criterion == pytest.approx(332.18835, abs=1e-4)
    sds = {k: v**0.5 for k, v in fitted.components.items()}
    assert sds == pytest.approx({"plate": 0.845572, "sample": 1.770666, "residual": 0.549932}, rel=1e-3)
    assert intercept(fitted)[1] == pytest.approx(0.744604, rel=1e-3)


def test_pastes_reml_nested():
    # lme4 book ch. 2.
    fitted = published_fit("pastes.csv", "strength", ["batch", "batch/cask"])
    assert fitted.report.criterion == pytest.approx(246.99075, abs=1e-4)
    expected = {"batch": 1.65731, "batch/cask": 8.43367, "residual": 0.67800}
    assert fitted.components == pytest.approx(expected, rel=1e-3)
    assert intercept(fitted) == pytest.approx((60.053333, 0.67687), rel=1e-4)


def test_pastes_ml_nested():
    # pls.jl: objective 247.9944659.
    fitted = published_fit("pastes.csv", "strength", ["batch", "batch/cask"], "ml")
    assert fitted.report.criterion == pytest.approx(247.9944659, abs=1e-5)


def test_row_order_changes_nothing():
    table = pl.read_csv(DATA / "penicillin.csv", comment_prefix="#")
    spec = Spec(price="diameter", groups=["plate", "sample"], tails="normal", scale="plain")
    one = fit(table, spec)
    other = fit(table.sample(fraction=1.0, shuffle=True, seed=4), spec)
    assert np.array(list(one.components.values())) == pytest.approx(list(other.components.values()), rel=1e-12)
