"""The JSON API: the contract for scripts over HTTP, described by OpenAPI at /api/openapi.json.

Promises: the same keys as the command line. Not here: any page.
"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query
from pydantic import BaseModel, ConfigDict, Field

from hangtab.domain.errors import HangtabError
from hangtab.rendering.contract import naming_json, subject_json, worth_json
from hangtab.rendering.track import study_json
from hangtab.usecases.desk import Asked
from hangtab.usecases.ports import SaleRow, SalesFilter
from hangtab.usecases.replies import more_than_one
from hangtab.usecases.views import Answer
from hangtab.web.doors import Desk
from hangtab.web.pages import parse_day
from hangtab.web.sales import read_filter


class GradingModel(BaseModel):
    """A grade as the grader wrote it."""

    grader: str
    scale: str
    grade: str
    generation: str
    subgrades: dict[str, str]
    qualifiers: list[str]


class SubjectModel(BaseModel):
    """One exact piece in one exact condition."""

    key: str
    text: str
    thing: str
    packaging: str
    seal: str
    parts: dict[str, str]
    grading: GradingModel | None
    features: dict[str, str]
    flaws: list[str]
    note: str


class SpanModel(BaseModel):
    """One distribution; ranges by per cent: 50, 80, 90."""

    median: float
    mean: float
    ranges: dict[str, tuple[float, float]]


class ComparableModel(BaseModel):
    """One sale that carries the estimate, with its pull g on the log of it."""

    id: str
    kind: str
    sold: str
    all_in: float
    adjusted: float
    gain: float


class VerdictModel(BaseModel):
    """Where a price falls: the probability that the next sale brings less, and in words."""

    price: float
    below: float
    words: str


class WorthModel(BaseModel):
    """A worth: log middle.median = (1 - sum gain) log base + sum gain log adjusted."""

    subject: SubjectModel
    at: str
    currency: str
    middle: SpanModel
    next_sale: SpanModel
    item_price: SpanModel
    base: float
    comparables: list[ComparableModel]
    effective_sales: float
    newest: str | None
    verdict: VerdictModel | None


class ReasonModel(BaseModel):
    """Words of the text and what they speak for."""

    text: str
    meaning: str
    kind: str
    sure: float


class CandidateModel(BaseModel):
    """One possible subject with its probability from the text alone."""

    model_config = ConfigDict(validate_by_name=True, validate_by_alias=True)

    subject: SubjectModel
    text: str
    probability: float
    speaks_for: list[ReasonModel] = Field(alias="for")
    speaks_against: list[ReasonModel] = Field(alias="against")


class SuggestionModel(BaseModel):
    """One completion."""

    text: str
    subject: str
    kind: str


class SalesModel(BaseModel):
    """One page of the list of sales; money in minor units of the currency."""

    currency: str
    total: int
    rows: list[SaleRow]


class AskedModel(BaseModel):
    """A subject that can be asked about."""

    subject: SubjectModel
    text: str
    sales: int


class FailureModel(BaseModel):
    """What went wrong, where, and how to mend it."""

    what: str
    where: str
    mend: str


def routes(desk: Desk) -> APIRouter:
    """The routes of the API."""
    failures: dict[int | str, dict[str, Any]] = {s: {"model": FailureModel} for s in (400, 404)}
    router = APIRouter(prefix="/api", responses=failures, tags=["worth"])

    @router.get("/worth", response_model=WorthModel)
    def worth(text: str = "", at: str = "", price: str = "", subject: str = "", about: str = "") -> dict[str, Any]:
        """What one piece is worth.

        `price` as one would say it, `subject` a key instead of words, `about` the key of the piece under discussion.
        """
        answer = desk.answer(text, price=price, at=parse_day(at, "at"), subject=subject, about=about)
        if not isinstance(answer, Answer):
            raise more_than_one(text)
        return worth_json(answer.worth)

    @router.get("/name", response_model=list[CandidateModel])
    def name(text: str) -> list[dict[str, Any]]:
        """What a text may be called, likeliest first."""
        return naming_json(desk.name(text))

    @router.get("/subjects", response_model=list[AskedModel])
    def subjects(limit: Annotated[int, Query(ge=1, le=100_000)] = 100) -> list[dict[str, Any]]:
        """What can be asked about."""
        return [_asked(a) for a in desk.subjects(limit)]

    @router.get("/suggest", response_model=list[SuggestionModel])
    def suggest(text: str = "") -> list[dict[str, str]]:
        """Up to nine completions of what was typed so far."""
        found = desk.suggest(text.strip()) if text.strip() else ()
        return [{"text": s.text, "subject": s.subject, "kind": s.kind} for s in found]

    @router.get("/sales", response_model=SalesModel)
    def sales(wanted: Annotated[SalesFilter, Depends(read_filter)]) -> dict[str, Any]:
        """The list of sales, a hundred at a time."""
        found = desk.sales(wanted)
        return {"currency": desk.info().currency, "total": found.total, "rows": list(found.rows)}

    _add_track_record(router, desk)
    return router


def _add_track_record(router: APIRouter, desk: Desk) -> None:
    @router.get("/track-record")
    def track_record() -> dict[str, Any]:
        """How wrong the book's estimates were on sales that came later: the newest back-test."""
        kept = desk.track_record()
        if kept is None:
            raise HangtabError("Nothing was tried yet", where="the book", mend="hangtab backtest")
        return study_json(kept.study, kept.made)


def _asked(one: Asked) -> dict[str, Any]:
    return {"subject": subject_json(one.subject, one.text), "text": one.text, "sales": one.sales}
