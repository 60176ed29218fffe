"""Nothing of the future leaks; the rows say of each sale what was known before it."""

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import polars as pl
import pytest

from hangtab.backtest import forecast
from hangtab.backtest.forecast import COLUMNS as SAID
from hangtab.backtest.forecast import Engine, held_out, student
from hangtab.backtest.peers import LastFive, Learner, StraightLine
from hangtab.backtest.rolling import choose_origins, earlier_sales, folds, sales_of, time_splits, try_out
from tests.unit.backtest.tables import COLUMNS, SPEC, sales

LEVELS = ("line", "thing")
FORECASTERS = {
    "engine": Engine(SPEC, "form"),
    "last five": LastFive(LEVELS),
    "learner": Learner(SPEC, "form"),
    "line": StraightLine(SPEC),
}


def tried(table, forecasters=FORECASTERS, count=2):
    as_of = table["sold"].max()
    days = choose_origins(table["sold"], as_of, count)
    return try_out(time_splits(table, days, as_of, COLUMNS, least=50), forecasters, COLUMNS)


@pytest.fixture(scope="module")
def rows():
    return tried(sales(2000))


def test_a_poisoned_future_changes_nothing_that_was_said_before_it():
    """Prices from the last origin on are multiplied by a million, and a flood of new sales comes there: what was said
    of earlier sales stays the same to the last digit, and so does what was said of the poisoned sales themselves."""
    table = sales()
    as_of = table["sold"].max()
    last = choose_origins(table["sold"], as_of, 2)[-1]
    poison = pl.when(pl.col("sold") >= last).then(pl.col("price") * 1e6).otherwise(pl.col("price"))
    poisoned = table.with_columns(price=poison)
    flood = poisoned.filter(pl.col("sold") >= last).with_columns(id=pl.col("id") + "x", price=pl.lit(1e9))
    clean, bad = tried(table), tried(pl.concat([poisoned, flood]).sort("sold", maintain_order=True))
    said = ["by", "origin", "id", "earlier", "median", "low_50", "high_50", "low_80", "high_80", "low_90", "high_90"]
    same = bad.filter(~pl.col("id").str.ends_with("x"))
    assert clean.select(said).equals(same.select(said))
    assert same.filter(pl.col("origin") == last.isoformat())["log_crps"].min() > 5  # the poison was there


def test_a_leak_would_be_found():
    """The same comparison sees a forecaster that peeks: the poisoned price comes through."""
    table = sales(300)
    whole = dict(table.select("id", "price").iter_rows())

    def peeking(before, tried):
        return student(np.log([whole[i] for i in tried["id"]]), np.full(len(tried), 4.0), np.full(len(tried), 0.1))

    assert tried(table, {"peeking": peeking})["log_crps"].max() < 0.05


def test_every_forecaster_is_tried_on_the_same_sales(rows):
    ids = [part.sort("origin", "id").select("origin", "id", "price") for part in rows.partition_by("by")]
    assert len(ids) == len(FORECASTERS)
    assert all(one.equals(ids[0]) for one in ids)
    assert rows.null_count().sum_horizontal().item() == 0


def test_each_sale_is_tried_once_after_its_origin_and_counts_what_came_before_it(rows):
    table = sales(2000)
    mine = rows.filter(pl.col("by") == "engine")
    assert mine["id"].n_unique() == len(mine)
    joined = mine.join(table.select("id", "line", "thing"), on="id")
    for one in joined.sample(40, seed=1).iter_rows(named=True):
        origin = date.fromisoformat(one["origin"])
        same = table.filter((pl.col("thing") == one["thing"]) & (pl.col("sold") < origin))
        assert one["earlier"] == len(same)
        assert one["sold"] >= origin


def test_ranges_lie_within_one_another_and_the_pit_agrees_with_them(rows):
    """The engine's whole distribution is stretched as its 80 % range is; its other ranges have factors of their own."""
    peers = rows.filter(pl.col("by") != "engine")
    for part, low, high, share in (
        (peers, "low_50", "high_50", 0.25), (rows, "low_80", "high_80", 0.1), (peers, "low_90", "high_90", 0.05),
    ):  # fmt: skip
        assert (part.filter(pl.col("price") < pl.col(low))["pit"] < share + 1e-6).all()
        assert (part.filter(pl.col("price") > pl.col(high))["pit"] > 1 - share - 1e-6).all()
    assert (rows["low_50"] < rows["median"]).all()
    assert (rows["low_90"] < rows["low_80"]).all()
    assert (rows["low_80"] < rows["low_50"]).all()


