"""The one kind of array that scores and ratios are made of."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def floats(values: ArrayLike) -> Floats:
    """Any numbers as float64."""
    return np.asarray(values, dtype=np.float64)
