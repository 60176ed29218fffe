"""The demo world has the shapes that a practitioner would believe.

All figures are common practice, no source. A range around each is what seeds differ by and what "about" may mean;
where it is wider than a fifth, the reason stands beside it.
"""

import numpy as np
import polars as pl
import pytest

from hangtab.domain.evidence import FALLEN_THROUGH

pytestmark = pytest.mark.slow  # the whole world takes about ten seconds to make

RAW, KEY = pl.col("grader") == "", ["thing", "packaging", "features_true"]


@pytest.fixture(scope="module")
def told(whole):
    return pl.read_parquet(whole / "truth" / "evidence.parquet").unique("fact", keep="first", maintain_order=True)


@pytest.fixture(scope="module")
def variants(whole):
    return pl.read_parquet(whole / "truth" / "variants.parquet").rename({"features": "features_true"})


@pytest.fixture(scope="module")
def sales(told):
    return told.filter(pl.col("kind").is_in(["sale", "auction", "offer"]) & ~pl.col("lot"))


@pytest.fixture(scope="module")
def honest(sales, variants):
    """Completed, honest sales at the marketplace; `left` is the log price less the variant and the mood of the day."""
    kept = sales.filter(
        (pl.col("outcome") == "completed") & ~pl.col("is_wrong") & (pl.col("venue") == "quayside")
    ).join(variants.select(*KEY, "crowd_log", other="line"), on=KEY, suffix="_of_variant")
    left = pl.col("all_in_eur").log() - pl.col("crowd_log_of_variant") - pl.col("mood_log")
    said = pl.col("said_subject").str.split("|")
    return kept.with_columns(left=left, note=said.list.get(7), said_flaws=said.list.get(6))


def test_there_is_as_much_as_promised(told, variants, sales):
    assert 1_050 <= len(variants) <= 1_300
    assert 27_000 <= len(told) <= 33_000
    assert 7_000 <= len(sales) <= 9_500
    assert set(told["currency"]) == {"USD", "GBP", "CAD", "EUR"}
    assert (told["ended"].max() - told["ended"].min()).days > 6.9 * 365


@pytest.mark.parametrize("line", ["tidewardens", "lantern-circus", "skyloom"])
def test_prices_of_a_line_spread_one_to_five_to_twenty_five(sales, line):
    middle, high, top = np.percentile(sales.filter(line=line)["all_in_eur"], [50, 90, 99])
    assert 3.5 <= high / middle <= 6.5  # a seed decides which few characters carry a line
    assert 17 <= top / middle <= 38  # the 99th percentile rests on twenty sales


def test_two_to_five_asks_stand_beside_each_sale(told, sales):
    asked = told.filter(pl.col("kind").is_in(["unsold", "start", "ask"]))
    assert 2.0 <= len(asked) / len(sales) <= 5.0


def test_carded_pieces_are_mostly_raw_but_not_the_dear_ones(sales):
    carded = sales.filter(packaging="carded")
    graded = len(carded.filter(~RAW))
    assert 5 <= (len(carded) - graded) / graded <= 10
    middle = pl.col("all_in_eur").median().over("line")
    dear = sales.with_columns(times=pl.col("all_in_eur") / middle).filter(
        (pl.col("packaging") == "carded") & pl.col("times").is_between(7, 14)
    )
    assert 0.6 <= len(dear.filter(RAW)) / len(dear.filter(~RAW)) <= 1.7  # about a hundred sales


def test_the_last_grades_are_steep(honest):
    northgate = honest.filter((pl.col("grader") == "northgate") & (pl.col("packaging") == "carded"))
    worth = {g: float(np.exp(northgate.filter(pl.col("grade") == g)["left"].median())) for g in ("34", "36", "38")}
    assert 0.65 <= worth["34"] / worth["36"] <= 0.95
    assert 1.2 <= worth["38"] / worth["36"] <= 1.65
    top = honest.filter((pl.col("grader") == "northgate") & (pl.col("grade") == "40"))["left"].median()
    assert 1.8 <= np.exp(top) / worth["36"] <= 3.3  # a handful of pieces in seven years


