"""Each kind of evidence says what its formula says: against quadrature, closed forms and a plain minimiser (scipy)."""

from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest
from scipy import integrate, stats
from scipy.optimize import approx_fprime

from hangtab.worth import Spec, SpecError, TableError, fit
from hangtab.worth.listings import Hazard, learn_hazard, say_listings
from hangtab.worth.lots import learn_lots
from hangtab.worth.mixtures import Broad, responsibilities
from hangtab.worth.offers import USUAL, learn_ratio, offer_information, say_offers
from hangtab.worth.pull import silent
from hangtab.worth.sheet import LISTING, SOLD
from hangtab.worth.tails import overlook, say_bounds

EVERY = np.ones(1, bool)


def said(fill, x):
    """All six figures of one row at the distance x, and the log likelihood's own derivatives by finite differences."""
    out = silent(1)
    fill(out, x)
    h = 1e-4

    def loglik(at):
        shifted = silent(1)
        fill(shifted, at)
        return shifted.loglik[0]

    up, mid, down = loglik(x + h), loglik(x), loglik(x - h)
    # x is a response less eta: the slope in eta has the other sign.
    return SimpleNamespace(out=out, slope=-(up - down) / (2 * h), bend=-(up - 2 * mid + down) / h**2)


@pytest.mark.parametrize("nu", [1.5, 4.0, 30.0, np.inf])
@pytest.mark.parametrize("x", [-3.0, -0.2, 0.0, 0.7, 8.0])
def test_a_hidden_offer_is_a_price_with_the_spread_of_what_sellers_accept(nu, x):
    scale, sd = 0.3, 0.15

    def fill(out, at):
        say_offers(out, EVERY, np.array([at]), np.array([scale]), (nu, sd))

    got = said(fill, x)
    noise = stats.norm(scale=scale) if np.isinf(nu) else stats.t(nu, scale=scale)
    density = integrate.quad(
        lambda r: noise.pdf(x - r) * stats.norm.pdf(r, scale=sd), -9, 9, points=[-sd, 0.0, sd, x], epsabs=0, limit=500
    )[0]
    expected = stats.norm.logpdf(x, scale=np.hypot(scale, sd)) if np.isinf(nu) else np.log(density)
    assert got.out.loglik[0] == pytest.approx(expected, abs=1e-8)
    assert got.out.slope[0] == pytest.approx(got.slope, rel=1e-5, abs=1e-6)
    assert got.out.bend[0] == pytest.approx(got.bend, rel=1e-4, abs=1e-4)


def test_a_hidden_offer_s_information_is_that_of_its_parts():
    """With nothing to doubt about the ratio it is a price: (nu + 1) / (nu + 3) / scale^2 (Lange, Little & Taylor 1989);
    with all doubt there, the normal's."""
    assert offer_information(np.array([0.3]), 1e-6, 4.0)[0] == pytest.approx(5 / 7 / 0.09, rel=1e-4)
    assert offer_information(np.array([1e-4]), 0.2, 4.0)[0] == pytest.approx(1 / 0.04, rel=1e-3)


def test_the_accepted_share_of_asks_is_learned_from_pairs():
    rng = np.random.default_rng(4)
    days = rng.exponential(40, 400)
    ratio = -0.16 - 0.03 * (np.log1p(days) - np.log1p(days).mean()) + rng.normal(0, 0.08, 400)
    ratio[:8] = -3.0  # asks mistyped by a factor of twenty
    learned = learn_ratio(ratio, days, np.zeros(400))
    assert learned.mean == pytest.approx(-0.16, abs=0.02)
    assert learned.slope == pytest.approx(-0.03, abs=0.015)
    assert learned.sd < 0.16
    assert learn_ratio(np.zeros(0), np.zeros(0), np.zeros(0)).mean == USUAL


def test_hidden_offers_teach_the_ratio_with_the_doubt_about_their_worth():
    rng = np.random.default_rng(4)
    ratio = rng.normal(-0.3, 0.1, 800)
    learned = learn_ratio(ratio + rng.normal(0, 0.4, 800), np.full(800, np.nan), np.full(800, 0.16))
    assert learned.mean == pytest.approx(-0.3, abs=0.04)
    assert learned.sd < 0.2
    assert learned.slope == 0.0


