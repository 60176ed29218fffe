"""What a small model says, by the textbook formulas on whole matrices, from the table alone.

Source: best linear unbiased prediction under an unknown level (Robinson 1991, Statistical Science 6(1), from memory).
"""

# ruff: noqa: N806 - matrices keep the capitals of the papers they come from

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np
import polars as pl

from hangtab.worth import Curve, Spec

KNOTS = (0.0, 40.0, 70.0, 100.0)
FIXED = {"venue": 0.7, "doors": 0.4}
SPEC = Spec(
    price="price",
    when="sold",
    groups=("line", "line/release", "line/release/form", "seller"),
    factors=("venue", "flaws"),
    numbers=("doors",),
    curves={"grade": Curve("free", knots=KNOTS, missing="none")},
    walks=("market", "line"),
    wider="wider",
    spread_by=("form",),
    priors=FIXED | {"flaws": "learned"},
    tails="normal",
)
VARIANCES = {
    "line": 0.5, "line/release": 0.2, "line/release/form": 0.07, "line walk": 0.002, "market walk": 0.001,
    "seller": 0.05, "flaws": 0.03, "grade bend": 0.8, "residual: carded": 0.04, "residual: loose": 0.12,
}  # fmt: skip


def rows(n: int, seed: int, *, strangers: bool = False) -> pl.DataFrame:
    """Rows of a small market; with strangers among them names that `rows` without them never has."""
    rng = np.random.default_rng(seed)
    more = 2 if strangers else 0
    line, release = rng.integers(0, 3 + more, n), rng.integers(0, 4 + more, n)
    return pl.DataFrame(
        {
            "price": np.exp(3 + rng.normal(0, 0.4, n) + 0.3 * line),
            "line": [None if rng.random() < 0.05 else f"l{v}" for v in line],
            "release": [None if rng.random() < 0.05 else f"r{v}" for v in release],
            "form": rng.choice(["carded", "loose"], n),
            "seller": [None if rng.random() < 0.1 else f"s{v}" for v in rng.integers(0, 6 + more, n)],
            "venue": rng.choice(["a", "b", "c"], n),
            "flaws": [[f for f in ("crease", "yellow", "lifted") if rng.random() < 0.3] for _ in range(n)],
            "doors": rng.normal(size=n),
            "grade": [None if rng.random() < 0.1 else float(g) for g in rng.integers(0, 101, n)],
            "wider": np.where(rng.random(n) < 0.2, 2.0, 1.0),
            "sold": [dt.date(2020, 1 + int(m), 9) for m in rng.integers(0, 7 + 2 * more, n)],
        },
        schema_overrides={"grade": pl.Float64, "flaws": pl.List(pl.String)},
    ).with_columns(
        # The first and last month of the calendar, and each noise class, are in every table.
        sold=pl.when(pl.int_range(n) == 0).then(dt.date(2020, 1, 9)).otherwise(pl.col("sold")),
    )


class Dense:
    """A table, its variances, and everything that follows from them."""

    def __init__(self, table: pl.DataFrame, variances: Mapping[str, float], unit: float | None = None) -> None:
        """Build the marginal variance V and the projection P. unit: as in `fit_at`."""
        self.table, self.variance = table, variances
        self.y = np.log(table["price"].to_numpy())
        self.unit2 = self.y.var() if unit is None else unit**2
        self.parts = self.sources(table, table)
        self.noise = np.array([variances[f"residual: {f}"] for f in table["form"]]) * table["wider"].to_numpy() ** 2
        self.V = sum(self.parts.values()) + np.diag(self.noise)
        self.X = np.ones((len(table), 1))
        inverse = np.linalg.inv(self.V)
        self.A = self.X.T @ inverse @ self.X
        self.inverse = inverse
        self.P = inverse - inverse @ self.X @ np.linalg.solve(self.A, self.X.T @ inverse)

    def sources(self, a: pl.DataFrame, b: pl.DataFrame) -> dict[str, np.ndarray]:
        """Prior covariance between the rows of two tables, by the name of its variance."""
        v, out, same = self.variance, {}, np.ones((len(a), len(b)), bool)
        own = np.eye(len(a), dtype=bool) if a is b else np.zeros((len(a), len(b)), bool)
        for name, column in (("line", "line"), ("line/release", "release"), ("line/release/form", "form")):
            same = (same & equal(a[column], b[column])) | own
            out[name] = v[name] * same
        months = np.minimum.outer(knot(a["sold"]), knot(b["sold"]))
        out["market walk"] = v["market walk"] * months
        # In the fit a row without a line has no walk; asked about, it has one of its own.
        walked = named(a["line"])[:, None] if a is self.table else True
        out["line walk"] = v["line walk"] * months * (equal(a["line"], b["line"]) | own & walked)
        out["seller"] = v["seller"] * equal(a["seller"], b["seller"])
        out["flaws"] = v["flaws"] * flags(a) @ flags(b).T
        out["fixed"] = FIXED["venue"] ** 2 * equal(a["venue"], b["venue"])
        out["fixed"] = out["fixed"] + FIXED["doors"] ** 2 * np.outer(self.standard(a), self.standard(b))
        out["grade bend"] = ramp(a) @ np.linalg.inv(self.curve_precision()) @ ramp(b).T
        return out

    def standard(self, frame: pl.DataFrame) -> np.ndarray:
        x = self.table["doors"].to_numpy()
        return (frame["doors"].to_numpy() - x.mean()) / x.std()

    def curve_precision(self) -> np.ndarray:
        """Slopes of a weak size (three times the response's spread), neighbours alike."""
        w = np.diff(KNOTS) / (KNOTS[-1] - KNOTS[0])
        D = np.diff(np.eye(len(w)), axis=0) / w
        gap = (w[1:] + w[:-1]) / 2
        return np.diag(1 / w**2) / len(w) / (9 * self.unit2) + D.T @ (D / gap[:, None]) / self.variance["grade bend"]

    def predict(self, new: pl.DataFrame) -> tuple[np.ndarray, np.ndarray]:
        """Mean and covariance of new rows' linear predictors."""
        K = sum(self.sources(self.table, new).values())
        alone = sum(self.sources(new, new).values())
        level = np.linalg.solve(self.A, self.X.T @ self.inverse @ self.y)
        rest = np.ones((len(new), 1)) - K.T @ self.inverse @ self.X
        mean = level[0] + K.T @ self.inverse @ (self.y - level[0])
        return mean, alone - K.T @ self.inverse @ K + rest @ np.linalg.solve(self.A, rest.T)

    def freedoms(self) -> dict[str, float]:
        """Effective degrees of freedom of each variance that scales its source: v tr(P dV/dv)."""
        return {k: float((self.P * part).sum()) for k, part in self.parts.items()}


def equal(a: pl.Series, b: pl.Series) -> np.ndarray:
    x, y = a.to_numpy().astype(object), b.to_numpy().astype(object)
    return (x[:, None] == y[None, :]) & named(a)[:, None]


def named(a: pl.Series) -> np.ndarray:
    return a.is_not_null().to_numpy()


def knot(a: pl.Series) -> np.ndarray:
    return a.dt.month().to_numpy().astype(float)


def flags(frame: pl.DataFrame) -> np.ndarray:
    return np.array([[f in v for f in ("crease", "yellow", "lifted")] for v in frame["flaws"].to_list()], float)


def ramp(frame: pl.DataFrame) -> np.ndarray:
    k, g = np.array(KNOTS), frame["grade"].fill_null(np.nan).to_numpy()
    return np.nan_to_num(np.clip((g[:, None] - k[:-1]) / np.diff(k), 0, 1))
