"""Tables and models that nobody should fit: a refusal that helps, or an honest wide answer; never a silent wrong one.

Warnings are errors in these tests, so a division by zero that numpy would only murmur about fails them too.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from hangtab.worth import Curve, Fitted, Spec, WorthError, fit

LOWEST, HIGHEST = np.exp([-700.0, 700.0])  # prices are cut there, within what a float can hold
NARROW = 1e-4
UNSEEN = {"line": "elsewhere", "release": "never", "form": "no such", "seller": "nobody", "venue": "nowhere",
          "flaws": ["odd"], "pieces": 9.0, "double": 18.0, "grade": -40.0, "grader": "none",
          "sold": dt.date(2099, 1, 1)}  # fmt: skip
NOTHING = {"line": None, "venue": None}  # a row of which nothing is known
ANYTHING = Spec(
    price="price",
    when="sold",
    groups=("line", "line/release", "seller"),
    factors=("venue", "flaws"),
    numbers=("pieces",),
    curves={"grade": Curve("increasing", by="grader", knots=4)},
    walks=("market", "line"),
    kind="kind",
)


def answers_hold(fitted: Fitted, rows: Sequence[dict], at: dt.date | None = None) -> None:
    """Whatever the fit, its answers are finite, ordered, nested, add up, and survive being stored."""
    report = fitted.report
    assert report.converged or report.warnings
    for kind in ("next", "middle"):
        found = fitted.predict(rows, at, kind=kind)
        assert np.isfinite(found.to_numpy()).all()
        ends = ["low_90", "low_80", "low_50", "median", "high_50", "high_80", "high_90"]
        for lower, upper in pairwise(ends):
            low, high = found[lower].to_numpy(), found[upper].to_numpy()
            # Where all is said by one price there may be no width left that a float could show.
            bare = (high >= HIGHEST) | (low <= LOWEST) | (found["log_sd"].to_numpy() < NARROW)
            assert ((low < high) | (bare & (low <= high))).all(), (kind, lower, upper)
    found = fitted.predict(rows, at)
    for i, row in enumerate(rows):
        median = found["log_median"][i]
        assert sum(fitted.contributions(row, at).values()) == pytest.approx(median, rel=1e-8, abs=1e-8)
        grid = fitted.comparables(row, at)
        logs = fitted.spec.scale == "log"
        assert (np.log(grid.estimate) if logs else grid.estimate) == pytest.approx(
            min(median, 700.0), rel=1e-6, abs=1e-6
        )
    again = Fitted.from_bytes(fitted.to_bytes())
    assert again.predict(rows, at).equals(found)
    assert again.report == report


def refusal_helps(refused: pytest.ExceptionInfo[WorthError]) -> None:
    assert refused.value.what
    assert refused.value.mend


def sales(prices: Sequence[float | None], **columns: Sequence) -> pl.DataFrame:
    """A table of those prices; every other column of `ANYTHING` unless given."""
    n = len(prices)
    given_or = {
        "line": ["a"] * n, "release": [None] * n, "seller": [None] * n, "venue": [None] * n, "flaws": [[]] * n,
        "pieces": [None] * n, "grade": [None] * n, "grader": [None] * n, "sold": [None] * n, "kind": ["sale"] * n,
    } | columns  # fmt: skip
    schema = {"flaws": pl.List(pl.String), "pieces": pl.Float64, "grade": pl.Float64, "sold": pl.Date}
    schema |= dict.fromkeys(["line", "release", "seller", "venue", "grader", "kind"], pl.String)
    return pl.DataFrame({"price": list(prices), **given_or}, schema_overrides=schema | {"price": pl.Float64})


def months(n: int) -> list[dt.date]:
    return [dt.date(2020 + m // 12, 1 + m % 12, 3) for m in range(n)]


# ---- plain cases: each a table, and what an honest answer about it is


@pytest.mark.parametrize("tails", ["normal", "student"])
def test_one_row(tails):
    """One sale is its own estimate, and nobody can say how wide."""
    fitted = fit(sales([40.0]), Spec(price="price", groups=["line"], tails=tails))
    answers_hold(fitted, [{"line": "a"}, UNSEEN])
    assert fitted.predict({"line": "a"})["median"][0] == pytest.approx(40.0, rel=1e-6)


def test_one_row_of_the_whole_model():
    fitted = fit(sales([40.0], sold=months(1), grade=[70.0], grader=["n"], flaws=[["crease"]]), ANYTHING)
    answers_hold(fitted, [{"line": "a", "grade": 70.0}, UNSEEN, NOTHING])


@pytest.mark.parametrize("price", [1e-6, 1.0, 25.0, 1e9])
def test_the_same_price_throughout(price):
    """Every estimate is that price, and no range says otherwise than by a hair."""
    table = sales([price] * 30, line=list("abc") * 10, sold=months(30), grade=[float(g) for g in range(30)])
    fitted = fit(table, ANYTHING)
    answers_hold(fitted, [*table.head(3).to_dicts(), UNSEEN])
    found = fitted.predict(table)
    assert found["median"].to_numpy() == pytest.approx(price, rel=1e-3)
    assert (found["high_90"] / found["low_90"]).max() < 1.1


def test_one_level_and_a_constant_factor():
    """What never changes explains nothing: its effect goes to the level of everything."""
    draw = np.random.default_rng(1)
    prices = np.exp(draw.normal(3, 0.5, 40))
    table = sales(prices, venue=["only"] * 40, seller=["only"] * 40, pieces=[2.0] * 40)
    spec = Spec(price="price", groups=["line", "seller"], factors=["venue"], numbers=["pieces"], tails="normal")
    fitted = fit(table, spec)
    answers_hold(fitted, [*table.head(2).to_dicts(), UNSEEN])
    assert np.log(fitted.predict(table[0])["median"][0]) == pytest.approx(np.log(prices).mean(), abs=0.02)


@pytest.mark.parametrize("prior", ["flat", "weak"])
def test_collinear_columns(prior):
    """Columns that say the same share the effect; what they predict is that of one alone."""
    draw = np.random.default_rng(2)
    x = draw.normal(size=60)
    table = pl.DataFrame(
        {"price": np.exp(3 + 0.5 * x + draw.normal(0, 0.1, 60)), "x": x, "twice": 2 * x, "less": 5 - x}
    )
    names = ["x", "twice", "less"]
    one = fit(table, Spec(price="price", numbers=["x"], priors={"x": prior}, tails="normal"))
    all_three = fit(table, Spec(price="price", numbers=names, priors=dict.fromkeys(names, prior), tails="normal"))
    answers_hold(all_three, table.head(3).to_dicts())
    found, expected = all_three.predict(table), one.predict(table)
    assert found["log_median"].to_numpy() == pytest.approx(expected["log_median"].to_numpy(), abs=2e-3)
    assert found["log_sd"].to_numpy() == pytest.approx(expected["log_sd"].to_numpy(), rel=2e-2)


def test_two_flat_factors_that_say_the_same():
    draw = np.random.default_rng(3)
    word = draw.choice(["p", "q", "r"], 60)
    table = pl.DataFrame({"price": np.exp(3 + (word == "q") + draw.normal(0, 0.1, 60)), "a": word, "b": word})
    spec = Spec(price="price", factors=["a", "b"], priors={"a": "flat", "b": "flat"}, tails="normal")
    fitted = fit(table, spec)
    answers_hold(fitted, [{"a": "q", "b": "q"}, {"a": "zz", "b": "zz"}, NOTHING])
    means = {w: np.log(table["price"].to_numpy()[word == w]).mean() for w in "pqr"}
    for w, mean in means.items():
        assert fitted.predict({"a": w, "b": w})["log_median"][0] == pytest.approx(mean, abs=1e-4)


def test_prices_over_twelve_decades():
    draw = np.random.default_rng(4)
    table = sales(10.0 ** draw.uniform(-6, 6, 60), line=draw.choice(list("abc"), 60), sold=months(60))
    answers_hold(fit(table, ANYTHING), [*table.head(3).to_dicts(), UNSEEN])


@pytest.mark.parametrize("kind", ["below", "above"])
def test_bounds_alone_are_refused(kind):
    with pytest.raises(WorthError, match="No row is a sale") as refused:
        fit(sales([40.0, 50.0], kind=[kind] * 2), ANYTHING)
    refusal_helps(refused)


@pytest.mark.parametrize("tails", ["normal", "student"])
@pytest.mark.parametrize("kind", ["below", "above"])
def test_one_sale_among_many_bounds(tails, kind):
    """The estimate lies on the right side of the bounds, or the fit says that nothing ends its noise."""
    table = sales([40.0] + [60.0 if kind == "below" else 20.0] * 80, kind=["sale"] + [kind] * 80)
    fitted = fit(table, Spec(price="price", groups=["line"], kind="kind", tails=tails))
    answers_hold(fitted, [{"line": "a"}, UNSEEN])
    found = fitted.predict({"line": "a"})
    assert found["low_90"][0] < 40.0 < found["high_90"][0] or found["log_sd"][0] > 10.0
    assert 20.0 < found["median"][0] < 60.0 or any("no upper end" in w for w in fitted.report.warnings)


@pytest.mark.parametrize("tails", ["normal", "student"])
def test_bounds_that_contradict_every_sale(tails):
    """Sold at 100 twenty times, and said to be below 1 twenty times: an answer between them, and wide."""
    table = sales([100.0] * 20 + [1.0] * 20, kind=["sale"] * 20 + ["below"] * 20)
    fitted = fit(table, Spec(price="price", kind="kind", tails=tails))
    answers_hold(fitted, [NOTHING])
    found = fitted.predict(NOTHING)
    assert 1e-3 < found["median"][0] <= 101.0


def test_a_day_in_the_far_future_or_past():
    """Nothing is known about 2300, and the range says so."""
    draw = np.random.default_rng(5)
    table = sales(np.exp(draw.normal(3, 0.3, 48)), sold=months(48), line=draw.choice(list("ab"), 48))
    fitted = fit(table, ANYTHING)
    answers_hold(fitted, [{"line": "a"}, {"line": "stranger"}], dt.date(2300, 1, 1))
    answers_hold(fitted, [{"line": "a"}, {"line": "stranger"}], dt.date(1700, 1, 1))
    near, far = (fitted.predict({"line": "a"}, day)["log_sd"][0] for day in (dt.date(2024, 1, 1), dt.date(2300, 1, 1)))
    assert far >= near


def test_one_date_a_century_off():
    """A slip of the pen makes a calendar of a thousand months, not a failure."""
    table = sales([40.0, 50.0, 45.0], sold=[dt.date(1925, 1, 1), dt.date(2025, 1, 1), dt.date(2025, 2, 1)])
    answers_hold(fit(table, ANYTHING), [{"line": "a"}])


@pytest.mark.parametrize("bad", [0.0, -5.0, float("nan"), float("inf"), -float("inf"), None])
def test_a_price_that_is_none(bad):
    with pytest.raises(WorthError) as refused:
        fit(sales([40.0, bad, 50.0]), ANYTHING)
    refusal_helps(refused)
    assert "row 1" in refused.value.where


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_numbers_that_are_none_count_as_missing(bad):
    """A number, a grade or a multiplier that is none changes nothing that a missing one would not."""
    table = sales([40.0, 50.0, 45.0, 60.0] * 5, pieces=[1.0, bad, 2.0, 3.0] * 5, grade=[10.0, 50.0, bad, 90.0] * 5)
    missing = sales([40.0, 50.0, 45.0, 60.0] * 5, pieces=[1.0, None, 2.0, 3.0] * 5, grade=[10.0, 50.0, None, 90.0] * 5)
    fitted = fit(table, ANYTHING)
    answers_hold(fitted, [{"line": "a", "pieces": bad, "grade": bad}])
    assert fitted.predict(missing)["median"].to_numpy() == pytest.approx(
        fit(missing, ANYTHING).predict(missing)["median"].to_numpy(),
        rel=1e-6,  # the rows' order is another
    )


@pytest.mark.parametrize("wide", [0.0, -1.0])
def test_a_multiplier_that_is_not_positive_is_refused(wide):
    table = sales([40.0, 50.0]).with_columns(wide=pl.Series([1.0, wide]))
    with pytest.raises(WorthError) as refused:
        fit(table, Spec(price="price", wider="wide"))
    refusal_helps(refused)


def test_empty_words_and_nulls_in_every_column():
    table = sales([40.0, 50.0, 45.0], line=["", None, ""], release=["", "", None], venue=["", None, ""],
                  seller=["", "", None], flaws=[[""], [None], None], grader=["", None, ""])  # fmt: skip
    answers_hold(fit(table, ANYTHING), [*table.to_dicts(), NOTHING, UNSEEN])


def test_columns_of_nothing_but_nulls():
    names = ["line", "release", "seller", "venue", "flaws", "pieces", "grade", "grader", "sold", "kind"]
    table = pl.DataFrame({"price": [40.0, 50.0, 45.0], **{name: [None] * 3 for name in names}})
    answers_hold(fit(table, ANYTHING), [*table.to_dicts(), NOTHING, UNSEEN])


def test_no_rows_and_no_such_column_are_refused():
    for table in (sales([]), pl.DataFrame({"price": [1.0]})):
        with pytest.raises(WorthError) as refused:
            fit(table, ANYTHING)
        refusal_helps(refused)


def test_every_row_twice():
    """Duplicate rows count twice: the range of the middle is narrower, the estimate hardly moves."""
    draw = np.random.default_rng(6)
    table = sales(np.exp(draw.normal(3, 0.4, 30)), line=draw.choice(list("abc"), 30))
    spec = Spec(price="price", groups=["line"], tails="normal")
    one, two = fit(table, spec), fit(pl.concat([table, table]), spec)
    answers_hold(two, [{"line": "a"}, UNSEEN])
    assert two.predict({"line": "a"})["log_median"][0] == pytest.approx(
        one.predict({"line": "a"})["log_median"][0], abs=0.1
    )
    assert two.predict({"line": "a"})["log_sd"][0] < one.predict({"line": "a"})["log_sd"][0]


@pytest.mark.parametrize("direction", ["increasing", "decreasing", "free"])
def test_a_curve_over_one_distinct_value(direction):
    """One grade alone makes no curve: whatever grade is asked about, the answer is the same."""
    table = sales([40.0, 50.0, 45.0, 55.0], grade=[70.0] * 4)
    fitted = fit(table, Spec(price="price", curves={"grade": direction}, tails="normal"))
    answers_hold(fitted, [{"grade": 70.0}, {"grade": 10.0}, NOTHING])
    assert fitted.predict({"grade": 10.0})["median"][0] == fitted.predict({"grade": 70.0})["median"][0]


@pytest.mark.parametrize(
    "knots", [0, 1, -2, (), (50.0,), (50.0, 50.0), (0.0, float("nan"), 100.0), (0.0, float("inf"))]
)
def test_a_curve_without_two_knots_is_refused(knots):
    with pytest.raises(WorthError) as refused:
        Curve("increasing", knots=knots)
    refusal_helps(refused)


@pytest.mark.parametrize("tails", ["normal", "student"])
def test_every_row_its_own_level(tails):
    """Noise and level cannot be told apart; their sum can, and a new piece has the range of all."""
    draw = np.random.default_rng(7)
    prices = np.exp(draw.normal(3, 0.5, 60))
    table = sales(prices, line=[f"l{i}" for i in range(60)])
    fitted = fit(table, Spec(price="price", groups=["line"], tails=tails))
    answers_hold(fitted, [table.row(0, named=True), UNSEEN])
    found = fitted.predict(UNSEEN)
    # Normal theory: half a range of nine in ten is 1.645 standard deviations (and their own error, 10 %).
    half = np.log(found["high_90"][0] / found["low_90"][0]) / 2
    assert half == pytest.approx(1.645 * np.log(prices).std(), rel=0.15)


@pytest.mark.parametrize("unit", [1e-9, 1e9])
def test_units_change_nothing_but_the_unit(unit):
    """Prices and numbers in other units: the same model, to what a search's own stop leaves open."""
    draw = np.random.default_rng(8)
    x = draw.normal(10, 2, 80)
    line = draw.choice(list("abcd"), 80)
    prices = np.exp(3 + 0.1 * x + draw.normal(0, 0.3, 80))
    table = sales(prices, pieces=x, grade=x, line=line, sold=months(80))
    other = sales(prices * unit, pieces=x * unit, grade=x / unit, line=line, sold=months(80))
    one, two = fit(table, ANYTHING), fit(other, ANYTHING)
    answers_hold(two, other.head(2).to_dicts())
    assert two.predict(other)["median"].to_numpy() / unit == pytest.approx(
        one.predict(table)["median"].to_numpy(), rel=1e-4
    )


