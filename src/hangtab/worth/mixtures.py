"""A sale whose name is not certain: a mixture over its candidates and "none of these".

Promises: responsibilities are prior times likelihood, so the price alone moves them; each candidate's row weighs by its
own. "None of these" is a price like any other of the table: normal with the mean and spread of all sales.
Reads: what the candidates' rows would say if each were certain. Gives: what they say together.
Not here: the prior (the caller's, from the name's text alone); nothing here goes back to it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hangtab.worth.arrays import Flags, Floats, Ints
from hangtab.worth.pull import Pull


@dataclass(frozen=True)
class Broad:
    """Distribution of the log price of a piece of which nothing is known."""

    mean: float = 0.0
    sd: float = 1.0

    def log_density(self, y: Floats) -> Floats:
        """Log density at y."""
        return np.asarray(-0.5 * ((y - self.mean) / self.sd) ** 2 - np.log(self.sd * np.sqrt(2 * np.pi)))


def responsibilities(loglik: Floats, y: Floats, share: Floats, case: Ints, broad: Broad) -> tuple[Floats, Floats]:
    """Probability of each candidate (n,) after its price, and log likelihood of each case, 0 .. case.max().

    loglik: of each candidate's row were it certain; y: log price; share: prior; case: number of the uncertain sale.
    """
    cases = int(case.max()) + 1
    none = np.full(cases, -np.inf)
    rest = np.maximum(1.0 - np.bincount(case, share, minlength=cases), 0.0)
    rest[rest < 1e-12] = 0.0  # noqa: PLR2004 - shares that add up to one but for rounding
    with np.errstate(divide="ignore"):
        none[case] = np.log(rest[case]) + broad.log_density(y)
        each = np.log(share) + loglik
    top = none.copy()
    np.maximum.at(top, case, each)
    total = np.exp(none - top) + np.bincount(case, np.exp(each - top[case]), minlength=cases)
    logs = top + np.log(total)
    return np.exp(each - logs[case]), logs


def mix(out: Pull, at: Flags, y: Floats, share: Floats, case: Ints, broad: Broad) -> None:
    """Turn what candidates would say if certain into what they say as candidates; rows flagged in `at`."""
    _, number = np.unique(case[at], return_inverse=True)
    rho, logs = responsibilities(out.loglik[at], y[at], share[at], number, broad)
    head = np.zeros(len(rho), bool)
    head[np.unique(number, return_index=True)[1]] = True
    out.loglik[at] = np.where(head, logs[number], 0.0)
    out.bend[at] = rho * out.bend[at] - rho * (1.0 - rho) * out.slope[at] ** 2
    for values in (out.slope, out.information, out.scale_slope):
        values[at] *= rho
    # A weight of nothing would leave a row without a place in its own equation.
    out.weight[at] = np.maximum(out.weight[at] * rho, 1e-12 * out.weight[at])
