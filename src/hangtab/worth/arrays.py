"""The array shapes used all over the engine.

Promises: only names. `Sparse` is compressed sparse rows with sorted columns; `Split` holds what belongs to
columns: knots per block (blocks, T, ...) and the border (p, ...). `Places` number columns, nodes, blocks and rows.
Not here: any computation.
"""

from __future__ import annotations

from typing import Any, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
# 32 bits for numbers of nodes, blocks and columns wherever there are many.
Places: TypeAlias = NDArray[np.signedinteger[Any]]
Flags: TypeAlias = NDArray[np.bool_]


def alike(x: NDArray[Any]) -> bool:
    """Whether x (n,) is one number seen n times, as `numpy.broadcast_to` makes it."""
    return x.strides == (0,)


class Sparse(NamedTuple):
    """Rows ptr[i]:ptr[i+1] of (idx, val); columns rise within a row."""

    ptr: Ints
    idx: Places
    val: Floats


class Split(NamedTuple):
    """Values by column: K (blocks, T, ...) for the knots of each block, B (p, ...) for the border."""

    K: Floats
    B: Floats


class Entry(NamedTuple):
    """Loose non-zeros: row, column and value of each, rows rising and columns rising within a row."""

    row: Ints
    col: Ints
    val: Floats
