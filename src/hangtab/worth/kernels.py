"""The compiled loops: every pass over rows or nodes of the forest.

Promises: each kernel is linear in the non-zeros it is given, deterministic, and keeps NaN (no fastmath).
Reads: rows sorted by leaf. Column numbers below T are monthly knots of the row's own block, the rest
(minus T) are border columns. A node has n = sum of weights, c = its sparse couplings to columns,
r = weighted responses, and with theta its variance f = 1/(1 + n theta), w = theta f.
Not here: dense algebra (forest.py), anything that knows what a column means.
"""

from __future__ import annotations

import numpy as np

from hangtab.worth.arrays import Floats, Ints, Sparse, Split
from hangtab.worth.compiling import compiled


@compiled
def add_squares(rows: Sparse, weight: Floats, block: Ints, out: Split) -> None:
    """Add weight x x' of each row to out.K (blocks, T, q) and out.B (p, p), upper halves only."""
    T = out.K.shape[1]
    for i in range(len(block)):
        for a in range(rows.ptr[i], rows.ptr[i + 1]):
            x = weight[i] * rows.val[a]
            if x == 0.0:
                continue
            ia = rows.idx[a]
            if ia < T:
                for b in range(a, rows.ptr[i + 1]):
                    out.K[block[i], ia, rows.idx[b]] += x * rows.val[b]
            else:
                for b in range(a, rows.ptr[i + 1]):
                    out.B[ia - T, rows.idx[b] - T] += x * rows.val[b]


@compiled
def add_products(rows: Sparse, weight: Floats, block: Ints, right: Floats, out: Split) -> None:
    """Add weight x right' of each row to out.K (blocks, T, m) and out.B (p, m)."""
    T = out.K.shape[1]
    for i in range(len(block)):
        for a in range(rows.ptr[i], rows.ptr[i + 1]):
            x = weight[i] * rows.val[a]
            ia = rows.idx[a]
            for k in range(right.shape[1]):
                if ia < T:
                    out.K[block[i], ia, k] += x * right[i, k]
                else:
                    out.B[ia - T, k] += x * right[i, k]


@compiled
def times(rows: Sparse, block: Ints, d: Split) -> Floats:
    """Return x'd of each row, (rows, m), for d.K (blocks, T, m) and d.B (p, m)."""
    T = d.K.shape[1]
    out = np.zeros((len(block), d.B.shape[1]))
    for i in range(len(block)):
        for a in range(rows.ptr[i], rows.ptr[i + 1]):
            ia = rows.idx[a]
            for k in range(out.shape[1]):
                if ia < T:
                    out[i, k] += rows.val[a] * d.K[block[i], ia, k]
                else:
                    out[i, k] += rows.val[a] * d.B[ia - T, k]
    return out


@compiled
def union_columns(ptr: Ints, idx: Ints, first: Ints, width: int) -> tuple[Ints, Ints]:
    """Sorted union of the columns of children first[j]..first[j+1]-1, for each parent j: (ptr, idx)."""
    out_ptr = np.zeros(len(first), np.int64)
    out = np.empty(len(idx), np.int64)
    seen = np.full(width, -1, np.int64)
    e = 0
    for j in range(len(first) - 1):
        start = e
        for c in range(first[j], first[j + 1]):
            for a in range(ptr[c], ptr[c + 1]):
                if seen[idx[a]] != j:
                    seen[idx[a]] = j
                    out[e] = idx[a]
                    e += 1
        out[start:e] = np.sort(out[start:e])
        out_ptr[j + 1] = e
    return out_ptr, out[:e].copy()


@compiled
def gather(children: Sparse, factor: Floats, first: Ints, ptr: Ints, idx: Ints) -> Floats:
    """Sum of factor * val over each parent's children, laid on the parents' columns (ptr, idx)."""
    out = np.zeros(len(idx))
    place = np.zeros(np.max(idx) + 1 if len(idx) else 1, np.int64)
    for j in range(len(first) - 1):
        for a in range(ptr[j], ptr[j + 1]):
            place[idx[a]] = a
        for c in range(first[j], first[j + 1]):
            for a in range(children.ptr[c], children.ptr[c + 1]):
                out[place[children.idx[a]]] += factor[c] * children.val[a]
    return out


@compiled
def sum_children(values: Floats, factor: Floats, first: Ints) -> Floats:
    """Sum of factor * values (children, m) over each parent's children."""
    out = np.zeros((len(first) - 1, values.shape[1]))
    for j in range(len(first) - 1):
        for c in range(first[j], first[j + 1]):
            for k in range(values.shape[1]):
                out[j, k] += factor[c] * values[c, k]
    return out


