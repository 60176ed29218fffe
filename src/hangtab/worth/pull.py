"""What one row says about its own linear predictor, as six arrays.

Promises: only the shape. Not here: how any kind of row fills it (tails.py, offers.py, listings.py, mixtures.py).
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

import numpy as np

from hangtab.worth.arrays import Floats


class Pull(Protocol):
    """What each row says, all (rows,)."""

    @property
    def loglik(self) -> Floats:
        """Log likelihood."""

    @property
    def slope(self) -> Floats:
        """Its derivative in eta."""

    @property
    def weight(self) -> Floats:
        """EM's."""

    @property
    def bend(self) -> Floats:
        """Minus the second derivative."""

    @property
    def information(self) -> Floats:
        """Expected (bounds, listings: observed)."""

    @property
    def scale_slope(self) -> Floats:
        """d(-2 log lik)/d(log scale^2)."""


class Said(NamedTuple):
    """The same, kept as arrays."""

    loglik: Floats
    slope: Floats
    weight: Floats
    bend: Floats
    information: Floats
    scale_slope: Floats


def silent(rows: int) -> Said:
    """Rows that say nothing yet."""
    return Said(*(np.zeros(rows) for _ in Said._fields))
