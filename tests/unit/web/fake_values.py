"""Invented values for the fake desk: one piece with its sales, its grades, its years and its sources."""

# ruff: noqa: E501 - sentences of an invented book read best on one line

from __future__ import annotations

import io
import math
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

from PIL import Image, ImageDraw

from hangtab.domain.dates import When
from hangtab.domain.evidence import Evidence, Kind, Standing
from hangtab.domain.money import Money
from hangtab.domain.name import Candidate, Naming, Reason
from hangtab.domain.price import AllInPrice, PriceStep, StepKind
from hangtab.domain.subject import Feature, FeatureState, Grading, Packaging, Seal, Subject
from hangtab.domain.worth import Comparable, Span, Verdict, Worth
from hangtab.usecases.ports import SaleRow
from hangtab.usecases.views import (
    Choice,
    Detail,
    Dot,
    Head,
    Mark,
    Note,
    Question,
    RawExcerpt,
    Rung,
    YearPoint,
)

AT = date(2026, 11, 20)
HOSTILE = "<script>alert('x')</script>"
SHA_PAGE, SHA_PHOTO = "ab" * 32, "cd" * 32
GRADED = Subject(
    "tw-harbour-master-2", Packaging.CARDED, Seal.SEALED, grading=Grading("northgate", "forty", "34"),
    features=(Feature("glow-sticker", FeatureState.CLAIMED), Feature("territory-b", FeatureState.SEEN)),
)  # fmt: skip
RAW = replace(GRADED, grading=None)
DIVER = Subject("tw-night-diver-3", Packaging.CARDED)

_SALES = (  # letter, day, label, place, kind, all in, time, grade, flaws, venue, g, weight
    ("2026-10-09", "Northgate 34", "Harrow Lane", "sale", 171.62, 1.012, 1.0, 1.0, 1.031, 0.2499, 1.0),
    ("2026-07-21", "Northgate 34", "Quayside, GB", "offer", 158.42, 1.046, 1.0, 1.0, 1.0, 0.1446, 0.9),
    ("2026-03-14", "Northgate 32+", "Quayside, US", "sale", 157.60, 1.083, 1.094, 1.0, 1.022, 0.1738, 1.0),
    ("2025-11-30", "Plumb 10", "Quayside, CA", "sale", 171.20, 1.117, 1.042, 1.0, 1.022, 0.1184, 0.9),
    ("2025-04-05", "Northgate 36", "Harrow Lane", "sale", 236.90, 1.152, 0.768, 1.0, 1.031, 0.1174, 0.9),
    (
        "2024-08-18",
        "Northgate 34, price sticker residue",
        "The Swap Shed",
        "sale",
        113.00,
        1.198,
        1.0,
        1.087,
        1.048,
        0.0600,
        0.38,
    ),
)
_LADDER = (("38", 480, 0.49, 1), ("36+", 313, 0.315, 3), ("36", 238, 0.227, 9), ("34+", 210, 0.245, 4),
           ("34", 183, 0.2, 14), ("32+", 167, 0.219, 5), ("32", 151, 0.224, 11), ("30", 129, 0.245, 6),
           ("28", 112, 0.3, 2))  # fmt: skip
_YEARS = ((2017, 74), (2018.5, 84), (2019.5, 92), (2020.2, 103), (2020.6, 130), (2021.5, 196), (2022.2, 185),
          (2023.1, 150), (2023.6, 143), (2024.5, 151), (2025.5, 158), (2026.3, 171), (2026.88, 183))  # fmt: skip


def span(median: float, sd: float) -> Span:
    ranges = {
        p: (median * math.exp(-z * sd), median * math.exp(z * sd))
        for p, z in ((50, 0.6745), (80, 1.2816), (90, 1.6449))
    }
    return Span(median, median * math.exp(sd * sd / 2), ranges)


