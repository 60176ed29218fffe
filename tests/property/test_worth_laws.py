"""Laws of the engine on tables nobody would wish for."""

from __future__ import annotations

import datetime as dt
from functools import cache

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from hangtab.worth import Curve, Fitted, Spec, WorthError, fit

FEW = settings(
    max_examples=15,
    deadline=None,
    derandomize=True,
    phases=(Phase.explicit, Phase.generate),  # shrinking refits hundreds of times
    suppress_health_check=[HealthCheck.too_slow],
)
SPEC = Spec(
    price="price",
    when="sold",
    groups=("line", "line/release", "seller"),
    factors=("venue", "flaws"),
    numbers=("pieces", "double"),
    curves={"grade": Curve("increasing", by="grader", knots=4)},
    walks=("market", "line"),
    kind="kind",
)
DAYS = st.none() | st.dates(dt.date(2012, 1, 1), dt.date(2024, 1, 1))


def rows(prices=st.floats(1e-6, 1e6), kinds=st.just("sale"), most=40):  # noqa: B008 - strategies are values
    """Tables of strange but readable rows."""
    row = st.fixed_dictionaries(
        {
            "price": prices,
            "sold": DAYS,
            "line": st.sampled_from(["a", "b", None]),
            "release": st.sampled_from(["x", "y", "z", "", None]),
            "seller": st.sampled_from(["s1", "s2", None]),
            "venue": st.sampled_from(["only"]),
            "flaws": st.lists(st.sampled_from(["crease", "yellow"]), max_size=3) | st.none(),
            "pieces": st.sampled_from([1.0, 2.0, None, float("nan")]),
            "grade": st.none() | st.floats(0, 100),
            "grader": st.sampled_from(["n", "p", None]),
            "kind": kinds,
        }
    )
    return st.lists(row, min_size=1, max_size=most)


def table_of(found: list[dict]) -> pl.DataFrame:
    schema = {
        "price": pl.Float64,
        "sold": pl.Date,
        "pieces": pl.Float64,
        "grade": pl.Float64,
        "flaws": pl.List(pl.String),
    }
    frame = pl.DataFrame(found, schema_overrides=schema, infer_schema_length=None)
    strings = [c for c in ("line", "release", "seller", "grader", "kind", "venue") if frame[c].dtype == pl.Null]
    # `double` says the same as `pieces`: collinear on purpose.
    return frame.with_columns(pl.col(strings).cast(pl.String), double=pl.col("pieces") * 2)


def answers_are_sane(fitted: Fitted, frame: pl.DataFrame) -> None:
    found = fitted.predict(frame)
    assert len(found) == len(frame)
    values = found.to_numpy()
    assert np.isfinite(values).all()
    assert (found["low_90"] <= found["low_50"]).all()
    assert (found["low_50"] <= found["median"]).all()
    assert (found["median"] <= found["high_50"]).all()
    assert (found["high_50"] <= found["high_90"]).all()
    grid = fitted.comparables(frame.row(0, named=True))
    assert np.isclose(np.log(grid.estimate), found["log_median"][0], rtol=1e-6, atol=1e-6)


@FEW
@given(rows())
def test_any_readable_table_can_be_fitted(found):
    """A table of positive prices gives finite, ordered ranges, whatever else it lacks."""
    frame = table_of(found)
    answers_are_sane(fit(frame, SPEC), frame)


@FEW
@given(rows(kinds=st.sampled_from(["sale", "below", "above"])))
def test_any_mix_of_bounds_can_be_fitted(found):
    """Bounds on either side give finite, ordered ranges if there is one sale; without one they are refused."""
    frame = table_of(found)
    if (frame["kind"] == "sale").any():
        answers_are_sane(fit(frame, SPEC), frame)
    else:
        with pytest.raises(WorthError, match="No row is a sale"):
            fit(frame, SPEC)


@FEW
@given(rows(prices=st.just(25.0)))
def test_one_price_throughout_is_the_estimate(found):
    """If every sale brought the same, every piece is worth that."""
    frame = table_of(found)
    assert fit(frame, SPEC).predict(frame)["median"].to_numpy() == pytest.approx(25.0, rel=1e-3)


@FEW
@given(rows(), st.floats(1e-3, 1e3))
def test_another_currency_changes_nothing_but_the_unit(found, rate):
    """Prices times a rate give worths times the rate."""
    frame = table_of(found)
    spec = Spec(price="price", groups=("line",), tails="normal")
    one = fit(frame, spec).predict(frame)["median"].to_numpy()
    other = fit(frame.with_columns(pl.col("price") * rate), spec).predict(frame)["median"].to_numpy()
    assert other == pytest.approx(one * rate, rel=1e-5)


@FEW
@given(rows(most=8), st.sampled_from([0.0, -3.0, float("nan"), float("inf"), None]), st.integers(0, 7))
def test_a_price_that_is_none_is_refused_by_its_row(found, bad, at):
    """Zero, negative, missing or infinite prices are refused with the row and a way to mend it."""
    frame = table_of(found)
    at = at % len(frame)
    prices = frame["price"].to_list()
    prices[at] = bad
    with pytest.raises(WorthError) as refusal:
        fit(frame.with_columns(pl.Series("price", prices, dtype=pl.Float64)), SPEC)
    assert f"row {at}" in refusal.value.where
    assert refusal.value.mend


@cache
def steady_fit() -> Fitted:
    rng = np.random.default_rng(7)
    n = 300
    frame = pl.DataFrame(
        {
            "price": np.exp(3 + rng.normal(0, 0.5, n)),
            "line": rng.choice(["a", "b"], n).tolist(),
            "grade": rng.uniform(0, 100, n),
            "sold": [dt.date(2020 + int(m) // 12, int(m) % 12 + 1, 1) for m in rng.integers(0, 48, n)],
        }
    )
    spec = Spec(price="price", when="sold", groups=("line",), curves={"grade": "increasing"}, walks=("market",))
    return fit(frame, spec)


@FEW
@given(
    st.dictionaries(
        st.sampled_from(["line", "grade", "sold", "odd"]),
        st.none() | st.text(max_size=5) | st.floats() | st.integers(-5, 5) | st.booleans(),
        min_size=1,
    )
)
def test_nonsense_to_predict_is_no_crash(row):
    """Whatever a row to predict holds, the answer is finite or the refusal says why."""
    try:
        found = steady_fit().predict(row)
    except WorthError as refusal:
        assert refusal.mend  # noqa: PT017 - either outcome is lawful
    else:
        assert np.isfinite(found.to_numpy()).all()


@FEW
@given(st.integers(0, 2**31), st.floats(0.05, 20))
def test_chance_rises_with_the_price(seed, price):
    """A higher price is never less likely to be above the next sale."""
    row = {"line": "a", "grade": float(seed % 100)}
    fitted = steady_fit()
    assert fitted.place(row, price) <= fitted.place(row, price * 1.1)
