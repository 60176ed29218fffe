"""A sparse symmetric positive definite matrix: L D L' of its first columns, a dense Cholesky factor of the last.

Promises: the exact factor, log determinant and solutions; a matrix that is not positive definite is refused.
How: columns by the order of ordering.py; crossed effects fill the last of them up, and there dense algebra is fifty
times faster than sparse. Where it begins is chosen by what both would cost.
Source: left-looking sparse LDL', Davis 2006, Direct Methods for Sparse Linear Systems, ch. 4 (from memory).
Not here: what the columns mean (sparse.py), the inverse (takahashi.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.linalg import cho_solve, cholesky

from hangtab.worth.arrays import Floats, Ints, Sparse
from hangtab.worth.compiling import compiled
from hangtab.worth.ordering import elimination_order, elimination_tree, factor_rows

# Dense over sparse work a second, one thread. Measured: 45e9 and 0.5e9 operations; the inverse copies more.
FASTER = 50.0


@dataclass(frozen=True)
class Pattern:
    """What no number changes. order (N,): the column eliminated at each step; place (N,): its inverse.

    lower: ptr, idx of the matrix in that order, lower half by columns with the diagonal.
    starts (t + 1,), rows: the factor's first t columns; the other N - t are dense.
    """

    order: Ints
    place: Ints
    ptr: Ints
    idx: Ints
    starts: Ints
    rows: Ints

    @property
    def size(self) -> int:
        """Columns of the matrix."""
        return len(self.order)

    @property
    def head(self) -> int:
        """Columns kept sparse."""
        return len(self.starts) - 1


@dataclass(frozen=True)
class Factored:
    """L (head columns, unit diagonal left out), d (head,), dense lower Cholesky factor of what remains."""

    pattern: Pattern
    L: Floats
    d: Floats
    tail: Floats

    @property
    def logdet(self) -> float:
        """Log determinant of the matrix."""
        return float(np.log(self.d).sum() + 2.0 * np.log(np.diag(self.tail)).sum())


def make_pattern(matrix: sp.csc_array) -> Pattern:
    """Order and pattern of a symmetric matrix, both halves given (its numbers do not matter), diagonal included."""
    N = matrix.shape[0]
    column = np.repeat(np.arange(N), np.diff(matrix.indptr))
    off = matrix.indices != column
    ptr = np.concatenate([[0], np.cumsum(np.bincount(column[off], minlength=N))]).astype(np.int64)
    order = elimination_order(ptr, matrix.indices[off].astype(np.int64))
    place = np.empty(N, np.int64)
    place[order] = np.arange(N)
    lower = sp.csc_array((np.ones(len(column), np.int8), (place[matrix.indices], place[column])), shape=matrix.shape)
    lower = sp.tril(lower, format="csc")
    lower.sort_indices()
    earlier = sp.tril(lower, -1, format="csr")
    ptr, idx = earlier.indptr.astype(np.int64), earlier.indices.astype(np.int64)
    parent, count = elimination_tree(ptr, idx)
    head = _head(count)
    starts = np.concatenate([[0], np.cumsum(count[:head])]).astype(np.int64)
    rows = factor_rows(ptr, idx, parent, starts)
    return Pattern(order, place, lower.indptr.astype(np.int64), lower.indices.astype(np.int64), starts, rows)


def _head(count: Ints) -> int:
    """How many columns are cheapest kept sparse."""
    N = len(count)
    sparse = np.concatenate([[0.0], np.cumsum(count.astype(float) ** 2)])
    dense = (N - np.arange(N + 1.0)) ** 3 / 3.0
    return int(np.argmin(sparse + dense / FASTER))


def factor(pattern: Pattern, values: Floats) -> Factored:
    """Factor the matrix with `values` at pattern.ptr, idx. LinAlgError where it is not positive definite."""
    lower = Sparse(pattern.ptr, pattern.idx, values)
    L, d = _factor_head(lower, pattern.starts, pattern.rows)
    if not (d > 0.0).all():
        raise np.linalg.LinAlgError("a pivot is not positive")
    # Upper half by rows is lower half by columns: LAPACK takes it as it lies.
    S = _schur(lower, Sparse(pattern.starts, pattern.rows, L), d)
    return Factored(pattern, L, d, cholesky(S.T, lower=True, overwrite_a=True, check_finite=False))


@compiled
def _factor_head(lower: Sparse, starts: Ints, rows: Ints) -> tuple[Floats, Floats]:
    """L and d of the first columns; a pivot that is not positive ends the work and stays where it is in d."""
    t = len(starts) - 1
    L, d = np.zeros(len(rows)), np.zeros(t)
    work = np.zeros(len(lower.ptr) - 1)
    # Columns whose next entry lies in row j wait in j's list.
    waiting, after, at = np.full(t, -1, np.int64), np.full(t, -1, np.int64), starts[:-1].copy()
    for j in range(t):
        for a in range(lower.ptr[j], lower.ptr[j + 1]):
            work[lower.idx[a]] = lower.val[a]
        k = waiting[j]
        while k >= 0:
            following = after[k]
            share = L[at[k]] * d[k]
            for a in range(at[k], starts[k + 1]):
                work[rows[a]] -= share * L[a]
            at[k] += 1
            if at[k] < starts[k + 1] and rows[at[k]] < t:
                after[k] = waiting[rows[at[k]]]
                waiting[rows[at[k]]] = k
            k = following
        d[j] = work[j]
        work[j] = 0.0
        if not d[j] > 0.0:
            break
        for a in range(starts[j], starts[j + 1]):
            L[a] = work[rows[a]] / d[j]
            work[rows[a]] = 0.0
        if starts[j] < starts[j + 1] and rows[starts[j]] < t:
            after[j] = waiting[rows[starts[j]]]
            waiting[rows[starts[j]]] = j
    return L, d


@compiled
def _schur(lower: Sparse, L: Sparse, d: Floats) -> Floats:
    """What the first columns leave of the last ones, upper half by rows, (N - t, N - t)."""
    t = len(d)
    s = len(lower.ptr) - 1 - t
    S = np.zeros((s, s))
    for j in range(s):
        for a in range(lower.ptr[t + j], lower.ptr[t + j + 1]):
            S[j, lower.idx[a] - t] = lower.val[a]
    for k in range(t):
        end = L.ptr[k + 1]
        a = end
        while a > L.ptr[k] and L.idx[a - 1] >= t:
            a -= 1
        for b in range(a, end):
            share = L.val[b] * d[k]
            row = S[L.idx[b] - t]
            for c in range(b, end):
                row[L.idx[c] - t] -= share * L.val[c]
    return S


def solve(factored: Factored, right: Floats) -> Floats:
    """Solution for several right-hand sides (N, m), columns in their own order."""
    pattern, t = factored.pattern, factored.pattern.head
    x = np.ascontiguousarray(right[pattern.order])
    L = Sparse(pattern.starts, pattern.rows, factored.L)
    _forward(L, x)
    x[t:] = cho_solve((factored.tail, True), x[t:], check_finite=False)
    _backward(L, factored.d, x)
    return np.asarray(x[pattern.place])


@compiled
def _forward(L: Sparse, x: Floats) -> None:
    for j in range(len(L.ptr) - 1):
        for a in range(L.ptr[j], L.ptr[j + 1]):
            for k in range(x.shape[1]):
                x[L.idx[a], k] -= L.val[a] * x[j, k]


@compiled
def _backward(L: Sparse, d: Floats, x: Floats) -> None:
    for j in range(len(d) - 1, -1, -1):
        for k in range(x.shape[1]):
            x[j, k] /= d[j]
        for a in range(L.ptr[j], L.ptr[j + 1]):
            for k in range(x.shape[1]):
                x[j, k] -= L.val[a] * x[L.idx[a], k]
