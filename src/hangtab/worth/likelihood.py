"""What every row says about its own linear predictor, whatever its kind.

Promises: one `Pull` for all rows; lots' members say nothing by themselves (lots.py adds them).
Reads: a sheet, linear predictors, noise, habits. Not here: any matrix.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hangtab.worth.arrays import Floats
from hangtab.worth.habits import Habits
from hangtab.worth.listings import say_listings
from hangtab.worth.mixtures import mix
from hangtab.worth.offers import say_offers
from hangtab.worth.pull import Pull, silent
from hangtab.worth.sheet import ABOVE, BELOW, CANDIDATE, LISTING, OFFER, SALE, SOLD, Sheet
from hangtab.worth.tails import NormalPrices, overlook, priced, say_bounds, say_sales


@dataclass(frozen=True)
class Noise:
    """Noise of one sale: scale (rows,), degrees of freedom; share of bounds that say nothing; habits."""

    scale: Floats
    nu: float
    overlooked: float
    habits: Habits


def pull(sheet: Sheet, eta: Floats, noise: Noise) -> Pull:
    """What every row says at the linear predictors eta (rows,)."""
    kind, y, scale, nu, habits = sheet.kind, sheet.y, noise.scale, noise.nu, noise.habits
    sale = kind == SALE
    if sale.all() and np.isinf(nu):
        return NormalPrices.of(y, eta, scale)
    u = (y - eta) / scale
    if sale.all():
        return priced(u, scale, nu)
    out = silent(len(y))
    named, bound, listed = kind == CANDIDATE, np.isin(kind, (BELOW, ABOVE)), np.isin(kind, (LISTING, SOLD))
    offered = kind == OFFER
    say_sales(out, sale | named, u, scale, nu)
    if bound.any():
        say_bounds(out, bound, np.where(kind == BELOW, 1.0, -1.0), u, scale, nu)
        overlook(out, bound, scale, noise.overlooked)
    if offered.any():
        say_offers(out, offered, y + habits.ratio.at(sheet.days) - eta, scale, (nu, habits.ratio.sd))
    if listed.any():
        say_listings(out, listed, y - eta, sheet.days, kind, habits.hazard)
    if named.any():
        mix(out, named, y, sheet.share, sheet.case, habits.broad)
    return out
