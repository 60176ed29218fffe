"""A small quadratic program: some columns of the border may not be negative.

Promises: the exact minimum of b'Ab/2 - r'b with b >= 0 on the bounded columns, A positive definite.
Gives: the minimum and which bounded columns stand at zero.
Source: block principal pivoting, Judice & Pires 1994 (from memory), with single pivots as the way out of cycles.
Not here: bounds other than zero.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from hangtab.worth.arrays import Flags, Floats


def bounded_minimum(A: Floats, r: Floats, bounded: Flags, held: Flags) -> tuple[Floats, Flags]:
    """Minimise b'Ab/2 - r'b, b[bounded] >= 0, starting from the columns `held` at zero.

    A: (p, p) positive definite. r, bounded, held: (p,). Returns (b, held).

    >>> b, held = bounded_minimum(np.eye(2), np.array([1.0, -1.0]), np.array([True, True]), np.zeros(2, bool))
    >>> b.tolist(), held.tolist()
    ([1.0, 0.0], [False, True])
    """
    held = held & bounded
    fewest, tries = len(r) + 1, 3
    while True:
        b = _solve_free(A, r, ~held)
        slope = A @ b - r
        scale = np.abs(A) @ np.abs(b) + np.abs(r)
        wrong = (bounded & ~held & (b < 0)) | (held & (slope < -1e-12 * scale))
        count = int(wrong.sum())
        if count == 0:
            return b, held
        if count < fewest:
            fewest, tries = count, 3
        elif tries > 0:
            tries -= 1
        else:
            # Only the last wrong column turns: slow, but it cannot cycle.
            last = int(np.flatnonzero(wrong)[-1])
            wrong = np.arange(len(r)) == last
        held = held ^ wrong


def _solve_free(A: Floats, r: Floats, free: Flags) -> Floats:
    b = np.zeros(len(r))
    if free.any():
        b[free] = cho_solve(cho_factor(A[np.ix_(free, free)], lower=True), r[free])
    return b
