"""What stands around a worth: the grade ladder, the years, and every sale of the variant moved to this condition."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import polars as pl

from hangtab.domain.subject import Grading, Packaging, Subject
from hangtab.domain.worth import Worth
from hangtab.usecases.views import Dot, Rung, YearPoint
from hangtab.valuing import Valuer

RUNGS = 9
LETTERS = "abcdefghijkl"
MARKS = {"sale": "sale", "below": "ask", "offer": "offer"}


def ladder(valuer: Valuer, subject: Subject, at: date, same: pl.DataFrame) -> tuple[Rung, ...]:
    """The same piece in the grades of one grader, best first, and raw. Empty for prototypes.

    The grader is the piece's own, else the one with most sales of this packaging in the book.
    """
    if subject.packaging is Packaging.PROTOTYPE:
        return ()
    grading = subject.grading or _commonest(valuer, subject)
    if grading is None:
        return ()
    scale = next(s for s in valuer.catalogue.graders[grading.grader].scales if s.id == grading.scale)
    labels = [g.label for g in sorted(scale.grades, key=lambda g: -g.position)]
    counts = _sales_by_grade(same, grading)
    chosen = _window(labels, counts, grading.grade if subject.grading else "")
    name = valuer.catalogue.graders[grading.grader].names.name
    graded = [replace(subject, grading=replace(grading, grade=g), note="", flaws=()) for g in chosen]
    raw = replace(subject, grading=None)
    subjects = [subject if s.key == subject.key else s for s in graded] + [raw]
    spans = valuer.spans(subjects, [at] * len(subjects), "next")
    here = subject.grading.grade if subject.grading else None
    return tuple(
        Rung(
            subject=s.key,
            label=f"{name} {s.grading.grade}" if s.grading else "raw",
            median=span.median,
            low_80=span.ranges[80][0],
            low_50=span.ranges[50][0],
            high_50=span.ranges[50][1],
            high_80=span.ranges[80][1],
            sales=counts.get(s.grading.grade if s.grading else "", 0),
            here=(s.grading.grade if s.grading else None) == here,
            raw=s.grading is None,
        )
        for s, span in zip(subjects, spans, strict=True)
    )


def _commonest(valuer: Valuer, subject: Subject) -> Grading | None:
    key = valuer.usual_scales.get(subject.packaging.value)
    if key is None:
        return None
    grading = Subject.parse(key).grading
    return Grading(grading.grader, grading.scale, grading.grade) if grading else None


def _sales_by_grade(same: pl.DataFrame, grading: Grading) -> dict[str, int]:
    """Sales of the variant per grade of one scale; the empty label counts raw ones."""
    counts: dict[str, int] = {}
    for key in same.filter(pl.col("kind") == "sale")["subject"]:
        other = Subject.parse(key).grading
        if other is None:
            counts[""] = counts.get("", 0) + 1
        elif (other.grader, other.scale) == (grading.grader, grading.scale):
            counts[other.grade] = counts.get(other.grade, 0) + 1
    return counts


def _window(labels: list[str], counts: dict[str, int], here: str) -> list[str]:
    """At most nine grades: around the piece's own, else the best ones down to the lowest one sold."""
    if here in labels:
        at = labels.index(here)
    else:
        sold = [i for i, label in enumerate(labels) if counts.get(label)]
        at = round(sum(sold) / len(sold)) if sold else min(len(labels) // 4, len(labels) - 1)
    start = max(0, min(at - RUNGS // 2, len(labels) - RUNGS))
    return labels[start : start + RUNGS]


def years(valuer: Valuer, subject: Subject, at: date) -> tuple[YearPoint, ...]:
    """The middle of the market of the subject each month, from the book's first sale to the day asked about."""
    first = valuer.table["sold"].min()
    if not isinstance(first, date):
        return ()
    days = [
        date(y, m, 15)
        for y in range(first.year, at.year + 1)
        for m in range(1, 13)
        if (first.year, first.month) <= (y, m) and date(y, m, 15) <= at
    ]
    # Every second month is enough for the eye, and halves the work; the day asked about always closes the line.
    days = [*days[:-1][::2], at] if days else [at]
    spans = valuer.spans([subject] * len(days), days, "middle")
    return tuple(
        YearPoint(d, s.median, s.ranges[80][0], s.ranges[50][0], s.ranges[50][1], s.ranges[80][1])
        for d, s in zip(days, spans, strict=True)
    )


def dots(valuer: Valuer, subject: Subject, same: pl.DataFrame, worth: Worth) -> tuple[Dot, ...]:
    """Sales of the variant moved to this condition at this place, but not in time."""
    sales = same.filter((pl.col("kind") == "sale") & pl.col("sold").is_not_null()).sort("sold", "id")
    if not len(sales):
        return ()
    days = list(sales["sold"])
    mine = valuer.fitted.predict(valuer.rows_for([subject] * len(days), days), levels=(), kind="middle")
    theirs = valuer.fitted.predict(sales.drop("price", "ask"), levels=(), kind="middle")
    letters = {c.id: LETTERS[i] for i, c in enumerate(worth.comparables)}
    moved = sales["price"] * mine["median"] / theirs["median"]
    return tuple(
        Dot(i, day, price, MARKS["sale"], letters.get(i, ""))
        for i, day, price in zip(sales["id"], days, moved, strict=True)
    )
