"""A desk of invented values: enough for every page and state, and for pictures of them."""

# ruff: noqa: E501 - sentences of an invented book read best on one line

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from hangtab.domain.errors import PriceError, Problem, UnknownPieceError
from hangtab.domain.name import Naming
from hangtab.domain.subject import Subject
from hangtab.usecases.backtest import KeptStudy
from hangtab.usecases.desk import (
    Asked,
    AsSold,
    BookInfo,
    Compared,
    Leader,
    LineHeld,
    Outline,
    SalesWanted,
    SeveralPieces,
    Suggestion,
)
from hangtab.usecases.explaining import Explained
from hangtab.usecases.ports import SalesFilter, SalesPage, SourceRecord, TakeInRow, Waiting
from hangtab.usecases.views import (
    Answer,
    Detail,
    Other,
    Question,
    Track,
)
from tests.unit.web.fake_fit import explained
from tests.unit.web.fake_study import kept_study
from tests.unit.web.fake_values import (
    _SALES,
    AT,
    DIVER,
    GRADED,
    HOSTILE,
    RAW,
    SHA_PAGE,
    SHA_PHOTO,
    cautions,
    detail,
    dots,
    head,
    ladder,
    naming,
    notes,
    photo,
    question,
    sale_rows,
    text_of,
    worth,
    years,
)


