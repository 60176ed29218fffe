"""To settle: what waits, one question at a time, the most telling first; answers and their undo.

Promises that an answer is a person's and never overwritten by text. The change that an answer makes is a stated
approximation until it is fitted: one more sale of a variant with n sales moves its worth by about 1 / (n + 2) of the
distance between the price and the worth. Not here: reading the source again (details).
"""

from __future__ import annotations

import math

from hangtab.domain.errors import BookError
from hangtab.domain.name import Candidate, Naming, Reason
from hangtab.domain.subject import Subject
from hangtab.naming import Saying
from hangtab.usecases.details import detail
from hangtab.usecases.fitting import Standing
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import Stored, StoredName
from hangtab.usecases.take_in import nodes_of
from hangtab.usecases.views import Choice, Question

CHOICES = 9
NONE = "none"
ASIDE = "aside"
UNREAD = "row:"
SMALL = 0.01
WHOLE = 100.0  # from here on a change of one per cent shows in whole units
UNSAID = {
    "loose": "nothing says that it is loose",
    "prototype": "nothing says that it is a prototype",
    "name": "its own name is not said",
    "change": "its running change is not said",
}


def question(
    parts: Parts, standing: Standing | None, evidence_id: str | None = None, position: int = 1, said: str = ""
) -> Question | None:
    """One item to settle: by id, or at a position of the queue (1 is the most telling); None past its end.

    `said` are a person's own words for the piece; the answers offered are then theirs instead of the source's.
    """
    count = parts.book.waiting_count()
    queue = parts.book.waiting(limit=max(count, 1))
    ids = [w.id for w in queue]
    number = ids.index(evidence_id) if evidence_id in ids else position - 1
    if not 0 <= number < count:
        return None
    waiting = queue[number]
    answered = parts.book.answered_count()
    if waiting.id.startswith(UNREAD):
        problem, raw = parts.book.unread(waiting.id), None
        return Question(
            waiting.id, number + 1, count, answered, "This row could not be read", waiting.why, raw, (), problem
        )
    opened = detail(parts, waiting.id)
    naming = parts.namer.name(Saying.ask(said) if said else Saying.of(opened.evidence))
    offered = naming.candidates[:CHOICES]
    common = frozenset.intersection(*(_words_for(c) for c in offered)) if len(offered) > 1 else frozenset()
    return Question(
        id=waiting.id,
        number=number + 1,
        waiting=count,
        answered=answered,
        question=_question_words(parts, naming),
        why=waiting.why,
        raw=opened.raw[0] if opened.raw else None,
        choices=tuple(_choice(parts, standing, opened.evidence.id, c, common) for c in offered),
    )


def settle(parts: Parts, evidence_id: str, choice: str) -> None:
    """Record an answer: a subject key, "none" of these, or "aside"."""
    if choice == ASIDE:
        parts.book.settle(evidence_id, None, parts.entry("set aside", id=evidence_id))
        return
    if choice == NONE:
        name = StoredName((), 1.0, decided=True, by=parts.who)
    else:
        try:
            subject = Subject.parse(choice)
            nodes = nodes_of(parts, subject)
        except (ValueError, KeyError):
            raise BookError(
                "That answer names no piece of the catalogue",
                where=f"the answer for {evidence_id}",
                mend="Choose one of the answers offered, or none of these",
            ) from None
        first = (choice, parts.namer.sentence(subject), 1.0)
        lot = _is_lot(parts, evidence_id)
        name = StoredName((first,), 0.0, decided=True, by=parts.who, lot=lot, nodes=nodes)
    parts.book.settle(evidence_id, name, parts.entry("settle", id=evidence_id, answer=choice))


def _is_lot(parts: Parts, evidence_id: str) -> bool:
    """Whether its words offer several pieces; naming the first does not make the sum one piece's price."""
    stored = parts.book.find(evidence_id)
    return bool(stored and stored.name and stored.name.lot)


def undo_settle(parts: Parts) -> str:
    """Take back the last answer; the evidence id it was about, empty when there is none."""
    return parts.book.undo_last(parts.entry("undo answer"))


