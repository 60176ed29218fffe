"""Figures for rows: ranges, chances, joint totals, leave-one-out, coefficients; arrays in, arrays or frames out.

Promises: "next" is the next sale (noise and uncertainty about the middle), "middle" the middle of the market.
Not here: the choice of rows and dates (state.subjects), comparables.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.special import ndtr, ndtri

from hangtab.worth.arrays import Floats, Ints
from hangtab.worth.chain import level_keys
from hangtab.worth.errors import SpecError
from hangtab.worth.mixtures import responsibilities
from hangtab.worth.noise import (
    LEVELS,
    NoiseTable,
    log_mean_factor,
    log_normal_mean_factor,
    mean_probabilities,
    noise_below,
    noise_table,
    quantile,
    standard_levels,
)
from hangtab.worth.sheet import CANDIDATE, SALE
from hangtab.worth.state import State, Subjects, means, term_variances
from hangtab.worth.table import ROW
from hangtab.worth.tails import log_density
from hangtab.worth.terms import CurveTerm, Number, Words

HIGHEST = 700.0


@dataclass(frozen=True)
class Middle:
    """Middle of the market on the model's scale: eta, sd (m,) and the noise scale of one sale."""

    eta: Floats
    sd: Floats
    scale: Floats


def full_noise_table(nu: float) -> NoiseTable:
    """Quantiles for the mean and the usual ranges."""
    return noise_table(nu, np.concatenate([mean_probabilities(), standard_levels()]))


def middle(state: State, s: Subjects) -> Middle:
    """Mode and standard deviation of each row's linear predictor, prior variance of the unknown included."""
    var = state.informed.variances(s.targets) + s.extra
    cover = state.informed_cover
    if cover is not None:
        var -= cover.narrow_each(cover.with_targets(s.targets))
    return Middle(means(state, s.targets), np.sqrt(np.maximum(var, 0.0)), s.scale)


def predictions(state: State, s: Subjects, levels: Sequence[float], kind: str) -> pl.DataFrame:
    """The frame of `Fitted.predict`."""
    if kind not in ("next", "middle"):
        raise SpecError(f"No such kind of worth: {kind!r}", where="kind", mend="Choose 'next' or 'middle'.")
    if not all(0 < level < 1 for level in levels):
        raise SpecError("A range must cover a share between 0 and 1", where="levels", mend="Give levels like 0.8.")
    m = middle(state, s)
    logs = state.problem.spec.scale == "log"
    out = {"median": price_of(m.eta, logs=logs), "mean": _mean(state, m, kind, logs=logs)}
    for level in levels:
        half = _half_width(state.noise, m, level, kind)
        name = f"{100 * level:.6g}"
        out[f"low_{name}"] = price_of(m.eta - half, logs=logs)
        out[f"high_{name}"] = price_of(m.eta + half, logs=logs)
    known = (s.targets.nodes >= 0).sum(axis=1)
    return pl.DataFrame(out | {"log_median": m.eta, "log_sd": m.sd, "log_noise": m.scale, "known_levels": known})


def price_of(x: Floats, *, logs: bool) -> Floats:
    """Prices of log prices, within what a float can hold and never nothing (plain scale: the same)."""
    return np.exp(np.clip(x, -HIGHEST, HIGHEST)) if logs else x


def _mean(state: State, m: Middle, kind: str, *, logs: bool) -> Floats:
    if not logs:
        return m.eta
    above = log_normal_mean_factor(m.sd) if kind == "middle" else log_mean_factor(state.noise, m.scale, m.sd / m.scale)
    return price_of(m.eta + above, logs=True)


def _half_width(table: NoiseTable, m: Middle, level: float, kind: str) -> Floats:
    upper = 0.5 + level / 2
    if kind == "middle":
        return np.asarray(ndtri(upper) * m.sd)
    which = 16 + LEVELS.index(level) if level in LEVELS else 0
    if level not in LEVELS:
        table = noise_table(table.nu, np.array([upper]))
    return m.scale * quantile(table, which, m.sd / m.scale)


def chance_below(state: State, m: Middle, y: Floats, kind: str) -> Floats:
    """Probability that the next sale (or the middle) lies below y, each (m,)."""
    if kind == "middle":
        return np.asarray(ndtr((y - m.eta) / np.maximum(m.sd, 1e-12)))
    u, rho = (y - m.eta) / m.scale, m.sd / m.scale
    return np.array([noise_below(np.array([a]), float(r), state.noise.nu)[0][0] for a, r in zip(u, rho, strict=True)])


def joint_middle(state: State, s: Subjects) -> tuple[Floats, Floats]:
    """Mean vector and covariance of the rows' log worths; rows of one unknown name or value share its prior."""
    out = state.informed.joint(s.targets)
    cover = state.informed_cover
    if cover is not None:
        mine = cover.with_targets(s.targets)
        out -= cover.narrow(mine, mine)
    out += _shared_unknown(state, s)
    # Each row's own variance is exactly that of its prediction.
    np.fill_diagonal(out, middle(state, s).sd ** 2)
    return means(state, s.targets), out


