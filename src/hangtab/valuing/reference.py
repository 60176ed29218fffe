"""Where a worth is meant to be: the reference site and way of selling, and the postage usual there.

Promises that the item price and the all-in price of one worth agree with each other. Reads the book's rows. The
reference is the commonest place of a book's own sales; it is stored with the fit and always said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

# Postage is about a fifth of the item price at the median (common practice, no source): used for an empty book.
USUAL_SHARE = 1 / 6
BINS = 12


@dataclass(frozen=True, slots=True)
class Reference:
    """The place a worth is stated for.

    `knots`: pairs (log all-in price, postage's share of it, 0 to 1), ascending in price, share not increasing.
    """

    site: str
    mechanism: str
    knots: tuple[tuple[float, float], ...]

    def item(self, all_in: float) -> float:
        """The item price that goes with an all-in price, in the same currency."""
        if not self.knots:
            return all_in * (1 - USUAL_SHARE)
        share = np.interp(np.log(all_in), [k[0] for k in self.knots], [k[1] for k in self.knots])
        return all_in * (1 - float(share))


def find_reference(rows: pl.DataFrame, table: pl.DataFrame) -> Reference:
    """The commonest site and mechanism of sales, and the postage usual there.

    Args:
        rows: frame of `Book.rows` (all_in and item in minor units).
        table: the engine's table of the same evidence.
    """
    sales = table.filter(pl.col("kind") == "sale")
    if not len(sales):
        return Reference("", "sale", ())
    site, mechanism = (
        sales.group_by("site", "mechanism").len().sort("len", "site", "mechanism", descending=[True, False, False])
    ).row(0)[:2]
    here = sales.filter((pl.col("site") == site) & (pl.col("mechanism") == mechanism)).select("id", "price")
    seen = rows.join(here, on="id").filter((pl.col("item") > 0) & (pl.col("item") <= pl.col("all_in")))
    return Reference(site, mechanism, _share_knots(seen))


def _share_knots(seen: pl.DataFrame) -> tuple[tuple[float, float], ...]:
    if len(seen) < BINS * 2:
        return ()
    parts = seen.select(
        at=pl.col("price").log(),  # major units, as they are asked for
        share=1 - pl.col("item") / pl.col("all_in"),
    ).sort("at")
    pieces = np.array_split(parts.to_numpy(), BINS)
    shares = np.minimum.accumulate([float(np.median(p[:, 1])) for p in pieces])
    return tuple((float(np.median(p[:, 0])), float(s)) for p, s in zip(pieces, shares, strict=True))
