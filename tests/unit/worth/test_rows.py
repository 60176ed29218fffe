"""A fit reads the caller's table in its own order without making a second one."""

import datetime as dt

import numpy as np
import polars as pl
import pytest

from hangtab.worth import Spec, border, fit
from hangtab.worth.problem import make_problem
from hangtab.worth.rows import ROW, Rows
from hangtab.worth.sheet import read_table
from hangtab.worth.table import sorted_by
from hangtab.worth.together import Crew
from tests.unit.worth.world import SPEC, market


@pytest.fixture(scope="module")
def table():
    return pl.DataFrame({
        "line": ["Skyloom", None, "Lantern Circus", "Tidewardens"],
        "sold": [dt.date(2024, 5, k) for k in (1, 2, 3, 4)],
        "price": [3.0, 4.0, None, 6.0],
        "boxed": [True, False, None, True],
        "flaws": [["yellowed"], [], None, ["bent", "torn"]],
    })  # fmt: skip


def test_columns_come_in_order_as_polars_would_take_them(table):
    order = np.array([2, 0, 3])
    rows = Rows(table, order)
    assert rows.whole().drop(ROW).equals(table[order])
    assert rows[ROW].to_list() == [2, 0, 3]
    assert rows.piece(slice(1, 3)).whole().drop(ROW).equals(table[[0, 3]])
    assert rows.piece(np.array([1])).piece(np.array([0]))[ROW].to_list() == [0]


def test_rows_with_numbers_of_their_own_keep_them(table):
    numbered = table.with_columns(pl.Series(ROW, [7, 5, 6, 4]))
    assert Rows(numbered).whole().equals(numbered)
    assert Rows(numbered).piece(slice(1, 3))[ROW].to_list() == [5, 6]


@pytest.mark.parametrize("paths", [1, 3, 400])
def test_the_order_is_that_of_a_general_sort(paths):
    """numpy.lexsort; with one path all rows are one run, with 400 runs are short."""
    rng = np.random.default_rng(1)
    first, second = rng.integers(0, paths, 1000), rng.integers(0, 2**40, 1000)
    second[::7] = second[0]
    last = rng.integers(0, 50, 1000)
    assert (sorted_by([first], last) == np.lexsort([last, first])).all()
    assert (sorted_by([first, second], last) == np.lexsort([last, second, first])).all()
    assert (sorted_by([], last) == np.lexsort([last])).all()


def test_a_fit_makes_no_second_table():
    sales = market(900, bounds=0.0).sample(fraction=1.0, shuffle=True, seed=1)
    spec = Spec(price="price", groups=["line"], tails="normal")
    sheet = fit(sales, spec)._state.problem.sheet
    assert sheet.rows.order is not None
    assert "frame" not in vars(sheet)


def test_pieces_and_threads_lay_the_same_rows(monkeypatch):
    """Missing values leave gaps that are closed; how many rows are laid at a time changes nothing."""
    rng = np.random.default_rng(2)
    sales = market(900).with_columns(
        pl.when(pl.Series(rng.random(900) < 0.3)).then(None).otherwise(pl.col(name)).alias(name)
        for name in SPEC.factors
    )
    found = []
    for pace, threads in ((64, 1), (64, 3), (2**14, 1)):
        monkeypatch.setattr(border, "AT_ONCE", pace)
        found.append(make_problem(SPEC, read_table(sales, SPEC), Crew(threads)).forest.rows)
    one = found[0]
    assert np.diff(one.ptr).min() < np.diff(one.ptr).max()
    assert one.ptr[-1] == len(one.idx) == len(one.val)
    for other in found[1:]:
        assert all(np.array_equal(a, b) for a, b in zip(one, other, strict=True))


def test_what_normal_prices_say_is_worked_out_as_when_it_is_kept():
    from hangtab.worth.tails import NormalPrices, priced  # noqa: PLC0415 - beside its only use

    rng = np.random.default_rng(3)
    y, eta = rng.normal(size=(2, 50))
    for scale in (np.broadcast_to(0.3, 50), rng.uniform(0.2, 0.5, 50)):
        asked, kept = NormalPrices.of(y, eta, scale), priced((y - eta) / scale, scale, np.inf)
        for name in kept._fields:
            assert getattr(asked, name) == pytest.approx(getattr(kept, name), rel=1e-14), name
