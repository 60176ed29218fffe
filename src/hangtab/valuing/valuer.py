"""A fit of the book turned into worths: middle, next sale, item price, comparables, and where a price falls.

Promises `log middle.median = (1 - sum gain) log base + sum gain log adjusted`, unrounded. Ranges are recalibrated by a
symmetric factor per class of pieces and kind (calibration), which leaves every median alone. Not here: fitting,
and what a page shows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import polars as pl

from hangtab.catalogue.model import Catalogue
from hangtab.domain.subject import Subject
from hangtab.domain.worth import Comparable, Span, Verdict, Worth
from hangtab.valuing.calibration import LEVELS, Calibration
from hangtab.valuing.columns import CHAIN, form_of, piece_columns
from hangtab.valuing.factors import group_factors
from hangtab.valuing.reference import Reference
from hangtab.valuing.shared import middle_half
from hangtab.valuing.verdict import verdict_words
from hangtab.worth import Fitted

TOP = 12
VARIANT = CHAIN[:-1]  # the same piece whatever its form


@dataclass(frozen=True)
class Valuer:
    """A fit with what it takes to speak of it.

    `table` is the engine's table the fit was made from; money everywhere in major units of `currency`.
    """

    fitted: Fitted
    table: pl.DataFrame
    catalogue: Catalogue
    reference: Reference
    calibration: Calibration
    currency: str

    def rows_for(self, subjects: list[Subject], days: list[date]) -> pl.DataFrame:
        """Engine rows for subjects at the reference place, one per (subject, day) pair given."""
        rows = [
            {
                **piece_columns(subject, self.catalogue),
                "site": self.reference.site,
                "mechanism": self.reference.mechanism,
                "season": day.strftime("%m"),
                "sold": day,
                "wider": 1.0,
                "kind": "sale",
            }
            for subject, day in zip(subjects, days, strict=True)
        ]
        return pl.DataFrame(rows, schema_overrides={"position": pl.Float64, "marks": pl.List(pl.String),
                            "features": pl.List(pl.String), **dict.fromkeys(_TEXTS, pl.String)})  # fmt: skip

    def spans(self, subjects: list[Subject], days: list[date], kind: str) -> tuple[Span, ...]:
        """Ranges of many subjects at once; kind is "next" or "middle"."""
        return self._said(self.rows_for(subjects, days), [form_of(s) for s in subjects], kind)

    def _said(self, rows: pl.DataFrame, forms: list[str], kind: str) -> tuple[Span, ...]:
        frame = self.fitted.predict(rows, levels=LEVELS, kind=kind)
        return tuple(self._span(row, form, kind) for row, form in zip(frame.iter_rows(named=True), forms, strict=True))

    def _span(self, row: dict[str, float], form: str, kind: str) -> Span:
        median = row["median"]
        ranges = {}
        for level in LEVELS:
            if kind == "middle":
                half = middle_half(row["log_sd"], self.calibration.middle, level)
            else:
                half = self.calibration.scale(form) * math.log(row[f"high_{level * 100:.0f}"] / median)
            ranges[round(level * 100)] = (median * math.exp(-half), median * math.exp(half))
        return Span(median, row["mean"], ranges)

    def worth(self, subject: Subject, text: str, at: date, price: float | None = None) -> Worth:
        """The worth of one subject on a day, and the place of a price among next sales.

        Args:
            subject: what is asked about.
            text: its canonical sentence.
            at: the day.
            price: an all-in price in the book's currency.
        """
        row, form = self.rows_for([subject], [at]), form_of(subject)
        (middle,) = self._said(row, [form], "middle")
        (coming,) = self._said(row, [form], "next")
        grid = self.fitted.comparables(row, top=TOP)
        sales = self.sales_of(subject)
        return Worth(
            subject=subject,
            text=text,
            at=at,
            currency=self.currency,
            middle=middle,
            next_sale=coming,
            item_price=self._item(coming),
            base=grid.base,
            comparables=self._comparables(grid.sales),
            effective_sales=self.fitted.support(row).effective_sales,
            newest=sales["sold"].max() if len(sales) else None,  # type: ignore[arg-type]
            seen=len(sales),
            verdict=None if price is None else self._verdict(row, price, coming.median, form),
        )

    def _item(self, span: Span) -> Span:
        item = self.reference.item
        return Span(
            item(span.median),
            item(span.mean),
            {level: (item(low), item(high)) for level, (low, high) in span.ranges.items()},
        )

    def _comparables(self, sales: pl.DataFrame) -> tuple[Comparable, ...]:
        about = {r["id"]: r for r in self.table.join(sales.select(id="evidence"), on="id").iter_rows(named=True)}
        return tuple(
            Comparable(
                id=row["evidence"],
                kind=about[row["evidence"]]["mechanism"],
                sold=about[row["evidence"]]["sold"],
                all_in=row["price"],
                adjusted=row["adjusted"],
                gain=row["gain"],
                weight=row["share"],
                subject=about[row["evidence"]]["subject"],
                factors=group_factors(row),
            )
            for row in sales.iter_rows(named=True)
        )

    def _verdict(self, row: pl.DataFrame, price: float, median: float, form: str) -> Verdict:
        """Where an all-in price falls among next sales, after recalibration."""
        # Recalibrated ranges are wider by a factor on the log scale, so the price moves towards the middle by it.
        pulled = median * math.exp(math.log(price / median) / self.calibration.scale(form))
        below = self.fitted.place(row, pulled, kind="next")
        return Verdict(price, below, verdict_words(below))

    def same_variant(self, subject: Subject) -> pl.DataFrame:
        """Engine rows of the same variant, whatever their condition."""
        piece = piece_columns(subject, self.catalogue)
        places = self._places.get(tuple(piece[c] for c in VARIANT))  # type: ignore[literal-required]
        return self.table[places] if places else self.table.clear()

    @cached_property
    def _places(self) -> dict[tuple[object, ...], list[int]]:
        """Rows of the table by variant; looked up for every answer, so worked out once."""
        grouped = self.table.with_row_index("place").group_by(VARIANT).agg("place")
        return {tuple(path): places for *path, places in grouped.iter_rows()}

    @cached_property
    def usual_scales(self) -> dict[str, str]:
        """A subject graded on the scale with most sales, by packaging; packaging that is never graded is left out."""
        graded = self.table.filter((pl.col("kind") == "sale") & pl.col("scale").is_not_null())
        counted = graded.group_by("form", "scale").agg(n=pl.len(), key=pl.col("subject").first()).sort("n", "scale")
        return {form.split()[0]: key for form, key in counted.select("form", "key").iter_rows()}

    def sales_of(self, subject: Subject) -> pl.DataFrame:
        """Completed, priced sales of the same variant."""
        return self.same_variant(subject).filter(pl.col("kind") == "sale")


_TEXTS = ("card", "scale", "generation", "premium", "note", "attribute", "stage")