class FakeDesk:
    """Fulfils `hangtab.web.doors.Desk` from constants; `settled` and `undone` record what pages did."""

    def __init__(self, *, waiting: int = 43, title: str = "") -> None:
        self.settled: list[tuple[str, str]] = []
        self.undone: list[int] = []
        self.waiting = waiting
        self.title = title
        self.fits = 0
        self.study = kept_study()

    def info(self) -> BookInfo:
        return BookInfo(
            "evenings.hangtab", "EUR", 12480, 9312, self.waiting - len(self.settled), datetime(2026, 11, 20, 21, 14, tzinfo=UTC), AT,
            (
                LineHeld("Tidewardens", "Marrow & Pike", "1991–1997", 612, 6120),
                LineHeld("Lantern Circus", "Marrow & Pike", "1986–1989", 214, 1204),
                LineHeld("Skyloom", "Dunmore Novelty", "1998–2002", 374, 1988),
            ),
            (("quayside", "Quayside"), ("harrow-lane", "Harrow Lane"), ("swap-shed", "The Swap Shed")),
            (
                "harbour master glow sticker bilingual 34 graded",
                "all harbour master sales since last autumn",
                "34+ yellowed against clear",
                "unpainted first shot of the night diver",
                "warp kite loose, no sail",
            ),
            12, 1, self.fits > 0,
        )  # fmt: skip

    def answer(
        self, text: str, *, price: str = "", at: date | None = None, subject: str = "", about: str = ""
    ) -> Answer | SalesWanted | Compared | SeveralPieces:
        if "tidewatch" in text.lower():
            raise UnknownPieceError(
                "No line or piece called “Tidewatch” is in the catalogue", where="the words asked about",
                mend="Did you mean Tidewardens? Known lines: Lantern Circus, Skyloom, Tidewardens",
            )  # fmt: skip
        if "sales since" in text:
            return SalesWanted(
                SalesFilter(things=("harbour-master",), since=date(2026, 9, 1)), "Harbour Master, sold since 1 Sep 2026"
            )
        if "lot" in text.split():
            return SeveralPieces(text, "EUR", (Other(GRADED.key, text_of(GRADED), 0.4, 183.0),))
        if text == "34+" and not about:
            raise UnknownPieceError("The question names no piece", where=f"the question “{text}”", mend="Say which")
        if " against " in text:
            return Compared(text, (self._answer(text, None, GRADED), self._answer(text, None, RAW)), (1.35, 1.12, 1.63))
        chosen = Subject.parse(subject) if subject else DIVER if "diver" in text else GRADED
        return replace(self._answer(text, _price(price), chosen), about=about and text_of(Subject.parse(about)))

    def _answer(self, text: str, price: float | None, chosen: Subject) -> Answer:
        never = chosen.thing == DIVER.thing
        found = worth(price, chosen, () if never else None)
        return Answer(
            text, naming(text), head(chosen, self.title), found, never, () if never else ladder(chosen), years(found.middle.median),
            () if never else dots(), notes(never=never), cautions(), () if never else (Other(RAW.key, "raw, with a seller’s own mark", 0.05, 136.0),),
            Track("carded graded", 0.14, 0.81, 212), 3, datetime(2026, 11, 20, 21, 14, tzinfo=UTC),
        )  # fmt: skip

    def names_of(self, things: Sequence[str]) -> Sequence[str]:
        return [thing.replace("-", " ").title() for thing in things]

    def as_sold(self, ids: Sequence[str], subject: str = "") -> Mapping[str, AsSold]:
        known = {
            f"quayside/q{i}": AsSold(s[1], s[2], s[3], i == 5, "no glow sticker" if i == 4 else "")
            for i, s in enumerate(_SALES)
        }
        return {i: known[i] for i in ids if i in known}

    def outline(self, subject: str) -> Outline | None:
        tab, second = Leader("tab", "Tab", "never punched"), Leader("text", "Second card", "three lines here")
        leaders = (
            tab,
            Leader("sticker", "Glow sticker", "19\u00a0mm, upright"),
            second,
            Leader("strip", "Territory B", "two languages"),
        )
        return Outline(152, 229, "carded", leaders if "glow" in subject else (second,))

    def suggest(self, text: str) -> Sequence[Suggestion]:
        all_ = (
            Suggestion("Harbour Master, glow sticker, second card", GRADED.key, "release"),
            Suggestion("Harbour Master, third card", RAW.key, "release"),
            Suggestion("Harbour Master", "", "character"),
            Suggestion("Night Diver, third card", DIVER.key, "release"),
        )
        return [s for s in all_ if all(w in s.text.lower() for w in text.lower().split())]

    def name(self, text: str) -> Naming:
        return naming(text)

    def subjects(self, limit: int) -> Sequence[Asked]:
        return [Asked(GRADED, text_of(GRADED), 14), Asked(RAW, text_of(RAW), 31), Asked(DIVER, text_of(DIVER), 0)][
            :limit
        ]

    def sales(self, wanted: SalesFilter) -> SalesPage:
        rows = sale_rows()
        if wanted.text:
            rows = [r for r in rows if wanted.text.lower() in r.title.lower()]
        if wanted.venue:
            rows = [r for r in rows if r.venue == wanted.venue]
        if wanted.kinds:
            rows = [r for r in rows if r.kind in wanted.kinds]
        name = wanted.order.removeprefix("-")
        rows.sort(key=lambda r: (getattr(r, name) is not None, getattr(r, name) or 0) if name in {"all_in", "item"} else str(getattr(r, name)),
                  reverse=wanted.order.startswith("-"))  # fmt: skip
        return SalesPage(tuple(rows[wanted.offset : wanted.offset + wanted.limit]), len(rows))

    def detail(self, evidence_id: str) -> Detail | None:
        return detail(evidence_id) if evidence_id.startswith("quayside/") else None

    def question(self, evidence_id: str = "", position: int = 1, said: str = "") -> Question | None:
        left = self.waiting - len(self.settled)
        if position > left or left <= 0:
            return None
        if evidence_id.startswith("row:"):
            problem = Problem(
                "Hammer price is not a number: 1,2OO",
                "spring.xlsx, sheet Lots, cell D17",
                "Replace the letter O by zero, or choose another price column",
            )
            return Question(
                evidence_id, 2, left, len(self.settled), "A row could not be read", "spring.xlsx", None, (), problem
            )
        return replace(question(), number=position, waiting=left, answered=len(self.settled))

    def queue(self, limit: int = 10) -> Sequence[Waiting]:
        titles = (
            "Harbour Master",
            "spring.xlsx, row 17",
            "Rescue Launch",
            "Tin Acrobats",
            "Harbour Master",
            "Night Diver",
            "Warp Kite",
            "Signal Keeper",
            "Strong Sisters",
        )
        impacts = (0.061, 0.048, 0.039, 0.032, 0.027, 0.022, 0.016, 0.013, 0.011)
        ids = ["quayside/q77", "row:17", *(f"quayside/w{i}" for i in range(20))]
        return [Waiting(i, t, "name", p, 1) for i, t, p in zip(ids, titles, impacts, strict=False)][:limit]

    def settle(self, evidence_id: str, choice: str) -> None:
        self.settled.append((evidence_id, choice))

    def undo_settle(self) -> str:
        return self.settled.pop()[0] if self.settled else ""

    def fit(self) -> None:
        self.fits += 1

    def explain(self) -> Explained:
        return explained()

    def track_record(self) -> KeptStudy | None:
        return self.study

    def fit_problem(self) -> str:
        return ""

    def take_ins(self) -> Sequence[TakeInRow]:
        at = datetime(2026, 11, 20, 20, 5, tzinfo=UTC)
        return (
            TakeInRow(3, at, "you", SHA_PAGE, "spring.xlsx", 386, 9, 1, at if 3 in self.undone else None),
            TakeInRow(2, at - timedelta(days=1), "you", SHA_PAGE, "lot-318.html", 1, 0, 0, None),
            TakeInRow(
                1,
                at - timedelta(days=9),
                "you",
                SHA_PAGE,
                self.title or "quayside-2026.csv",
                9124,
                0,
                42,
                at - timedelta(days=8),
            ),
        )

    def undo_take_in(self, take_in: int) -> int:
        self.undone.append(take_in)
        return 386

    def source(self, sha256: str) -> SourceRecord | None:
        if sha256 == SHA_PAGE:
            return SourceRecord(sha256, "sources/lot 318.html", "text/html", f"<p>{HOSTILE}</p>".encode())
        return SourceRecord(sha256, "lot-318.png", "image/png", photo()) if sha256 == SHA_PHOTO else None


def _price(text: str) -> float | None:
    if not text:
        return None
    try:
        return sum(float(p.split()[0]) for p in text.split("+"))
    except (ValueError, IndexError):
        raise PriceError(
            f"Not a price: {text[:40]!r}", where="the price", mend="Write a number, such as 47 + 18 post"
        ) from None
