"""A table in pieces is surveyed as the whole: the same plan, column by column."""

import numpy as np
import polars as pl
import pytest

from hangtab.worth.problem import make_plan
from hangtab.worth.sheet import read_table
from hangtab.worth.survey import Moments, survey, survey_all
from tests.unit.worth.world import SPEC, market


@pytest.fixture(scope="module")
def sheet():
    return read_table(market(), SPEC)


def test_the_plan_of_pieces_is_the_plan_of_the_whole(sheet):
    rng = np.random.default_rng(1)
    home = rng.integers(0, 4, len(sheet.y))
    whole = make_plan(SPEC, survey(SPEC, sheet))
    pieces = make_plan(SPEC, survey_all([survey(SPEC, sheet.part(home == k)) for k in range(4)]))
    assert pieces.calendar == whole.calendar
    assert pieces.layout == whole.layout
    assert pieces.border.starts == whole.border.starts
    for one, other in zip(pieces.border.terms, whole.border.terms, strict=True):
        assert one.labels() == other.labels()
        asked = sheet.frame.head(50)
        assert one.entries(asked).val == pytest.approx(other.entries(asked).val, rel=1e-12)


@pytest.mark.parametrize("sizes", [(0, 5), (1, 1), (40, 3)])
def test_moments_add_up_as_those_of_both_together(sizes):
    """numpy's mean and standard deviation of the whole."""
    rng = np.random.default_rng(2)
    one, other = (rng.normal(1e6, 1.0, n) for n in sizes)
    both, whole = Moments.of(one) + Moments.of(other), np.concatenate([one, other])
    assert (both.count, both.mean, both.sd) == pytest.approx((len(whole), whole.mean(), whole.std()), rel=1e-9)


def test_a_class_that_only_bounds_have_shares_a_variance_with_the_small_ones():
    rng = np.random.default_rng(3)
    table = pl.DataFrame({"price": rng.lognormal(3, 0.3, 61), "form": ["raw"] * 60 + ["graded"],
                          "kind": ["sale"] * 60 + ["below"]})  # fmt: skip
    from hangtab.worth import Spec, fit  # noqa: PLC0415

    fitted = fit(table, Spec(price="price", kind="kind", spread_by=["form"], tails="normal"))
    assert {n for n in fitted.components if n.startswith("residual")} == {"residual: raw", "residual"}
