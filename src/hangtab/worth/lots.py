"""Lots: several pieces sold for one sum.

The model: log price of the lot = log(sum of exp eta over its pieces) + discount + noise, Student-t as for a sale. It is
linearised at the mode: the softmax-weighted mix of the pieces' rows. Such a row would couple leaves of the forest, so
it stays out of the elimination. At the mode a lot pulls each piece by its own share of one number per lot; those
numbers solve (1/omega + U C U') lambda = y - U eta_without, C the covariance the forest gives (conjugate gradients,
each step one pass over the forest), and are added to the weighted responses of the pieces' rows, whose own weight is
nothing.
The covariance with lots is C - C U' (1/omega + U C U')^-1 U C (Woodbury).
Not here: rows of other kinds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.sparse import csr_array
from scipy.sparse.linalg import LinearOperator, cg

from hangtab.worth.arrays import Floats, Ints
from hangtab.worth.sheet import LOT, Sheet

# Lots bring less than their pieces one by one, and are told of less well (common practice, no source).
DISCOUNT, DISCOUNT_SD, SPREAD, LOTS = -0.1, 0.25, 0.35, 5.0
HABIT_FREEDOM = 4.0


@dataclass(frozen=True)
class LotHabit:
    """Log of a lot's price over the sum of its worths, the scale of its noise; lots seen."""

    discount: float = DISCOUNT
    sd: float = SPREAD
    lots: int = 0


@dataclass(frozen=True)
class Lots:
    """rows (M,): member rows; lot (M,): whose, 0..L-1; y, wider (L,): log of the sum paid, noise multiplier."""

    rows: Ints
    lot: Ints
    y: Floats
    wider: Floats

    def __len__(self) -> int:
        return len(self.y)


@dataclass(frozen=True)
class Mixed:
    """Lots linearised at some eta: U (L, rows) softmax weights, target (L,): what U eta should be."""

    U: csr_array
    target: Floats


def lots_of(sheet: Sheet) -> Lots | None:
    """The lots of a table, None without any."""
    rows = np.flatnonzero(sheet.kind == LOT)
    if len(rows) == 0:
        return None
    _, head, lot = np.unique(sheet.case[rows], return_index=True, return_inverse=True)
    return Lots(rows, lot, sheet.y[rows[head]], sheet.wider[rows[head]])


def linearise(lots: Lots, eta: Floats, discount: float) -> Mixed:
    """The lots as mixes of their pieces' rows at the linear predictors eta (rows,)."""
    weights, total = softmax(lots, eta)
    U = csr_array((weights, (lots.lot, lots.rows)), shape=(len(lots), len(eta)))
    return Mixed(U, lots.y - discount - total + U @ eta)


def softmax(lots: Lots, eta: Floats) -> tuple[Floats, Floats]:
    """Share of each member in its lot's worth (M,), and log of each lot's sum of worths (L,)."""
    e = eta[lots.rows]
    top = np.full(len(lots), -np.inf)
    np.maximum.at(top, lots.lot, e)
    sums = np.bincount(lots.lot, np.exp(e - top[lots.lot]), minlength=len(lots))
    total = top + np.log(sums)
    return np.exp(e - total[lots.lot]), total


def lot_weights(lots: Lots, eta: Floats, habit: LotHabit, nu: float) -> tuple[Floats, Floats]:
    """EM weights and expected information of each lot, (L,) each."""
    scale = habit.sd * lots.wider
    u = (lots.y - habit.discount - softmax(lots, eta)[1]) / scale
    if np.isinf(nu):
        return 1.0 / scale**2, 1.0 / scale**2
    return (nu + 1) / (nu + u**2) / scale**2, (nu + 1) / (nu + 3) / scale**2


def lot_pull(mixed: Mixed, weights: Floats, without: Floats, answer: Callable[[Floats], Floats]) -> Floats:
    """What lots add to the weighted responses, (rows,).

    without: eta of all other evidence; answer: from weighted responses (rows,) to eta (rows,), linear.
    """
    lots = len(weights)

    def apply(x: Floats) -> Floats:
        return np.asarray(x / weights + mixed.U @ answer(mixed.U.T @ x))

    missing = mixed.target - mixed.U @ without
    solved, failed = cg(LinearOperator((lots, lots), matvec=apply), missing, rtol=1e-12, maxiter=20 * lots + 50)
    if failed:
        raise np.linalg.LinAlgError("the lots' equations did not settle")
    return np.asarray(mixed.U.T @ solved)


def learn_lots(over: Floats, variance: Floats) -> LotHabit:
    """Discount and noise from n lots. over: log price less log of the sum of worths; variance of the latter, (n,)."""
    if len(over) == 0:
        return LotHabit()

    def cost(p: Floats) -> float:
        v = np.exp(2 * p[1]) + variance
        logs = -0.5 * (HABIT_FREEDOM + 1) * np.log1p((over - p[0]) ** 2 / (HABIT_FREEDOM * v)) - 0.5 * np.log(v)
        prior = ((p[0] - DISCOUNT) / DISCOUNT_SD) ** 2 / 2 + LOTS * (p[1] - np.log(SPREAD)) ** 2
        return float(prior - logs.sum())

    found = minimize(cost, np.array([DISCOUNT, np.log(SPREAD)]), method="L-BFGS-B", bounds=[(-3, 3), (-4, 2)])
    return LotHabit(float(found.x[0]), float(np.exp(found.x[1])), len(over))