def _shared_unknown(state: State, s: Subjects) -> Floats:
    """Prior covariance that rows share in what the fit has not seen: one new name, one new value, one later month."""
    chain, layout, nodes = state.problem.spec.chain, state.problem.layout, s.targets.nodes
    out = np.zeros((len(s.frame), len(s.frame)))
    same = np.ones(out.shape, bool)
    one_walk = s.targets.block[:, None] == s.targets.block[None, :]
    stranger = np.zeros(len(out), bool)
    for k, keys in enumerate(level_keys(chain, s.frame)):
        names = np.array([v if v is not None else f"\x00{i}" for i, v in enumerate(keys)], object)
        same &= names[:, None] == names[None, :]
        unknown = nodes[:, k] < 0
        out += np.where(same & unknown[:, None] & unknown[None, :], state.prior.levels[k], 0.0)
        if k == 0:
            stranger, one_walk = unknown, one_walk & (same | ~unknown[:, None])
    for term, variance in zip(state.problem.border.terms, term_variances(state), strict=True):
        if isinstance(term, Words):
            out += variance * term.shared_unseen(s.frame)
    # Beyond one end of the calendar the walks go on together; a stranger's own walk began with the calendar.
    beyond = np.where(s.knot[:, None] == s.knot[None, :], np.minimum(s.beyond[:, None], s.beyond[None, :]), 0)
    if layout.market >= 0:
        out += beyond * state.prior.market
    if layout.line >= 0:
        before = np.where(stranger, np.maximum(s.knot + 1, 0), 0)
        steps = np.minimum(before[:, None], before[None, :]) + beyond
        out += np.where(one_walk, steps, 0) * state.prior.line
    return out


def left_out(state: State) -> pl.DataFrame:
    """Each sale against the fit without it, at the fit's own weights and variances."""
    p = state.problem
    at = np.flatnonzero(p.kind == SALE)
    pulled = state.row_variances(state.pulling, state.pulled_cover)[at]
    informed = state.row_variances(state.informing, state.informed_cover)[at]
    omega, info = state.weight[at], state.information[at]
    y, eta, scale = p.y[at], state.eta[at], p.scale(state.logs)[at]
    rest = y - (y - eta) / np.maximum(1.0 - pulled * omega, 1e-9)
    sd = np.sqrt(informed / np.maximum(1.0 - informed * info, 1e-9))
    chance = chance_below(state, Middle(rest, sd, scale), y, "next")
    out = {
        ROW: p.sheet.frame[ROW].to_numpy()[at], "price": p.sheet.price[at], "log_price": y, "log_median": rest,
        "log_sd": sd, "log_noise": scale, "chance_below": chance, "share": shares(state, at),
    }  # fmt: skip
    frame = pl.DataFrame(out)
    if p.spec.evidence:
        frame = frame.with_columns(p.sheet.frame[p.spec.evidence].gather(at))
    return frame.sort(ROW)


def named(state: State) -> pl.DataFrame:
    """Candidates of uncertain sales before and after their price; what lacks to 1 is none of them."""
    p, sheet = state.problem, state.problem.sheet
    at = np.flatnonzero(p.kind == CANDIDATE)
    probability = np.zeros(0)
    if len(at):
        u = (p.y - state.eta)[at] / p.scale(state.logs)[at]
        loglik = log_density(u, state.noise.nu) - np.log(p.scale(state.logs)[at])
        number = np.unique(sheet.case[at], return_inverse=True)[1]
        probability = responsibilities(loglik, p.y[at], sheet.share[at], number, p.habits.broad)[0]
    out = {ROW: sheet.frame[ROW].to_numpy()[at], "share": sheet.share[at], "probability": probability}
    frame = pl.DataFrame(out)
    if p.spec.evidence:
        frame = frame.with_columns(sheet.frame[p.spec.evidence].gather(at))
    return frame.sort(ROW)


def shares(state: State, at: Ints) -> Floats:
    """Weight of each sale as a share of a clean sale of its class (one without surprise and without hearsay)."""
    nu = state.noise.nu
    clean = 1.0 if np.isinf(nu) else nu / (nu + 1.0)
    return np.asarray(state.weight[at] * state.class_scale[state.problem.klass[at]] ** 2 * clean)


def coefficients(state: State) -> pl.DataFrame:
    """Border effects in the caller's own units: term, value, estimate, standard error (flat columns included)."""
    border = state.problem.border
    unit, level = np.ones(border.p), np.zeros(border.p)
    level[-1] = 1.0
    terms, values = [], []
    for term, start in zip(border.terms, border.starts, strict=True):
        terms += [term.name] * term.size
        values += term.labels()
        if isinstance(term, Number):
            unit[start] = 1.0 / term.unit
            level[start] = -term.mean / term.unit
        elif isinstance(term, CurveTerm) and term.curve.direction == "decreasing":
            unit[start : start + term.size] = -1.0
    b, variance = state.solution.columns.B[:, 0], state.informed.border_variances() * unit**2
    # The intercept is the level at zero of every number, not at its mean.
    at_zero, spread = float(level @ b), float(level @ state.informed.border_with(level[:, None])[:, 0])
    estimate = np.append((unit * b)[:-1], at_zero)
    se = np.sqrt(np.append(variance[:-1], spread))
    return pl.DataFrame({"term": terms, "value": values, "estimate": estimate, "se": se})