def comparables() -> tuple[Comparable, ...]:
    out = []
    for i, (day, _, _, kind, all_in, time, grade, flaws, venue, gain, weight) in enumerate(_SALES):
        factors = (("time", time), ("piece", 1.0), ("grade", grade), ("flaws", flaws), ("venue", venue))
        adjusted = all_in * math.prod(f for _, f in factors)
        out.append(
            Comparable(
                f"quayside/q{i}", kind, date.fromisoformat(day), all_in, adjusted, gain, weight, GRADED.key, factors
            )
        )
    return tuple(out)


def worth(price: float | None = None, subject: Subject = GRADED, sales: tuple[Comparable, ...] | None = None) -> Worth:
    sales = comparables() if sales is None else sales
    base = 171.40 if sales else 112.0
    total = sum(c.gain for c in sales)
    middle = math.exp((1 - total) * math.log(base) + sum(c.gain * math.log(c.adjusted) for c in sales))
    sd = 0.198 if sales else 0.692
    verdict = None
    if price is not None:
        below = 0.5 * (1 + math.erf(math.log(price / middle) / sd / math.sqrt(2)))
        verdict = Verdict(
            price,
            below,
            f"{'High' if below > 0.75 else 'Low' if below < 0.25 else 'Usual'}: {below * 100:.0f} of 100 next sales bring less",
        )
    return Worth(
        subject, text_of(subject), AT, "EUR", span(middle, 0.1), span(middle, sd), span(middle * 0.93, sd), base, sales,
        5.2 if sales else 0.0, date(2026, 10, 9) if sales else None, len(sales), verdict,
    )  # fmt: skip


def text_of(subject: Subject) -> str:
    if subject.thing.startswith("tw-night"):
        return "Night Diver, third card, Territory D, raw"
    grade = f"Northgate {subject.grading.grade}" if subject.grading else "raw"
    return f"Harbour Master, glow sticker, second card, Territory B, {grade}"


def naming(text: str) -> Naming:
    words = (("harbour master", "character", 1.0), ("glow sticker", "release", 0.99), ("34", "grade", 0.94),
             ("graded", "state", 1.0), ("territory B", "card", 1.0))  # fmt: skip
    lower = text.lower()
    reasons = tuple(
        Reason(
            text[lower.find(w.lower()) : lower.find(w.lower()) + len(w)],
            w,
            kind,
            sure,
            lower.find(w.lower()),
            lower.find(w.lower()) + len(w),
        )
        for w, kind, sure in words
        if w.lower() in lower
    )
    return Naming(
        (Candidate(GRADED, text_of(GRADED), 0.94, reasons), Candidate(RAW, text_of(RAW), 0.05, reasons[:2])), 0.01, decided=False,
    )  # fmt: skip


def head(subject: Subject, title: str) -> Head:
    if subject.thing == DIVER.thing:
        return Head(
            "Night Diver", "Tidewardens, Marrow & Pike, 1995", "Carded figure on the third card, Territory D. Raw."
        )
    state = f"Graded, Northgate {subject.grading.grade}." if subject.grading else "Raw."
    return Head(
        title or "Harbour Master",
        "Tidewardens, Marrow & Pike, 1994",
        f"Carded figure on the second card, with the glow sticker, Territory B. {state}",
    )


def ladder(chosen: Subject) -> tuple[Rung, ...]:
    def rung(label: str, subject: Subject, middle: float, sd: float, seen: int) -> Rung:
        s = span(middle, sd)
        (a, d), (b, c) = s.ranges[80], s.ranges[50]
        return Rung(subject.key, label, middle, a, b, c, d, seen, subject == chosen, subject.grading is None)

    graded = [
        rung(f"Northgate {g}", replace(GRADED, grading=Grading("northgate", "forty", g)), m, sd, n)
        for g, m, sd, n in _LADDER
    ]
    return (*graded, rung("raw, card like 34", RAW, 136, 0.232, 31))


