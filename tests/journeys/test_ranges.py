"""Whether ranges hold what they promise: of the next sale against what came, of the middle against the demo's truth.

Each half-year of the last two is predicted by a fit of what came before it; its ranges are recalibrated on the four
half-years before that one, as `hangtab fit` would have done on the day.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl
import pytest
from scipy.special import ndtri

from hangtab.backtest.forecast import shown
from hangtab.backtest.peers import LastFive, Learner
from hangtab.backtest.rolling import Columns, Split, try_out
from hangtab.domain.subject import Subject
from hangtab.valuing import (
    CHAIN,
    book_spec,
    calibrate,
    form_of,
    half_years,
    predicted,
)
from hangtab.worth import Fitted, fit
from tests.journeys.conftest import AT

pytestmark = pytest.mark.slow
DAY = date.fromisoformat(AT)
HALVES, STEP = 4, timedelta(days=183)
VARIANT = list(CHAIN[:-1])
LEVELS = (50, 80, 90)
FEW = 2  # earlier sales of the same variant, whatever its form, up to which it is thin
OURS, PEERS = "Hangtab", ("the last five sales", "LightGBM")


@dataclass(frozen=True)
class Half:
    """A half-year: what came before, what came, and what the fit of the one says of the other, uncalibrated."""

    before: pl.DataFrame
    after: pl.DataFrame
    fitted: Fitted
    said: pl.DataFrame


@pytest.fixture(scope="module")
def halves(table):
    """The last eight half-years, newest first."""
    end = DAY + timedelta(days=1)
    parts = [*half_years(table, end), *half_years(table, end - HALVES * STEP)]
    fits = [fit(before, book_spec(), seed=0) for before, _ in parts]
    return [Half(b, a, f, predicted(f, a)) for (b, a), f in zip(parts, fits, strict=True)]


@pytest.fixture(scope="module")
def rows(halves):
    """One row per sale of the last four half-years and way to estimate, scored."""
    pytest.importorskip("lightgbm")
    at = {len(h.before): k for k, h in enumerate(halves)}

    def ours(before, tried):
        k = at[len(before)]
        earlier = [h.said.with_columns(origin=pl.lit(i)) for i, h in enumerate(halves[k + 1 : k + 1 + HALVES])]
        return shown(halves[k].said, halves[k].fitted, calibrate(pl.concat(earlier)), tried["form"].to_list())

    splits = [Split(str(k), h.before, h.after) for k, h in enumerate(halves[:HALVES])]
    ways = {OURS: ours, PEERS[0]: LastFive(CHAIN), PEERS[1]: Learner(book_spec(), "form", 0)}
    return try_out(splits, ways, Columns(variant=tuple(VARIANT)))


CLASSES = {
    "raw carded": pl.col("form") == "carded raw",
    "graded": pl.col("form").str.ends_with("graded"),
    "boxed": pl.col("form").str.starts_with("boxed"),
    "loose": pl.col("form").str.starts_with("loose"),
    "thin": pl.col("earlier") <= FEW,
}


def held(rows):
    """Shares inside the 50, 80 and 90 % ranges."""
    return [rows["price"].is_between(rows[f"low_{p}"], rows[f"high_{p}"]).mean() for p in LEVELS]


def gaps(shares):
    return [abs(share - level / 100) for share, level in zip(shares, LEVELS, strict=True)]


def test_ranges_of_the_next_sale_hold_what_came(rows):
    """Measured on 2,326 sales: 49.8, 80.4 and 91.0 of 100 fell inside the 50, 80 and 90 % ranges."""
    shares = held(rows.filter(pl.col("by") == OURS))
    assert max(gaps(shares)) <= 0.02, shares


@pytest.mark.parametrize("name", CLASSES)
def test_they_hold_for_each_class_of_pieces(rows, name):
    """Measured, at worst: thin variants, 77.8 of 100 in the 80 % range."""
    mine = rows.filter((pl.col("by") == OURS) & CLASSES[name])
    assert len(mine) > 200
    shares = held(mine)
    assert max(gaps(shares)) <= 0.05, (name, len(mine), shares)


@pytest.mark.parametrize("peer", PEERS)
def test_the_whole_distribution_is_nearer_than_a_peer_s(rows, peer):
    """CRPS of the log price. Measured: .209, against .232 (LightGBM, untuned) and .299 (the last five)."""
    ours, theirs = (rows.filter(pl.col("by") == name)["log_crps"].mean() for name in (OURS, peer))
    assert ours < theirs


@pytest.fixture(scope="module")
def truth(standing, demo):
    """The demo's worths beside our middles on the same day and place: log miss, standard deviation, and class."""
    worths = pl.read_parquet(demo.world / "truth" / "worths.parquet")
    assert (standing.reference.site, standing.reference.mechanism) == ("quayside/US", "auction")
    asked = [Subject.parse(key) for key in worths["subject"]]
    spans = standing.spans(asked, worths["at"].to_list(), "middle")
    return pl.DataFrame({
        "form": [form_of(s) for s in asked],
        "earlier": [len(standing.sales_of(s)) for s in asked],
        "price": worths["middle"],
        **{f"low_{p}": [s.ranges[p][0] for s in spans] for p in LEVELS},
        **{f"high_{p}": [s.ranges[p][1] for s in spans] for p in LEVELS},
        "median": [s.median for s in spans],
    })  # fmt: skip


