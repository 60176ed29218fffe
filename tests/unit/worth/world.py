"""A small simulated market with known truth, for the engine's tests."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl

from hangtab.worth import Curve, Spec

TRUTH = {"line": 0.5, "line/character": 0.25, "line/character/release": 0.1, "residual": 0.04, "freedom": 4.0}
SLOPE = 1.2

SPEC = Spec(
    price="price",
    when="sold",
    groups=("line", "line/character", "line/character/release"),
    factors=("form", "venue", "flaws"),
    numbers=("pieces",),
    curves={"grade": Curve("increasing", by="grader", knots=5, missing="none")},
    walks=("market", "line"),
    kind="kind",
    evidence="id",
    wider="wider",
)


def market(rows: int = 900, seed: int = 0, bounds: float = 0.2) -> pl.DataFrame:
    """Sales and unsold asks; log price from nested effects, walks, a grade curve, flaws and Student-t noise."""
    rng = np.random.default_rng(seed)
    release = np.minimum((rng.pareto(0.9, rows) * 12).astype(int), 239)
    character, line = release % 60, release % 4
    month = np.sort(rng.integers(0, 30, rows))
    graded = rng.random(rows) < 0.6
    grade = np.where(graded, rng.integers(20, 101, rows), 0)
    flaws = [[f for f in ("crease", "yellow", "lifted") if rng.random() < 0.2] for _ in range(rows)]
    walk = np.cumsum(rng.normal(0, 0.03, 30))
    eta = (
        3 + rng.normal(0, TRUTH["line"] ** 0.5, 4)[line] + rng.normal(0, TRUTH["line/character"] ** 0.5, 60)[character]
    )
    eta = eta + rng.normal(0, TRUTH["line/character/release"] ** 0.5, 240)[release] + walk[month]
    eta = eta + np.where(graded, 0.3 + SLOPE * (grade / 100) ** 2, 0.0) - 0.2 * np.array([len(f) for f in flaws])
    wider = np.where(rng.random(rows) < 0.1, 2.0, 1.0)
    y = eta + wider * TRUTH["residual"] ** 0.5 * rng.standard_t(TRUTH["freedom"], rows)
    # An ask independent of the sale's own luck: unsold where it lies above what a buyer would pay.
    ask = eta + rng.normal(0.1, 0.4, rows)
    below = (rng.random(rows) < 2 * bounds) & (y < ask)
    return pl.DataFrame(
        {
            "id": [f"e{i}" for i in range(rows)],
            "price": np.exp(np.where(below, ask, y)),
            "kind": np.where(below, "below", "sale").tolist(),
            "sold": [dt.date(2020 + int(m) // 12, int(m) % 12 + 1, 15) for m in month],
            "line": [f"line {v}" for v in line],
            "character": [f"character {v}" for v in character],
            "release": [f"release {v}" for v in release],
            "form": ["graded" if g else "raw" for g in graded],
            "venue": rng.choice(["Quayside", "Harrow Lane", "The Swap Shed"], rows).tolist(),
            "flaws": flaws,
            "pieces": rng.integers(1, 5, rows).astype(float),
            "grade": [float(g) if k else None for g, k in zip(grade, graded, strict=True)],
            "grader": [rng.choice(["Northgate", "Plumb"]) if k else None for k in graded],
            "wider": wider,
        }
    )