@pytest.mark.parametrize("kind", [SOLD, LISTING])
@pytest.mark.parametrize("x", [-1.0, 0.0, 0.4, 2.0])
def test_a_listing_says_its_hazard_with_the_frailty_integrated_out(kind, x):
    hazard, days = Hazard(level=np.log(1 / 30), slope=3.0, frailty=0.6), 45.0

    def fill(out, at):
        say_listings(out, EVERY, np.array([at]), np.array([days]), np.array([kind]), hazard)

    got = said(fill, x)
    h = np.exp(hazard.level - hazard.slope * x)
    frailty = stats.gamma(1 / 0.6, scale=0.6)
    told = (lambda z: z * h * np.exp(-z * h * days)) if kind == SOLD else (lambda z: np.exp(-z * h * days))
    assert got.out.loglik[0] == pytest.approx(np.log(frailty.expect(told)), abs=1e-6)
    assert got.out.slope[0] == pytest.approx(got.slope, rel=1e-5, abs=1e-6)
    assert got.out.bend[0] == pytest.approx(got.bend, rel=1e-4, abs=1e-5)


@pytest.mark.parametrize("kind", [SOLD, LISTING])
def test_a_listing_s_em_weight_never_overshoots(kind):
    """The quadratic with the EM weight that touches the log likelihood at one point lies below it everywhere."""
    hazard, far = Hazard(level=np.log(1 / 30), slope=3.0, frailty=0.6), np.linspace(-4, 4, 161)
    every, days = np.ones(len(far), bool), np.full(len(far), 45.0)
    out = silent(len(far))
    say_listings(out, every, far, days, np.full(len(far), kind), hazard)
    for i in range(0, len(far), 20):
        gap = far[i] - far  # in eta
        lower = out.loglik[i] + out.slope[i] * gap - 0.5 * out.weight[i] * gap**2
        assert (lower <= out.loglik + 1e-9).all()


def test_the_hazard_of_listings_is_learned():
    rng = np.random.default_rng(8)
    n, truth = 4000, Hazard(level=np.log(1 / 50), slope=4.0, frailty=0.5)
    over = rng.normal(0.1, 0.4, n)
    doubt = rng.normal(0, 0.2, n)  # worths are known only so well, and err either way from what is said of them
    rate = np.exp(truth.level - truth.slope * (over + doubt)) * rng.gamma(2.0, 0.5, n)
    wait = rng.exponential(1 / rate)
    stop = rng.uniform(5, 120, n)
    kind = np.where(wait < stop, SOLD, LISTING)
    learned = learn_hazard(over, np.full(n, 0.04), np.minimum(wait, stop), kind)
    assert learned.slope == pytest.approx(4.0, abs=0.6)
    assert learned.level == pytest.approx(truth.level, abs=0.2)
    assert learned.frailty == pytest.approx(0.5, abs=0.35)
    plain = learn_hazard(over, np.zeros(n), np.minimum(wait, stop), kind)
    assert plain.frailty > learned.frailty + 0.2, "doubt about the worth is taken for frailty where it is not told"


def test_responsibilities_are_prior_times_likelihood():
    """Two candidates and none: Bayes by hand."""
    broad, y = Broad(3.0, 1.0), np.array([4.0, 4.0])
    like = stats.norm.logpdf(4.0, [4.1, 2.0], 0.3)
    rho, logs = responsibilities(like, y, np.array([0.3, 0.5]), np.array([0, 0]), broad)
    parts = np.array([0.3 * np.exp(like[0]), 0.5 * np.exp(like[1]), 0.2 * stats.norm.pdf(4.0, 3.0, 1.0)])
    assert rho == pytest.approx(parts[:2] / parts.sum(), rel=1e-12)
    assert np.exp(logs[0]) == pytest.approx(parts.sum(), rel=1e-12)


def test_an_overlooked_bound_bends_as_its_formula_says():
    def fill(out, at):
        u, scale = np.array([at / 0.3]), np.array([0.3])
        say_bounds(out, EVERY, np.ones(1), u, scale, 4.0)
        overlook(out, EVERY, scale, 0.6)

    for x in (-0.5, 0.0, 0.5):
        got = said(fill, x)
        assert got.out.slope[0] == pytest.approx(got.slope, rel=1e-5)
        assert got.out.bend[0] == pytest.approx(got.bend, rel=1e-4, abs=1e-5)


def test_the_discount_of_lots_is_learned_with_the_doubt_about_their_pieces():
    rng = np.random.default_rng(2)
    over = rng.normal(-0.3, 0.2, 600) + rng.normal(0, 0.3, 600)
    learned = learn_lots(over, np.full(600, 0.09))
    assert learned.discount == pytest.approx(-0.3, abs=0.04)
    assert learned.sd < 0.3


# ---- all kinds at once
KINDS = Spec(
    price="price", groups=["piece"], kind="kind", ask="ask", days="days", evidence="id", share="share", tails="normal"
)