@compiled
def sum_squares(r: Floats, w: Floats) -> Floats:
    """Sum of w r r' over nodes, (m, m)."""
    m = r.shape[1]
    out = np.zeros((m, m))
    for j in range(len(w)):
        for k in range(m):
            for h in range(m):
                out[k, h] += w[j] * r[j, k] * r[j, h]
    return out


@compiled
def couple(nodes: Sparse, block: Ints, n: Floats, parent: Ints, above: Floats, d: Split) -> Floats:
    """Return n above[parent] + c'd of each node, (nodes, m); above (parents, m)."""
    T = d.K.shape[1]
    out = np.empty((len(n), above.shape[1]))
    for j in range(len(n)):
        for k in range(out.shape[1]):
            z = n[j] * above[parent[j], k]
            for a in range(nodes.ptr[j], nodes.ptr[j + 1]):
                ia = nodes.idx[a]
                z += nodes.val[a] * (d.K[block[j], ia, k] if ia < T else d.B[ia - T, k])
            out[j, k] = z
    return out


@compiled
def _between(D: Split, block: int, ia: int, ib: int) -> float:
    """Covariance of two columns; D.K holds the knots' full strips, D.B the border."""
    T = D.K.shape[1]
    value: float
    if ia < T:
        value = D.K[block, ia, ib]
    elif ib < T:
        value = D.K[block, ib, ia]
    else:
        value = D.B[ia - T, ib - T]
    return value


@compiled
def _quadratic(rows: Sparse, i: int, block: int, D: Split) -> float:
    """Return x'Dx of sparse row i."""
    total = 0.0
    for a in range(rows.ptr[i], rows.ptr[i + 1]):
        ia = rows.idx[a]
        g = 0.5 * _between(D, block, ia, ia) * rows.val[a]
        for b in range(a + 1, rows.ptr[i + 1]):
            g += _between(D, block, ia, rows.idx[b]) * rows.val[b]
        total += 2.0 * rows.val[a] * g
    return total


@compiled
def inherit(nodes: Sparse, parent: Ints, above: Sparse) -> tuple[Floats, Floats]:
    """The parents' values (above) on each child's own columns, and their sum weighted by the child's couplings."""
    out = np.empty(len(nodes.val))
    lin = np.zeros(len(parent))
    for j in range(len(parent)):
        at = above.ptr[parent[j]]
        for a in range(nodes.ptr[j], nodes.ptr[j + 1]):
            while above.idx[at] != nodes.idx[a]:
                at += 1
            out[a] = above.val[at]
            lin[j] += nodes.val[a] * out[a]
    return out, lin


@compiled
def quadratics(rows: Sparse, block: Ints, D: Split) -> Floats:
    """Return x'Dx of every row."""
    out = np.empty(len(block))
    for i in range(len(block)):
        out[i] = _quadratic(rows, i, block[i], D)
    return out


@compiled
def spread_columns(nodes: Sparse, block: Ints, f: Floats, w: Floats, cov: Floats, D: Split) -> Floats:
    """Covariance of each node's running sum with its own columns: f cov - w D c, cov being the parent's."""
    out = np.empty(len(cov))
    for j in range(len(w)):
        for a in range(nodes.ptr[j], nodes.ptr[j + 1]):
            g = 0.0
            for b in range(nodes.ptr[j], nodes.ptr[j + 1]):
                g += _between(D, block[j], nodes.idx[a], nodes.idx[b]) * nodes.val[b]
            out[a] = f[j] * cov[a] - w[j] * g
    return out


@compiled
def fold(at: Ints, nodes: Sparse, w: Floats, f: Floats, carry: Floats, Z: Floats) -> Floats:
    """Fold one level of each row's chain into its dense vector Z (rows, q), from the leaf upward.

    at (rows,): the row's node on this level, -1 where it has none. carry (rows,): product of f below, updated.
    Returns carry * w: the covariance of the node's free part with the row.
    """
    own = np.zeros(len(at))
    for i in range(len(at)):
        j = at[i]
        if j < 0:
            continue
        own[i] = carry[i] * w[j]
        for a in range(nodes.ptr[j], nodes.ptr[j + 1]):
            Z[i, nodes.idx[a]] -= own[i] * nodes.val[a]
        carry[i] *= f[j]
    return own
