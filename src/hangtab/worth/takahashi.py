"""The entries of an inverse on the pattern of its factor, without the rest of the inverse.

Promises: exact entries wherever matrix or factor has one; work like that of the factor.
How: Z = L^-T D^-1 L^-1 has Z_jj = 1/d_j - sum_i L_ij Z_ij and, below, Z_ij = -sum_k Z_ik L_kj, from the last column to
the first; all that a column asks for lies on the pattern already done.
Source: Takahashi, Fagan & Chin 1973; Erisman & Tinney 1975 (CACM 18).
Not here: entries off the pattern (factoring.solve).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.linalg.lapack import dpotri

from hangtab.worth.arrays import Flags, Floats, Ints, Sparse
from hangtab.worth.compiling import compiled
from hangtab.worth.factoring import Factored
from hangtab.worth.walks import mirror

# A column this many times longer than the one that asks is searched, not read through.
LONG = 16


class Inverse(NamedTuple):
    """Entries in the order of elimination: below (on L's pattern), diagonal (t,), and the dense rest, full."""

    place: Ints
    below: Sparse
    diagonal: Floats
    rest: Floats


def selected_inverse(factored: Factored) -> Inverse:
    """Inverse on the factor's pattern."""
    pattern = factored.pattern
    rest = np.zeros((0, 0))
    if len(factored.tail):
        rest, failed = dpotri(factored.tail, lower=1)
        if failed:
            raise np.linalg.LinAlgError("a pivot is not positive")
        # A column-wise lower half is a row-wise upper one.
        rest = rest.T
        mirror(rest)
    L = Sparse(pattern.starts, pattern.rows, factored.L)
    below, diagonal = _climb(L, factored.d, rest)
    return Inverse(pattern.place, Sparse(pattern.starts, pattern.rows, below), diagonal, rest)


@compiled
def _climb(L: Sparse, d: Floats, rest: Floats) -> tuple[Floats, Floats]:
    t = len(d)
    below, diagonal = np.zeros(len(L.val)), np.zeros(t)
    Z = Sparse(L.ptr, L.idx, below)
    weight, total = np.zeros(t + len(rest)), np.zeros(t + len(rest))
    asked = np.full(t + len(rest), -1, np.int64)
    for j in range(t - 1, -1, -1):
        begin, end = L.ptr[j], L.ptr[j + 1]
        for a in range(begin, end):
            weight[L.idx[a]] = L.val[a]
            total[L.idx[a]] = 0.0
            asked[L.idx[a]] = j
        for a in range(begin, end):
            k = L.idx[a]
            if k >= t:
                for b in range(a, end):
                    z = rest[k - t, L.idx[b] - t]
                    total[k] += z * weight[L.idx[b]]
                    if b > a:
                        total[L.idx[b]] += z * weight[k]
                continue
            total[k] += diagonal[k] * weight[k]
            if Z.ptr[k + 1] - Z.ptr[k] > LONG * (end - a):
                _pick(Z, k, L.idx[a + 1 : end], weight, total)
            else:
                _read(Z, k, asked, j, weight, total)
        z = 1.0 / d[j]
        for a in range(begin, end):
            below[a] = -total[L.idx[a]]
            z -= L.val[a] * below[a]
            weight[L.idx[a]] = 0.0
        diagonal[j] = z
    return below, diagonal


@compiled
def _read(Z: Sparse, k: int, asked: Ints, j: int, weight: Floats, total: Floats) -> None:
    for b in range(Z.ptr[k], Z.ptr[k + 1]):
        i = Z.idx[b]
        if asked[i] == j:
            total[k] += Z.val[b] * weight[i]
            total[i] += Z.val[b] * weight[k]


@compiled
def _pick(Z: Sparse, k: int, rows: Ints, weight: Floats, total: Floats) -> None:
    low = Z.ptr[k]
    for i in rows:
        low = _find(Z, low, Z.ptr[k + 1], i)
        total[k] += Z.val[low] * weight[i]
        total[i] += Z.val[low] * weight[k]


@compiled
def _find(Z: Sparse, low: int, high: int, row: int) -> int:
    """Place of the first entry of Z.idx[low:high] that is not before `row`."""
    while low < high:
        middle = (low + high) // 2
        if Z.idx[middle] < row:
            low = middle + 1
        else:
            high = middle
    return low


@compiled
def _entry(Z: Inverse, i: int, j: int) -> float:
    """Entry of two columns given by their places; NaN off the pattern."""
    if i < j:
        i, j = j, i
    t = len(Z.diagonal)
    if j >= t:
        return float(Z.rest[i - t, j - t])
    if i == j:
        return float(Z.diagonal[j])
    at = _find(Z.below, Z.below.ptr[j], Z.below.ptr[j + 1], i)
    if at < Z.below.ptr[j + 1] and Z.below.idx[at] == i:
        return float(Z.below.val[at])
    return np.nan


@compiled
def entries(Z: Inverse, row: Ints, col: Ints) -> Floats:
    """Entries (n,) of the inverse; NaN where the factor has none."""
    out = np.empty(len(row))
    for a in range(len(row)):
        out[a] = _entry(Z, Z.place[row[a]], Z.place[col[a]])
    return out


@compiled
def quadratics(Z: Inverse, rows: Sparse) -> Floats:
    """Return x'Zx of every sparse row, (rows,); NaN where a pair of its columns lies off the pattern."""
    out = np.zeros(len(rows.ptr) - 1)
    for i in range(len(out)):
        for a in range(rows.ptr[i], rows.ptr[i + 1]):
            at, x = Z.place[rows.idx[a]], rows.val[a]
            out[i] += x * x * _entry(Z, at, at)
            for b in range(a + 1, rows.ptr[i + 1]):
                out[i] += 2.0 * x * rows.val[b] * _entry(Z, at, Z.place[rows.idx[b]])
    return out


def known(values: Floats) -> Flags:
    """Which of the values lay on the pattern."""
    return ~np.isnan(values)
