"""The dense algebra of walks: each walked block's knots eliminated for fixed weights.

Promises: exact; a block's walk with prior precision P = Q / variance and data M (T, T), N (T, p) leaves
R = (M + P)^-1 P, and from it M R, R'N and B - N'(M + P)^-1 N for the root. M R is the Schur complement
M - M (M + P)^-1 M written so that nothing cancels, however small or large the walk's variance.
How: one Cholesky and one inverse a block (LAPACK potrf, potri); P is tridiagonal, so R costs next to nothing.
Not here: rows and nodes (parts.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dpotrf, dpotri

from hangtab.worth.arrays import Flags, Floats, Split
from hangtab.worth.compiling import compiled

# How much greater than the data a walk's prior precision may be where it is taken off: as many digits are lost.
FAR = 300.0


@dataclass(frozen=True)
class Walks:
    """Each block's knots given the root: mean own b + reach g, covariance own.

    own: (blocks, T, T), nothing where there is no walk. reach: (blocks, T, q); g (q,) the root.
    """

    own: Floats
    reach: Floats


def step_precision(T: int) -> Floats:
    """Precision of a random walk with unit steps that starts one step from zero, (T, T); its determinant is 1."""
    Q = 2.0 * np.eye(T) - np.eye(T, k=1) - np.eye(T, k=-1)
    if T:
        Q[-1, -1] = 1.0
    return Q


@compiled
def stepped(X: Floats) -> Floats:
    """X Q for X (n, T) and Q the precision of a walk with unit steps."""
    out = np.empty_like(X)
    T = X.shape[1]
    for i in range(X.shape[0]):
        for t in range(T):
            z = X[i, t] if t == T - 1 else 2.0 * X[i, t] - X[i, t + 1]
            out[i, t] = z - X[i, t - 1] if t else z
    return out


@compiled
def mirror(A: Floats) -> None:
    """Copy the upper half of a square matrix to the lower, in place."""
    for i in range(A.shape[0]):
        for j in range(i):
            A[i, j] = A[j, i]


def invert(A: Floats) -> tuple[Floats, float]:
    """Inverse and log determinant of a positive definite matrix; A's upper half is read and overwritten."""
    # A row-wise upper half is a column-wise lower one: the transpose goes to LAPACK without a copy.
    factor, failed = dpotrf(A.T, lower=1, clean=0, overwrite_a=1)
    if failed:
        raise np.linalg.LinAlgError("a pivot is not positive")
    logdet = 2.0 * float(np.log(np.diag(factor)).sum())
    inverse, _ = dpotri(factor, lower=1, overwrite_c=1)
    out = np.ascontiguousarray(inverse.T)
    mirror(out)
    return out, logdet


def _left_over(M: Floats, R: Floats, line: float) -> Floats:
    """M R, (T, T). It equals P - P R', which costs nothing, but cancels where P is far greater than M."""
    if 2.0 / line > FAR * float(np.diag(M).mean()):
        return M @ R
    out = stepped(np.ascontiguousarray(R.T)) / -line
    at = np.arange(len(M))
    out[at, at] += 2.0 / line
    out[at[:-1], at[1:]] -= 1.0 / line
    out[at[1:], at[:-1]] -= 1.0 / line
    out[-1, -1] -= 1.0 / line
    return out


def fold_walks(S: Split, walked: Flags, line: float) -> tuple[Walks, Floats, float]:
    """Eliminate the walks. S: data of the knots (blocks, T, q) and of the border (p, p), upper halves; overwritten.

    Returns the walks, what they leave to the root (q, q), and the log determinant.
    """
    blocks, T, q = S.K.shape
    own, reach = np.zeros((blocks, T, T)), np.zeros((blocks, T, q))
    G, logdet = np.zeros((q, q)), 0.0
    mirror(S.B)
    G[T:, T:] = S.B
    for b in range(blocks):
        M, N = S.K[b, :, :T], S.K[b, :, T:]
        mirror(M)
        if not walked[b]:
            reach[b, :, :T] = np.eye(T)
            G[:T] += S.K[b]
            continue
        A = M.copy()
        at = np.arange(T)
        A[at, at] += 2.0 / line
        A[at[:-1], at[1:]] -= 1.0 / line
        A[-1, -1] -= 1.0 / line
        own[b], found = invert(A)
        logdet += found + T * float(np.log(line))
        R = stepped(own[b]) / line
        K = own[b] @ N
        reach[b, :, :T], reach[b, :, T:] = R, -K
        G[:T, :T] += _left_over(M, R, line)
        G[:T, T:] += R.T @ N
        G[T:, T:] -= N.T @ K
    G[T:, :T] = G[:T, T:].T
    return Walks(own, reach), G, logdet
