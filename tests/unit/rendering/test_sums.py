"""What is shown adds up as it is shown."""

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from hangtab.domain.subject import Packaging, Subject
from hangtab.domain.worth import Comparable, Span, Worth
from hangtab.rendering.sums import account, apportion, log_mean

PIECE = Subject("tw-harbour-master-2", Packaging.CARDED)
prices = st.floats(0.5, 50_000)
gains = st.floats(-0.4, 0.9)


def worth(base, sales, currency="EUR"):
    log = (1 - sum(g for _, g in sales)) * math.log(base) + sum(g * math.log(p) for p, g in sales)
    middle = Span(math.exp(log), math.exp(log), {})
    comparables = tuple(
        Comparable(f"q{i}", "sale", date(2026, 1, 1), p, p, g, 1.0, PIECE.key, ()) for i, (p, g) in enumerate(sales)
    )
    return Worth(PIECE, "", date(2026, 1, 1), currency, middle, middle, middle, base, comparables, 1.0, None, 0)


@given(prices, st.lists(st.tuples(prices, gains), max_size=12), st.sampled_from(["EUR", "JPY", "KWD"]))
def test_base_and_moves_are_the_estimate(base, sales, currency):
    """Base + moves = estimate to the minor unit, and the counts add up to 100.0."""
    found = worth(base, sales, currency)
    if not 0.01 < found.middle.median < 1e7:
        return
    units = {"EUR": 100, "JPY": 1, "KWD": 1000}[currency]
    shown = account(found, [[c] for c in found.comparables])
    assert round(shown.base * units) + sum(round(p.moves * units) for p in shown.pulls) == round(shown.estimate * units)
    assert round(shown.base_counts * 10) + sum(round(p.counts * 10) for p in shown.pulls) == 1000
    assert shown.estimate == pytest.approx(found.middle.median, abs=0.5 / units + 1e-9)


@given(prices, st.lists(st.tuples(prices, gains), min_size=1, max_size=12))
def test_no_row_is_rounded_by_more_than_one_unit(base, sales):
    """Largest remainder moves no row by more than one minor unit; the base is rounded, so one more may be spread."""
    found = worth(base, sales)
    if not 0.01 < found.middle.median < 1e7:
        return
    scale = log_mean(base, found.middle.median)
    for sale, pull in zip(found.comparables, account(found, [[c] for c in found.comparables]).pulls, strict=True):
        assert abs(pull.moves - scale * sale.gain * math.log(sale.adjusted / base)) < 0.0201


@given(prices, prices)
def test_logarithmic_mean_is_the_mean_of_all_geometric_means(low, high):
    """Against numerical integration: L(a, b) is the integral of a^(1-t) b^t over t from 0 to 1 (Carlson 1972)."""
    assert log_mean(low, high) == pytest.approx(quad(lambda t: low ** (1 - t) * high**t, 0, 1)[0], rel=1e-7)


@given(st.lists(st.floats(-1000, 1000), min_size=1, max_size=30))
def test_apportioned_parts_are_near_and_complete(parts):
    """Parts of a rounded sum stay within one of what they were."""
    total = round(sum(parts))
    found = apportion(parts, total)
    assert sum(found) == total
    assert all(abs(f - p) <= 1.0 + 1e-9 for f, p in zip(found, parts, strict=True))


def test_without_sales_the_rest_of_the_market_is_all():
    shown = account(worth(171.4, []), [])
    assert (shown.base, shown.base_counts, shown.pulls, shown.estimate) == (171.4, 100.0, (), 171.4)


def test_a_group_of_sales_is_one_row():
    found = worth(100.0, [(120.0, 0.2), (90.0, 0.1), (300.0, 0.3)])
    shown = account(found, [[found.comparables[0]], list(found.comparables[1:])])
    assert len(shown.pulls) == 2
    assert shown.pulls[1].counts == pytest.approx(40.0)
