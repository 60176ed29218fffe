"""Straight regressions through `fit`: auction prices, certified stones, Student-t noise, bounded responses."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.stats import norm

from hangtab.worth import Fitted, Spec, fit

DATA = Path(__file__).parent / "data"


def read(name: str) -> pl.DataFrame:
    return pl.read_csv(DATA / name, comment_prefix="#", infer_schema_length=None)


def flat_fit(table: pl.DataFrame, response: str, spec: dict) -> Fitted:
    """Fit with flat priors and normal noise: ordinary least squares."""
    names = [*spec.get("factors", []), *spec.get("numbers", [])]
    model = {"price": response, "tails": "normal", "scale": "plain", "priors": dict.fromkeys(names, "flat")} | spec
    fitted = fit(table, Spec(**model))
    assert fitted.report.converged
    return fitted


def effects(fitted: Fitted) -> dict[str, float]:
    return {f"{r['term']} {r['value']}".strip(): r["estimate"] for r in fitted.coefficients.iter_rows(named=True)}


def errors(fitted: Fitted) -> dict[str, float]:
    return {f"{r['term']} {r['value']}".strip(): r["se"] for r in fitted.coefficients.iter_rows(named=True)}


def auctions() -> pl.DataFrame:
    return read("mariokart.csv").filter(pl.col("total_pr") < 100)


def test_auction_prices():
    # OpenIntro Statistics 4e ch. 9, ch_regr_mult_and_log.tex @fee2509 l. 1735-1748 (digits beyond the print: R lm).
    spec = {"factors": ["cond", "stock_photo"], "numbers": ["duration", "wheels"], "reference": {"cond": "used"}}
    fitted = flat_fit(auctions(), "total_pr", spec)
    found = effects(fitted)
    expected = {"intercept": 36.21096769, "cond new": 5.13056414, "stock_photo yes": 1.08031083,
                "duration": -0.02680753, "wheels": 7.28517787}  # fmt: skip
    assert found == pytest.approx(expected, abs=5e-5)
    printed = {"intercept": 1.5140, "cond new": 1.0511, "stock_photo yes": 1.0568, "duration": 0.1904, "wheels": 0.5547}
    assert errors(fitted) == pytest.approx(printed, abs=5e-4)
    assert fitted.components["residual"] ** 0.5 == pytest.approx(4.901398, rel=1e-5)


def test_auction_prices_by_condition_alone():
    # The same chapter: 42.8711 (0.8140), 10.8996 (1.2583).
    fitted = flat_fit(auctions(), "total_pr", {"factors": ["cond"], "reference": {"cond": "used"}})
    assert effects(fitted) == pytest.approx({"intercept": 42.8711, "cond new": 10.8996}, abs=5e-5)
    assert errors(fitted) == pytest.approx({"intercept": 0.8140, "cond new": 1.2583}, abs=5e-5)


def test_auction_prices_after_elimination():
    # The same chapter prints 36.05, 5.18, 1.12, 7.30.
    spec = {"factors": ["cond", "stock_photo"], "numbers": ["wheels"], "reference": {"cond": "used"}}
    expected = {"intercept": 36.05, "cond new": 5.18, "stock_photo yes": 1.12, "wheels": 7.30}
    assert effects(flat_fit(auctions(), "total_pr", spec)) == pytest.approx(expected, abs=5e-3)


CERTIFIED = {
    "intercept": 6.077239, "carat": 2.855013, "colour D": 0.416557, "colour E": 0.387047, "colour F": 0.310198,
    "colour G": 0.210207, "colour H": 0.128681, "clarity IF": 0.298541, "clarity VVS1": 0.297835,
    "clarity VVS2": 0.201923, "clarity VS1": 0.096609, "certification GIA": 0.008856, "certification IGI": -0.173855,
}  # fmt: skip


def test_certified_stones():
    # Data of Chu 2001, J. Stat. Educ. 9(2); expected figures recomputed with R lm.
    spec = {
        "factors": ["colour", "clarity", "certification"],
        "numbers": ["carat"],
        "reference": {"colour": "I", "clarity": "VS2", "certification": "HRD"},
        "scale": "log",
    }
    fitted = flat_fit(read("diamond.csv"), "price", spec)
    assert effects(fitted) == pytest.approx(CERTIFIED, abs=1e-5)
    assert errors(fitted)["certification GIA"] == pytest.approx(0.020864, abs=1e-5)
    assert errors(fitted)["certification IGI"] == pytest.approx(0.028673, abs=1e-5)
    assert fitted.components["residual"] ** 0.5 == pytest.approx(0.138200, abs=1e-5)


def test_certified_stones_with_squared_weight():
    # The same data and source of figures.
    spec = {
        "factors": ["colour", "clarity", "certification"],
        "numbers": ["carat", "carat2"],
        "reference": {"colour": "I", "clarity": "VS2", "certification": "HRD"},
        "scale": "log",
    }
    table = read("diamond.csv").with_columns(carat2=pl.col("carat") ** 2)
    found = effects(flat_fit(table, "price", spec))
    expected = {"intercept": 5.306339, "carat": 5.670616, "carat2": -2.102922,
                "certification GIA": 0.006223, "certification IGI": -0.019190}  # fmt: skip
    assert {k: found[k] for k in expected} == pytest.approx(expected, abs=1e-5)


def test_certified_stones_in_size_classes():
    # The same data and source of figures; classes are half a carat to one, and one carat and more.
    weight, medium, large = pl.col("carat"), pl.col("carat").is_between(0.5, 1, closed="left"), pl.col("carat") >= 1
    table = read("diamond.csv").with_columns(
        medium=medium.cast(pl.Float64), large=large.cast(pl.Float64),
        medium_carat=medium * weight, large_carat=large * weight,
    )  # fmt: skip
    spec = {
        "factors": ["colour", "clarity", "certification"],
        "numbers": ["carat", "medium", "large", "medium_carat", "large_carat"],
        "reference": {"colour": "I", "clarity": "VS2", "certification": "HRD"},
        "scale": "log",
    }
    found = effects(flat_fit(table, "price", spec))
    expected = {"intercept": 5.530676, "carat": 4.257150, "medium": 0.946026, "large": 2.376272,
                "medium_carat": -1.765492, "large_carat": -3.259971,
                "certification GIA": 0.007703, "certification IGI": -0.016726}  # fmt: skip
    assert {k: found[k] for k in expected} == pytest.approx(expected, abs=1e-5)


def student(table: pl.DataFrame, response: str, numbers: list[str], nu: float | None = None) -> Fitted:
    spec = Spec(price=response, numbers=numbers, priors=dict.fromkeys(numbers, "flat"), scale="plain",
                criterion="ml", nu=nu)  # fmt: skip
    fitted = fit(table, spec)
    assert fitted.report.converged
    return fitted


def test_student_regression_with_freedom_estimated():
    # R hett::tlm (Taylor & Verbyla 2004) as shipped in statsmodels/miscmodels/tests/results_tmodel.py: -0.0072485
    # (.008167), 1.263751 (.190158), df 2.83718, scale 0.050209, log likelihood 71.81292.
    fitted = student(read("mm_marietta.csv"), "m_marietta", ["CRSP"])
    found = effects(fitted)
    assert found["intercept"] == pytest.approx(-0.0072485, abs=3e-5)
    assert found["CRSP"] == pytest.approx(1.263751, abs=3e-5)
    assert errors(fitted) == pytest.approx({"intercept": 0.008167, "CRSP": 0.190158}, rel=1e-4)
    assert fitted.components["freedom"] == pytest.approx(2.83718, rel=5e-5)
    assert fitted.components["residual"] ** 0.5 == pytest.approx(0.050209, abs=1e-5)
    assert -0.5 * fitted.report.criterion == pytest.approx(71.81292, abs=1e-4)


# Data of Brownlee; the grid of Lange, Little & Taylor 1989, JASA 84:881-896. Estimates recomputed with R optim over 40
# starts and statsmodels TLinearModel (the paper's own logs of the likelihood are not reproduced by the plain formula,
# so only these codes' are compared). Intercept, air flow, water temperature, acid; scale, log likelihood where known.
# The likelihood has several modes. The fixed road (normal noise first) ends at the highest for every row below.
STACKLOSS = {
    8.0: ([-40.7112, 0.81098, 0.96761, -0.12891], 2.45668, -51.96191),
    4.0: ([-40.0681, 0.85709, 0.74527, -0.11512], 2.02453, -51.42334),
    3.0: ([-39.1239, 0.85424, 0.65676, -0.10390], None, -51.06811),
    2.0: ([-38.1182, 0.84825, 0.55689, -0.08851], 1.34151, -50.31478),
    1.0: ([-38.6321, 0.85191, 0.48880, -0.06830], None, -49.58102),
}


def stack_loss(fitted: Fitted) -> list[float]:
    found = effects(fitted)
    return [found[n] for n in ("intercept", "Air.Flow", "Water.Temp", "Acid.Conc.")]


@pytest.mark.parametrize("nu", sorted(STACKLOSS))
def test_stack_loss_with_freedom_fixed(nu):
    fitted = student(read("stackloss.csv"), "stack.loss", ["Air.Flow", "Water.Temp", "Acid.Conc."], nu)
    expected, scale, loglik = STACKLOSS[nu]
    assert stack_loss(fitted) == pytest.approx(expected, abs=1e-3)
    assert -0.5 * fitted.report.criterion == pytest.approx(loglik, abs=1e-4)
    if scale is not None:
        assert fitted.components["residual"] ** 0.5 == pytest.approx(scale, abs=1e-4)


def test_stack_loss_with_freedom_estimated():
    # The paper prints 1.1 degrees of freedom, -38.5, .85, .49, -.07 (from memory); digits recomputed as above.
    fitted = student(read("stackloss.csv"), "stack.loss", ["Air.Flow", "Water.Temp", "Acid.Conc."])
    assert stack_loss(fitted) == pytest.approx([-38.4827, 0.85199, 0.49025, -0.07056], abs=1e-3)
    assert fitted.components["residual"] ** 0.5 == pytest.approx(0.91477, abs=1e-3)
    assert fitted.components["freedom"] == pytest.approx(1.0767, abs=1e-3)
    assert -0.5 * fitted.report.criterion == pytest.approx(-49.56768, abs=1e-4)


def test_stack_loss_with_normal_noise():
    # The grid's last row, recomputed with R.
    fitted = flat_fit(read("stackloss.csv"), "stack.loss",
                      {"numbers": ["Air.Flow", "Water.Temp", "Acid.Conc."], "criterion": "ml"})  # fmt: skip
    assert stack_loss(fitted) == pytest.approx([-39.9197, 0.71564, 1.29529, -0.15212], abs=1e-3)
    assert -0.5 * fitted.report.criterion == pytest.approx(-52.28780, abs=1e-4)


def bounded_below(name: str) -> pl.Expr:
    return pl.when(pl.col(name) <= 0).then(pl.lit("below")).otherwise(pl.lit("sale"))


def errors_given_scale(table: pl.DataFrame, names: list[str], response: str, found: dict, scale: float) -> list[float]:
    """Standard errors from Tobit's second derivatives in the coefficients alone (left bound 0), intercept first."""
    X = np.column_stack([np.ones(len(table)), table.select(names).to_numpy()])  # noqa: N806 - as the papers write it
    u = (table[response].to_numpy() - X @ np.array([found["intercept"], *(found[n] for n in names)])) / scale
    mills = np.exp(norm.logpdf(u) - norm.logcdf(u))
    told = np.where(table[response].to_numpy() <= 0, mills * (mills + u), 1.0) / scale**2
    return list(np.sqrt(np.diag(np.linalg.inv(X.T @ (told[:, None] * X)))))