def test_many_graded_commons_bring_less_than_raw_plus_the_fee(honest):
    raw = (
        honest.filter(RAW & (pl.col("packaging") == "carded"))
        .group_by(KEY)
        .agg(raw=pl.col("all_in_eur").median(), sales=pl.len())
    )
    graded = honest.filter(~RAW).join(raw.filter(pl.col("sales") >= 3), on=KEY)
    fee = 45.0  # EUR, with postage one way
    assert 0.3 <= (graded["all_in_eur"] < graded["raw"] + fee).mean() <= 0.65


@pytest.mark.parametrize("form", ["carded", "boxed", "loose"])
def test_one_sale_of_a_raw_piece_spreads_by_a_third(honest, form):
    alike = ["note", "said_flaws", "parts_missing", "seal"]
    raw = honest.filter(RAW & (pl.col("packaging") == form)).with_columns(
        off=pl.col("left") - pl.col("left").median().over(alike), many=pl.len().over(alike)
    )
    spread = raw.filter(pl.col("many") > 5)["off"].std()
    assert 0.26 <= spread <= 0.39  # loose pieces hide less than a blister does


def test_postage_weighs_most_on_what_is_cheap(sales):
    posted = sales.filter((pl.col("venue") == "quayside") & (pl.col("postage") > 0))
    share = posted["postage"] / posted["price"]
    assert 0.15 <= share.median() <= 0.27
    assert share.filter(posted["price_eur"] < 8).median() > 0.6


def test_accepted_offers_are_a_quarter_and_low_only_when_stale(told, sales):
    fixed = sales.filter((pl.col("venue") == "quayside") & (pl.col("kind") != "auction"))
    offers = fixed.filter(kind="offer").with_columns(share=pl.col("price") / pl.col("ask"))
    assert 0.2 <= len(offers) / len(fixed) <= 0.32
    assert 0.82 <= offers["share"].median() <= 0.88
    assert offers["share"].min() >= 0.45
    first = told.group_by("pieces", "seller", "venue").agg(first=pl.col("started").min())
    waited = offers.join(first, on=["pieces", "seller", "venue"]).with_columns(
        days=(pl.col("ended") - pl.col("first")).dt.total_days()
    )
    low = waited.filter(pl.col("share") <= 0.65)
    assert 0.01 <= len(low) / len(offers) <= 0.12
    assert low["days"].quantile(0.1) > 60


def test_few_variants_take_most_sales_and_many_are_hardly_seen(sales, variants):
    counts = variants.join(sales.group_by(KEY).agg(n=pl.len()), on=KEY, how="left")["n"].fill_null(0)
    ordered = np.sort(counts.to_numpy())[::-1]
    assert 0.58 <= ordered[: len(ordered) // 10].sum() / ordered.sum() <= 0.70
    # "A third": with the top tenth at 60 % of 8,600 sales the rest bring three each, so that a Poisson count alone puts
    # two fifths at two or fewer; both shapes cannot hold to the letter.
    assert 0.28 <= (ordered <= 2).mean() <= 0.45


def test_one_in_ten_is_wrong_and_some_fall_through(told, sales):
    assert 0.08 <= told["is_wrong"].mean() <= 0.12
    assert 0.03 <= sales["outcome"].is_in([o.value for o in FALLEN_THROUGH]).mean() <= 0.06
    assert 0 < (sales["outcome"] == "part-refunded").mean() < 0.015
    kinds = set(told["wrong"].str.split(";").explode())
    assert {"wrong title", "wrong grade", "shill", "mistaken price", "transplanted sticker", "resealed"} <= kinds


def test_the_market_booms_and_busts(told):
    mood = dict(told.group_by(pl.col("ended").dt.year()).agg(pl.col("mood_log").mean()).iter_rows())
    assert mood[2022] - mood[2020] > 0.25
    assert mood[2022] - mood[2024] > 0.2


def test_pieces_come_back(sales):
    again = sales.filter(outcome="completed").group_by("pieces").len()
    assert (again["len"] > 1).sum() > 500


def test_a_change_found_late_is_never_named_before(told):
    late = told.filter(pl.col("thing") == "tw-harbour-master-2-raised-date")
    early = late.filter(pl.col("ended") < pl.date(2023, 5, 1))
    assert len(early) > 0
    assert not early["said_subject"].str.contains("raised-date").any()
    assert late["said_subject"].str.contains("raised-date").any()


def test_most_titles_can_be_named_but_not_all(told):
    assert 0.85 <= told["nameable"].mean() <= 0.95
