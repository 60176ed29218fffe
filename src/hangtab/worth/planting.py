"""The forest's structure: nodes, columns they touch, and the cut into parts.

Promises: a function of the table alone. Parts are contiguous ranges of the chain's roots, their arrays views of the
whole's where they can be; without a chain there is one part.
Gives: `Forest`, rows and nodes numbered over the whole, and its parts, numbered each by itself.
Not here: any weight or variance (parts.py, forest.py).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from hangtab.worth import kernels
from hangtab.worth.arrays import Flags, Ints, Places, Sparse
from hangtab.worth.parts import Level, Part
from hangtab.worth.together import Alone, Crew, Together

# Parts enough to keep threads busy; none so small that passing it costs more than its rows; and their dense shares of
# the root, all together, within some hundred megabytes.
MOST_PARTS, LEAST_ROWS, MOST_CELLS = 16, 10_000, 3e7


@dataclass(frozen=True)
class Span:
    """Where a part lies in the whole: its rows, the numbers of its blocks, its nodes on each level."""

    rows: slice
    blocks: Ints
    nodes: tuple[slice, ...]


@dataclass(frozen=True)
class Forest:
    """The structure that no weight and no variance changes.

    rows sorted by leaf; block and leaf per row; walked: which blocks have a walk of their own;
    T knots and p border columns, of which the last `flat` have no prior. threads: parts worked on at a time.
    together: the other places that hold rows of the same table.
    """

    rows: Sparse
    block: Places
    leaf: Places
    levels: tuple[Level, ...]
    walked: Flags
    T: int
    p: int
    flat: int
    parts: tuple[Part, ...]
    spans: tuple[Span, ...]
    threads: int = 1
    together: Together = field(default_factory=Alone)

    @property
    def width(self) -> int:
        """Columns a row can touch: knots and border."""
        return self.T + self.p

    @property
    def sizes(self) -> list[int]:
        """Rows of each part: how much work it is."""
        return [span.rows.stop - span.rows.start for span in self.spans]

    def paths(self, rows: Ints | slice) -> Places:
        """Nodes of some rows from the root down, (rows, levels)."""
        at = self.leaf[rows]
        out = np.empty((len(at), len(self.levels)), np.int32)
        for k in range(len(self.levels) - 1, -1, -1):
            out[:, k] = at
            at = self.levels[k].parent[at]
        return out

    def homes(self, blocks: Ints) -> Ints:
        """Part that holds each block (-1 for none); a block without a walk can lie in several: its first."""
        home = np.full(max(len(self.walked), int(blocks.max(initial=-1)) + 1), -1)
        for k in range(len(self.spans) - 1, -1, -1):
            home[self.spans[k].blocks] = k
        return home[blocks]


def make_forest(rows: Sparse, block: Places, tree: tuple[Places, ...], walked: Flags, sizes: tuple[int, int, int],
                crew: Crew) -> Forest:  # fmt: skip
    """Build the structure.

    tree: first child of every node (and, last, the count of children) by level from the root, rows at the leaf.
    block (rows,). sizes: T, p, flat.
    """
    T, p, flat = sizes
    levels: list[Level] = []
    ptr, idx = rows.ptr, rows.idx.astype(np.int32, copy=False)
    head = np.arange(len(block), dtype=np.int32)
    for k in range(len(tree) - 1, -1, -1):
        first = tree[k]
        ptr, idx = kernels.union_columns(ptr, idx, first, T + p)
        head = head[first[:-1]]
        levels.append(Level(parents_of(tree[k - 1]) if k else np.zeros(len(first) - 1, np.int32),
                            first, block[head], ptr, idx))  # fmt: skip
    levels.reverse()
    leaf = parents_of(tree[-1]) if tree else np.zeros(len(block), np.int32)
    spans = _spans(levels, block, T + p)
    whole = Sparse(rows.ptr, rows.idx.astype(np.int32, copy=False), rows.val)
    parts = tuple(_part(whole, block, leaf, (levels, walked, T, p), span) for span in spans)
    return Forest(whole, block, leaf, tuple(levels), walked, T, p, flat, parts, spans, crew.threads, crew.together)


def parents_of(first: Places) -> Places:
    """Parent of each child from the parents' first children."""
    return np.repeat(np.arange(len(first) - 1, dtype=np.int32), np.diff(first))


def _spans(levels: list[Level], block: Places, q: int) -> tuple[Span, ...]:
    if not levels:
        return (Span(slice(0, len(block)), np.unique(block), ()),)
    ends: Places = np.arange(len(levels[0]) + 1)
    bounds = [ends]
    for level in levels:
        ends = level.first[ends]
        bounds.append(ends)
    parts = max(1, min(MOST_PARTS, len(block) // LEAST_ROWS, int(MOST_CELLS / (q * q))))
    # A root goes to the part in which its middle row lies.
    middle = (bounds[-1][1:].astype(float) + bounds[-1][:-1]) / 2
    cuts = np.searchsorted(middle, np.arange(1, parts) * len(block) / parts)
    edges = np.unique(np.concatenate([[0], cuts, [len(levels[0])]]))
    found = []
    for a, b in pairwise(edges):
        rows = slice(int(bounds[-1][a]), int(bounds[-1][b]))
        nodes = tuple(slice(int(at[a]), int(at[b])) for at in bounds[:-1])
        found.append(Span(rows, np.unique(levels[0].block[nodes[0]]), nodes))
    return tuple(found)


def _part(whole: Sparse, block: Places, leaf: Places, of: tuple[list[Level], Flags, int, int], span: Span) -> Part:
    levels, walked, T, p = of
    own: list[Level] = []
    local = np.zeros(len(walked), np.int32)
    local[span.blocks] = np.arange(len(span.blocks), dtype=np.int32)
    for k, level in enumerate(levels):
        at = span.nodes[k]
        start = span.nodes[k - 1].start if k else 0
        below = span.nodes[k + 1].start if k + 1 < len(levels) else span.rows.start
        sparse = _cut(Sparse(level.ptr, level.idx, np.zeros(0)), at)
        own.append(Level(level.parent[at] - np.int32(start), level.first[at.start : at.stop + 1] - np.int32(below),
                         local[level.block[at]], sparse.ptr, sparse.idx))  # fmt: skip
    rows = _cut(whole, span.rows)
    start = span.nodes[-1].start if levels else 0
    return Part(rows, local[block[span.rows]], leaf[span.rows] - np.int32(start), tuple(own), walked[span.blocks], T, p)


def _cut(table: Sparse, at: slice) -> Sparse:
    ptr = table.ptr[at.start : at.stop + 1]
    inside = slice(int(ptr[0]), int(ptr[-1]))
    return Sparse(ptr - ptr[0], table.idx[inside], table.val[inside])
