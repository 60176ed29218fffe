"""The answer page's view: an answer with everything rounded and drawn, ready for its template.

Promises: what is shown adds up as shown; the letters of the sales are the same on the ruler, in the table and over the
years. Reads: an Answer and how its sales are called. Gives: one dictionary. Not here: routes and markup.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import quote, urlencode

from hangtab.domain.evidence import ASKED
from hangtab.domain.name import Candidate, Reason
from hangtab.domain.worth import Comparable
from hangtab.rendering import marks, sums, words
from hangtab.rendering import ruler as rulers
from hangtab.rendering import strips as drawn_strips
from hangtab.rendering import years as chart
from hangtab.rendering.plate import plate
from hangtab.usecases.desk import AsSold, Outline
from hangtab.usecases.views import Answer, Note

View = dict[str, Any]

LETTERS = "abcdefghijkl"
SURE = 0.95  # under this a reading's bracket is broken
DOUBT = 0.5  # a sale that counts for less than this share of a clean one is marked doubtful
SHOWN = 0.0005  # a factor nearer to one than this is one
_SECTIONS = ("worth", "comparables", "years", "grades", "cautions")
_ASKS = frozenset({*(k.value for k in ASKED), "below"})


def view(answer: Answer, sold: Mapping[str, AsSold], outline: Outline | None, price: str, at: str) -> View:
    """Everything the template shows."""
    shown = answer.worth.comparables[: len(LETTERS)]
    letters = dict(zip((c.id for c in shown), LETTERS, strict=False))
    kinds = {c.id: mark_of(c, sold.get(c.id)) for c in answer.worth.comparables}
    ladder = _ladder(answer)
    years = _years(answer, letters, kinds)
    rows = _comparables(answer, shown, sold, kinds)
    return {
        **_question(answer, price, at),
        **rows,
        **years,
        **ladder,
        "head": answer.head,
        "figure": _figure(answer),
        "never_sold": answer.never_sold,
        "verdict": _verdict(answer),
        "ruler": _ruler(answer, letters, kinds),
        "key": _key(kinds.values()),
        "plate": plate(outline) if outline else "",
        "margin": _margin(answer.notes),
        "cautions": answer.cautions,
        "contents": _contents(bool(rows["rows"]), bool(years["years"][0]), bool(ladder["ladder"])),
    }


def mark_of(sale: Comparable, sold: AsSold | None) -> str:
    """The mark of one comparable."""
    if sale.weight < DOUBT or (sold is not None and sold.doubtful):
        return marks.DOUBTFUL
    kind = sold.kind if sold else sale.kind
    if kind == "offer":
        return marks.OFFER
    return marks.ASK if kind in _ASKS else marks.SALE


def look_up(text: str = "", *, subject: str = "", price: str = "", at: str = "") -> str:
    """The address of an answer."""
    said = {"q": text, "subject": subject, "price": price, "at": at}
    return "/?" + urlencode({k: v for k, v in said.items() if v})


def _question(answer: Answer, price: str, at: str) -> View:
    key = answer.worth.subject.key
    chosen = next((c for c in answer.naming.candidates if c.subject.key == key), None)
    asked = answer.asked or answer.worth.text
    return {
        "asked": asked,
        "price": price,
        "at": at,
        "about": key,
        "about_said": answer.about,
        "decided": answer.naming.decided or chosen is None,
        "probability": chosen.probability if chosen else 1.0,
        "no_piece": answer.naming.none,
        "unsure_why": answer.naming.why,
        "glosses": _glosses(chosen) if answer.asked else [],
        "others": [
            {
                "text": o.text,
                "probability": o.probability,
                "worth": words.money(o.median, answer.worth.currency),
                "href": look_up(asked, subject=o.subject, price=price, at=at),
            }
            for o in answer.others
        ],
        "json_href": "/api/worth?" + urlencode({"text": asked, "subject": key} | ({"at": at} if at else {})),
    }


def _glosses(candidate: Candidate | None) -> list[View]:
    reasons = candidate.speaks_for if candidate else ()
    spots: dict[tuple[int, int], list[Reason]] = {}
    for reason in sorted((r for r in reasons if r.start >= 0), key=lambda r: r.start):
        spots.setdefault((reason.start, reason.end), []).append(reason)
    return [_gloss(said) for (start, end), said in spots.items() if not _held(start, end, spots)]


def _held(start: int, end: int, spots: Iterable[tuple[int, int]]) -> bool:
    """Whether a longer bracket says the same: "graded" within "34 graded"."""
    return any(s <= start and end <= e and e - s > end - start for s, e in spots)


def _gloss(said: Sequence[Reason]) -> View:
    """One bracket over the same characters, whatever they were read as."""
    first, sure = said[0], min(r.sure for r in said)
    kind = ", ".join(dict.fromkeys(r.kind for r in said))
    return {
        "value": first.text,
        "kind": kind if sure >= SURE else f"{kind}, {words.per_cent(sure)} sure",
        "unsure": sure < SURE,
        "start": first.start,
        "end": first.end,
    }


def _figure(answer: Answer) -> View:
    worth = answer.worth
    (low, high), (low_50, high_50) = worth.next_sale.ranges[80], worth.next_sale.ranges[50]
    item_low, item_high = worth.item_price.ranges[80]
    fine = words.is_fine(low)
    return {
        "sign": words.sign(worth.currency),
        "currency": words.currency_name(worth.currency),
        "at": words.day(worth.at),
        "middle": words.worth(worth.middle.median, fine=fine),
        "range": words.span(low, high),
        "low": words.worth(low, fine=fine),
        "high": words.worth(high, fine=fine),
        "low_50": words.worth(low_50, fine=fine),
        "high_50": words.worth(high_50, fine=fine),
        "item": words.money(worth.item_price.median, worth.currency),
        "item_range": words.span(item_low, item_high, worth.currency),
    }


def _verdict(answer: Answer) -> View | None:
    verdict = answer.worth.verdict
    if verdict is None:
        return None
    side = rulers.side_of(verdict.price, answer.worth.next_sale.ranges)
    return {
        "price": words.sign(answer.worth.currency) + words.exact(verdict.price, answer.worth.currency),
        "side": side,
        "beyond": _beyond(verdict.price, answer.worth.middle.median),
        "mark": marks.inline(side) if side else "",
        "words": verdict.words,
    }


def _beyond(price: float, middle: float) -> str:
    if price >= 10 * middle:
        return f"{words.grouped(f'{price / middle:.0f}')} times the middle"
    way = "above" if price >= middle else "below"
    return f"{words.per_cent(abs(price / middle - 1))} {way} the middle"


def _ruler(answer: Answer, letters: Mapping[str, str], kinds: Mapping[str, str]) -> tuple[str, str]:
    worth = answer.worth
    stems = tuple(rulers.Stem(c.adjusted, c.gain, kinds[c.id], letters.get(c.id, "")) for c in worth.comparables)
    price = worth.verdict.price if worth.verdict else None
    reading = rulers.Reading(worth.middle.median, worth.next_sale.ranges, stems, worth.currency, price)
    return rulers.ruler(reading, rulers.WIDE), rulers.ruler(reading, rulers.NARROW)


def _key(kinds: Any) -> list[tuple[str, str]]:  # noqa: ANN401 - any iterable of marks
    used = set(kinds)
    order = (marks.SALE, marks.OFFER, marks.ASK, marks.DOUBTFUL)
    key = [(marks.inline(k), marks.MEANS[k]) for k in order if k in used]
    return [*key, (chart.bands_swatch(), "5, 8 and 9 of 10 next sales")]


def _comparables(
    answer: Answer, shown: Sequence[Comparable], sold: Mapping[str, AsSold], kinds: Mapping[str, str]
) -> View:
    worth = answer.worth
    rest = worth.comparables[len(shown) :]
    account = sums.account(worth, [*([c] for c in shown), *([rest] if rest else [])])
    columns = _columns(worth.comparables)
    rows = [
        _row(c, letter, sold.get(c.id), kinds[c.id], columns, worth.currency)
        | {"counts": f"{pull.counts:.1f}".replace("-", words.MINUS), "moves": words.change(pull.moves, worth.currency)}
        for c, letter, pull in zip(shown, LETTERS, account.pulls, strict=False)
    ]
    return {
        "columns": columns,
        "columns_said": _joined(columns),
        "rows": rows,
        "base": {
            "price": words.exact(account.base, worth.currency),
            "counts": f"{account.base_counts:.1f}".replace("-", words.MINUS),
        },
        "estimate": words.exact(account.estimate, worth.currency),
    }


def _columns(sales: Sequence[Comparable]) -> list[str]:
    """Factors that differ from one somewhere, in the order they come in."""
    names: dict[str, bool] = {}
    for sale in sales:
        for name, factor in sale.factors:
            names[name] = names.get(name, False) or abs(factor - 1) >= SHOWN
    return [name for name, used in names.items() if used]


def _joined(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else " × ".join(names)


def _row(sale: Comparable, letter: str, sold: AsSold | None, kind: str, columns: Sequence[str], currency: str) -> View:
    factors = dict(sale.factors)
    shown = [_factor(factors.get(name, 1.0)) for name in columns]
    all_in, adjusted = words.exact(sale.all_in, currency), words.exact(sale.adjusted, currency)
    href = f"/evidence/{quote(sale.id)}"
    return {
        "letter": letter,
        "mark": marks.inline(kind),
        "label": sold.label if sold else sale.id,
        "piece": sold.piece if sold else "",
        "place": sold.place if sold else "",
        "sold": words.day(sale.sold),
        "all_in": all_in,
        "adjusted": adjusted,
        "factors": shown,
        "product": " × ".join([all_in, *(f for f in shown if f != "1")]) + f" = {adjusted}",
        "href": href,
        "open": f"{href}/open",
    }


def _factor(value: float) -> str:
    return "1" if abs(value - 1) < SHOWN else f"{value:.3f}"


def _years(answer: Answer, letters: Mapping[str, str], kinds: Mapping[str, str]) -> View:
    points = [chart.Point(p.day, p.low_80, p.low_50, p.median, p.high_50, p.high_80) for p in answer.years]
    spots = [chart.Spot(d.day, d.price, kinds.get(d.id, d.mark), letters.get(d.id, "")) for d in answer.dots]
    used = {s.mark for s in spots}
    key = [(chart.key_swatch(), "worth, with 5 and 8 in 10 for the middle of the market")]
    key += [
        (marks.inline(k), marks.MEANS[k]) for k in (marks.SALE, marks.OFFER, marks.ASK, marks.DOUBTFUL) if k in used
    ]
    every = max(1, len(points) // 12)
    return {
        "years": (chart.years(points, spots), chart.years(points, spots, chart.NARROW)),
        "years_key": key,
        "years_rows": [
            {"day": words.day(p.day), "middle": words.worth(p.middle), "range": words.span(p.low_80, p.high_80)}
            for p in points[::-1][::every]
        ],
    }


def _ladder(answer: Answer) -> View:
    drawn = drawn_strips.strips(
        [drawn_strips.Strip(r.low_80, r.low_50, r.median, r.high_50, r.high_80) for r in answer.ladder]
    )
    rungs = [
        {
            "label": r.label,
            "worth": words.worth(r.median),
            "range": words.span(r.low_80, r.high_80),
            "strip": strip,
            "sales": r.sales,
            "here": r.here,
            "raw": r.raw,
            "href": look_up(subject=r.subject),
        }
        for r, strip in zip(answer.ladder, drawn.rows, strict=True)
    ]
    return {"ladder": rungs, "strip_head": drawn.head}


def _margin(notes: Sequence[Note]) -> dict[str, list[Note]]:
    return {section: [n for n in notes if n.section == section] for section in _SECTIONS}


def _contents(rows: bool, years: bool, ladder: bool) -> list[tuple[str, str]]:
    there = (("Worth", "s1", True), ("Comparables", "s2", rows), ("Over the years", "s3", years),
             ("Grades", "s4", ladder), ("Cautions", "s6", True))  # fmt: skip
    return [(name, anchor) for name, anchor, shown in there if shown]