def test_ranges_of_the_middle_hold_the_truth(truth):
    """Measured on 900 pieces: 50.1, 81.4 and 90.0 of 100; of normal ranges without a floor 44.6, 73.7 and 82.6.

    Another world (seed 8) is held too widely by the same rule: 58.0, 87.2 and 93.7.
    """
    shares = held(truth)
    assert max(gaps(shares)) <= 0.02, shares


@pytest.mark.parametrize("name", CLASSES)
def test_they_hold_it_for_each_class_of_pieces(truth, name):
    """Five points, and two standard errors of a class this small (90 graded pieces: 10.5 points at 50 %).

    Measured, at worst: loose pieces, 44.1 of 100 in the 50 % range (227 pieces); graded ones, 56.7 (90).
    """
    mine = truth.filter(CLASSES[name])
    shares = held(mine)
    for share, level in zip(shares, LEVELS, strict=True):
        p = level / 100
        assert abs(share - p) <= 0.05 + 2 * (p * (1 - p) / len(mine)) ** 0.5, (name, len(mine), shares)


def test_the_middle_is_not_off_to_one_side(truth):
    """The level of all 900."""
    assert abs(float((truth["price"] / truth["median"]).log().median())) < 0.05


def test_ranges_of_the_middle_are_no_wider_than_they_must_be(truth):
    """The mean half-width of the 80 % range, in log price, against what the misses themselves ask for."""
    half = (truth["high_80"] / truth["median"]).log()
    miss = (truth["price"] / truth["median"]).log().abs()
    assert half.mean() < 1.25 * float(ndtri(0.9)) * float(np.sqrt((miss**2).mean()))


def test_planted_sales_move_the_worth_a_third_of_what_they_move_the_last_five(table):
    """One sale at three to five times its price among the last five of each of 50 variants, all at once.

    Measured in four such draws: .22 to .28 of what they move the median of the last five sales (.22 where the variant
    had sold once or twice, .44 at three to five times, .30 at six to fifteen, .09 beyond).
    """
    draw = np.random.default_rng(20261030)
    sales = table.filter(pl.col("kind") == "sale").sort("sold", "id")
    last = sales.group_by(VARIANT, maintain_order=True).tail(5).select(table.columns)
    one = last[draw.permutation(len(last))].unique(VARIANT, keep="first", maintain_order=True).sort("id")
    one = one[np.sort(draw.choice(len(one), 50, replace=False))]
    base = fit(table, book_spec(), seed=0)
    brought = base.predict(one.drop("price", "ask"), kind="middle")["median"].to_numpy() * draw.uniform(3, 5, len(one))
    planted = one.with_columns(id=pl.lit("planted ") + pl.col("id"), price=pl.Series(brought))
    soiled = fit(pl.concat([table, planted]), book_spec(), seed=0)
    asked = one.with_columns(sold=pl.lit(DAY)).drop("price", "ask")
    moved = (soiled.predict(asked)["log_median"] - base.predict(asked)["log_median"]).abs().mean()
    before, after = (last_five(s, one) for s in (sales, pl.concat([sales, planted.select(sales.columns)])))
    assert moved <= np.abs(np.log(after / before)).mean() / 3


def last_five(sales, variants):
    """The median of the last five sales of the variant of each row."""
    found = sales.sort("sold", "id").group_by(VARIANT).agg(five=pl.col("price").tail(5).median())
    return variants.select(VARIANT).join(found, on=VARIANT, how="left", maintain_order="left")["five"].to_numpy()
