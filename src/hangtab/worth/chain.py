"""The chain of nested groups: from names to nodes and back.

Promises: rows of one path share a node; a row whose name is unknown on a level gets a node of its own there,
a fresh draw from that level, as does everything below it.
Reads: rows in canonical order, in which those of one path stand together.
Gives: the tree of nodes for fitting; for new rows the deepest known node.
Not here: any effect or variance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from hangtab.worth.arrays import Flags, Ints, Places
from hangtab.worth.rows import Read, Rows
from hangtab.worth.table import group_keys, joined_words

UNKNOWN = -1


@dataclass(frozen=True)
class Chain:
    """paths: the levels' columns. parent (nodes,) and value (nodes,) per level; no value: an unknown name's own node.

    A level's nodes stand in the order of their parents.
    """

    paths: tuple[str, ...]
    parent: tuple[Places, ...]
    value: tuple[pl.Series, ...]

    def find(self, frame: pl.DataFrame) -> Ints:
        """Node of each row on each level, (rows, levels); UNKNOWN from the first level that is not known on."""
        out = np.full((len(frame), len(self.paths)), UNKNOWN, np.int64)
        above = np.zeros(len(frame), np.int64)
        for k, keys in enumerate(_level_words(self.paths, frame)):
            above = self._step(k, above, keys)
            out[:, k] = above
        return out

    def _step(self, k: int, above: Ints, keys: pl.Series) -> Ints:
        """Nodes of level k below `above` by name. Only the children of nodes that are asked about are looked at."""
        asked = np.unique(above[above >= 0])
        first, end = (np.searchsorted(self.parent[k], asked, side=side) for side in ("left", "right"))
        count = end - first
        child = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)
        known = pl.DataFrame({"above": np.repeat(asked, count), "key": self.value[k].gather(child), "node": child})
        rows = pl.DataFrame({"above": above, "key": keys})
        found = rows.join(known, on=["above", "key"], how="left", maintain_order="left")
        return found["node"].fill_null(UNKNOWN).to_numpy().astype(np.int64)


def level_keys(paths: tuple[str, ...], frame: pl.DataFrame) -> list[list[str | None]]:
    """Name of each row on each level below its parent; None where a part of it is missing."""
    return [keys.to_list() for keys in _level_words(paths, frame)]


def level_columns(paths: tuple[str, ...]) -> list[list[str]]:
    """The columns that each level adds to the one above."""
    columns, done = [], 0
    for path in paths:
        parts = path.split("/")[done:]
        done += len(parts)
        columns.append(parts)
    return columns


def _level_words(paths: tuple[str, ...], frame: Read) -> list[pl.Series]:
    return [joined_words(frame, parts) for parts in level_columns(paths)]


def make_chain(paths: tuple[str, ...], frame: Rows) -> tuple[Chain, tuple[Places, ...]]:
    """Number the nodes of rows in canonical order.

    Returns the chain, and per level the first child of each node and last the count of children (rows, at the leaf).
    """
    heads, values = [], []
    new = np.zeros(len(frame), bool)
    new[:1] = True
    for parts in level_columns(paths):
        for part in parts:
            key = group_keys(frame[part])
            new = new | key.is_null().to_numpy() | key.ne_missing(key.shift(1)).to_numpy()
        head = np.flatnonzero(new)
        heads.append(head)
        values.append(joined_words(frame.piece(head), parts))
    ends = [*heads[1:], np.arange(len(frame))] if heads else []
    tree, parents = [], [np.zeros(len(heads[0]), np.int32)] if heads else []
    for head, below in zip(heads, ends, strict=True):
        tree.append(np.append(np.searchsorted(below, head), len(below)).astype(np.int32))
        parents.append(np.repeat(np.arange(len(head), dtype=np.int32), np.diff(tree[-1])))
    return Chain(paths, tuple(parents[: len(heads)]), tuple(values)), tuple(tree)


def blocks_of(chain: Chain, tree: tuple[Places, ...], rows: int, *, walks: bool) -> tuple[Places, Flags]:
    """Block per row, and whether each block has a walk.

    With walks every known root name is a block; rows of unknown roots share one block without a walk.
    """
    if not walks:
        return np.zeros(rows, np.int32), np.zeros(1, bool)
    known = chain.value[0].is_not_null().to_numpy()
    block = np.where(known, np.cumsum(known) - 1, known.sum()).astype(np.int32)
    walked = np.ones(known.sum() + (not known.all()), bool)
    if not known.all():
        walked[-1] = False
    at: Places = np.arange(len(block) + 1)
    for first in tree:
        at = first[at]
    return np.repeat(block, np.diff(at)), walked
