"""A fit explains itself: its sums hold against dense formulas, and what was planted is found, no more."""

# ruff: noqa: N806 - matrices keep the capitals of the papers they come from

from __future__ import annotations

import datetime as dt
import json

import numpy as np
import polars as pl
import pytest

from hangtab.worth import Diagnosis, Spec, fit
from hangtab.worth.residuals import clean_noise
from tests.unit.worth.world import SPEC, market

DENSE = Spec(
    price="price",
    when="sold",
    groups=("line", "line/release"),
    factors=("venue",),
    numbers=("doors",),
    walks=("market",),
    tails="normal",
)


def dense_table(rows=160, seed=3):
    rng = np.random.default_rng(seed)
    line, release, month = rng.integers(0, 4, rows), rng.integers(0, 4, rows), np.arange(rows) % 8
    venue, doors = rng.integers(0, 3, rows), rng.normal(size=rows)
    walk = np.cumsum(rng.normal(0, 0.2, 8))
    y = 3 + rng.normal(0, 0.6, 4)[line] + rng.normal(0, 0.4, 16)[4 * line + release] + 0.2 * venue + 0.1 * doors
    return pl.DataFrame(
        {
            "price": np.exp(y + walk[month] + rng.normal(0, 0.3, rows)),
            "line": [f"l{v}" for v in line],
            "release": [f"r{v}" for v in release],
            "venue": [f"v{v}" for v in venue],
            "doors": doors,
            "sold": [dt.date(2021, 1 + int(m), 3) for m in month],
        }
    )


def same(a, b):
    return (np.asarray(a)[:, None] == np.asarray(b)[None, :]).astype(float)


@pytest.fixture(scope="module")
def dense():
    """A small fit, the variance matrix of each of its components, and what projects the prices on what is left."""
    table = dense_table()
    fitted = fit(table, DENSE)
    found = fitted.components
    y = np.log(table["price"].to_numpy())
    path = (table["line"] + table["release"]).to_numpy()
    knot = np.array([d.month for d in table["sold"].to_list()], float)
    z = (table["doors"].to_numpy() - table["doors"].mean()) / table["doors"].std(ddof=0)
    parts = {
        "line": found["line"] * same(table["line"].to_numpy(), table["line"].to_numpy()),
        "line/release": found["line/release"] * same(path, path),
        "market walk": found["market walk"] * np.minimum(knot[:, None], knot[None, :]),
        "venue": y.var() * same(table["venue"].to_numpy(), table["venue"].to_numpy()),
        "doors": y.var() * np.outer(z, z),
    }
    V = sum(parts.values()) + found["residual"] * np.eye(len(y))
    one, inverse = np.ones((len(y), 1)), np.linalg.inv(V)
    P = inverse - inverse @ one @ np.linalg.solve(one.T @ inverse @ one, one.T @ inverse)
    return fitted, parts, P, y


# ---- degrees of freedom and shares


def test_degrees_of_freedom_are_traces_of_the_hat_matrix(dense):
    """A component's fitted part is V P y, so its degrees of freedom are tr(V P); the residual ones tr(s2 P)."""
    fitted, parts, P, _ = dense
    found = fitted.diagnosis()
    effective = dict(found.freedom.select("component", "effective").iter_rows())
    for name, V in parts.items():
        assert effective[name] == pytest.approx(float((V * P).sum()), abs=1e-8), name
    assert effective["intercept"] == pytest.approx(1.0, abs=1e-8)
    assert found.residual == pytest.approx(fitted.components["residual"] * float(np.trace(P)), abs=1e-8)


@pytest.mark.parametrize("bounds", [0.0, 0.2])
def test_degrees_of_freedom_add_up_to_the_rows(bounds):
    found = fit(market(bounds=bounds), SPEC).diagnosis()
    assert found.freedom["effective"].sum() + found.residual == pytest.approx(900, abs=1e-6)
    assert (found.freedom["effective"] <= found.freedom["of"] + 1e-9).all()


