"""In which order to eliminate the columns of a sparse symmetric matrix, and what its factor will hold.

Promises: an order that keeps the factor small, the same for the same pattern; the factor's exact pattern.
How: minimum degree on the quotient graph with the approximate degree; columns that touch very many others go last.
Source: Amestoy, Davis & Duff 1996 (SIAM J. Matrix Anal. 17), without their supervariables; elimination tree and
column counts: Liu 1990 (SIAM J. Matrix Anal. 11). Both from memory.
Not here: any number of the matrix (factoring.py).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from hangtab.worth.arrays import Ints
from hangtab.worth.compiling import compiled

# A column that touches more than this many square roots of all columns is put last: following it costs too much.
CROWDED = 10.0
NONE = -1


class Graph(NamedTuple):
    """The quotient graph. Column i's slot from start[i]: its elements (elements[i] of them), then its neighbours.

    length (N,): both together. first, size (N,): where an eliminated column's element lies among the members.
    alive, degree, mark (N,); head, after, before: columns in lists by degree.
    """

    slot: Ints
    start: Ints
    elements: Ints
    length: Ints
    first: Ints
    size: Ints
    alive: Ints
    degree: Ints
    mark: Ints
    head: Ints
    after: Ints
    before: Ints


def elimination_order(ptr: Ints, idx: Ints) -> Ints:
    """Order of elimination of N columns, (N,). ptr, idx: neighbours of each column, both ways, without itself.

    >>> star = np.array([0, 3, 4, 5, 6]), np.array([1, 2, 3, 0, 0, 0])
    >>> elimination_order(*star).tolist()[-1] in (0, 3)
    True
    """
    N = len(ptr) - 1
    touched = np.diff(ptr)
    crowded = touched > max(16.0, CROWDED * np.sqrt(N))
    last = np.flatnonzero(crowded)
    calm = np.flatnonzero(~crowded)
    place = np.full(N, NONE, np.int64)
    place[calm] = np.arange(len(calm))
    owner = place[np.repeat(np.arange(N), touched)]
    kept = (owner >= 0) & (place[idx] >= 0)
    inner = np.concatenate([[0], np.cumsum(np.bincount(owner[kept], minlength=len(calm)))]).astype(np.int64)
    order = calm[_minimum_degree(inner, place[idx[kept]])]
    return np.concatenate([order, last[np.argsort(touched[last], kind="stable")]])


@compiled
def _minimum_degree(ptr: Ints, idx: Ints) -> Ints:
    N = len(ptr) - 1
    degree = ptr[1:] - ptr[:-1]
    zeros, nones = np.zeros(N, np.int64), np.full(N, NONE, np.int64)
    g = Graph(idx.copy(), ptr[:-1].copy(), zeros.copy(), degree.copy(), zeros.copy(), zeros.copy(),
              np.ones(N, np.int64), degree.copy(), nones.copy(), nones.copy(), nones.copy(), nones.copy())  # fmt: skip
    for i in range(N - 1, -1, -1):
        _enlist(g, i)
    members = np.empty(2 * (len(idx) + N) + 1, np.int64)
    outside = np.full(N, -1, np.int64)
    order = np.empty(N, np.int64)
    used, least = 0, 0
    for k in range(N):
        while g.head[least] == NONE:
            least += 1
        if least >= N - k - 1:
            # All that is left touches all that is left: any order will do.
            e = k
            for i in range(N):
                if g.alive[i] == 1:
                    order[e] = i
                    e += 1
            break
        pivot = g.head[least]
        _delist(g, pivot)
        order[k] = pivot
        if used + N > len(members):
            used = _compact(g, members, order[:k])
        used = _make_element(g, members, used, pivot)
        least = min(least, _follow(g, members, outside, pivot, N - k - 1))
    return order


@compiled
def _enlist(g: Graph, i: int) -> None:
    d = g.degree[i]
    g.after[i] = g.head[d]
    g.before[i] = NONE
    if g.head[d] != NONE:
        g.before[g.head[d]] = i
    g.head[d] = i


@compiled
def _delist(g: Graph, i: int) -> None:
    if g.before[i] == NONE:
        g.head[g.degree[i]] = g.after[i]
    else:
        g.after[g.before[i]] = g.after[i]
    if g.after[i] != NONE:
        g.before[g.after[i]] = g.before[i]


@compiled
def _compact(g: Graph, members: Ints, done: Ints) -> int:
    """Close the gaps that absorbed elements left among the members."""
    used = 0
    for e in done:
        for a in range(g.size[e]):
            members[used + a] = members[g.first[e] + a]
        g.first[e] = used
        used += g.size[e]
    return used


@compiled
def _make_element(g: Graph, members: Ints, used: int, pivot: int) -> int:
    """Eliminate the pivot: its neighbours, and those of its elements, now touch each other."""
    g.alive[pivot] = 0
    g.first[pivot] = used
    g.mark[pivot] = pivot
    at = g.start[pivot]
    for a in range(at, at + g.length[pivot]):
        other = g.slot[a]
        if a < at + g.elements[pivot]:
            for b in range(g.first[other], g.first[other] + g.size[other]):
                if g.mark[members[b]] != pivot:
                    g.mark[members[b]] = pivot
                    members[used] = members[b]
                    used += 1
            g.size[other] = 0
        elif g.mark[other] != pivot:
            g.mark[other] = pivot
            members[used] = other
            used += 1
    g.size[pivot] = used - g.first[pivot]
    return used


@compiled
def _follow(g: Graph, members: Ints, outside: Ints, pivot: int, left: int) -> int:
    """Give each member of the pivot's element its new slot and degree; the least of the degrees."""
    first, size = g.first[pivot], g.size[pivot]
    for a in range(first, first + size):
        i = members[a]
        for b in range(g.start[i], g.start[i] + g.elements[i]):
            e = g.slot[b]
            if g.size[e] > 0:
                # What of element e lies outside the pivot's.
                outside[e] = (g.size[e] if outside[e] < 0 else outside[e]) - 1
    least = left
    for a in range(first, first + size):
        i = members[a]
        _delist(g, i)
        reach = _new_slot(g, outside, pivot, i)
        g.degree[i] = max(0, min(left - 1, g.degree[i] + size - 1, reach + size - 1))
    for a in range(first, first + size):
        i = members[a]
        for b in range(g.start[i], g.start[i] + g.elements[i]):
            e = g.slot[b]
            if outside[e] == 0:
                g.size[e] = 0
            outside[e] = -1
        _enlist(g, i)
        least = min(least, g.degree[i])
    return least


