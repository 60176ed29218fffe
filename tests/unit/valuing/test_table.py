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


@pytest.mark.parametrize("kind", [Kind.ASK, Kind.UNSOLD, Kind.START])
def test_an_ask_is_a_bound_and_never_a_price(catalogue, kind):
    made = engine_table(rows({"kind": kind.value, "is_ask": True}), catalogue, "EUR")
    assert made.select("price", "ask", "kind").row(0) == (None, 120.5, "below")


def test_a_part_refunded_price_is_a_bound(catalogue):
    made = engine_table(rows({"outcome": "part-refunded"}), catalogue, "EUR")
    assert made.select("price", "ask", "kind").row(0) == (None, 120.5, "below")


def test_an_offer_revealed_later_is_a_price(catalogue):
    assert engine_table(rows({"kind": "offer"}), catalogue, "EUR")["kind"][0] == "sale"


def test_an_offer_at_a_hidden_price_tells_by_its_ask(catalogue):
    made = engine_table(rows({"kind": "offer", "is_ask": True}), catalogue, "EUR")
    assert made.select("price", "ask", "kind").row(0) == (None, 120.5, "offer")


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


def test_one_piece_before_and_after_its_running_change_was_known(catalogue):
    days = [date(2022, 1, 1), date(2024, 1, 1), None]
    made = engine_table(rows(*({"sold": day} for day in days)), catalogue, "EUR")
    assert made["change"].to_list() == ["unchecked", "common", "common"]
    assert made["season"].to_list() == ["01", "01", None]


def test_rows_are_in_order_of_id_whatever_piece_they_are_of(catalogue):
    keys = ["hm-2|carded||||||", "hm-1|carded||||||"] * 3
    made = engine_table(rows(*({"subject": key} for key in keys)).reverse(), catalogue, "EUR")
    assert made["id"].to_list() == [f"q{i}" for i in range(6)]
    assert made["release"].to_list() == ["hm-2", "hm-1"] * 3


def test_evidence_without_a_venue_or_country_shares_one_place(catalogue):
    made = engine_table(rows({"venue": ""}, {"country": ""}, {"venue": "", "country": ""}), catalogue, "EUR")
    assert made["site"].to_list() == ["unknown/US", "quayside", "unknown"]


@pytest.mark.parametrize(
    ("kind", "way"), [("start", "auction"), ("ask", "sale"), ("offer", "sale"), ("trade", "trade")]
)
def test_asks_and_offers_count_with_fixed_prices(catalogue, kind, way):
    assert engine_table(rows({"kind": kind}), catalogue, "EUR")["mechanism"][0] == way


def test_a_book_with_nothing_usable_makes_an_empty_table(catalogue):
    made = engine_table(rows({"all_in": 0}), catalogue, "EUR")
    assert (len(made), made.columns[0]) == (0, "id")
