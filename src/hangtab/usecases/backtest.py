"""Try the book's own estimates on its last years, keep the study, and say what it says of one piece.

Promises that a study is kept under the hash of its rows, design and day, and that an unchanged book is not tried
twice. Not here: the figures (back-test), or how they are drawn.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from hangtab.backtest import ALL, Study, Trial, study_book, study_key, thin_class
from hangtab.domain.errors import BookError
from hangtab.domain.progress import OnStep
from hangtab.domain.subject import Subject
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import StudyRecord
from hangtab.usecases.views import Track
from hangtab.valuing import Valuer, engine_table, form_of
from hangtab.worth import WorthError

FEW = 10  # tried sales of a form under which the year's trial speaks of all forms together


@dataclass(frozen=True)
class KeptStudy:
    """A study out of the book, and when it was made."""

    study: Study
    made: datetime


def back_test(parts: Parts, as_of: date, trial: Trial, on_step: OnStep) -> KeptStudy:
    """Try the book on the sales up to `as_of`, and keep the study.

    Raises BookError when the book has too few sales to be tried, HangtabError when the general learner is asked for and
    not installed.
    """
    table = engine_table(parts.book.rows(), parts.catalogue, parts.book.currency)
    key = study_key(table, as_of, trial)
    newest = parts.book.latest_study()
    if newest is not None and newest.key == key and (kept := _kept(newest)):
        return kept
    try:
        made = study_book(table, as_of, parts.book.currency, trial, on_step)
    except WorthError as error:
        raise BookError(
            error.what, where=error.where or "a fit", mend=error.mend or "Look at the list of sales"
        ) from error
    if made is None:
        raise BookError(
            "There is too little to try yet",
            where=f"the sales up to {as_of.isoformat()}",
            mend="Take in more: it takes 200 sales before a day and some after it",
        )
    study, rows = made
    data = io.BytesIO()
    rows.write_parquet(data)
    record = StudyRecord(key, parts.now(), study.to_dict())
    parts.book.save_study(record, data.getvalue(), parts.entry("backtest", key=key))
    return KeptStudy(study, record.made)


def kept_study(parts: Parts) -> KeptStudy | None:
    """The newest study of the book, None when there is none, or none of a format this program reads."""
    record = parts.book.latest_study()
    return _kept(record) if record else None


def _kept(record: StudyRecord) -> KeptStudy | None:
    try:
        return KeptStudy(Study.from_dict(record.summary), record.made)
    except ValueError:
        return None  # made by another version: tried anew when asked for


def track_for(parts: Parts, valuer: Valuer, subject: Subject, seen: int) -> Track | None:
    """How wrong estimates of such pieces have been: from the study, else from the fit's own trial, else None.

    `seen`: sales of the same variant that the estimate knows.
    """
    kept = kept_study(parts)
    if kept is not None:
        best = kept.study.speaks_for(form_of(subject), thin_class(seen))
        return Track(class_said(best.form, best.thin), best.error, best.held_80, best.sales, studied=True)
    tried = {t.form: t for t in valuer.calibration.tried}
    own = tried.get(form_of(subject))
    year = own if own and own.sales >= FEW else tried.get(ALL)
    return Track(year.form or "all pieces", year.error, year.inside_80, year.sales) if year else None


def class_said(form: str, thin: str) -> str:
    """A class in words.

    >>> class_said("carded graded", "2–4"), class_said("", "0"), class_said("loose raw", ""), class_said("", "")
    ('carded graded pieces with 2–4 earlier sales', 'pieces without an earlier sale', 'loose raw pieces', 'all pieces')
    """
    pieces = f"{form} pieces" if form else "pieces"
    said = f"{pieces} {_EARLIER[thin]}" if thin else pieces
    return said if form or thin else "all pieces"


_EARLIER: Mapping[str, str] = {
    "0": "without an earlier sale",
    "1": "with one earlier sale",
    "2–4": "with 2–4 earlier sales",
    "5–9": "with 5–9 earlier sales",
    "10+": "with ten or more earlier sales",
}