def test_the_engine_is_near_the_truth_and_its_ranges_hold(rows):
    """Noise is 0.2 t6, the middle of whose size is 0.143 (any t table); 80 % held of 1 000 has an sd of 1.3 %."""
    mine = rows.filter(pl.col("by") == "engine")
    assert (mine["price"] / mine["median"]).log().abs().median() == pytest.approx(0.143, abs=0.02)
    held = ((mine["low_80"] <= mine["price"]) & (mine["price"] <= mine["high_80"])).mean()
    assert held == pytest.approx(0.8, abs=0.05)
    by = rows.group_by("by").agg(pl.col("log_crps").mean())
    crps = dict(by.iter_rows())
    assert crps["engine"] < min(crps["last five"], crps["learner"])


def test_undated_sales_and_asks_are_not_tried():
    table = sales(400).with_columns(
        kind=pl.when(pl.int_range(pl.len()) % 7 == 0).then(pl.lit("below")).otherwise(pl.col("kind")),
        sold=pl.when(pl.int_range(pl.len()) % 11 == 0).then(None).otherwise(pl.col("sold")),
    )
    as_of = table["sold"].max()
    for split in time_splits(table, choose_origins(table["sold"], as_of, 3), as_of, COLUMNS, least=50):
        assert split.before["sold"].null_count() == 0
        assert "below" in split.before["kind"].to_list()
        assert set(split.tried["kind"]) == {"sale"}


def test_origins_end_the_day_after_the_last_sale_and_reach_back_three_years():
    days = pl.Series([date(2015, 1, 1), date(2026, 10, 30), date(2027, 5, 1), None])
    found = choose_origins(days, date(2026, 12, 1), 6)
    assert len(found) == 6
    assert found[0] == date(2026, 10, 31) - timedelta(days=1098)
    assert {(b - a).days for a, b in pairwise((*found, date(2026, 10, 31)))} == {183}


def test_origins_of_a_young_book_leave_its_first_half_to_learn_from():
    days = pl.Series([date(2026, 1, 1) + timedelta(days=d) for d in range(200)])
    found = choose_origins(days, date(2026, 12, 31), 4)
    assert found[0] == date(2026, 1, 1) + timedelta(days=100)
    assert choose_origins(pl.Series([None], dtype=pl.Date), date(2026, 1, 1)) == ()


def test_too_few_sales_before_give_no_rows():
    table = sales(100)
    as_of = table["sold"].max()
    assert list(time_splits(table, choose_origins(table["sold"], as_of), as_of, COLUMNS)) == []
    assert list(time_splits(table.clear(), (), as_of, COLUMNS)) == []
    assert try_out([], FORECASTERS, COLUMNS).is_empty()


def test_folds_try_each_sale_once():
    table = sales(100)
    parts = list(folds(table, 5, np.random.default_rng(0), COLUMNS))
    assert sorted(i for p in parts for i in p.tried["id"]) == table["id"].to_list()
    assert all(not set(p.tried["id"]) & set(p.before["id"]) for p in parts)


def test_earlier_sales_know_an_unnamed_variant_as_a_variant():
    before = pl.DataFrame({"a": ["x", None, None]}, schema={"a": pl.String})
    assert earlier_sales(before, pl.DataFrame({"a": [None, "x", "y"]}), ("a",)) == [2, 1, 0]
    assert earlier_sales(before, before, ()) == [0, 0, 0]


def test_what_is_held_out_comes_last_or_is_drawn():
    table = sales(80)
    first, rest = held_out(table, "sold", 0)
    assert first["sold"].max() <= rest["sold"].min()
    first, rest = held_out(table, None, 0)
    assert sorted([*first["id"], *rest["id"]]) == table["id"].to_list()
    assert len(rest) == 20


def test_a_forecast_has_the_quantiles_of_its_t():
    """Source: any t table, .95 with 4 degrees of freedom is 2.1318; of a normal 1.6449."""
    said = student([0.0, 0.0], [4.0, np.inf], [1.0, 1.0])
    assert said.columns == list(SAID)
    assert np.log(said["high_90"].to_list()) == pytest.approx([2.1318, 1.6449], abs=1e-4)


def test_sales_of_a_table_without_kinds_are_all_its_rows():
    table = sales(10)
    assert len(sales_of(table, type(COLUMNS)(kind=None))) == 10


def test_the_book_fits_the_same_rows_once_and_others_anew(monkeypatch):
    made = []
    monkeypatch.setattr(forecast, "fitter", lambda seed: lambda table: made.append(len(table)) or object())
    book = forecast.Book((date(2026, 1, 1),))
    table = sales(50)
    first = book._fitted(table)
    assert book._fitted(sales(50)) is first
    assert book._fitted(table.head(49)) is not first
    assert made == [50, 49]
    assert forecast.Book((date(2026, 1, 1),)).remembered == {}
