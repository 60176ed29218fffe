"""What is it worth: from words to an answer with its range, its sales, its grades and its years.

Promises that what is shown comes from one fit, that an unknown line is refused, and that a piece never seen sold says
so. Not here: markup, rounding and the wording of sums (rendering).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from hangtab.domain.errors import UnknownPieceError
from hangtab.domain.money import Money
from hangtab.domain.name import Candidate, Naming
from hangtab.domain.subject import Subject
from hangtab.domain.worth import Worth
from hangtab.levelling import convert
from hangtab.naming import AskedPrice, Entry, Saying, parse_price, split_price
from hangtab.usecases.backtest import track_for
from hangtab.usecases.fitting import Standing
from hangtab.usecases.notes import cautions_for, notes_for
from hangtab.usecases.parts import Parts
from hangtab.usecases.surroundings import dots, ladder, years
from hangtab.usecases.views import Answer, Head, Other
from hangtab.valuing import Valuer

OTHERS = 3
LIKELY = 0.03  # a reading less likely than this is not offered beside the answer


@dataclass(frozen=True, slots=True)
class Ask:
    """One question: words, a day, and perhaps a price and the reading a person chose (a subject key)."""

    text: str
    at: date
    price: str = ""
    subject: str = ""


def name_text(parts: Parts, text: str) -> Naming:
    """The candidates of a text. Raises UnknownPieceError when nothing of the catalogue is meant."""
    naming = parts.namer.name(Saying.ask(text))
    if naming.unknown or not naming.candidates:
        lines = ", ".join(sorted(line.names.name for line in parts.catalogue.lines.values()))
        what = f"No line or piece called “{naming.unknown or text[:60]}” is in the catalogue"
        near = parts.namer.nearest(naming.unknown or text, limit=1)
        hint = f"Did you mean {near[0]}? " if near else ""
        raise UnknownPieceError(
            what, where="the words asked about", mend=f"{hint}Known lines: {lines}. Or add it to the catalogue"
        )
    return naming


def estimate(parts: Parts, standing: Standing, asked: Ask) -> Worth:
    """The worth alone, without what surrounds it on a page."""
    naming = name_text(parts, asked.text) if asked.text.strip() else _named(parts, asked.subject)
    subject, text = _chosen(parts, naming, asked)
    price = price_in_book(parts, asked.price, asked.at) if asked.price else None
    return standing.valuer.worth(subject, text, asked.at, price)


def answer(parts: Parts, standing: Standing, asked: Ask) -> Answer:
    """The whole answer to one question."""
    naming = name_text(parts, asked.text) if asked.text.strip() else _named(parts, asked.subject)
    subject, text = _chosen(parts, naming, asked)
    valuer = standing.valuer
    price = price_in_book(parts, asked.price, asked.at) if asked.price else None
    worth = valuer.worth(subject, text, asked.at, price)
    same = valuer.same_variant(subject)
    entry = parts.namer.entry(subject)
    track = track_for(parts, valuer, subject, worth.seen)
    return Answer(
        asked=asked.text,
        naming=naming,
        head=head_of(entry),
        worth=worth,
        never_sold=worth.seen == 0,
        ladder=ladder(valuer, subject, asked.at, same),
        years=years(valuer, subject, asked.at),
        dots=dots(valuer, subject, same, worth),
        notes=notes_for(parts, valuer, worth, same, track),
        cautions=cautions_for(parts.catalogue, subject),
        others=_others(valuer, naming, subject, asked.at),
        track=track,
        asks=int((same["kind"] == "below").sum()),
        fitted=standing.made,
    )


def head_of(entry: Entry) -> Head:
    """Headword and entry as a dictionary prints them."""
    origin = ", ".join(str(part) for part in (entry.line, entry.maker, entry.year) if part)
    return Head(entry.headword, origin, entry.description)


def split_asked(asked: Ask) -> Ask:
    """The same question with a price that was typed among its words taken out of them."""
    if asked.price or not asked.text:
        return asked
    text, price = split_price(asked.text)
    return replace(asked, text=text, price=price or "") if text else asked


def price_in_book(parts: Parts, text: str, on: date) -> float:
    """A price as a person types it ("47 + 18 post"), all in, in the book's currency at the day's rate."""
    asked: AskedPrice = parse_price(text, parts.book.currency)
    total = asked.item + asked.postage if asked.postage else asked.item
    if total.currency == parts.book.currency:
        return float(total.amount)
    money: Money = convert(total, parts.book.currency, on, parts.rates)
    return float(money.amount)


def _chosen(parts: Parts, naming: Naming, asked: Ask) -> tuple[Subject, str]:
    """The reading a person chose, else the likeliest one."""
    first = (_named(parts, asked.subject) if asked.subject else naming).candidates[0]
    return first.subject, first.text


def _named(parts: Parts, key: str) -> Naming:
    """The piece of a key as if it had been named. Raises UnknownPieceError when there is none, or no key."""
    if not key:
        raise UnknownPieceError(
            "Nothing was asked", where="the question", mend="Say a piece, such as a character, its card and its grade"
        )
    try:
        subject = Subject.parse(key)
        parts.catalogue.chain(subject.thing)
    except (ValueError, KeyError):
        raise UnknownPieceError(
            "No such piece is in the catalogue", where="the key of the piece", mend="Ask for it in words"
        ) from None
    return Naming((Candidate(subject, parts.namer.sentence(subject), 1.0),), 0.0, decided=True)


def _others(valuer: Valuer, naming: Naming, chosen: Subject, at: date) -> tuple[Other, ...]:
    rest = [c for c in naming.candidates if c.subject != chosen and c.probability >= LIKELY][:OTHERS]
    if not rest:
        return ()
    spans = valuer.spans([c.subject for c in rest], [at] * len(rest), "next")
    return tuple(Other(c.subject.key, c.text, c.probability, s.median) for c, s in zip(rest, spans, strict=True))
