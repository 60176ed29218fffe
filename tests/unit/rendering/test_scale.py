"""Round figures on a logarithmic scale."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hangtab.rendering.scale import LogScale, around, figures

ends = st.tuples(st.floats(0.05, 50_000), st.floats(1.12, 400)).map(lambda t: (t[0], t[0] * t[1]))


@given(ends, st.floats(5, 60), st.sampled_from([354, 756]))
def test_figures_keep_their_distance_and_stay_on_the_scale(span, gap, width):
    """Neighbouring figures are at least the gap apart, ascending, and on the scale."""
    scale = LogScale(*span, 1, width - 1)
    found = figures(scale, gap)
    assert all(scale.holds(v) for v in found)
    assert all(scale.at(b) - scale.at(a) >= gap - 1e-6 for a, b in pairwise(found))


@given(st.lists(st.floats(0.01, 1e6), min_size=1, max_size=9))
def test_everything_lies_within_the_ends(values):
    """No value is outside, and there is a margin on both sides."""
    low, high = around(values)
    assert low < min(values)
    assert max(values) < high


def test_equal_steps_are_equal_percentages():
    scale = LogScale(10, 1000, 0, 200)
    assert scale.at(100) == pytest.approx(100)
    assert scale.at(20) - scale.at(10) == pytest.approx(scale.at(200) - scale.at(100))
    assert scale.at(50) == pytest.approx(200 * math.log(5) / math.log(100))


def test_upward_pixels_work_as_well():
    assert figures(LogScale(40, 320, 276, 12), 34) == [50, 70, 100, 150, 200, 300]
