"""The list of sales: filtered, sorted, and as a file for spreadsheets.

Promises: a cell of the file that a spreadsheet would take for a formula gets an apostrophe, and numbers stay numbers.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Annotated, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response, StreamingResponse

from hangtab.domain.evidence import Kind
from hangtab.domain.money import Money
from hangtab.domain.subject import Packaging
from hangtab.rendering import marks, words
from hangtab.usecases.ports import SaleRow, SalesFilter
from hangtab.web.doors import Desk
from hangtab.web.pages import Pages, parse_day

_PAGE = 100
_CHUNK = 5000
# Characters that start a formula in a spreadsheet, their full-width twins, and blanks that some programs strip first.
# Source: OWASP, "CSV Injection", list of characters (from memory).
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
_ORDERS = ("sold", "title", "text", "venue", "kind", "all_in", "item")
_COLUMNS = ("id", "kind", "sold", "title", "subject", "text", "decided", "venue", "country", "all_in", "item",
            "asked", "currency", "outcome", "standing")  # fmt: skip
_HEADS = (("sold", "Sold", ""), ("title", "As sold", ""), ("venue", "Venue", "hide-s"), ("all_in", "All in", "num"),
          ("item", "Without postage", "num hide-s"))  # fmt: skip
KIND_WORDS = {
    Kind.SALE: "sale", Kind.AUCTION: "auction sale", Kind.OFFER: "accepted offer", Kind.ASK: "running ask",
    Kind.UNSOLD: "unsold", Kind.START: "no bid", Kind.LOT: "lot", Kind.PRIVATE: "private sale", Kind.TRADE: "trade",
    Kind.HEARSAY: "hearsay",
}  # fmt: skip
COMPLETED = tuple(k.value for k in (Kind.SALE, Kind.AUCTION, Kind.OFFER, Kind.PRIVATE, Kind.TRADE))
_MARKS = {Kind.OFFER: marks.OFFER, Kind.ASK: marks.ASK, Kind.UNSOLD: marks.ASK, Kind.START: marks.ASK}


def read_filter(
    *,
    q: str = "",
    thing: Annotated[list[str] | None, Query()] = None,
    kind: Annotated[list[str] | None, Query()] = None,
    venue: str = "",
    since: str = "",
    until: str = "",
    packaging: str = "",
    graded: str = "",
    order: str = "-sold",
    offset: Annotated[int, Query(ge=0, le=10**9)] = 0,
) -> SalesFilter:
    """The filter that a query string states; empty fields filter nothing."""
    return SalesFilter(
        text=q.strip(),
        things=tuple(t for t in thing or () if t),
        kinds=tuple(k for text in kind or () for k in text.split(",") if k in set(Kind)),
        venue=venue,
        since=parse_day(since, "since"),
        until=parse_day(until, "until"),
        packaging=packaging if packaging in set(Packaging) else "",
        graded={"yes": True, "no": False}.get(graded),
        order=order if order.removeprefix("-") in _ORDERS else "-sold",
        offset=offset,
        limit=_PAGE,
    )


def sales_address(wanted: SalesFilter, *, said: str = "", path: str = "/sales") -> str:
    """The address of a filtered list; the inverse of `read_filter`."""
    fields: list[tuple[str, str]] = [("q", wanted.text), ("venue", wanted.venue)]
    fields += [("thing", t) for t in wanted.things] + [("kind", k) for k in wanted.kinds]
    fields += [("since", _iso(wanted.since)), ("until", _iso(wanted.until)), ("packaging", wanted.packaging)]
    fields += [("graded", {True: "yes", False: "no", None: ""}[wanted.graded])]
    fields += [("order", wanted.order if wanted.order != "-sold" else "")]
    fields += [("offset", str(wanted.offset) if wanted.offset else ""), ("said", said)]
    query = urlencode([(name, text) for name, text in fields if text])
    return f"{path}?{query}" if query else path


def safe_cell(value: object) -> object:
    """A cell that no spreadsheet takes for a formula; numbers are left as they are.

    >>> safe_cell("=1+1"), safe_cell(-3.5), safe_cell("two")
    ("'=1+1", -3.5, 'two')
    """
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else value


def routes(desk: Desk, pages: Pages) -> APIRouter:
    """The routes of the list."""
    router = APIRouter()

    @router.get("/sales")
    def sales(request: Request, wanted: Annotated[SalesFilter, Depends(read_filter)], said: str = "") -> Response:
        info = desk.info()
        found = desk.sales(wanted)
        venues = dict(info.venues)
        return pages.show(
            request, "sales.html", page="sales", wanted=wanted, said=said, total=found.total,
            things=_things(desk, wanted),
            rows=[_row(r, info.currency, venues) for r in found.rows],
            heads=[_head(wanted, *head) for head in _HEADS],
            kinds=_kind_options(wanted.kinds),
            venues=info.venues,
            packagings=[p.value for p in Packaging],
            currency=words.currency_name(info.currency),
            csv_href=sales_address(replace(wanted, offset=0), path="/sales.csv"),
            pager=_pager(wanted, found.total, len(found.rows)),
        )  # fmt: skip

    @router.get("/sales.csv")
    def sales_csv(wanted: Annotated[SalesFilter, Depends(read_filter)]) -> Response:
        return StreamingResponse(
            _csv(desk, wanted, desk.info().currency),
            media_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": 'attachment; filename="sales.csv"'},
        )

    return router


def _things(desk: Desk, wanted: SalesFilter) -> list[dict[str, str]]:
    """What narrows the list beside its fields, each with the address of the list without it."""
    rest = [replace(wanted, things=tuple(o for o in wanted.things if o != t), offset=0) for t in wanted.things]
    return [
        {"name": name, "without": sales_address(without)}
        for name, without in zip(desk.names_of(wanted.things), rest, strict=True)
    ]


def _kind_options(chosen: Sequence[str]) -> list[tuple[str, str, bool]]:
    """The choices of kinds: each alone, all completed sales, and whatever else the address asked for."""
    sets: dict[tuple[str, ...], str] = {COMPLETED: "completed sales"}
    sets |= {(k.value,): word for k, word in KIND_WORDS.items()}
    if chosen and tuple(chosen) not in sets:
        sets = {tuple(chosen): "several kinds", **sets}
    return [(",".join(kinds), word, kinds == tuple(chosen)) for kinds, word in sets.items()]


def _csv(desk: Desk, wanted: SalesFilter, currency: str) -> Iterator[str]:
    yield _line(_COLUMNS)
    offset, total = 0, 1
    while offset < total:
        found = desk.sales(replace(wanted, offset=offset, limit=_CHUNK))
        yield "".join(_line([safe_cell(_cell(row, name, currency)) for name in _COLUMNS]) for row in found.rows)
        total = found.total if found.rows else 0
        offset += len(found.rows)


def _cell(row: SaleRow, name: str, currency: str) -> object:
    if name == "currency":
        return currency
    value = getattr(row, name)
    if name in {"all_in", "item"}:
        return None if value is None else Money(value, currency).amount
    return value


def _line(cells: Any) -> str:  # noqa: ANN401 - what csv takes
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerow(cells)
    return out.getvalue()


def _row(row: SaleRow, currency: str, venues: Mapping[str, str]) -> dict[str, object]:
    kind = Kind(row.kind) if row.kind in set(Kind) else Kind.SALE
    money = {n: "" if v is None else words.exact(float(Money(v, currency).amount), currency)
             for n, v in (("all_in", row.all_in), ("item", row.item))}  # fmt: skip
    mark = marks.DOUBTFUL if not row.decided else _MARKS.get(kind, marks.SALE)
    return {
        **money,
        "sold": words.when(row.sold) if row.sold else "",
        "mark": "" if kind is Kind.LOT else marks.inline(mark),
        "doubtful": mark == marks.DOUBTFUL,
        "kind": KIND_WORDS[kind],
        "title": row.title,
        "text": row.text,
        "venue": ", ".join(p for p in (venues.get(row.venue, row.venue), row.country) if p),
        "asked": row.asked and row.all_in is not None,
        "outcome": "" if row.outcome == "completed" else row.outcome,
        "href": f"/evidence/{quote(row.id)}",
        "worth_href": f"/?{urlencode({'subject': row.subject})}" if row.subject else "",
    }


def _head(wanted: SalesFilter, name: str, label: str, cls: str) -> dict[str, str]:
    turn = {name: f"-{name}", f"-{name}": name}.get(
        wanted.order, f"-{name}" if "num" in cls or name == "sold" else name
    )
    sort = {name: "ascending", f"-{name}": "descending"}.get(wanted.order, "none")
    return {"label": label, "cls": cls, "sort": sort, "href": sales_address(replace(wanted, order=turn, offset=0))}


def _pager(wanted: SalesFilter, total: int, shown: int) -> dict[str, str]:
    first, last = wanted.offset + 1, wanted.offset + shown
    before = sales_address(replace(wanted, offset=max(wanted.offset - _PAGE, 0))) if wanted.offset else ""
    after = sales_address(replace(wanted, offset=last)) if last < total else ""
    span = f"{words.grouped(str(first))} to {words.grouped(str(last))} of {words.grouped(str(total))}"
    return {"span": span if shown else "", "before": before, "after": after}


def _iso(day: date | None) -> str:
    return day.isoformat() if day else ""
