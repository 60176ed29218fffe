"""How wrong the middle is, found again from invented misses of which the truth is known."""

import numpy as np
import pytest

from hangtab.valuing.shared import Missed, middle_factor

PIECES, SALES = 100, 3


def misses(wider, seed, *, pieces=PIECES, gross=0.0):
    """Sales of pieces whose middles err with `wider` times the claimed standard deviation, and one sale's own noise."""
    draw = np.random.default_rng(seed)
    own, market, noise = 0.2, 0.1, 0.3
    piece = np.repeat(np.arange(pieces), SALES)
    claimed = own**2 * (piece[:, None] == piece[None, :]) + market**2
    shared = wider * (draw.normal(0, own, pieces)[piece] + draw.normal(0, market))
    miss = shared + 1.3 * draw.normal(0, noise, len(piece)) + gross * (draw.random(len(piece)) < 0.01)
    return Missed(miss, claimed, np.full(len(piece), noise**2))


@pytest.mark.parametrize("wider", [0.7, 1.0, 1.4])
def test_the_factor_is_found_again_whatever_the_noise(wider):
    """Three origins of 300 sales; the noise is 1.3 times what was claimed, which must not be taken for shared error."""
    found = [middle_factor([misses(wider, 3 * k + i) for i in range(3)]) for k in range(3)]
    assert np.mean(found) == pytest.approx(wider, rel=0.1)


def test_nothing_tried_leaves_the_range():
    assert middle_factor([]) == pytest.approx(1.0)


def test_few_sales_move_it_little():
    few, many = middle_factor([misses(1.6, 3, pieces=4)]), middle_factor([misses(1.6, i) for i in range(3)])
    assert few < 1.1
    assert many > 1.3


def test_gross_errors_are_not_taken_for_errors_of_the_middle():
    """One sale in a hundred brings ten times too much."""
    clean, soiled = (middle_factor([misses(1.2, i, gross=g) for i in range(3)]) for g in (0.0, 2.3))
    assert soiled == pytest.approx(clean, rel=0.06)
