"""Evidence as the engine's rows: no ask is ever a price."""

from datetime import date

import polars as pl
import pytest

from hangtab.domain.evidence import Kind
from hangtab.valuing import book_spec, digest, engine_table

ROW = {
    "id": "q1", "kind": "auction", "outcome": "completed", "standing": "reported", "sold": date(2024, 5, 1),
    "precision": "day", "venue": "quayside", "country": "US", "listing": "1", "all_in": 12050, "item": 10000,
    "is_ask": False, "subject": "hm-2|carded||||||", "probability": 0.99, "lot": False,
}  # fmt: skip


def rows(*changes):
    return pl.DataFrame([ROW | {"id": f"q{i}"} | change for i, change in enumerate(changes)], infer_schema_length=None)


def test_a_sale_is_its_price_in_major_units(catalogue):
    made = engine_table(rows({}), catalogue, "EUR")
    assert made.select("price", "ask", "kind", "site", "mechanism").row(0) == (
        120.5,
        None,
        "sale",
        "quayside/US",
        "auction",
    )


def test_a_currency_without_minor_units_keeps_its_figure(catalogue):
    assert engine_table(rows({}), catalogue, "JPY")["price"][0] == 12050


@pytest.mark.parametrize("kind", [Kind.ASK, Kind.UNSOLD, Kind.START, Kind.OFFER])
def test_an_ask_is_a_bound_and_never_a_price(catalogue, kind):
    made = engine_table(rows({"kind": kind.value, "is_ask": True}), catalogue, "EUR")
    assert made.select("price", "ask", "kind").row(0) == (None, 120.5, "below")


def test_an_offer_revealed_later_is_a_price(catalogue):
    assert engine_table(rows({"kind": "offer"}), catalogue, "EUR")["kind"][0] == "sale"


@pytest.mark.parametrize(
    "change",
    [
        {"outcome": "unpaid"}, {"outcome": "returned"}, {"outcome": "cancelled"}, {"lot": True}, {"kind": "lot"},
        {"subject": None}, {"all_in": None}, {"all_in": 0}, {"subject": "gone|carded||||||"},
    ],
)  # fmt: skip
def test_what_tells_nothing_of_one_piece_stays_out(catalogue, change):
    assert len(engine_table(rows({}, change), catalogue, "EUR")) == 1


def test_hearsay_is_heard_twice_as_wide(catalogue):
    assert engine_table(rows({"kind": "hearsay"}, {}), catalogue, "EUR")["wider"].to_list() == [2.0, 1.0]


def test_the_digest_tells_rows_design_day_and_seed_apart(catalogue):
    one, other = (engine_table(rows(c), catalogue, "EUR") for c in ({}, {"all_in": 1}))
    keys = {
        digest(one, book_spec(), date(2024, 6, 1), 0),
        digest(other, book_spec(), date(2024, 6, 1), 0),
        digest(one, book_spec(), date(2024, 6, 2), 0),
        digest(one, book_spec(), date(2024, 6, 1), 1),
    }
    assert len(keys) == 4
    assert digest(one, book_spec(), date(2024, 6, 1), 0) in keys
