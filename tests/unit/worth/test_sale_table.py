"""The invented sales that speed and accuracy are measured on stay the same sales."""

from __future__ import annotations

import datetime as dt
import hashlib

import pytest

from tools.sale_table import sale_table

# Recorded when the figures in tools/bench_engine.py were: another table would make them say nothing.
FIRST_PRICES = [550.2268987868938, 128.3871534850848, 165.1289842076294, 85.97368325100231, 29.45260758896391]
NAMES = ["line", "character", "release", "variant", "form", "month", "train"]
FIRST_NAMES = [(11, 100, 414, 414, 1, 0, 1), (6, 237, 346, 975, 0, 0, 1), (6, 237, 346, 975, 0, 0, 1)]
NAMES_HASH = "31b38fec36861b38e63120d9c2bd9439f6832c9a030f925f72ff7887e25b0137"


@pytest.fixture(scope="module")
def table():
    return sale_table(10_000)


def test_the_first_rows_are_what_they_were(table):
    # Not to the last bit: exp and log are the machine's own.
    assert table["price"].head(5).to_list() == pytest.approx(FIRST_PRICES, rel=1e-12)
    assert table.select(NAMES).head(3).rows() == FIRST_NAMES
    assert table["sold"][0] == dt.date(2004, 1, 16)
    assert table["price"].log().sum() == pytest.approx(47734.05531272163, rel=1e-12)


def test_every_name_and_month_is_what_it_was(table):
    text = table.select(NAMES).write_csv()
    assert hashlib.sha256(text.encode()).hexdigest() == NAMES_HASH


def test_the_later_quarter_is_held_out(table):
    assert len(table) == 12_500
    assert table["train"].to_list() == [1] * 10_000 + [0] * 2_500
    assert table["sold"].is_sorted()


def test_another_seed_gives_another_table(table):
    assert not sale_table(10_000, seed=2)["price"].equals(table["price"])
