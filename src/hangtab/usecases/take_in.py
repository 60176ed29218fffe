"""Take in: sources become evidence, named and levelled, each source in one short transaction.

Promises that taking a source in twice changes nothing, that one bad row never stops a file, and that the raw bytes
stay in the book. Not here: opening files (the edge does) and questions to a person (settling).
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache

from hangtab.domain.errors import Problem, SourceError
from hangtab.domain.evidence import Evidence, Reading
from hangtab.domain.name import Naming
from hangtab.domain.progress import OnStep, Step
from hangtab.domain.subject import Subject
from hangtab.intake import Media, Setting, SourceFile, read_source
from hangtab.levelling import PostageGuess
from hangtab.naming import Saying
from hangtab.usecases.levels import book_guess, level_one, relevel
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import Receipt, SourceRecord, StoredName, TakenFact

KEPT_CANDIDATES = 5
REPORT_EVERY = 500
REMEMBERED = 20_000


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What a whole take-in brought: a receipt per source, and the sources that could not be read at all."""

    receipts: tuple[Receipt, ...]
    refused: tuple[Problem, ...]


@dataclass(frozen=True)
class _Work:
    """What reading a source takes."""

    parts: Parts
    setting: Setting
    guess: PostageGuess
    name: Callable[[Evidence], StoredName]
    on_step: OnStep


def take_in(parts: Parts, sources: Iterable[SourceFile | Problem], on_step: OnStep) -> TakenIn:
    """Take in sources in order.

    Args:
        parts: the book and what goes with it.
        sources: bytes with their names, photos beside them; a problem stands for a file that could not be opened.
        on_step: progress in facts read; raising `Cancelled` from it keeps the sources already written.
    """
    work = _Work(parts, parts.setting(), book_guess(parts), remembering(parts), on_step)
    receipts: list[Receipt] = []
    refused: list[Problem] = []
    for source in sources:
        if isinstance(source, Problem):
            refused.append(source)
            continue
        try:
            receipts.append(_take_one(work, source))
        except SourceError as error:
            refused.append(Problem(error.what, error.where, error.mend))
    if any(r.new for r in receipts):
        relevel(parts, on_step)
    return TakenIn(tuple(receipts), tuple(refused))


def _take_one(work: _Work, source: SourceFile) -> Receipt:
    read = read_source(source, work.setting)
    record = SourceRecord(read.sha256, source.name, read.media.value, source.data)
    facts: list[TakenFact] = []
    for reading, fact in read.facts:
        if len(facts) % REPORT_EVERY == 0:
            work.on_step(Step(f"Reading {source.name}", len(facts), 0))
        facts.append(TakenFact(reading, None, fact) if isinstance(fact, Problem) else _taken(work, reading, fact))
    if not facts:
        mend = "See how its columns are read: hangtab columns FILE; a text has one sale a line"
        raise SourceError("Nothing in it reads like a sale or an ask", where=source.name, mend=mend)
    entry = work.parts.entry("take in", name=source.name, sha256=read.sha256)
    return work.parts.book.take_in(record, facts, entry, tuple(_photos(source, facts)))


def _taken(work: _Work, reading: Reading, fact: Evidence) -> TakenFact:
    price = level_one(work.parts, fact, work.guess)
    name = work.name(fact)
    return (
        TakenFact(reading, fact, price, name)
        if isinstance(price, Problem)
        else TakenFact(reading, fact, None, name, price)
    )


def _photos(source: SourceFile, facts: Iterable[TakenFact]) -> Iterator[SourceRecord]:
    """The photos beside a source that its evidence shows."""
    shown = {photo for fact in facts if fact.evidence for photo in fact.evidence.photos}
    for name, data in sorted(source.beside.items()):
        sha256 = hashlib.sha256(data).hexdigest()
        if sha256 in shown:
            yield SourceRecord(sha256, name, Media.PHOTO.value, data)


def remembering(parts: Parts) -> Callable[[Evidence], StoredName]:
    """Naming of evidence as the book keeps it. Listings come back in the same words, so each is read once.

    What is remembered is the short form: the reasons of 20,000 namings are a million objects for Python to look after.
    """

    @lru_cache(maxsize=REMEMBERED)
    def name(saying: Saying) -> StoredName:
        return stored_name(parts, parts.namer.name(saying))

    return lambda evidence: name(Saying.of(evidence))


def stored_name(parts: Parts, naming: Naming) -> StoredName:
    """A naming as the book keeps it: five candidates, and the catalogue ids of the first one's chain."""
    kept = tuple((c.subject.key, c.text, c.probability) for c in naming.candidates[:KEPT_CANDIDATES])
    nodes = nodes_of(parts, naming.candidates[0].subject) if naming.candidates else ()
    return StoredName(kept, naming.none, decided=naming.decided, lot=naming.lot, why=naming.why, nodes=nodes)


def nodes_of(parts: Parts, subject: Subject) -> tuple[str, ...]:
    """Catalogue ids a subject hangs under or carries, for the list of sales."""
    chain = parts.catalogue.chain(subject.thing)
    ids = (chain.line, chain.character, chain.figure, chain.release, chain.change, chain.prototype)
    return tuple(i for i in (*ids, *(f.id for f in subject.features)) if i)