@pytest.mark.parametrize("unit", [1e-9, 1e9])
def test_units_of_a_plain_response_change_nothing_but_the_unit(unit):
    draw = np.random.default_rng(9)
    table = pl.DataFrame({"y": draw.normal(-2, 1, 60), "g": draw.choice(list("abcd"), 60)})
    spec = Spec(price="y", groups=["g"], scale="plain", tails="normal")
    one, two = fit(table, spec), fit(table.with_columns(pl.col("y") * unit), spec)
    found = {k: v / unit**2 for k, v in two.components.items()}
    assert found == pytest.approx(one.components, rel=1e-4, abs=1e-7)
    assert two.predict({"g": "a"})["median"][0] / unit == pytest.approx(one.predict({"g": "a"})["median"][0], rel=1e-5)


def test_far_from_zero_a_plain_response_keeps_its_digits():
    """A level of 1e9 with a spread of 1: the spread is found all the same."""
    draw = np.random.default_rng(10)
    table = pl.DataFrame({"y": 1e9 + draw.normal(0, 1, 200), "g": draw.choice(list("abcd"), 200)})
    fitted = fit(table, Spec(price="y", groups=["g"], scale="plain", tails="normal"))
    assert fitted.report.converged
    assert fitted.components["residual"] == pytest.approx(1.0, rel=0.3)


