"""The bounded quadratic program against trying every set of held columns."""

# ruff: noqa: N806 - matrices keep the capitals of the papers they come from

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from hangtab.worth.quadratic import bounded_minimum


@pytest.mark.parametrize("seed", range(30))
def test_minimum_equals_trying_every_set(seed):
    rng = np.random.default_rng(seed)
    X = rng.normal(size=(9, 6))
    A, r = X.T @ X, X.T @ rng.normal(size=9)
    bounded = np.array([True, True, True, True, False, True])
    best = np.inf
    for held in product([False, True], repeat=6):
        free = ~(np.array(held) & bounded)
        b = np.zeros(6)
        b[free] = np.linalg.solve(A[np.ix_(free, free)], r[free])
        if (b[bounded] >= 0).all():
            best = min(best, 0.5 * b @ A @ b - r @ b)
    start = rng.random(6) < 0.5
    b, held = bounded_minimum(A, r, bounded, start)
    assert (b[bounded] >= 0).all()
    assert (b[held] == 0).all()
    assert 0.5 * b @ A @ b - r @ b == pytest.approx(best, rel=1e-10)
