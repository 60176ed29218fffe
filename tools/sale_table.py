"""Make a table of invented sales whose truth is known: `python tools/sale_table.py 1e5` writes sales_100000.parquet.

The first n rows in time (`train` is 1) are there to be fitted, the n/4 later ones (`train` is 0) to be predicted.

    log price = 4 + x'beta + line + character + release + variant + variant's form + market walk + line walk + noise

Popularity falls like Zipf's law: about n/10 variants, n/20 releases, n/40 characters, 40 (n/1e5)^(1/4) lines, 240
months. The same n and seed give the same numbers: the order of the draws below is part of what is promised.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

MONTHS = 240
DAYS_A_MONTH = 30.4375
BETA = np.array([0.35, 0.04, -0.2, -0.35, -0.5, 0.1, -0.15, 0.25])
# Standard deviations of line, character, release, variant, variant in its form, one sale; of a month's steps.
LINE, CHARACTER, RELEASE, VARIANT, FORM, NOISE = 0.8, 0.5, 0.3, 0.3, 0.25, 0.3
MARKET_DRIFT, MARKET_STEP, LINE_STEP = 0.003, 0.02, 0.03


@dataclass(frozen=True)
class Pieces:
    """What each row sells (rows,), and how many of each there are."""

    line: Ints
    character: Ints
    release: Ints
    variant: Ints
    form: Ints
    counts: tuple[int, int, int, int]


def sale_table(n: int, seed: int = 1) -> pl.DataFrame:
    """Columns price, line, character, release, variant, form, month, x1 to x8, train, sold; n/0.8 rows in time."""
    rng = np.random.default_rng(seed + n)
    total = int(n / 0.8)
    sold = _pieces(rng, n, total)
    cells, cell = np.unique(sold.variant * 3 + sold.form, return_inverse=True)
    month = np.sort(np.minimum((MONTHS * rng.random(total) ** 0.75).astype(int), MONTHS - 1))
    x = _covariates(rng, total)
    y = _log_prices(rng, 4 + x @ BETA, sold, (cell, len(cells)), month)
    days = pl.lit(pl.Series((month * DAYS_A_MONTH + 15).astype("int64")))
    names = {"line": sold.line, "character": sold.character, "release": sold.release, "variant": sold.variant}
    columns = {f"x{i + 1}": x[:, i] for i in range(len(BETA))}
    train = (np.arange(total) < n).astype(int)
    table = pl.DataFrame({"price": np.exp(y), **names, "form": sold.form, "month": month, **columns, "train": train})
    return table.with_columns(sold=pl.lit("2004-01-01").str.to_date() + pl.duration(days=days))


def _pieces(rng: np.random.Generator, n: int, total: int) -> Pieces:
    lines, characters, releases, variants = round(40 * (n / 1e5) ** 0.25), n // 40, n // 20, n // 10
    share = 1 / np.arange(1, lines + 1) ** 0.8
    more = rng.choice(lines, characters - lines, p=share / share.sum())
    line_of = np.concatenate([np.arange(lines), more])
    character_of = np.concatenate([np.arange(characters), rng.integers(0, characters, releases - characters)])
    release_of = np.concatenate([np.arange(releases), rng.integers(0, releases, variants - releases)])
    fame = 1 / (rng.permutation(variants) + 3.0) ** 0.9
    variant = rng.choice(variants, total, p=fame / fame.sum())
    form = np.where(rng.random(total) < 0.6, 0, np.where(rng.random(total) < 0.7, 1, 2))  # noqa: PLR2004 - odds
    release = release_of[variant]
    character = character_of[release]
    return Pieces(line_of[character], character, release, variant, form, (lines, characters, releases, variants))


def _covariates(rng: np.random.Generator, total: int) -> Floats:
    """A grade and its square, three flaws, two of three venues, a box."""
    g = (np.clip(rng.normal(7, 1.5, total).round(1), 1, 10) - 7) / 1.5
    flaws = (rng.random((total, 3)) < [0.2, 0.1, 0.05]).astype(float)
    venue = rng.integers(0, 3, total)
    box = (rng.random(total) < 0.3).astype(float)  # noqa: PLR2004 - odds
    return np.column_stack([g, g * g, flaws, venue == 1, venue == 2, box]).astype(float)  # noqa: PLR2004


def _log_prices(rng: np.random.Generator, known: Floats, sold: Pieces, cells: tuple[Ints, int], month: Ints) -> Floats:
    """What is known about each sale, and what the chain, the walks and chance add to it."""
    lines, characters, releases, variants = sold.counts
    cell, count = cells
    market = np.cumsum(rng.normal(MARKET_DRIFT, MARKET_STEP, MONTHS))
    walk = np.cumsum(rng.normal(0, LINE_STEP, (lines, MONTHS)), 1)
    walk -= walk[:, :1]
    out = known + rng.normal(0, LINE, lines)[sold.line] + rng.normal(0, CHARACTER, characters)[sold.character]
    out = out + rng.normal(0, RELEASE, releases)[sold.release] + rng.normal(0, VARIANT, variants)[sold.variant]
    out = out + rng.normal(0, FORM, count)[cell] + market[month] + walk[sold.line, month]
    return np.asarray(out + rng.normal(0, NOISE, len(month)))


if __name__ == "__main__":
    for arg in sys.argv[1:]:
        size = int(float(arg))
        sale_table(size).write_parquet(f"sales_{size}.parquet")
