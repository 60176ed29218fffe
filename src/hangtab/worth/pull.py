"""What one row says about its own linear predictor, as six arrays.

Promises: only the shape. Not here: how any kind of row fills it (tails.py, offers.py, listings.py, mixtures.py).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from hangtab.worth.arrays import Floats


class Pull(NamedTuple):
    """What each row says, all (rows,).

    loglik: log likelihood. slope: its derivative in eta. weight: EM's. bend: minus the second derivative.
    information: expected (bounds, listings: observed). scale_slope: d(-2 log lik)/d(log scale^2).
    """

    loglik: Floats
    slope: Floats
    weight: Floats
    bend: Floats
    information: Floats
    scale_slope: Floats


def silent(rows: int) -> Pull:
    """Rows that say nothing yet."""
    return Pull(*(np.zeros(rows) for _ in Pull._fields))
