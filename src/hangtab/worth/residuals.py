"""What the fit leaves over: residuals by class and by time, and the sales that move it most.

Promises: nothing is refitted; leave-one-out is at the fit's own weights and variances, as everywhere in the engine.
Source: influence as the shift of a fitted value in its own standard deviations, Belsley, Kuh & Welsch 1980 (DFFITS),
here with the fit's weights; standard errors of a median and of a quartile range from their asymptotic variances.
Reads: a solved state. Gives: polars frames. Not here: the fit, degrees of freedom (carrying.py).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.special import ndtri, stdtr, stdtrit

from hangtab.worth.arrays import Floats, Ints
from hangtab.worth.chain import level_keys
from hangtab.worth.noise import noise_below, noise_table, quantile
from hangtab.worth.problem import class_names
from hangtab.worth.sheet import SALE
from hangtab.worth.state import State
from hangtab.worth.table import NO_MONTH, ROW, months
from hangtab.worth.terms import list_pairs

FEWEST = 20
ERRORS = 3.0
# A median that is off by less than this share of the noise is left alone, however many sales say so.
MATERIAL = 0.1
FACTOR = 1.5
ALONE = 0.999
MOST_VALUES = 60
MOST_QUARTERS = 40
SCHEMA = {
    "by": pl.String, "value": pl.String, "sales": pl.Int64, "median": pl.Float64, "error": pl.Float64,
    "spread": pl.Float64, "low": pl.Float64, "flag": pl.String,
}  # fmt: skip


@dataclass(frozen=True)
class Leftover:
    """What is left over of each sale, all (sales,).

    at: its row. r: log price less the fit. scale: of its noise. off: log price less what all others say. u: off in
    units of the quartile that the next sale has without it (a half lie between -1 and 1); both NaN where no other
    speaks. share: its weight as a share of what it had without surprise. lever: its leverage under the mode's weights.
    sd: of its fitted value.
    """

    at: Ints
    r: Floats
    scale: Floats
    off: Floats
    u: Floats
    share: Floats
    lever: Floats
    sd: Floats


def leftover(state: State) -> Leftover:
    """Residuals of every sale."""
    p = state.problem
    at = np.flatnonzero(p.kind == SALE)
    r, scale = p.y[at] - state.eta[at], p.scale(state.logs)[at]
    pulled = state.row_variances(state.pulling, state.pulled_cover)[at]
    informed = state.row_variances(state.informing, state.informed_cover)[at]
    lever, nu = state.weight[at] * pulled, state.noise.nu
    off = np.divide(r, 1.0 - lever, out=np.full(len(r), np.nan), where=lever <= ALONE)
    without = np.sqrt(np.maximum(informed, 0.0) / np.maximum(1.0 - informed * state.information[at], 1e-9))
    quartile = scale * quantile(noise_table(nu, np.array([0.75])), 0, without / scale)
    clean = 1.0 if np.isinf(nu) else nu / (nu + 1.0)
    share = state.weight[at] * scale**2 * clean
    return Leftover(at, r, scale, off, off / quartile, share, lever, np.sqrt(np.maximum(informed, 0.0)))


@dataclass(frozen=True)
class Noise:
    """What clean noise of scale one looks like: density at its middle and at its quartile, the quartile, share low."""

    peak: float
    side: float
    quartile: float
    low: float


def clean_noise(nu: float) -> Noise:
    """Student-t noise with nu degrees of freedom (inf: normal)."""
    quartile = float(ndtri(0.75) if np.isinf(nu) else stdtrit(nu, 0.75))
    _, (peak, side) = noise_below(np.array([0.0, quartile]), 0.0, nu)
    # A weight is below one half of a clean one beyond the square root of nu.
    low = 0.0 if np.isinf(nu) else 2.0 * float(stdtr(nu, -np.sqrt(nu)))
    return Noise(float(peak), float(side), quartile, low)


def classes(state: State, left: Leftover) -> pl.DataFrame:
    """Residuals by noise class, by each factor and crossed group, and by the chain's first level.

    by, value, sales; median and its standard error (log price); spread: width of the sales, each left out, in units of
    what noise and doubt allow (1: as expected); low: share of sales whose weight is below one half; flag: "high", "low"
    (the median is off by more than three standard errors and a tenth of the noise), "wide", "narrow" (the spread is off
    by a factor of 1.5 and three standard errors), or "".
    """
    rows = [_told(left, noise, by, value, own) for noise in (clean_noise(state.noise.nu),)
            for by, value, own in _groups(state, left)]  # fmt: skip
    return pl.DataFrame(rows, schema=SCHEMA, orient="row")


def times(state: State, left: Leftover) -> pl.DataFrame:
    """The same by quarter of the year ("2024 Q3"), by year where there are more than 40 quarters; undated sales out."""
    p = state.problem
    if p.spec.when is None:
        return pl.DataFrame(schema=SCHEMA)
    month = months(p.sheet.frame[p.spec.when])[left.at]
    dated = np.flatnonzero(month != NO_MONTH)
    quarter = month[dated] // 3
    if len(dated) == 0:
        return pl.DataFrame(schema=SCHEMA)
    by_year = int(quarter.max() - quarter.min()) >= MOST_QUARTERS
    step, unit = (quarter // 4, "year") if by_year else (quarter, "quarter")
    noise = clean_noise(state.noise.nu)
    names = {int(s): f"{s}" if by_year else f"{s // 4} Q{s % 4 + 1}" for s in np.unique(step)}
    rows = [_told(left, noise, unit, name, dated[step == s]) for s, name in names.items()]
    return pl.DataFrame(rows, schema=SCHEMA, orient="row")


def _groups(state: State, left: Leftover) -> Iterator[tuple[str, str, Ints]]:
    """(by, value, places among the sales) of every class, commonest first; at most 60 a column."""
    spec = state.problem.spec
    frame = state.problem.sheet.frame[left.at]
    if spec.spread_by:
        yield from _grouped(f"noise ({', '.join(spec.spread_by)})", class_names(spec, frame))
    for path in (*spec.chain[:1], *spec.crossed, *spec.factors):
        if isinstance(frame.schema.get(path), pl.List):
            pairs = list_pairs(frame[path])
            yield from _placed(path, np.array([i for i, _ in pairs], np.int64), [v for _, v in pairs])
        else:
            yield from _grouped(path, level_keys((path,), frame)[0])


def _grouped(by: str, values: Sequence[str | None]) -> Iterator[tuple[str, str, Ints]]:
    known = [i for i, v in enumerate(values) if v]
    yield from _placed(by, np.array(known, np.int64), [str(values[i]).replace("\x1f", " / ") for i in known])


def _placed(by: str, place: Ints, values: list[str]) -> Iterator[tuple[str, str, Ints]]:
    if not values:
        return
    names, which, counts = np.unique(np.array(values), return_inverse=True, return_counts=True)
    sorted_by = np.argsort(which, kind="stable")
    ends = np.cumsum(counts)
    for k in np.lexsort((names, -counts))[:MOST_VALUES]:
        yield by, str(names[k]), place[sorted_by[ends[k] - counts[k] : ends[k]]]


def _told(
    left: Leftover, noise: Noise, by: str, value: str, own: Ints
) -> tuple[str, str, int, float, float, float, float, str]:
    n, r, scale = len(own), left.r[own], left.scale[own]
    u = left.u[own][np.isfinite(left.u[own])]
    median = float(np.median(r))
    error = 1.0 / (2.0 * noise.peak * float((1.0 / scale).mean()) * np.sqrt(n))
    low, high = np.quantile(u, [0.25, 0.75]) if len(u) > 1 else (-1.0, 1.0)
    spread = float(high - low) / 2.0
    # Asymptotic variance of a quartile range is 1 / (4 n density^2); its logarithm's error is that over the range.
    doubt = 1.0 / (2.0 * noise.side * np.sqrt(max(len(u), 1))) / (2.0 * noise.quartile)
    flag = ""
    if n >= FEWEST and abs(median) > max(ERRORS * error, MATERIAL * float(scale.mean())):
        flag = "high" if median > 0 else "low"
    elif len(u) >= FEWEST and abs(np.log(max(spread, 1e-9))) > max(np.log(FACTOR), ERRORS * doubt):
        flag = "wide" if spread > 1 else "narrow"
    return by, value, n, median, error, spread, float((left.share[own] < 0.5).mean()), flag  # noqa: PLR2004 - one half


def influence(state: State, left: Leftover, top: int = 20) -> pl.DataFrame:
    """The sales that move their own piece's estimate most, each against the fit without it.

    row, evidence (where the table names it), price; off: log price less what all others say; shift: what the sale
    moves its own fitted value by (log price); moves: the same in standard deviations of the fitted value; leverage:
    share of the sale in its own fitted value; share: its weight as a share of one without surprise. A sale that is
    its own fitted value, since nothing else speaks of it, is left out.
    """
    p = state.problem
    off = np.nan_to_num(left.off)
    shift = off * left.lever
    moves = shift / np.maximum(left.sd, 1e-12)
    row = p.sheet.frame[ROW].to_numpy()[left.at]
    best = np.lexsort((row, -np.abs(moves)))[: min(top, int(np.isfinite(left.off).sum()))]
    out: dict[str, Floats | Ints | pl.Series] = {"row": row[best]}
    if p.spec.evidence:
        out["evidence"] = p.sheet.frame[p.spec.evidence].cast(pl.String).gather(left.at[best])
    out |= {
        "price": p.sheet.price[left.at[best]], "off": off[best], "shift": shift[best], "moves": moves[best],
        "leverage": left.lever[best], "share": left.share[best],
    }  # fmt: skip
    return pl.DataFrame(out)