def test_bounded_responses():
    # Tobit of Fair's data: AER tests/Ch-Microeconometrics.Rout.save (cran/AER 1.2-15) l. 516-543; log scale 2.109859.
    names = ["age", "yearsmarried", "religiousness", "occupation", "rating"]
    table = read("affairs.csv").with_columns(kind=bounded_below("affairs"))
    fitted = flat_fit(table, "affairs", {"numbers": names, "kind": "kind", "criterion": "ml"})
    found = effects(fitted)
    expected = [8.174197, -0.179333, 0.554142, -1.686220, 0.326053, -2.284973]
    assert [found["intercept"], *(found[n] for n in names)] == pytest.approx(expected, abs=1e-4)
    assert fitted.components["residual"] ** 0.5 == pytest.approx(8.247080, rel=1e-5)
    se = errors(fitted)
    se = [se["intercept"], *(se[n] for n in names)]
    assert se == pytest.approx(errors_given_scale(table, names, "affairs", found, 8.247080), rel=1e-4)
    # The printed ones hold what the scale's own error adds, 3 % at most (rating).
    assert se == pytest.approx([2.7414, 0.0791, 0.1345, 0.4038, 0.2544, 0.4078], rel=0.035)
    assert -0.5 * fitted.report.criterion == pytest.approx(-705.576223, abs=1e-4)