def test_a_balanced_layout_has_its_closed_form():
    """One-way analysis of variance, a groups of n: shrinkage L = 1 - MSW/MSB, so the groups take (a - 1) L."""
    rng = np.random.default_rng(2)
    a, n = 12, 5
    y = rng.normal(0, 0.5, a)[:, None] + rng.normal(0, 0.4, (a, n))
    means = y.mean(axis=1)
    within = ((y - means[:, None]) ** 2).sum() / (a * (n - 1))
    between = n * means.var(ddof=1)
    table = pl.DataFrame({"price": np.exp(y.ravel()), "make": [f"m{i}" for i in range(a) for _ in range(n)]})
    found = fit(table, Spec(price="price", groups=("make",), tails="normal")).diagnosis()
    took = (a - 1) * (1 - within / between)
    # The fit stops within 1e-9 of the criterion's lowest point: four digits of a variance.
    assert found.freedom.row(0) == ("make", pytest.approx(took, rel=1e-4), a)
    assert found.residual == pytest.approx(a * n - 1 - took, rel=1e-4)


def test_shares_add_up_and_are_those_of_the_fitted_parts(dense):
    fitted, parts, P, y = dense
    found = fitted.diagnosis().shares
    assert found["share"].sum() == pytest.approx(1.0, abs=1e-12)
    for name, V in parts.items():
        row = found.row(by_predicate=pl.col("component") == name, named=True)
        part = V @ P @ y
        assert row["own"] == pytest.approx(part.var() / y.var(), rel=1e-6, abs=1e-9)
        assert row["share"] == pytest.approx(np.cov(part, y, ddof=0)[0, 1] / y.var(), rel=1e-6, abs=1e-9)


def test_the_largest_values_have_the_errors_of_the_dense_formula(dense):
    """With k a value against the sales' mean, its mode is v k'X'Py and its variance v k'k - v^2 k'X'PXk."""
    fitted, _, P, y = dense
    found = fitted.diagnosis().largest
    table, v = fitted.table, fitted.components
    for name, value, sales, estimate, se in found.filter(pl.col("component").is_in(["line", "venue"])).iter_rows():
        names = np.unique(table[name].to_numpy())
        X = same(table[name].to_numpy(), names)
        k = (names == value) - X.mean(axis=0)
        prior = v["line"] if name == "line" else y.var()
        assert sales == (table[name] == value).sum()
        assert estimate == pytest.approx(prior * (X @ k @ P @ y), abs=1e-6)
        assert se == pytest.approx(np.sqrt(prior * k @ k - prior**2 * (X @ k @ P @ X @ k)), rel=1e-6)
    doors = found.row(by_predicate=pl.col("component") == "doors", named=True)
    known = fitted.coefficients.row(by_predicate=pl.col("term") == "doors", named=True)
    assert (doors["estimate"], doors["se"]) == pytest.approx((known["estimate"], known["se"]))


# ---- residuals and influence


def test_clean_noise_is_cauchy_for_one_degree_of_freedom():
    """Quartile 1, density 1/pi in the middle and half of it there; half of it lies beyond one (closed form)."""
    noise = clean_noise(1.0)
    assert (noise.quartile, noise.peak, noise.side) == pytest.approx((1.0, 1 / np.pi, 0.5 / np.pi))
    assert noise.low == pytest.approx(0.5)
    assert clean_noise(float("inf")).low == 0.0


def test_influence_is_the_leave_one_out_shift_of_the_dense_formula(dense):
    """DFFITS with the hat matrix H = I - s2 P (Belsley, Kuh & Welsch 1980, section 2.1)."""
    fitted, _, P, y = dense
    s2 = fitted.components["residual"]
    H = np.eye(len(y)) - s2 * P
    h, r = np.diag(H), s2 * P @ y
    moves = r * h / (1 - h) / np.sqrt(s2 * h)
    found = fitted.diagnosis().influence
    assert found["row"].to_list() == np.argsort(-np.abs(moves))[:20].tolist()
    assert found["moves"].to_numpy() == pytest.approx(moves[found["row"].to_numpy()], rel=1e-6)
    assert found["leverage"].to_numpy() == pytest.approx(h[found["row"].to_numpy()], rel=1e-8)


