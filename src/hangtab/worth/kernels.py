"""The compiled loops over rows and nodes of a part of the forest, from the leaves upward.

Promises: each kernel is deterministic and keeps NaN (no fastmath).
Reads: rows sorted by leaf. Column numbers below T are monthly knots of the row's own block, the rest
(minus T) are border columns. A node has n = sum of weights, c = its sparse couplings to columns,
r = weighted responses, and with theta its variance f = 1/(1 + n theta), w = theta f.
Not here: the way down with covariances (descent.py), dense algebra (walks.py), anything that knows what a column means.
"""

from __future__ import annotations

import numpy as np

from hangtab.worth.arrays import Entry, Floats, Ints, Places, Sparse, Split
from hangtab.worth.compiling import compiled

# A sparse vector that touches more than one column in so many is spread out: whole rows of a matrix then go by
# vector instructions, about this many times faster for each entry. Measured: 200 columns, nodes of 10 to 200 entries.
DENSE = 8
# Runs up to this long are sorted by putting each row in its place.
LONG = 32


@compiled
def add_squares(rows: Sparse, weight: Floats, block: Places, out: Split) -> None:  # noqa: C901, PLR0912 - two loops in one
    """Add weight x x' of each row to out.K (blocks, T, q) and out.B (p, p), upper halves only."""
    T = out.K.shape[1]
    q = T + out.B.shape[0]
    x = np.zeros(q)
    for i in range(len(block)):
        start, end = rows.ptr[i], rows.ptr[i + 1]
        wide = (end - start) * DENSE > q
        if wide:
            for a in range(start, end):
                x[rows.idx[a]] = rows.val[a]
        for a in range(start, end):
            ia, z = rows.idx[a], weight[i] * rows.val[a]
            if ia < T:
                strip = out.K[block[i], ia]
                if wide:
                    for c in range(ia, q):
                        strip[c] += z * x[c]
                else:
                    for b in range(a, end):
                        strip[rows.idx[b]] += z * rows.val[b]
            else:
                edge = out.B[ia - T]
                for b in range(a, end):
                    edge[rows.idx[b] - T] += z * rows.val[b]
        if wide:
            for a in range(start, end):
                x[rows.idx[a]] = 0.0


@compiled
def add_products(rows: Sparse, weight: Floats, block: Places, right: Floats, out: Split) -> None:
    """Add weight x right' of each row to out.K (blocks, T, m) and out.B (p, m)."""
    T, m = out.K.shape[1], right.shape[1]
    for i in range(len(block)):
        knots = out.K[block[i]]
        for a in range(rows.ptr[i], rows.ptr[i + 1]):
            x, ia = weight[i] * rows.val[a], rows.idx[a]
            if ia < T:
                for k in range(m):
                    knots[ia, k] += x * right[i, k]
            else:
                for k in range(m):
                    out.B[ia - T, k] += x * right[i, k]


@compiled
def add_product(rows: Sparse, weight: Floats, block: Places, right: Floats, out: Split) -> None:
    """The same for one right-hand side, right (rows,)."""
    T = out.K.shape[1]
    edge = out.B[:, 0]
    for i in range(len(block)):
        knots, z = out.K[block[i], :, 0], weight[i] * right[i]
        for a in range(rows.ptr[i], rows.ptr[i + 1]):
            ia = rows.idx[a]
            if ia < T:
                knots[ia] += z * rows.val[a]
            else:
                edge[ia - T] += z * rows.val[a]


@compiled
def times(rows: Sparse, block: Places, d: Split) -> Floats:
    """Return x'd of each row, (rows, m), for d.K (blocks, T, m) and d.B (p, m)."""
    T = d.K.shape[1]
    out = np.zeros((len(block), d.B.shape[1]))
    for k in range(out.shape[1]):
        edge = d.B[:, k]
        for i in range(len(block)):
            knots, z = d.K[block[i], :, k], 0.0
            for a in range(rows.ptr[i], rows.ptr[i + 1]):
                ia = rows.idx[a]
                z += rows.val[a] * (knots[ia] if ia < T else edge[ia - T])
            out[i, k] = z
    return out


@compiled
def union_columns(ptr: Ints, idx: Places, first: Places, width: int) -> tuple[Ints, Places]:
    """Sorted union of the columns of children first[j]..first[j+1]-1, for each parent j: (ptr, idx)."""
    out_ptr = np.zeros(len(first), np.int64)
    out = np.empty(len(idx), np.int32)
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
        if first[j + 1] - first[j] > 1:
            out[start:e] = np.sort(out[start:e])
        out_ptr[j + 1] = e
    return out_ptr, out[:e].copy()


