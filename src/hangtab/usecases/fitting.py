"""Fit the book and keep the fit; load the newest fit as a Valuer.

Promises that a fit is kept under the hash of its levelled rows and design, with seed, day and digests beside it, and
that an unchanged book is not fitted twice. Not here: the model (valuing) and the engine (worth).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, datetime

from hangtab.domain.errors import BookError
from hangtab.domain.progress import OnStep
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import FitRecord
from hangtab.valuing import (
    Calibration,
    Reference,
    Valuer,
    book_spec,
    digest,
    engine_table,
    find_reference,
    fit_table,
)
from hangtab.worth import Fitted, WorthError

LEAST_SALES = 2


@dataclass(frozen=True)
class Standing:
    """A loaded fit: the valuer, when it was made, the book's evidence count then."""

    valuer: Valuer
    key: str
    made: datetime
    evidence: int


def fit_book(parts: Parts, as_of: date, seed: int, on_step: OnStep) -> FitRecord:
    """Fit everything dated up to `as_of`. Raises BookError when the book has next to no sales."""
    rows = parts.book.rows()
    table = engine_table(rows, parts.catalogue, parts.book.currency)
    key = digest(table, book_spec(), as_of, seed)
    newest = parts.book.latest_fit()
    if newest is not None and newest.key == key:
        return newest
    if (table["kind"] == "sale").sum() < LEAST_SALES:
        raise BookError(
            "There is nothing to fit yet",
            where="the book holds fewer than two named, completed sales",
            mend="Take in sales, and settle names that wait",
        )
    try:
        made = fit_table(table, as_of, seed, on_step)
    except WorthError as error:
        raise BookError(
            error.what, where=error.where or "the fit", mend=error.mend or "Look at the list of sales"
        ) from error
    reference = find_reference(rows, made.table)
    meta = {
        "as_of": as_of.isoformat(),
        "seed": seed,
        "catalogue": parts.catalogue.digest,
        "evidence": len(rows),
        "currency": parts.book.currency,
        "reference": asdict(reference),
        "calibration": asdict(made.calibration),
        "report": asdict(made.fitted.report),
        "diagnosis": made.fitted.diagnosis().to_dict(),
    }
    record = FitRecord(key, parts.now(), made.fitted.to_bytes(), meta)
    parts.book.save_fit(record, parts.entry("fit", key=key))
    return record


def load_valuer(parts: Parts) -> Standing:
    """The newest fit, ready to answer from the very rows it was made from.

    Raises BookError when the book was never fitted, or not since its currency changed.
    """
    record = parts.book.latest_fit()
    if record is None:
        raise BookError("This book was never fitted", where="the book", mend="hangtab fit (after taking in some sales)")
    meta, currency = record.meta, parts.book.currency
    if meta.get("currency") != currency:
        raise BookError(f"The book was not fitted in {currency} yet", where="the fit", mend="hangtab fit")
    try:
        fitted = Fitted.from_bytes(record.blob)
    except WorthError as error:
        raise BookError(f"The book's fit cannot be used: {error.what}", where="the fit", mend="hangtab fit") from error
    reference, calibration = _reference(meta["reference"]), _calibration(meta["calibration"])
    valuer = Valuer(fitted, fitted.table, parts.catalogue, reference, calibration, currency)
    return Standing(valuer, record.key, record.made, int(str(meta["evidence"])))


def _reference(kept: object) -> Reference:
    assert isinstance(kept, dict)  # noqa: S101 - our own JSON
    return Reference(kept["site"], kept["mechanism"], tuple((float(a), float(s)) for a, s in kept["knots"]))


def _calibration(kept: object) -> Calibration:
    assert isinstance(kept, dict)  # noqa: S101 - our own JSON
    return Calibration.from_kept(kept)
