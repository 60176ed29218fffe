"""The chain of nested groups: from names to nodes and back.

Promises: rows of one path share a node; a row whose name is unknown on a level gets a node of its own there,
a fresh draw from that level, as does everything below it.
Gives: node numbers per row for fitting; for new rows the deepest known node.
Not here: any effect or variance.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl

from hangtab.worth.arrays import Flags, Ints
from hangtab.worth.table import words

UNKNOWN = -1


@dataclass(frozen=True)
class Chain:
    """names: the levels' columns. parent and value per level's nodes; value None is an unknown name's own node."""

    paths: tuple[str, ...]
    parent: tuple[Ints, ...]
    value: tuple[tuple[str | None, ...], ...]
    known: tuple[dict[tuple[int, str], int], ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Index the nodes by parent and name."""
        known = tuple(
            {(int(q), v): j for j, (q, v) in enumerate(zip(parent, value, strict=True)) if v is not None}
            for parent, value in zip(self.parent, self.value, strict=True)
        )
        object.__setattr__(self, "known", known)

    def find(self, frame: pl.DataFrame) -> Ints:
        """Node of each row on each level, (rows, levels); UNKNOWN from the first level that is not known on."""
        out = np.full((len(frame), len(self.paths)), UNKNOWN, np.int64)
        above = [0] * len(frame)
        for k, keys in enumerate(level_keys(self.paths, frame)):
            index = self.known[k]
            above = [index.get((q, v), UNKNOWN) if q >= 0 and v is not None else UNKNOWN
                     for q, v in zip(above, keys, strict=True)]  # fmt: skip
            out[:, k] = above
        return out


def level_keys(paths: tuple[str, ...], frame: pl.DataFrame) -> list[list[str | None]]:
    """Name of each row on each level below its parent; None where a part of it is missing."""
    keys: list[list[str | None]] = []
    done = 0
    for path in paths:
        parts = path.split("/")[done:]
        done += len(parts)
        columns = [words(frame[p]) for p in parts]
        if len(columns) == 1:
            keys.append(columns[0])
            continue
        keys.append([None if any(v is None for v in vs) else "\x1f".join(vs) for vs in zip(*columns, strict=True)])
    return keys


def make_chain(paths: tuple[str, ...], frame: pl.DataFrame) -> tuple[Chain, Ints, Ints]:
    """Number the nodes. Returns the chain, the order that sorts the rows by path, and nodes (rows, levels) in it."""
    keys = level_keys(paths, frame)
    sort_by = pl.DataFrame({f"level {k}": pl.Series(v, dtype=pl.String) for k, v in enumerate(keys)})
    order = np.arange(len(frame))
    if paths:
        sort_by = sort_by.with_row_index("at").sort(pl.exclude("at"), nulls_last=False, maintain_order=True)
        order = sort_by["at"].to_numpy().astype(np.int64)
    nodes = np.zeros((len(frame), len(paths)), np.int64)
    parents, values = [], []
    new = np.zeros(len(frame), bool)
    new[0] = True
    for k in range(len(paths)):
        column = sort_by[f"level {k}"]
        new = new | column.is_null().to_numpy() | (column != column.shift(1)).fill_null(value=True).to_numpy()
        nodes[:, k] = np.cumsum(new) - 1
        parents.append(nodes[new, k - 1] if k else np.zeros(int(new.sum()), np.int64))
        values.append(tuple(column.filter(pl.Series(new)).to_list()))
    return Chain(paths, tuple(parents), tuple(values)), order, nodes


def blocks_of(chain: Chain, nodes: Ints, *, walks: bool) -> tuple[Ints, Flags, Ints]:
    """Block per row, whether each block has a walk, and the block of each root node.

    With walks every known root name is a block; rows of unknown roots share one block without a walk.
    """
    if not walks:
        roots = len(chain.value[0]) if chain.paths else 1
        return np.zeros(len(nodes), np.int64), np.zeros(1, bool), np.zeros(roots, np.int64)
    known = np.array([v is not None for v in chain.value[0]])
    block = np.where(known, np.cumsum(known) - 1, known.sum())
    walked = np.ones(known.sum() + (not known.all()), bool)
    if not known.all():
        walked[-1] = False
    return block[nodes[:, 0]], walked, block.astype(np.int64)