def market(seed=11, sales=90, pieces=9):
    """Invented sales of nine pieces, with some evidence of every other kind."""
    rng = np.random.default_rng(seed)
    worth = rng.normal(3.5, 0.8, pieces)
    rows = [
        {"id": f"s{i}", "piece": f"p{j}", "kind": "sale", "price": float(np.exp(worth[j] + rng.normal(0, 0.3)))}
        for i, j in enumerate(rng.integers(0, pieces - 1, sales))
    ]
    for i in range(20):
        j, ratio = int(rng.integers(0, pieces)), float(np.exp(rng.normal(-0.16, 0.1)))
        ask = float(np.exp(worth[j] + rng.normal(0, 0.3)) / ratio)
        rows.append(
            {"id": f"o{i}", "piece": f"p{j}", "kind": "offer", "ask": ask, "price": ask * ratio if i % 2 else None}
        )
    for i in range(20):
        j, days = int(rng.integers(0, pieces)), float(rng.integers(1, 90))
        ask = float(np.exp(worth[j] + rng.normal(0.1, 0.3)))
        rows.append(
            {
                "id": f"l{i}",
                "piece": f"p{j}",
                "kind": "listing",
                "ask": ask,
                "days": days,
                "price": ask if i % 3 == 0 else None,
            }
        )
    for i in range(6):
        own = rng.choice(pieces, 3, replace=False)
        total = float(np.exp(worth[own]).sum() * np.exp(rng.normal(-0.2, 0.2)))
        rows += [{"id": f"t{i}", "piece": f"p{j}", "kind": "lot", "price": total} for j in own]
    for i in range(6):
        j, other = rng.choice(pieces, 2, replace=False)
        price = float(np.exp(worth[j] + rng.normal(0, 0.3)))
        rows += [
            {"id": f"c{i}", "piece": f"p{k}", "kind": "sale", "price": price, "share": s}
            for k, s in ((j, 0.5), (other, 0.3))
        ]
    columns = ("id", "piece", "kind", "price", "ask", "days", "share")
    return pl.DataFrame([{c: row.get(c) for c in columns} for row in rows], infer_schema_length=None)


@pytest.fixture(scope="module")
def table():
    return market()


@pytest.fixture(scope="module")
def fitted(table):
    return fit(table, KINDS)


def minus_log_posterior(table, fitted):
    """The posterior of intercept and pieces written out with scipy, at the fit's variances and habits."""
    tau, sigma = fitted.components["piece"], np.sqrt(fitted.components["residual"])
    h = fitted.habits
    pieces = sorted(table["piece"].unique())
    parts = {kind: part for (kind,), part in table.group_by("kind")}

    def of(part, b):
        return b[0] + b[1:][[pieces.index(p) for p in part["piece"]]]

    def cost(b):
        total = 0.5 * (b[1:] ** 2).sum() / tau
        plain = table.filter(((pl.col("kind") == "sale") & pl.col("share").is_null()) | (
            (pl.col("kind") == "offer") & pl.col("price").is_not_null()))  # fmt: skip
        total -= stats.norm.logpdf(np.log(plain["price"]), of(plain, b), sigma).sum()
        hidden = parts["offer"].filter(pl.col("price").is_null())
        spread = np.hypot(sigma, h.ratio.sd)
        total -= stats.norm.logpdf(np.log(hidden["ask"]) + h.ratio.mean, of(hidden, b), spread).sum()
        listed = parts["listing"]
        log_rate = h.hazard.level - h.hazard.slope * (np.log(listed["ask"].to_numpy()) - of(listed, b))
        sold = listed["price"].is_not_null().to_numpy()
        survived = np.log1p(h.hazard.frailty * listed["days"].to_numpy() * np.exp(log_rate))
        total -= (sold * log_rate - (1 / h.hazard.frailty + sold) * survived).sum()
        for _, lot in parts["lot"].group_by("id"):
            said = np.log(np.exp(of(lot, b)).sum()) + h.lot.discount
            total -= stats.norm.logpdf(np.log(lot["price"][0]), said, h.lot.sd)
        for _, case in table.filter(pl.col("share").is_not_null()).group_by("id"):
            y, share = np.log(case["price"][0]), case["share"].to_numpy()
            none = (1 - share.sum()) * stats.norm.pdf(y, h.broad.mean, h.broad.sd)
            total -= np.log(share @ stats.norm.pdf(y, of(case, b), sigma) + none)
        return total

    return cost, pieces