def rank_waiting(parts: Parts, standing: Standing) -> None:
    """Order what waits by how much its likeliest name would move that variant's worth (stated approximation)."""
    waiting = [w.id for w in parts.book.waiting(limit=1_000_000) if not w.id.startswith(UNREAD)]
    pairs = [(s, _first(s)) for s in parts.book.find_all(waiting).values()]
    usable = [
        (s, subject) for s, subject in pairs if subject is not None and s.price is not None and s.evidence.is_price
    ]
    impacts = dict.fromkeys(waiting, 0.0)
    if usable:
        valuer = standing.valuer
        days = [s.evidence.when.day for s, _ in usable]
        spans = valuer.spans([subject for _, subject in usable], days, "middle")
        for (stored, subject), span in zip(usable, spans, strict=True):
            impacts[stored.evidence.id] = moved_by(_amount(stored), span.median, len(valuer.sales_of(subject)))
    parts.book.set_impacts(impacts.items())


def moved_by(price: float, median: float, sales: int) -> float:
    """About how far one more sale moves a worth, as a share of it.

    >>> round(moved_by(200.0, 100.0, 0), 3)
    0.414
    """
    return math.expm1(abs(math.log(price / median)) / (sales + 2))


def _first(stored: Stored) -> Subject | None:
    return Subject.parse(stored.name.candidates[0][0]) if stored.name and stored.name.candidates else None


def _amount(stored: Stored) -> float:
    assert stored.price is not None  # noqa: S101 - filtered by the caller
    return float(stored.price.total.amount)


def _question_words(parts: Parts, naming: Naming) -> str:
    likely = [c.subject for c in naming.candidates[:3]]
    chains = [parts.catalogue.chain(s.thing) for s in likely]
    if naming.lot:
        return "Several pieces for one sum: which is the first?"
    if len({c.character for c in chains}) != 1:
        return "Which piece is it?"
    who = parts.catalogue.characters[chains[0].character].names.name
    questions = (
        (len({c.release for c in chains}), f"Which {who} is it?"),
        (len({s.packaging for s in likely}), f"How is this {who} packed?"),
        (len({s.grading for s in likely}), f"Which grade has this {who}?"),
    )
    return next((words for ways, words in questions if ways > 1), f"Is it this {who}?")


def _words_for(candidate: Candidate) -> frozenset[str]:
    return frozenset(r.text for r in candidate.speaks_for if r.text)


def _choice(
    parts: Parts, standing: Standing | None, evidence_id: str, candidate: Candidate, common: frozenset[str]
) -> Choice:
    """One answer; its reason names only the words that not all answers share."""
    own = dict.fromkeys(r.text for r in candidate.speaks_for if r.text and r.text not in common)
    speaks = ", ".join(f"“{text}”" for text in own)
    against = ", ".join(dict.fromkeys(_against(r) for r in candidate.speaks_against))
    why = ". ".join(w for w in (f"Says {speaks}" if speaks else "", f"Against it: {against}" if against else "") if w)
    return Choice(
        candidate.subject.key,
        candidate.text,
        why,
        candidate.probability,
        _changes(parts, standing, evidence_id, candidate.subject),
    )


def _against(reason: Reason) -> str:
    """A reason against a candidate in plain words: the source's own, or what it leaves unsaid."""
    return f"“{reason.text}”" if reason.text else UNSAID.get(reason.kind, reason.meaning)


def _changes(parts: Parts, standing: Standing | None, evidence_id: str, subject: Subject) -> str:
    stored = parts.book.find(evidence_id)
    if standing is None or stored is None or stored.price is None or not stored.evidence.is_price:
        return "Nothing: it is not a price."
    valuer = standing.valuer
    day = stored.evidence.when.day
    (span,) = valuer.spans([subject], [day], "middle")
    price, sales = _amount(stored), len(valuer.sales_of(subject))
    share = moved_by(price, span.median, sales)
    if share < SMALL:
        return "Nothing above 1\u202f%."
    after = span.median * (1 + share) if price > span.median else span.median / (1 + share)
    which = "the first sale" if not sales else f"sale {sales + 1}"
    digits = 0 if min(span.median, after) >= WHOLE else 1
    return f"about {span.median:.{digits}f} → {after:.{digits}f}, {which} of its variant."
