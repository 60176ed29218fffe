"""A fit explains itself: how it went, what carries the prices, what it leaves over, what it cannot know.

Promises: every figure comes from the fit as it stands; nothing is refitted, nothing drawn at random. The diagnosis can
be kept as plain values (`to_dict`) and read again.
Reads: a solved state and its report. Gives: `Diagnosis`. Not here: the parts (carrying.py, residuals.py,
confounding.py, parameters.py).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

import numpy as np
import polars as pl

from hangtab.worth import carrying, confounding, parameters, residuals
from hangtab.worth.confounding import Confounded
from hangtab.worth.fitting import Report
from hangtab.worth.sheet import SALE
from hangtab.worth.state import State

# Under this share of the sales left to the noise, its size is hardly known.
LEAST_LEFT = 0.25
FRAMES = ("freedom", "shares", "largest", "variances", "classes", "times", "influence")


@dataclass(frozen=True)
class Diagnosis:
    """What a fit says of itself.

    Effects, medians and shifts are differences of the log price (on a plain scale: of the price itself).
    report: how the fit went. rows, sales: counts; residual: degrees of freedom left to all rows, sales_left: to the
    sales alone. noise: standard deviation-like scale of a clean sale, mean over the sales; low: share of sales that
    would have a weight under one half if nothing but the noise were at work.
    freedom: component, effective (degrees of freedom), of (values). They and `residual` add up to `rows`.
    shares: component ("residual" last to be carried), share, own, partner, between; see `carrying.shares`.
    largest: component, value, sales, estimate, se. variances: component, variance, low, high (95 %; null: none found).
    classes, times: by, value, sales, median, error, spread, low, flag; see `residuals.classes`.
    influence: row, evidence, price, off, shift, moves, leverage, share; see `residuals.influence`.
    confounded: effects that cannot be told apart, the widest split first. doubts: in sentences, too few sales for the
    effects, and what was too large to be looked at.
    """

    report: Report
    rows: int
    sales: int
    residual: float
    sales_left: float
    noise: float
    low: float
    freedom: pl.DataFrame
    shares: pl.DataFrame
    largest: pl.DataFrame
    variances: pl.DataFrame
    classes: pl.DataFrame
    times: pl.DataFrame
    influence: pl.DataFrame
    confounded: tuple[Confounded, ...]
    doubts: tuple[str, ...] = ()

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to know first, in sentences."""
        return (*self.report.warnings, *self.doubts, *(c.text for c in self.confounded))

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for JSON."""
        out: dict[str, Any] = {f.name: getattr(self, f.name) for f in fields(self)}
        out |= {name: out[name].to_dict(as_series=False) for name in FRAMES}
        return out | {"report": asdict(self.report), "confounded": [asdict(c) for c in self.confounded]}

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Diagnosis:
        """The diagnosis that `to_dict` wrote, through JSON or not."""
        kept = {f.name: values[f.name] for f in fields(cls)}
        kept |= {name: pl.DataFrame(kept[name], schema=SCHEMAS.get(name), strict=False) for name in FRAMES}
        report = kept["report"] | {"warnings": tuple(kept["report"]["warnings"])}
        confounded = tuple(
            Confounded(**(c | {"effects": tuple((name, value) for name, value in c["effects"])}))
            for c in kept["confounded"]
        )
        return cls(**(kept | {"report": Report(**report), "confounded": confounded, "doubts": tuple(kept["doubts"])}))


# Frames that may be empty keep their types; the others are never empty.
SCHEMAS = {"classes": residuals.SCHEMA, "times": residuals.SCHEMA, "variances": parameters.SCHEMA}


def diagnose(state: State, report: Report) -> Diagnosis:
    """Look at a fit from all sides."""
    p = state.problem
    sale = p.kind == SALE
    freedom, lever = carrying.degrees(state)
    left = residuals.leftover(state)
    found, doubts = confounding.effects_apart(state), []
    sales, sales_left = int(sale.sum()), float((1.0 - lever[sale]).sum())
    if sales_left < LEAST_LEFT * sales:
        doubts.append(
            f"The effects take {sales - sales_left:.1f} of {sales} sales' worth: "
            "too few are left to say how far single prices stray."
        )
    variances = pl.DataFrame(schema=parameters.SCHEMA)
    if len(p.y) <= parameters.MOST_ROWS:
        known = parameters.known_variances(state)
        variances = parameters.known_within(known)
        found += parameters.variances_apart(known)
    else:
        doubts.append(f"Whether variances can be told apart was not looked at: over {parameters.MOST_ROWS} rows.")
    return Diagnosis(
        report=report, rows=len(p.y), sales=sales, residual=float(len(p.y) - lever.sum()),
        sales_left=sales_left, noise=float(np.mean(left.scale)),
        low=residuals.clean_noise(state.noise.nu).low, freedom=freedom, shares=carrying.shares(state),
        largest=carrying.largest(state), variances=variances, classes=residuals.classes(state, left),
        times=residuals.times(state, left), influence=residuals.influence(state, left),
        confounded=tuple(found[: confounding.MOST_NAMED]), doubts=tuple(doubts),
    )  # fmt: skip