@compiled
def gather(children: Sparse, factor: Floats, first: Places, ptr: Ints, idx: Places, width: int) -> Floats:
    """Sum of factor * val over each parent's children, laid on the parents' columns (ptr, idx)."""
    out = np.zeros(len(idx))
    place = np.zeros(width, np.int64)
    for j in range(len(first) - 1):
        for a in range(ptr[j], ptr[j + 1]):
            place[idx[a]] = a
        for c in range(first[j], first[j + 1]):
            for a in range(children.ptr[c], children.ptr[c + 1]):
                out[place[children.idx[a]]] += factor[c] * children.val[a]
    return out


@compiled
def sum_children(values: Floats, factor: Floats, first: Places) -> Floats:
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
            z = w[j] * r[j, k]
            for h in range(m):
                out[k, h] += z * r[j, h]
    return out


@compiled
def couple(nodes: Sparse, block: Places, n: Floats, parent: Places, above: Floats, d: Split) -> Floats:
    """Return n above[parent] + c'd of each node, (nodes, m); above (parents, m)."""
    T = d.K.shape[1]
    out = np.empty((len(n), above.shape[1]))
    for j in range(len(n)):
        for k in range(out.shape[1]):
            out[j, k] = n[j] * above[parent[j], k]
        for a in range(nodes.ptr[j], nodes.ptr[j + 1]):
            ia = nodes.idx[a]
            at = d.K[block[j], ia] if ia < T else d.B[ia - T]
            for k in range(out.shape[1]):
                out[j, k] += nodes.val[a] * at[k]
    return out


@compiled
def lay(rows: Sparse, free: Ints, found: Entry) -> None:
    """Put non-zeros at the next free places of their rows; free (rows,) moves on."""
    for e in range(len(found.row)):
        at = free[found.row[e]]
        rows.idx[at] = found.col[e]
        rows.val[at] = found.val[e]
        free[found.row[e]] = at + 1


@compiled
def close_gaps(rows: Sparse, ends: Ints) -> None:
    """Close the gaps between rows that end before the next begins, in place; ptr becomes that of the rows as filled."""
    e = 0
    for i in range(len(ends)):
        start = rows.ptr[i]
        rows.ptr[i] = e
        for a in range(start, ends[i]):
            rows.idx[e], rows.val[e] = rows.idx[a], rows.val[a]
            e += 1
    rows.ptr[len(ends)] = e


@compiled
def sort_by_digit(keys: Ints, order: Places, low: int, bits: int) -> tuple[Ints, Places]:
    """Keys and what goes with them sorted by the bits low, low + 1, ... low + bits - 1, equal ones as they stood."""
    ends = np.zeros((1 << bits) + 1, np.int64)
    mask = (1 << bits) - 1
    for i in range(len(keys)):
        ends[((keys[i] >> low) & mask) + 1] += 1
    ends = np.cumsum(ends)
    sorted_keys, sorted_order = np.empty_like(keys), np.empty_like(order)
    for i in range(len(keys)):
        digit = (keys[i] >> low) & mask
        sorted_keys[ends[digit]] = keys[i]
        sorted_order[ends[digit]] = order[i]
        ends[digit] += 1
    return sorted_keys, sorted_order


@compiled
def sort_runs(keys: Ints, order: Places, ends: Ints) -> None:
    """Sort `order` by its keys within each run ends[j]..ends[j+1]-1, in place; equal ones as they stood."""
    for j in range(len(ends) - 1):
        start, end = ends[j], ends[j + 1]
        if end - start > LONG:
            at = np.argsort(keys[start:end], kind="mergesort")
            order[start:end] = order[start:end][at]
            continue
        for i in range(start + 1, end):
            key, own, k = keys[i], order[i], i
            while k > start and keys[k - 1] > key:
                keys[k], order[k] = keys[k - 1], order[k - 1]
                k -= 1
            keys[k], order[k] = key, own


@compiled
def unroll(at: Ints, nodes: Sparse, w: Floats, f: Floats, carry: Floats, Z: Floats) -> Floats:
    """Take one level of each row's chain into its dense vector Z (rows, q), from the leaf upward.

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