@pytest.mark.parametrize("column", ["sold", "kind", "line", "grade"])
def test_a_column_of_another_type_is_read_or_refused(column):
    table = sales([40.0, 50.0, 45.0]).with_columns(pl.Series(column, [True, False, True]))
    try:
        fitted = fit(table, ANYTHING)
    except WorthError as refused:
        assert refused.mend  # noqa: PT017 - either outcome is lawful
    else:
        answers_hold(fitted, [{"line": "a"}])


def test_an_estimate_far_outside_all_that_was_seen():
    """A slope carried a million times too far: prices stay positive and finite, and ranges say that nobody knows."""
    draw = np.random.default_rng(11)
    x = draw.normal(size=40)
    table = sales(np.exp(3 + 0.3 * x + draw.normal(0, 0.3, 40)), pieces=x)
    for tails in ("normal", "student"):
        fitted = fit(table, Spec(price="price", numbers=["pieces"], tails=tails))
        for kind in ("next", "middle"):
            found = fitted.predict([{"pieces": 1e6}, {"pieces": -1e6}], kind=kind)
            assert np.isfinite(found.to_numpy()).all()
            assert (found["low_90"] > 0).all()
            assert (found["log_sd"] > 1e3).all()


# ---- random models on random tables

SHORT = settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    phases=(Phase.explicit, Phase.generate),  # shrinking refits hundreds of times
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
PRIOR = st.sampled_from(["weak", "flat", "learned", 0.3])