def test_the_mode_of_all_kinds_together_is_that_of_the_plain_formula(table, fitted):
    cost, pieces = minus_log_posterior(table, fitted)
    split = [fitted.contributions({"piece": p}) for p in pieces]
    b = np.array([split[0]["intercept"], *(s["piece"] for s in split)])
    slope = approx_fprime(b, cost, 1e-6)
    assert np.abs(slope).max() < 2e-3, slope
    assert fitted.report.converged


def test_ranges_with_lots_are_those_of_the_whole_covariance(table, fitted):
    """Information of every row and lot gathered in one dense matrix, inverted."""
    state = fitted._state
    pieces = sorted(table["piece"].unique())
    frame, info = state.problem.sheet.frame, state.information
    design = np.column_stack([np.ones(len(frame)), *(np.array(frame["piece"] == p, float) for p in pieces)])
    system = design.T @ (info[:, None] * design)
    system[np.arange(1, len(system)), np.arange(1, len(system))] += 1 / fitted.components["piece"]
    for _, lot in table.filter(pl.col("kind") == "lot").group_by("id"):
        eta = np.array([fitted.predict({"piece": p})["log_median"][0] for p in lot["piece"]])
        u = np.zeros(len(system))
        u[0] = 1.0
        u[[1 + pieces.index(p) for p in lot["piece"]]] = np.exp(eta) / np.exp(eta).sum()
        system += np.outer(u, u) / fitted.habits.lot.sd**2
    inverse = np.linalg.inv(system)
    asked = np.column_stack([np.ones(len(pieces)), np.eye(len(pieces))])
    mean, cov = fitted.joint(pl.DataFrame({"piece": pieces}))
    assert cov == pytest.approx(asked @ inverse @ asked.T, rel=1e-8, abs=1e-12)
    sd = fitted.predict(pl.DataFrame({"piece": pieces}))["log_sd"].to_numpy()
    assert sd == pytest.approx(np.sqrt(np.diag(cov)), rel=1e-9)
    assert len(mean) == len(pieces)


def test_comparables_add_up_beside_lots_listings_and_candidates(fitted):
    for piece in ("p0", "p3", "p8"):
        grid = fitted.comparables({"piece": piece}, top=6)
        gains = grid.sales["gain"].to_numpy()
        log = (1 - gains.sum()) * np.log(grid.base) + gains @ np.log(grid.sales["adjusted"].to_numpy())
        assert np.exp(log) == pytest.approx(fitted.predict({"piece": piece})["median"][0], rel=1e-8)


def test_gains_are_how_far_an_estimate_follows_a_price_beside_lots():
    """Normal noise, lots only beside sales: the gain is the derivative (weights and mixes held), by refitting."""
    table = market().filter(pl.col("kind").is_in(["sale", "lot"]) & pl.col("share").is_null())
    fitted = fit(table, KINDS)
    row = table.with_row_index().filter((pl.col("piece") == "p1") & (pl.col("kind") == "sale"))["index"][0]
    gain = dict(fitted.comparables({"piece": "p1"}, top=100).sales.select("row", "gain").iter_rows())[row]
    moved = table.with_columns(price=pl.when(pl.int_range(pl.len()) == row).then(pl.col("price") * np.exp(1e-4))
                               .otherwise(pl.col("price")))  # fmt: skip
    from dataclasses import replace  # noqa: PLC0415

    from hangtab.worth.mode import Search  # noqa: PLC0415
    from hangtab.worth.problem import make_problem  # noqa: PLC0415
    from hangtab.worth.sheet import read_table  # noqa: PLC0415
    from hangtab.worth.variances import evaluate  # noqa: PLC0415

    def mode(rows):
        problem = replace(make_problem(KINDS, read_table(rows, KINDS)), habits=fitted.habits)
        point = evaluate(problem, fitted._state.logs, Search(tolerance=1e-12))
        at = (problem.sheet.frame["piece"] == "p1").to_numpy()
        return point.mode.eta[at][0]

    assert (mode(moved) - mode(table)) / 1e-4 == pytest.approx(gain, rel=0.02)


def test_a_price_moves_the_names_of_an_uncertain_sale_and_not_its_prior(table, fitted):
    named = fitted.named()
    assert named.columns == ["row", "share", "probability", "id"]
    assert len(named) == 12
    by = named.group_by("id").agg(pl.col("probability").sum())
    assert (by["probability"] <= 1 + 1e-9).all()
    assert set(named["share"].unique()) == {0.5, 0.3}


