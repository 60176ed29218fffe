"""What variances usually are: a weak prior that a few rows need and many do not feel.

Fourteen sales can be explained by effects alone; the likelihood then takes the noise to nothing. Where a Spec says what
is usual, the log of each variance has a normal prior about it, a factor of two either way in the standard deviation.
Promises: without `Spec.usual` the criterion is the plain one. Not here: the criterion (variances.py).
"""

from __future__ import annotations

import numpy as np

from hangtab.worth.arrays import Floats
from hangtab.worth.problem import FREEDOM, Problem

WIDTH = 2.0 * float(np.log(2.0))  # standard deviation of a log variance


def beliefs(problem: Problem) -> tuple[Floats, Floats]:
    """Usual log of each parameter and the precision of that, (parameters,) each; precision 0: nothing is usual."""
    centre, precision = np.zeros(len(problem.layout.names)), np.zeros(len(problem.layout.names))
    for k, name in enumerate(problem.layout.names):
        value = problem.spec.usual.get(name.split(":")[0] if name.startswith("residual") else name)
        if value is not None:
            centre[k] = np.log(value) if name == FREEDOM else 2.0 * np.log(value)
            precision[k] = WIDTH**-2
    return centre, precision


def disbelief(problem: Problem, logs: Floats) -> tuple[float, Floats, Floats]:
    """What the prior adds to the criterion at `logs`, to its gradient, and to the diagonal of its second derivative."""
    centre, precision = beliefs(problem)
    off = logs - centre
    return float(precision @ off**2), 2.0 * precision * off, 2.0 * precision
