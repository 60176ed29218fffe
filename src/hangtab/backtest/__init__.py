"""Backtest: how wrong the estimates have been.

Promises: each figure is made from sales that came after the fit it judges (rolling origin), never before.
Reads: engine rows in time order and a Spec. Gives: errors, coverage of ranges and the assessors' ratio statistics.
Not here: the estimate itself (worth, valuing), or how the track record is drawn (web, rendering).
"""

from hangtab.backtest.rolling import ORIGINS, thin_class
from hangtab.backtest.study import ENGINE, LAST_FIVE, LEARNER, Peer, Study, Trial, study_book, study_key
from hangtab.backtest.summary import ALL, THIN_NAMES, Class, Held

__all__ = [
    "ALL",
    "ENGINE",
    "LAST_FIVE",
    "LEARNER",
    "ORIGINS",
    "THIN_NAMES",
    "Class",
    "Held",
    "Peer",
    "Study",
    "Trial",
    "study_book",
    "study_key",
    "thin_class",
]