def years(last: float) -> tuple[YearPoint, ...]:
    points = []
    scale = last / 183
    for step in range(2017 * 6, int(2026.88 * 6) + 1):
        at = step / 6
        (x0, y0), (x1, y1) = next((a, b) for a, b in pairwise(_YEARS) if a[0] <= at <= b[0])
        middle = scale * math.exp(math.log(y0) + (at - x0) / (x1 - x0) * math.log(y1 / y0))
        s = span(middle, 0.1 + 0.015 * (2026.88 - at))
        day = date(int(at), 1, 1) + timedelta(days=int((at % 1) * 365))
        points.append(YearPoint(day, middle, s.ranges[80][0], s.ranges[50][0], s.ranges[50][1], s.ranges[80][1]))
    return tuple(points)


def dots() -> tuple[Dot, ...]:
    own = [Dot(c.id, c.sold, c.adjusted / c.factors[0][1], "sale") for c in comparables()]
    spots = ((2017.3, 49), (2017.6, 65), (2018.2, 74), (2018.8, 101), (2018.9, 96), (2019.1, 83), (2020, 92), (2020.8, 131),
             (2021.8, 154), (2022, 189), (2022.4, 153), (2023.1, 215), (2023.3, 172), (2023.5, 124), (2023.8, 158), (2024, 148))  # fmt: skip
    old = [
        Dot(f"old{i}", date(int(y), 1, 1) + timedelta(days=int((y % 1) * 365)), p, "offer" if i % 4 == 2 else "sale")
        for i, (y, p) in enumerate(spots)
    ]
    return (*own, *old)


def notes(*, never: bool) -> tuple[Note, ...]:
    if never:
        return (
            Note(
                "worth",
                "Leans on",
                "23 sales of the Night Diver on other cards and on how Territory D stands to the domestic card in 9 releases.",
            ),
            Note("worth", "One sale", "would narrow the range by about a third."),
        )
    return (
        Note("worth", "Rests on", "six sales that count as 5.2. The newest is 42 days old."),
        Note(
            "worth",
            "How wrong",
            "such estimates have been: off by 14\u202f% at the middle of 212 unseen sales. 81 of 100 fell inside the eight-in-ten range.",
        ),
        Note("worth", "Middle of the market", "apart from the luck of one sale: €161 to €208, eight in ten."),
        Note("comparables", "Counts", "is each price’s share in the mean of the logs."),
        Note("comparables", "Far off", "sales weigh less: the least counts for 38\u202f% of a clean sale."),
        Note("years", "Asks", "3 unsold or running asks say only that a sale would bring less."),
    )


def cautions() -> tuple[tuple[str, str], ...]:
    return (
        (
            "The sticker can be transplanted.",
            "It is claimed, not verified; only a verified one earns the full premium. A photo cannot authenticate it.",
        ),
        (
            "",
            "An estimate from market evidence is not an appraisal. For insurance, tax, an estate or a court, use a qualified appraiser and the local rules.",
        ),
    )


_PAGE_TEXT = (
    "Harrow Lane, autumn toys, lot 318\nMarrow & Pike Tidewardens 'Harbour Mas-\nter', glow sticker, bilingual card,\n"
    "graded Northgate 34. Hammer £112\nSold 9 October 2026"
)


def excerpt(text: str = _PAGE_TEXT) -> RawExcerpt:
    said = (("Tidewardens", "line", "Tidewardens", 1.0), ("Harbour Mas-\nter", "character", "Harbour Master", 0.99), ("glow sticker", "release", "glow sticker, 1994", 0.97),
            ("bilingual card", "card", "Territory B?", 0.61), ("Northgate 34", "grade", "Northgate 34", 0.99), ("£112", "hammer", "£112.00", 1.0),
            ("9 October 2026", "sold", "9 Oct 2026", 1.0))  # fmt: skip
    marks = tuple(
        Mark(text.find(t), text.find(t) + len(t), letter, meaning, value, sure)
        for letter, (t, meaning, value, sure) in zip("abcdefg", said, strict=True)
        if t in text
    )
    return RawExcerpt(SHA_PAGE, "lot-318.html", "page", "text/html", text, marks, SHA_PHOTO)