@st.composite
def specs(draw: st.DrawFn) -> Spec:
    """Any Spec over the columns of `tables`."""
    depth = draw(st.integers(0, 3))
    chain = ("line", "line/release", "line/release/form")[:depth]
    crossed = draw(st.sampled_from([(), ("seller",), ("seller", "venue/seller")])) if depth else ()
    factors = draw(st.lists(st.sampled_from(["venue", "flaws", "grader"]), unique=True))
    numbers = draw(st.lists(st.sampled_from(["pieces", "double", "constant"]), unique=True))
    walks = draw(st.sampled_from([(), ("market",), ("line",), ("market", "line")]))
    priors = {name: draw(PRIOR) for name in factors if draw(st.booleans())}
    priors |= {name: draw(st.sampled_from(["weak", "flat", 0.3])) for name in numbers if draw(st.booleans())}
    knots = st.sampled_from([2, 4, 8, (0.0, 50.0, 100.0), (40.0, 60.0)])
    curve = st.builds(Curve, st.sampled_from(["increasing", "decreasing", "free"]), st.sampled_from([None, "grader"]),
                      knots, st.sampled_from(["mean", "none"]))  # fmt: skip
    tails = draw(st.sampled_from(["student", "normal"]))
    return Spec(
        price="price",
        when="sold",
        groups=(*chain, *crossed),
        factors=factors,
        numbers=numbers,
        curves={"grade": draw(curve)} if draw(st.booleans()) else {},
        walks=tuple(w for w in walks if depth or w == "market"),
        kind=draw(st.sampled_from([None, "kind"])),
        wider=draw(st.sampled_from([None, "wider"])),
        spread_by=draw(st.sampled_from([(), ("form",)])),
        tails=tails,
        criterion=draw(st.sampled_from(["reml", "ml"])),
        priors=priors,
        nu=draw(st.sampled_from([None, 3.0])) if tails == "student" else None,
        overlooked=draw(st.sampled_from([0.0, 0.9])),
    )


