"""Places that hold some of the rows come to the figures of one fit over all; here as threads of one process."""

import pickle
import threading
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import polars as pl
import pytest

from hangtab.worth import Spec, TableError, WorthError, fit
from hangtab.worth.far.hub import EVERY, MOST, SUM, Asked, Hub
from hangtab.worth.far.place import Place, fit_share
from hangtab.worth.far.shares import Contents, contents_of, homes, shared_out
from hangtab.worth.progress import ignore_step
from tests.unit.worth.world import SPEC, market


class Room:
    """A hub that threads of this process ask."""

    def __init__(self, places):
        self.hub, self.news = Hub(places), threading.Condition()

    def send(self, asked):
        with self.news:
            answer = self.hub.ask(asked)
            self.news.notify_all()
            while answer is None:
                self.news.wait(timeout=30)
                answer = self.hub.ask(asked)
            return answer


def fit_in_places(tables, spec):
    room = Room(len(tables))
    with ThreadPoolExecutor(len(tables)) as pool:
        runs = [pool.submit(fit_share, t, spec, Place(k, room.send), ignore_step) for k, t in enumerate(tables)]
        return [r.result() for r in runs], room.hub


NORMAL = Spec(
    price="price", when="sold", groups=SPEC.groups, factors=("venue",), numbers=("pieces",), walks=("market", "line"),
    tails="normal", spread_by=("form",),
)  # fmt: skip


# With bounds the search ends where little is promised: rounding in another order then shows in the eighth digit.
@pytest.mark.parametrize(("spec", "near"), [(NORMAL, 1e-8), (SPEC, 1e-6)], ids=["normal", "student, bounds, curves"])
def test_three_places_come_to_the_figures_of_one_fit(spec, near):
    table = market(rows=700)
    lines = sorted(table["line"].unique())
    shares = [table.filter(pl.col("line").is_in(own)) for own in (lines[:1], lines[1:2], lines[2:])]
    found, _ = fit_in_places(shares, spec)
    one = fit(table, spec)
    for own, rows in zip(found, shares, strict=True):
        for name, value in one.components.items():
            assert own.components[name] == pytest.approx(value, rel=near, abs=1e-12), name
        assert own.report.rows == 700
        assert own.report.nodes == one.report.nodes
        here, there = own.predict(rows), one.predict(rows)
        for column in ("median", "low_80", "high_90", "mean"):
            assert here[column].to_numpy() == pytest.approx(there[column].to_numpy(), rel=near)
    strange = {"line": "never seen"}
    assert found[0].predict(strange)["high_80"][0] == pytest.approx(one.predict(strange)["high_80"][0], rel=near)


def test_a_place_begun_anew_is_told_what_was_answered_before():
    """One of two asks three questions and is lost; its successor asks the same ones and both end alike."""
    table = market(rows=500)
    lines = sorted(table["line"].unique())
    shares = [table.filter(pl.col("line").is_in(own)) for own in (lines[:2], lines[2:])]
    whole, _ = fit_in_places(shares, NORMAL)
    room, asked_so_far = Room(2), []

    def dying(asked):
        asked_so_far.append(asked.step)
        if asked.step == 40:
            raise RuntimeError("lost")
        return room.send(asked)

    with ThreadPoolExecutor(2) as pool:
        first = pool.submit(fit_share, shares[0], NORMAL, Place(0, room.send), ignore_step)
        with pytest.raises(RuntimeError, match="lost"):
            fit_share(shares[1], NORMAL, Place(1, dying), ignore_step)
        second = fit_share(shares[1], NORMAL, Place(1, room.send), ignore_step)
        assert first.result().components == whole[0].components
    assert second.components == whole[1].components
    assert len(asked_so_far) == 41


def test_places_refuse_what_only_one_process_can_fit():
    table = market(rows=200).with_columns(
        kind=pl.when(pl.int_range(pl.len()) == 3).then(pl.lit("offer")).otherwise(pl.col("kind")), ask=pl.lit(5.0),
        price=pl.when(pl.int_range(pl.len()) == 3).then(None).otherwise(pl.col("price")),
    )  # fmt: skip
    spec = Spec(price="price", groups=["line"], kind="kind", ask="ask")
    lines = sorted(table["line"].unique())
    with pytest.raises(TableError, match="over a cluster"):
        fit_in_places([table.filter(pl.col("line").is_in(own)) for own in (lines[:2], lines[2:])], spec)


# ---- the hub
def test_sums_largest_and_lists_are_joined_in_the_order_of_the_places():
    for how, parts, expected in (
        (SUM, [[1.0, 2.0], [10.0, 20.0]], [11.0, 22.0]),
        (MOST, [[1.0, 5.0], [4.0, 2.0]], [4.0, 5.0]),
    ):
        hub = Hub(2)
        assert hub.ask(Asked(1, 0, how, "x", np.array(parts[1]).tobytes())) is None
        assert np.frombuffer(hub.ask(Asked(0, 0, how, "x", np.array(parts[0]).tobytes()))).tolist() == expected
    hub = Hub(2)
    hub.ask(Asked(1, 0, EVERY, "x", b"second"))
    assert pickle.loads(hub.ask(Asked(0, 0, EVERY, "x", b"first"))) == [b"first", b"second"]


def test_the_hub_says_what_it_moved_and_refuses_places_that_part_ways():
    hub, number = Hub(2), np.ones(3).tobytes()
    hub.ask(Asked(0, 0, SUM, "fold", number))
    hub.ask(Asked(1, 0, SUM, "fold", number))
    assert hub.moved == [2 * 24 + 2 * 24]
    hub.ask(Asked(0, 1, SUM, "carry", number))
    with pytest.raises(WorthError, match="different steps"):
        hub.ask(Asked(1, 1, SUM, "gaps", number))


# ---- shares
def test_files_that_share_a_line_go_to_one_place():
    files = [Contents("a", 5, frozenset("xy")), Contents("b", 9, frozenset("z")), Contents("c", 2, frozenset("yw")),
             Contents("d", 4, frozenset("v")), Contents("e", 0, frozenset())]  # fmt: skip
    shares = shared_out(files, 2)
    assert [[f.path for f in s] for s in shares] == [["b"], ["a", "c", "d"]]
    assert homes(shares) == {"z": 0, "x": 1, "y": 1, "w": 1, "v": 1}
    assert len(shared_out(files, 9)) == 3


def test_a_file_is_looked_into_without_reading_its_rows(tmp_path):
    table = market(rows=100)
    table.write_parquet(tmp_path / "rows.parquet")
    seen = contents_of(str(tmp_path / "rows.parquet"), NORMAL)
    assert (seen.rows, seen.roots) == (100, frozenset(table["line"].unique()))
