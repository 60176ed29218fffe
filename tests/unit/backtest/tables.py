"""Little invented tables of sales for the back-test's tests."""

from datetime import date, timedelta

import numpy as np
import polars as pl

from hangtab.backtest.rolling import Columns
from hangtab.worth import Curve, Spec

COLUMNS = Columns(variant=("line", "thing"))
SPEC = Spec(
    price="price",
    when="sold",
    groups=("line", "line/thing"),
    factors=("site", "marks"),
    curves={"position": Curve("increasing", missing="none")},
    kind="kind",
    evidence="id",
    tails="student",
)
START = date(2020, 1, 6)


def sales(rows=600, seed=3, days=1500):
    """Sales of thirty things in three lines: log price = thing + grade + mark + noise; in order of day."""
    draw = np.random.default_rng(seed)
    thing = draw.integers(0, 30, rows)
    middle = 3.5 + 0.8 * np.random.default_rng(1).standard_normal(30)
    position = draw.uniform(20, 95, rows)
    creased = draw.random(rows) < 0.3
    y = middle[thing] + 0.008 * (position - 60) - 0.25 * creased + 0.2 * draw.standard_t(6, rows)
    when = [START + timedelta(days=int(d)) for d in np.sort(draw.integers(0, days, rows))]
    return pl.DataFrame({
        "id": [f"s{i:04d}" for i in range(rows)],
        "price": np.exp(y),
        "kind": ["sale"] * rows,
        "sold": when,
        "line": [f"line {t % 3}" for t in thing],
        "thing": [f"thing {t}" for t in thing],
        "site": [("quayside", "harrow-lane")[i] for i in draw.integers(0, 2, rows)],
        "marks": [["crease"] if c else [] for c in creased],
        "position": position,
        "form": [("carded raw", "carded graded")[int(p > 70)] for p in position],
    }, schema_overrides={"marks": pl.List(pl.String)})  # fmt: skip