def test_influence_agrees_with_leave_one_out():
    fitted = fit(market(), SPEC)
    left = fitted.leave_one_out()
    known = dict(zip(left["row"], (left["log_price"] - left["log_median"]).to_list(), strict=True))
    for row, off in fitted.diagnosis().influence.select("row", "off").iter_rows():
        assert off == pytest.approx(known[row], rel=1e-9)


def wobbly(seed=0, rows=1200):
    """Sales in which one venue is three times as noisy, and one quarter dearer by a quarter than the model knows."""
    rng = np.random.default_rng(seed)
    venue, day = rng.integers(0, 4, rows), rng.integers(0, 8, rows)
    y = rng.normal(0, 0.4, 30)[np.arange(rows) % 30] + np.where(venue == 3, 0.6, 0.2) * rng.normal(size=rows)
    y = y + np.where(day == 5, np.log(1.25), 0.0)
    sold = [dt.date(2022 + int(d) // 4, 1 + 3 * (int(d) % 4), 10) for d in day]
    return pl.DataFrame(
        {"price": np.exp(3 + y), "make": [f"m{i % 30}" for i in range(rows)], "venue": [f"v{v}" for v in venue],
         "sold": sold}
    )  # fmt: skip


def test_a_noisy_class_and_a_dear_quarter_are_flagged_and_nothing_else():
    spec = Spec(price="price", when="sold", groups=("make",), factors=("venue",))
    found = fit(wobbly(), spec).diagnosis()
    flagged = found.classes.filter(pl.col("flag") != "").select("by", "value", "flag").rows()
    assert flagged == [("venue", "v3", "wide")]
    assert found.times.filter(pl.col("flag") != "").select("value", "flag").rows() == [("2023 Q2", "high")]
    assert found.times["sales"].sum() == 1200


def test_long_tables_are_told_by_year():
    old = pl.int_range(pl.len()) % 2 == 0
    sold = pl.when(old).then(pl.col("sold").dt.offset_by("-11y")).otherwise("sold")
    table = wobbly().with_columns(sold=sold)
    found = fit(table, Spec(price="price", when="sold", groups=("make",))).diagnosis().times
    assert found["by"].unique().to_list() == ["year"]
    assert found["value"].to_list() == ["2011", "2012", "2022", "2023"]


# ---- what cannot be told apart


def crossed(rows=1000, seed=0, **columns):
    """Sales of 40 makes over five venues and four ways of selling, all crossed; `columns` replace some."""
    rng = np.random.default_rng(seed)
    out = {
        "make": np.array([f"m{i}" for i in rng.integers(0, 40, rows)]),
        "venue": rng.choice(["Quayside", "Harrow Lane", "The Swap Shed", "The Pier", "private"], rows),
        "way": rng.choice(["auction", "fixed", "trade", "offer"], rows),
    }
    out |= {name: made(out) for name, made in columns.items()}
    for name in ("make", "venue", "way"):
        _, which = np.unique(out[name], return_inverse=True)
        out[f"{name} effect"] = rng.normal(0, 0.4, which.max() + 1)[which]
    y = sum(v for name, v in out.items() if name.endswith("effect")) + 0.3 * rng.normal(size=rows)
    return pl.DataFrame({"price": np.exp(3 + y)} | {k: v for k, v in out.items() if not k.endswith("effect")})


LEARNED = {"venue": "learned", "way": "learned"}
CROSSED = Spec(price="price", groups=("make",), factors=("venue", "way"), priors=LEARNED)


@pytest.mark.parametrize("seed", range(4))
def test_crossed_effects_give_no_warning(seed):
    assert fit(crossed(seed=seed), CROSSED).diagnosis().confounded == ()


def test_simulated_market_gives_no_warning():
    assert fit(market(2000, seed=4), SPEC).diagnosis().confounded == ()


def alike(out):
    """The way of selling is "auction" at Harrow Lane, and nowhere else."""
    elsewhere = np.where(out["way"] == "auction", "fixed", out["way"])
    return np.where(out["venue"] == "Harrow Lane", "auction", elsewhere)


def almost_alike(out):
    found = alike(out)
    found[np.flatnonzero(out["venue"] == "Quayside")[0]] = "auction"
    return found


def test_a_venue_and_a_way_that_always_come_together_are_named():
    table = crossed(way=alike)
    n = (table["venue"] == "Harrow Lane").sum()
    (found,) = fit(table, CROSSED).diagnosis().confounded
    assert (found.kind, found.effects) == ("pair", (("venue", "Harrow Lane"), ("way", "auction")))
    assert found.text == (
        f"venue “Harrow Lane” and way “auction” always come together ({n} of {n} sales): the split between them is a "
        "guess; worths that mix them are as wide as they must be."
    )


def test_one_sale_more_is_nearly_always_and_thirty_tell_them_apart():
    (found,) = fit(crossed(way=almost_alike), CROSSED).diagnosis().confounded
    assert found.either - found.together == 1
    assert "nearly always come together" in found.text

    def told(out):
        way = alike(out)
        way[np.flatnonzero(out["venue"] == "Quayside")[:30]] = "auction"
        return way

    assert fit(crossed(way=told), CROSSED).diagnosis().confounded == ()


def test_the_split_left_open_is_that_of_the_prior():
    """With every sale in both, the split has no data: its variance is v w / (v + w), to the mean of each factor."""
    fitted = fit(crossed(way=alike), CROSSED)
    (found,) = fitted.diagnosis().confounded
    parts = []
    for name, value in found.effects:
        share = fitted.table[name].value_counts(normalize=True)
        w = dict(share.iter_rows())
        parts.append(fitted.components[name] * (1 - 2 * w[value] + sum(x * x for x in w.values())))
    assert found.sd <= np.sqrt(parts[0] * parts[1] / sum(parts)) * 1.001
    # The other values of both factors are crossed and tell a little of these two through their means.
    assert found.sd == pytest.approx(np.sqrt(parts[0] * parts[1] / sum(parts)), rel=0.25)


def test_a_value_of_one_group_only_is_named_when_the_group_has_no_other():
    def only(out):
        return np.where(out["make"] == "m7", "The Pier", np.where(out["venue"] == "The Pier", "private", out["venue"]))

    found = fit(crossed(2000, venue=only), CROSSED).diagnosis().confounded
    assert [(c.kind, c.effects) for c in found] == [("node", (("venue", "The Pier"), ("make", "m7")))]
    assert found[0].together == found[0].either

    def also(out):
        """The venue sold one make only, but the make sold elsewhere as well: the two are told apart."""
        venue = only(out)
        venue[np.flatnonzero(out["make"] == "m7")[::2]] = "Quayside"
        return venue

    assert fit(crossed(2000, venue=also), CROSSED).diagnosis().confounded == ()


def test_a_value_that_every_sale_has_is_named():
    def everywhere(out):
        return np.full(len(out["make"]), "Quayside")

    spec = Spec(price="price", groups=("make",), factors=("venue", "way"))
    (found,) = fit(crossed(venue=everywhere), spec).diagnosis().confounded
    assert found.text == "Every sale has venue “Quayside”: what it adds is part of the level of all prices."


def test_flat_columns_that_move_together_are_named():
    table = crossed().with_columns(a=pl.int_range(pl.len()) % 7).with_columns(b=3 - 2 * pl.col("a"))
    spec = Spec(price="price", groups=("make",), numbers=("a", "b"), priors={"a": "flat", "b": "flat"})
    (found,) = fit(table, spec).diagnosis().confounded
    assert found.text == "a and b always move together: the split between them is a guess."
    apart = table.with_columns(b=pl.int_range(pl.len()) % 5)
    assert fit(apart, spec).diagnosis().confounded == ()


def test_weak_numbers_that_move_together_are_named():
    table = crossed().with_columns(a=pl.int_range(pl.len()) % 7).with_columns(b=3 - 2 * pl.col("a"))
    (found,) = fit(table, Spec(price="price", groups=("make",), numbers=("a", "b"))).diagnosis().confounded
    assert found.effects == (("a", ""), ("b", ""))


def nested(children):
    """60 makes with `children` models each (of every tenth make: two), five sales a model."""
    rng = np.random.default_rng(1)
    rows, own = [], {}
    for make in range(60):
        for model in range(2 if make % 20 == 0 else children):
            own[make] = own.get(make, rng.normal(0, 0.4))
            y = 3 + own[make] + rng.normal(0, 0.4) + 0.2 * rng.normal(size=5)
            rows += [{"price": float(np.exp(v)), "make": f"m{make}", "model": f"k{model}"} for v in y]
    return pl.DataFrame(rows)


def test_variances_of_a_level_with_one_child_are_named():
    spec = Spec(price="price", groups=("make", "make/model"), tails="normal")
    (found,) = fit(nested(1), spec).diagnosis().confounded
    assert found.text == (
        "The spread of make and the spread of make/model can hardly be told apart: 57 of 60 hold one only. "
        "Their sum is known."
    )
    assert fit(nested(3), spec).diagnosis().confounded == ()


def test_variances_have_the_errors_of_a_balanced_layout():
    """Var(log s2) = 2/df within (Searle, Casella & McCulloch 1992, ch. 4, from memory): the residual's 95 % range."""
    rng = np.random.default_rng(5)
    y = rng.normal(0, 0.5, 40)[:, None] + rng.normal(0, 0.3, (40, 6))
    table = pl.DataFrame({"price": np.exp(y.ravel()), "make": [f"m{i}" for i in range(40) for _ in range(6)]})
    found = fit(table, Spec(price="price", groups=("make",), tails="normal")).diagnosis().variances
    _, value, low, high = found.row(by_predicate=pl.col("component") == "residual")
    half = 1.96 * np.sqrt(2 / 200)
    assert (low, high) == pytest.approx((value * np.exp(-half), value * np.exp(half)), rel=1e-3)


def test_too_few_sales_for_the_effects_are_told():
    """Twenty makes sold once and three sold twice at nearly one price: 23 effects for 26 sales, three left over."""
    rng = np.random.default_rng(0)
    make = [*range(20), 20, 20, 21, 21, 22, 22]
    y = 3 + rng.normal(0, 0.5, 23)[make] + rng.normal(0, 1e-3, 26)
    table = pl.DataFrame({"price": np.exp(y), "make": [f"m{i}" for i in make]})
    found = fit(table, Spec(price="price", groups=("make",), tails="normal")).diagnosis()
    assert found.sales_left == pytest.approx(3.0, abs=0.01)
    assert found.warnings[0] == (
        "The effects take 23.0 of 26 sales' worth: too few are left to say how far single prices stray."
    )
    # A make sold once is its own estimate: nothing else says what it would be without that sale.
    assert set(found.influence["row"]) == {20, 21, 22, 23, 24, 25}
    assert fit(crossed(), CROSSED).diagnosis().warnings == ()


def test_a_diagnosis_survives_json():
    found = fit(market(), SPEC).diagnosis()
    again = Diagnosis.from_dict(json.loads(json.dumps(found.to_dict())))
    assert again.warnings == found.warnings
    assert again.report == found.report
    for name in ("freedom", "shares", "largest", "variances", "classes", "times", "influence"):
        assert getattr(again, name).equals(getattr(found, name)), name