@st.composite
def tables(draw: st.DrawFn) -> pl.DataFrame:
    """A small market of any shape: ordinary prices, wild ones, or few of them over and over."""
    n = draw(st.sampled_from([1, 2, 5, 12, 25, 40]))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    spread = draw(st.sampled_from([0.0, 1e-6, 0.4, 5.0]))
    levels = draw(st.sampled_from([1, 3, 40]))
    gaps = draw(st.sampled_from([0.0, 0.3, 1.0]))
    pick = lambda names: [None if rng.random() < gaps else str(v) for v in rng.choice(names, n)]  # noqa: E731
    kind = rng.choice(["sale", "below", "above"], n, p=[0.6, 0.3, 0.1])
    kind[rng.integers(n)] = "sale"
    pieces = rng.integers(1, 4, n).astype(float)
    days = rng.integers(0, draw(st.sampled_from([1, 800, 3000])), n)
    return sales(
        np.exp(draw(st.sampled_from([-10.0, 3.0, 12.0])) + spread * rng.standard_t(2, n)),
        line=pick([f"l{k}" for k in range(levels)]),
        release=pick([f"r{k}" for k in range(levels)]),
        seller=pick(["s1", "s2", "s3"]),
        venue=pick(["Quayside", "Harrow Lane"]),
        flaws=[[f for f in ("crease", "yellow") if rng.random() < 0.4] for _ in range(n)],
        pieces=[None if rng.random() < gaps else p for p in pieces],
        grade=[None if rng.random() < gaps else float(g) for g in rng.integers(0, 101, n)],
        grader=pick(["Northgate", "Plumb"]),
        sold=[None if rng.random() < gaps else dt.date(1950, 1, 1) + dt.timedelta(int(d)) for d in days],
        kind=kind.tolist(),
    ).with_columns(
        form=pl.Series(pick(["carded", "loose"]), dtype=pl.String), double=pl.Series(2 * pieces), constant=pl.lit(7.0),
        wider=pl.Series(rng.choice([0.5, 1.0, 1000.0], n)),
    )  # fmt: skip


@SHORT
@given(specs(), tables())
def test_any_model_of_any_table_answers_or_refuses(spec, table):
    """Seen, unseen and missing rows get finite, ordered, nested, additive answers, or the fit a refusal that helps."""
    try:
        fitted = fit(table, spec)
    except WorthError as refused:
        assert refused.what  # noqa: PT017 - either outcome is lawful
        assert refused.mend  # noqa: PT017
    else:
        answers_hold(fitted, [*table.head(2).to_dicts(), UNSEEN, NOTHING])