def detail(evidence_id: str) -> Detail:
    def step(kind: StepKind, label: str, amount: str, currency: str = "GBP") -> PriceStep:
        return PriceStep(kind, label, Money.of(amount, currency))

    price = AllInPrice(
        Money.of("171.62", "EUR"), Money.of("160.67", "EUR"),
        (
            step(StepKind.ITEM, "Hammer", "112.00"), step(StepKind.PREMIUM, "Premium, 25\u202f% to £100", "25.00"),
            step(StepKind.PREMIUM, "Premium, 20\u202f% above", "2.40"), step(StepKind.POSTAGE, "Postage", "9.50"),
            step(StepKind.PAID, "Paid", "148.90"), PriceStep(StepKind.RATE, "Rate of 9 Oct 2026, € for £1", None, Decimal("1.1526")),
            step(StepKind.ALL_IN, "All in", "171.62", "EUR"),
        ),
        date(2026, 10, 9),
    )  # fmt: skip
    evidence = Evidence(
        evidence_id, Kind.AUCTION, f"Tidewardens 'Harbour Master' {HOSTILE}", When(date(2026, 10, 9)), Money.of("112", "GBP"),
        venue="harrow-lane", country="GB", listing="318", standing=Standing.CONFIRMED, photos=(SHA_PHOTO,),
    )  # fmt: skip
    return Detail(evidence, GRADED, text_of(GRADED), 0.97, decided=True, price=price, problem=None, raw=(excerpt(),))


def question() -> Question:
    raw = excerpt(
        "Tidewardens Harbour Mas-\nter 1994, glow sticker, bilingual card,\nNorthgate 34, never punched\nSold 9 October 2026    Seller: seller 12"
    )
    return Question(
        "quayside/q77", 1, 43, 0, "Which bilingual card is it?", "The card is under 95\u202f% sure.", raw,
        (
            Choice(GRADED.key, "Territory B, English and French", "The seller’s other 14 pieces were all Territory B. The price would be usual.", 0.61, "Harbour Master, Territory B: 183 → 186, a seventh sale."),
            Choice(RAW.key, "Territory D, Dutch and French", "Posted within AT and DE; half of the D cards come from there.", 0.31, "Territory D: range 96–240 → 118–214."),
            Choice(DIVER.key, "Domestic card under a foreign sticker", "Seen four times. The photo shows no strip at the foot.", 0.08, "Nothing above 1\u202f%."),
        ),
    )  # fmt: skip


def sale_rows() -> list[SaleRow]:
    rows = []
    titles = (
        "Tidewardens Harbour Master glow sticker Northgate 34",
        "Hafenmeister Leuchtsticker 1994 OVP",
        HOSTILE,
        '=HYPERLINK("x")',
        "Night Diver carded, lifted bubble",
    )
    kinds = ("sale", "offer", "auction", "unsold", "ask", "lot")
    for i in range(240):
        kind = kinds[i % 6]
        day = AT - timedelta(days=3 * i)
        price = None if kind in {"unsold", "ask", "lot"} else 9000 + (i * 7919) % 21000
        rows.append(
            SaleRow(
                f"quayside/q{i}", kind, day.isoformat() if i % 9 else day.isoformat()[:7], titles[i % 5], GRADED.key if i % 5 < 2 else "",
                text_of(GRADED) if i % 5 < 2 else "", i % 7 != 3, ("quayside", "harrow-lane", "swap-shed")[i % 3], ("GB", "US", "DE", "")[i % 4],
                price, price and price - 650, "returned" if i % 31 == 5 else "completed", "reported",
            )
        )  # fmt: skip
    return rows


def photo() -> bytes:
    image = Image.new("RGB", (480, 640), "#e9dfca")
    draw = ImageDraw.Draw(image)
    draw.rectangle((60, 200, 300, 560), fill="#f8fbf9", outline="#14222e", width=3)
    draw.ellipse((340, 230, 420, 310), fill="#f8fbf9", outline="#14222e", width=4)
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()
