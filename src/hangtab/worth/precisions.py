"""Prior precisions: sparse matrices, most of them diagonal.

Promises: exact determinants, solutions and traces, without a dense copy where there is only a diagonal: a crossed group
of many thousand levels costs no more than its levels.
Not here: which precision a term has (terms.py), the border's (border.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from hangtab.worth.arrays import Flags, Floats


@dataclass(frozen=True)
class Block:
    """A term's precision for whatever variances. places: ones where it can have entries; values (parts, entries)."""

    places: sp.csr_array
    values: Floats

    def matrix(self, val: Floats) -> sp.csr_array:
        """The matrix with these entries (entries,)."""
        return sp.csr_array((val, self.places.indices, self.places.indptr), shape=self.places.shape)


def make_block(parts: Sequence[sp.csr_array], size: int) -> Block:
    """The block of a term's parts; without any, a diagonal."""
    where = sum((abs(K) for K in parts), sp.csr_array((size, size))) if parts else sp.eye_array(size, format="csr")
    places = sp.csr_array((np.ones(where.nnz), where.indices, where.indptr), shape=where.shape)
    row, col = places.tocoo().coords
    values = [np.asarray(K[row, col]) for K in parts]
    return Block(places, np.array(values).reshape(len(parts), len(row)))


def _diagonal(Q: sp.csr_array) -> Floats | None:
    """The diagonal of a matrix that has nothing else."""
    if len(Q.indices) != Q.shape[0]:
        return None
    alone = np.array_equal(Q.indices, np.arange(Q.shape[0])) and np.array_equal(Q.indptr, np.arange(Q.shape[0] + 1))
    return np.asarray(Q.data) if alone else None


def log_determinant(Q: sp.csr_array, free: Flags) -> float:
    """Log determinant over the free columns."""
    d = _diagonal(Q)
    if d is not None:
        return float(np.log(d[free]).sum())
    return float(np.linalg.slogdet(Q.toarray()[np.ix_(free, free)])[1])


def answer(Q: sp.csr_array, x: Floats) -> Floats:
    """Q^-1 x for x (k,)."""
    d = _diagonal(Q)
    return np.asarray(x / d if d is not None else np.linalg.solve(Q.toarray(), x))


def share(Q: sp.csr_array, piece: sp.csr_array) -> float:
    """Trace of Q^-1 piece: how many columns' worth of Q the piece is."""
    d, own = _diagonal(Q), _diagonal(piece)
    if d is not None and own is not None:
        return float((own / d).sum())
    return float(np.linalg.solve(Q.toarray(), piece.toarray()).trace())
