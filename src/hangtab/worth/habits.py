"""How people sell: what a fit learns beside worths and variances, each from the evidence that shows it.

Promises: learned once, from the fit of stated prices alone with its uncertainty, and then held: so that listings, lots
and offers never speak of their own yardstick.
Gives: `Habits`. Not here: the likelihoods themselves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Protocol

import numpy as np

from hangtab.worth.arrays import Floats
from hangtab.worth.listings import Hazard, learn_hazard
from hangtab.worth.lots import LotHabit, learn_lots, lots_of, softmax
from hangtab.worth.mixtures import Broad
from hangtab.worth.offers import Ratio, learn_ratio, offer_pairs
from hangtab.worth.sheet import LISTING, OFFER, SALE, SOLD, Sheet
from hangtab.worth.spec import Spec


class Seen(Protocol):
    """Each row as the fit of stated prices sees it: linear predictor, its standard deviation, scale of one sale."""

    @property
    def eta(self) -> Floats: ...  # noqa: D102
    @property
    def sd(self) -> Floats: ...  # noqa: D102
    @property
    def scale(self) -> Floats: ...  # noqa: D102


@dataclass(frozen=True)
class Habits:
    """ratio: accepted offers over asks; hazard: listings; lot: lots; broad: the price of nobody knows what."""

    ratio: Ratio = field(default_factory=Ratio)
    hazard: Hazard = field(default_factory=Hazard)
    lot: LotHabit = field(default_factory=LotHabit)
    broad: Broad = field(default_factory=Broad)

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for JSON."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Habits:
        """The habits that `to_dict` wrote."""
        return cls(
            Ratio(**values["ratio"]), Hazard(**values["hazard"]), LotHabit(**values["lot"]), Broad(**values["broad"])
        )


def learn_habits(sheet: Sheet, spec: Spec, seen: Seen) -> Habits:
    """All habits of a table."""
    eta, variance = seen.eta, seen.sd**2
    sale = sheet.kind == SALE
    listed = np.isin(sheet.kind, (LISTING, SOLD))
    hazard = learn_hazard(sheet.y[listed] - eta[listed], variance[listed], sheet.days[listed], sheet.kind[listed])
    spread = float(np.std(sheet.y[sale]))
    broad = Broad(float(np.mean(sheet.y[sale])), spread if spread > 0 else 1.0)
    return Habits(_ratio(sheet, spec, seen), hazard, _lot_habit(sheet, eta, variance), broad)


def _ratio(sheet: Sheet, spec: Spec, seen: Seen) -> Ratio:
    hidden = sheet.kind == OFFER
    pairs, days = offer_pairs(sheet, spec)
    log_ratio = np.concatenate([pairs, (seen.eta - sheet.y)[hidden]])
    variance = np.concatenate([np.zeros(len(pairs)), (seen.sd**2 + seen.scale**2)[hidden]])
    return learn_ratio(log_ratio, np.concatenate([days, sheet.days[hidden]]), variance)


def _lot_habit(sheet: Sheet, eta: Floats, variance: Floats) -> LotHabit:
    lots = lots_of(sheet)
    if lots is None:
        return LotHabit()
    weights, total = softmax(lots, eta)
    # Pieces of one lot mostly share their line and their condition: their errors are taken to go together.
    sd = np.bincount(lots.lot, weights * np.sqrt(variance[lots.rows]), minlength=len(lots)).astype(float)
    return learn_lots(lots.y - total, sd**2)
