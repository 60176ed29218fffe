"""The spread of errors as Student's t around nothing: what a peer states its ranges from.

Promises: one scale and one of a few degrees of freedom, the likeliest. EM of Lange, Little & Taylor 1989, J. Amer.
Statist. Assoc. 84, with the centre held at 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from hangtab.backtest.arrays import Floats

FREEDOMS = (2.0, 3.0, 4.0, 6.0, 10.0, 30.0)
STEPS = 60
LEAST_SCALE = 1e-3


@dataclass(frozen=True, slots=True)
class Noise:
    """Scale and degrees of freedom of errors on the log scale."""

    freedom: float
    scale: float


def fit_noise(errors: Floats) -> Noise:
    """The likeliest t; no error at all gives one as wide as the usual spread of a sale doubled."""
    if not len(errors):
        return Noise(FREEDOMS[-1], 0.66)
    found = [(nu, _scale(errors, nu)) for nu in FREEDOMS]
    return Noise(*max(found, key=lambda f: _likelihood(errors, *f)))


def _scale(errors: Floats, nu: float) -> float:
    squares = errors * errors
    scale = max(float(np.median(np.abs(errors))) / 0.7, LEAST_SCALE)
    for _ in range(STEPS):
        weight = (nu + 1) / (nu + squares / scale**2)
        scale = max(float(np.sqrt((weight * squares).mean())), LEAST_SCALE)
    return scale


def _likelihood(errors: Floats, nu: float, scale: float) -> float:
    constant = gammaln((nu + 1) / 2) - gammaln(nu / 2) - 0.5 * np.log(nu * np.pi) - np.log(scale)
    return float((constant - 0.5 * (nu + 1) * np.log1p((errors / scale) ** 2 / nu)).sum())
