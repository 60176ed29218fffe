"""Five nested levels and eight covariates on 10,000 invented sales, against glmmTMB (R commands: in the data file).

The walks are off, since glmmTMB was run without them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from hangtab.worth import Fitted, Spec, fit
from tools.sale_table import sale_table

NUMBERS = [f"x{i}" for i in range(1, 9)]
LEVELS = ("line", "character", "release", "variant", "form")


def recorded(kind: str, column: str = "estimate") -> dict[str, float]:
    table = pl.read_csv(Path(__file__).parent / "data" / "sales_mixed_model.csv", comment_prefix="#")
    return dict(table.filter(pl.col("kind") == kind).select("name", column).iter_rows())


@pytest.fixture(scope="module")
def sales() -> pl.DataFrame:
    return sale_table(10_000).filter(pl.col("train") == 1)


@pytest.fixture(scope="module")
def fitted(sales) -> Fitted:
    groups = ["/".join(LEVELS[: k + 1]) for k in range(len(LEVELS))]
    spec = Spec(price="price", groups=groups, numbers=NUMBERS, priors=dict.fromkeys(NUMBERS, "flat"), tails="normal")
    found = fit(sales, spec)
    assert found.report.converged
    return found


def coefficients(fitted: Fitted, column: str) -> dict[str, float]:
    return dict(fitted.coefficients.select("term", column).iter_rows())


def test_six_variances(fitted):
    # Largest gap found 1e-5 (releases): the search stops where next to nothing of the criterion is left to gain.
    assert fitted.components == pytest.approx(recorded("variance"), rel=2e-5)


def test_fixed_effects(fitted):
    assert coefficients(fitted, "estimate") == pytest.approx(recorded("effect"), rel=1e-6, abs=1e-8)


def test_standard_errors_given_the_variances(fitted):
    assert coefficients(fitted, "se") == pytest.approx(recorded("effect", "se"), rel=1e-6)


def test_restricted_likelihood(sales, fitted):
    # A restricted likelihood depends on the units of its covariates: glmmTMB's are raw, ours in standard deviations.
    units = 2 * sum(np.log(sales[name].std(ddof=0)) for name in NUMBERS)
    assert fitted.report.criterion + units == pytest.approx(recorded("criterion")["reml"], abs=1e-4)