@compiled
def _new_slot(g: Graph, outside: Ints, pivot: int, i: int) -> int:
    """Drop from column i's slot what the pivot's element covers, add that element; what else the column reaches."""
    at, fresh, reach = g.start[i], 0, 0
    end = at + g.length[i]
    known = at + g.elements[i]
    for b in range(at, known):
        e = g.slot[b]
        if g.size[e] > 0 and outside[e] != 0:
            g.slot[at + fresh] = e
            fresh += 1
            reach += outside[e]
    kept = 0
    for b in range(known, end):
        v = g.slot[b]
        if g.mark[v] != pivot:
            g.slot[at + fresh + kept] = v
            kept += 1
    # The pivot, or an element it absorbed, left at least one place free.
    for b in range(at + fresh + kept, at + fresh, -1):
        g.slot[b] = g.slot[b - 1]
    g.slot[at + fresh] = pivot
    g.elements[i] = fresh + 1
    g.length[i] = fresh + 1 + kept
    return reach + kept


@compiled
def elimination_tree(ptr: Ints, idx: Ints) -> tuple[Ints, Ints]:
    """Parent of each column and how many entries it has below the diagonal. ptr, idx: each row's earlier columns."""
    N = len(ptr) - 1
    parent, mark = np.full(N, NONE, np.int64), np.full(N, NONE, np.int64)
    count = np.zeros(N, np.int64)
    for i in range(N):
        mark[i] = i
        for a in range(ptr[i], ptr[i + 1]):
            j = idx[a]
            while mark[j] != i:
                if parent[j] == NONE:
                    parent[j] = i
                count[j] += 1
                mark[j] = i
                j = parent[j]
    return parent, count


@compiled
def factor_rows(ptr: Ints, idx: Ints, parent: Ints, starts: Ints) -> Ints:
    """Rows of the factor's first columns, rising in each. starts (t + 1,): where each of the t columns begins."""
    N, t = len(ptr) - 1, len(starts) - 1
    at, mark = starts[:-1].copy(), np.full(N, NONE, np.int64)
    rows = np.empty(starts[-1], np.int64)
    for i in range(N):
        mark[i] = i
        for a in range(ptr[i], ptr[i + 1]):
            j = idx[a]
            while j < t and mark[j] != i:
                rows[at[j]] = i
                at[j] += 1
                mark[j] = i
                j = parent[j]
    return rows
