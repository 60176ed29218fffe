"""The compiled way down the forest: variances of effects, of running sums and of rows.

Promises: exact covariances, each kernel deterministic and keeping NaN (no fastmath).
Reads: nodes as in kernels.py; D, the covariance of the columns: D.K (blocks, T, q) the full strips of each block's
knots, D.B (p, p) the border's.
How: a node's running sum has with the columns the covariance f cov(parent, columns) - w D c; only the node's own
columns are ever asked for below it.
Not here: the way up (kernels.py), dense algebra (walks.py).
"""

from __future__ import annotations

import numpy as np

from hangtab.worth.arrays import Floats, Places, Sparse, Split
from hangtab.worth.compiling import compiled
from hangtab.worth.kernels import DENSE


@compiled
def _few(x: Sparse, j: int, strips: Floats, B: Floats, g: Floats) -> float:
    """Put D x in g, on the columns of sparse row j, for few columns, and return x'Dx. Each pair is read once."""
    T = strips.shape[0]
    start, end = x.ptr[j], x.ptr[j + 1]
    for a in range(end - start):
        g[a] = 0.0
    total = 0.0
    for a in range(start, end):
        ia, va = x.idx[a], x.val[a]
        line = strips[ia] if ia < T else B[ia - T]
        shift = 0 if ia < T else T
        own = line[ia - shift] * va
        mine = own
        for b in range(a + 1, end):
            z = line[x.idx[b] - shift]
            mine += z * x.val[b]
            g[b - start] += z * va
        total += va * (2.0 * mine - own)
        g[a - start] += mine
    return total


@compiled
def _many(x: Sparse, j: int, strips: Floats, B: Floats, g: Floats, whole: Floats) -> float:
    """The same for many columns: whole rows of D are added up in `whole` (q,)."""
    T, q = strips.shape
    start, end = x.ptr[j], x.ptr[j + 1]
    whole[:] = 0.0
    for a in range(start, end):
        ia, va = x.idx[a], x.val[a]
        if ia < T:
            line = strips[ia]
            for c in range(q):
                whole[c] += va * line[c]
            for b in range(end - 1, a, -1):
                if x.idx[b] < T:
                    break
                whole[ia] += line[x.idx[b]] * x.val[b]
        else:
            edge = B[ia - T]
            for c in range(q - T):
                whole[T + c] += va * edge[c]
    total = 0.0
    for a in range(start, end):
        g[a - start] = whole[x.idx[a]]
        total += x.val[a] * g[a - start]
    return total


@compiled
def descend(
    nodes: Sparse, own: tuple[Places, Places, Floats], fw: tuple[Floats, Floats], above: tuple[Floats, Sparse], D: Split
) -> tuple[Floats, Floats, float]:
    """One level down. own: parent, block, n; fw: f, w; above: the parents' variances and covariances with columns.

    Returns the variance of each node's running sum (nodes,), its covariance with its own columns (non-zeros of nodes),
    and the level's gap: sum of 1 - var(effect)/theta, written so that nothing cancels when theta is tiny.
    """
    (parent, block, n), (f, w), (up, cov) = own, fw, above
    q = D.K.shape[1] + D.B.shape[0]
    g, whole = np.empty(q), np.empty(q)
    var, values, gap = np.empty(len(n)), np.empty(len(nodes.val)), 0.0
    for j in range(len(n)):
        start, end = nodes.ptr[j], nodes.ptr[j + 1]
        if (end - start) * DENSE > q:
            quad = _many(nodes, j, D.K[block[j]], D.B, g, whole)
        else:
            quad = _few(nodes, j, D.K[block[j]], D.B, g)
        at, lin = cov.ptr[parent[j]], 0.0
        for a in range(start, end):
            while cov.idx[at] != nodes.idx[a]:
                at += 1
            lin += nodes.val[a] * cov.val[at]
            values[a] = f[j] * cov.val[at] - w[j] * g[a - start]
        above_j = up[parent[j]]
        gap += n[j] * w[j] - w[j] * f[j] * (n[j] * n[j] * above_j + 2.0 * n[j] * lin + quad)
        var[j] = w[j] + f[j] * f[j] * above_j - 2.0 * w[j] * f[j] * lin + w[j] * w[j] * quad
    return var, values, gap


@compiled
def row_variances(rows: Sparse, block: Places, leaf: Places, above: tuple[Floats, Sparse], D: Split) -> Floats:
    """Variance of each row's linear predictor, (rows,); above: the leaves' variances and covariances with columns."""
    up, cov = above
    g = np.empty(D.K.shape[1] + D.B.shape[0])
    out = np.empty(len(block))
    for i in range(len(block)):
        at, lin = cov.ptr[leaf[i]], 0.0
        for a in range(rows.ptr[i], rows.ptr[i + 1]):
            while cov.idx[at] != rows.idx[a]:
                at += 1
            lin += rows.val[a] * cov.val[at]
        out[i] = up[leaf[i]] + 2.0 * lin + _few(rows, i, D.K[block[i]], D.B, g)
    return out
