"""Which files go to which place.

Promises: all rows of one value of the first group lie in one place, whichever files they are in; the rows are shared
out as evenly as that allows; the same files give the same shares.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from hangtab.worth.errors import SpecError, TableError
from hangtab.worth.spec import Spec


@dataclass(frozen=True)
class Contents:
    """A file's rows, and which values of the first group they have."""

    path: str
    rows: int
    roots: frozenset[str]


def contents_of(path: str, spec: Spec) -> Contents:
    """Look into one Parquet file. Raises SpecError where it lacks a column, TableError where it cannot be read."""
    try:
        lazy = pl.scan_parquet(path)
        lacking = [n for n in spec.columns if n not in lazy.collect_schema().names()]
    except (OSError, pl.exceptions.PolarsError) as e:
        raise TableError("A file of rows cannot be read", where=path, mend=f"Give Parquet files ({e}).") from e
    if lacking:
        raise SpecError(f"The table has no column {lacking[0]!r}", where=path, mend="Name a column the table has.")
    rows = int(lazy.select(pl.len()).collect().item())
    if not spec.chain:
        return Contents(path, rows, frozenset())
    names = spec.chain[0].split("/")
    roots = lazy.select(pl.concat_str([pl.col(n).cast(pl.String) for n in names], separator="\x1f")).unique().collect()
    return Contents(path, rows, frozenset(roots.to_series().drop_nulls().to_list()))


def shared_out(files: Sequence[Contents], places: int) -> list[list[Contents]]:
    """At most `places` shares of files, largest bundles first to the place with fewest rows."""
    bundles = sorted(_bundles(files), key=lambda b: (-sum(f.rows for f in b), b[0].path))
    shares: list[list[Contents]] = [[] for _ in range(min(places, len(bundles)))]
    for bundle in bundles:
        least = min(range(len(shares)), key=lambda k: (sum(f.rows for f in shares[k]), k))
        shares[least] += bundle
    return shares


def _bundles(files: Sequence[Contents]) -> list[list[Contents]]:
    """Files that share a value of the first group belong together."""
    bundles: list[tuple[set[str], list[Contents]]] = []
    for file in sorted(files, key=lambda f: f.path):
        if not file.rows:
            continue
        touching = [b for b in bundles if b[0] & file.roots]
        roots = set(file.roots).union(*(b[0] for b in touching))
        together = [f for b in touching for f in b[1]] + [file]
        bundles = [b for b in bundles if b not in touching] + [(roots, together)]
    return [members for _, members in bundles]


def homes(shares: Sequence[Sequence[Contents]]) -> Mapping[str, int]:
    """Place of each value of the first group."""
    return {root: k for k, share in enumerate(shares) for file in share for root in file.roots}