def test_responses_bounded_on_both_sides():
    # The same file, l. 548-575: left 0, right 4; 80 right-censored.
    names = ["age", "yearsmarried", "religiousness", "occupation", "rating"]
    a = pl.col("affairs")
    kind = pl.when(a <= 0).then(pl.lit("below")).when(a >= 4).then(pl.lit("above")).otherwise(pl.lit("sale"))
    table = read("affairs.csv").with_columns(kind=kind, affairs=a.clip(0, 4))
    assert ((table["kind"] == "above").sum(), (table["kind"] == "below").sum()) == (80, 451)
    fitted = flat_fit(table, "affairs", {"numbers": names, "kind": "kind", "criterion": "ml"})
    found = effects(fitted)
    expected = [7.9010, -0.1776, 0.5323, -1.6163, 0.3242, -2.2070]
    assert [found["intercept"], *(found[n] for n in names)] == pytest.approx(expected, abs=1e-3)
    assert fitted.components["residual"] ** 0.5 == pytest.approx(7.94322, rel=1e-3)
    assert -0.5 * fitted.report.criterion == pytest.approx(-500.0428, abs=1e-3)


def test_durable_goods():
    # Tobin 1958's data; estimates by R survreg and an own likelihood with scipy (recomputed, no printed table read).
    table = read("tobin.csv").with_columns(kind=bounded_below("durable"))
    fitted = flat_fit(table, "durable", {"numbers": ["age", "quant"], "kind": "kind", "criterion": "ml"})
    found = effects(fitted)
    assert [found["intercept"], found["age"], found["quant"]] == pytest.approx(
        [15.144866, -0.129059, -0.045542], rel=1e-4
    )
    # 13 of 20 bounded; printed with what the scale's own error adds: 16.0795, .21858, .058254.
    se = errors(fitted)
    exact = errors_given_scale(table, ["age", "quant"], "durable", found, 5.572540)
    assert [se["intercept"], se["age"], se["quant"]] == pytest.approx(exact, rel=1e-4)
    assert exact == pytest.approx([16.0795, 0.21858, 0.058254], rel=0.02)
    assert fitted.components["residual"] ** 0.5 == pytest.approx(5.572540, rel=1e-4)
    assert -0.5 * fitted.report.criterion == pytest.approx(-28.940133, abs=1e-5)
