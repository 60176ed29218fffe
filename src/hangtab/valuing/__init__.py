"""Evidence to engine rows and the book's Spec; a fit back to worths, adjustments and verdicts.

The engine itself knows no toys: all that the trade knows about a piece becomes a column here.
"""

from hangtab.valuing.calibration import Calibration, Tried, calibrate
from hangtab.valuing.columns import CHAIN, form_of, piece_columns
from hangtab.valuing.reference import Reference, find_reference
from hangtab.valuing.shared import Missed, middle_factor, middle_half
from hangtab.valuing.table import book_spec, digest, engine_table
from hangtab.valuing.trial import Fitter, fit_table, fitter, half_years, missed, predicted, try_half_year, try_table
from hangtab.valuing.valuer import Valuer

__all__ = [
    "CHAIN",
    "Calibration",
    "Fitter",
    "Missed",
    "Reference",
    "Tried",
    "Valuer",
    "book_spec",
    "calibrate",
    "digest",
    "engine_table",
    "find_reference",
    "fit_table",
    "fitter",
    "form_of",
    "half_years",
    "middle_factor",
    "middle_half",
    "missed",
    "piece_columns",
    "predicted",
    "try_half_year",
    "try_table",
]