def test_a_revealed_offer_replaces_its_hidden_price():
    """The same accepted offer, hidden and then revealed: hidden it pulls toward ask times the usual ratio, revealed it
    is a sale like any other."""
    sales = pl.DataFrame({"piece": ["a"] * 6 + ["b"] * 6, "price": [40.0, 44, 38, 41, 45, 39, 90, 95, 88, 101, 93, 97],
                          "kind": ["sale"] * 12})  # fmt: skip
    spec = Spec(price="price", groups=["piece"], kind="kind", ask="ask", tails="normal")

    def worth(**last):
        extra = pl.DataFrame({"piece": ["a"], "kind": ["offer"], **{k: [v] for k, v in last.items()}})
        return fit(pl.concat([sales, extra], how="diagonal_relaxed"), spec).predict({"piece": "a"})["median"][0]

    low, high = worth(ask=40.0, price=None), worth(ask=80.0, price=None)
    assert low < high
    assert worth(ask=80.0, price=20.0) < low
    sold = pl.DataFrame({"piece": ["a"], "kind": ["sale"], "price": [20.0]})
    as_sale = fit(pl.concat([sales, sold], how="diagonal_relaxed"),
                  Spec(price="price", groups=["piece"], kind="kind", tails="normal"))  # fmt: skip
    assert worth(ask=80.0, price=20.0) == pytest.approx(as_sale.predict({"piece": "a"})["median"][0], rel=1e-9)


def test_listings_move_a_thin_worth_the_way_they_ended():
    """A piece sold once. Many sold fast at twice the price: it is worth more. None sold at that price: no more."""
    rng = np.random.default_rng(1)
    base = [{"piece": f"p{i % 12}", "kind": "sale", "price": float(np.exp(3 + 0.1 * (i % 12) + rng.normal(0, 0.25)))}
            for i in range(240)]  # fmt: skip
    base += [{"piece": f"p{i % 12}", "kind": "listing", "price": p, "ask": a, "days": d} for i in range(60)
             for a, d, p in [(float(np.exp(3 + 0.1 * (i % 12) + x)), dd, None if dd > 40 else 1.0)
                             for x, dd in ((-0.2, 10.0), (0.5, 90.0))]]  # fmt: skip
    spec = Spec(price="price", groups=["piece"], kind="kind", ask="ask", days="days")

    def worth(more):
        rows = [*base, {"piece": "rare", "kind": "sale", "price": 40.0}, *more]
        columns = ("piece", "kind", "price", "ask", "days")
        table = pl.DataFrame([{c: r.get(c) for c in columns} for r in rows], infer_schema_length=None)
        return fit(table, spec).predict({"piece": "rare"})["median"][0]

    alone = worth([])
    gone = worth([{"piece": "rare", "kind": "listing", "ask": 80.0, "days": 3.0, "price": 80.0}] * 3)
    stood = worth([{"piece": "rare", "kind": "listing", "ask": 42.0, "days": 200.0}] * 3)
    assert stood < alone < gone


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"kind": "listing"}, TableError, "days of a listing"),
        ({"kind": "offer", "price": None}, TableError, "price is missing"),
        ({"kind": "gift"}, TableError, "No such kind of row"),
        ({"kind": "listing", "ask": 5.0, "days": -2.0}, TableError, "days of a listing"),
        ({"kind": "lot", "price": 7.0, "id": None}, TableError, "id is missing"),
        ({"share": 1.4}, TableError, "share must be"),
        ({"share": 0.5, "kind": "lot"}, TableError, "several names"),
    ],
)
def test_a_row_that_contradicts_itself_is_refused_by_its_number(table, change, error, words):
    row = dict(table.row(0, named=True), **change)
    with pytest.raises(error, match=words) as caught:
        fit(pl.concat([table, pl.DataFrame([row], schema=table.schema)]), KINDS)
    assert f"row {len(table)}" in str(caught.value)


def test_rows_of_one_lot_must_agree_on_its_price(table):
    odd = pl.DataFrame([dict(table.filter(pl.col("kind") == "lot").row(0, named=True), price=1.0)], schema=table.schema)
    with pytest.raises(TableError, match="different prices"):
        fit(pl.concat([table, odd]), KINDS)


def test_listings_without_days_or_asks_are_refused_by_the_spec(table):
    with pytest.raises(SpecError, match="days"):
        fit(table.drop("days"), Spec(price="price", groups=["piece"], kind="kind", ask="ask", evidence="id"))
    with pytest.raises(SpecError, match="id"):
        Spec(price="price", share="share")


def test_a_stored_fit_keeps_its_habits(table, fitted):
    from hangtab.worth import Fitted  # noqa: PLC0415

    again = Fitted.from_bytes(fitted.to_bytes())
    assert again.habits == fitted.habits
    asked = pl.DataFrame({"piece": ["p0", "p5", "new"]})
    assert again.predict(asked).equals(fitted.predict(asked))
