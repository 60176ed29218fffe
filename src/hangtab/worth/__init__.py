"""The statistical engine: fits any table of prices, knows nothing of toys, the book or files.

Doors: `Spec` and `Curve` say what model, `fit` gives a `Fitted`, which predicts, explains and is stored as bytes.
"""

from hangtab.worth.confounding import Confounded
from hangtab.worth.diagnosis import Diagnosis
from hangtab.worth.errors import Cancelled, SizeError, SpecError, StoredFitError, TableError, WorthError
from hangtab.worth.fitted import Carrying, Fitted, Grid, fit
from hangtab.worth.fitting import Report
from hangtab.worth.habits import Habits
from hangtab.worth.progress import Step, ignore_step
from hangtab.worth.spec import Curve, Spec

__all__ = [
    "Cancelled",
    "Carrying",
    "Confounded",
    "Curve",
    "Diagnosis",
    "Fitted",
    "Grid",
    "Habits",
    "Report",
    "SizeError",
    "Spec",
    "SpecError",
    "Step",
    "StoredFitError",
    "TableError",
    "WorthError",
    "fit",
    "ignore_step",
]
