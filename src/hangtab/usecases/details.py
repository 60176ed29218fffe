"""One piece of evidence opened down to its raw source, with the read characters marked."""

from __future__ import annotations

import string

from hangtab.domain.errors import UnknownPieceError
from hangtab.domain.evidence import Reading
from hangtab.domain.subject import Subject
from hangtab.intake import raw_excerpt
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import Stored
from hangtab.usecases.views import Detail, Mark, RawExcerpt

UNSURE = 0.95


def detail(parts: Parts, evidence_id: str) -> Detail:
    """Everything about one piece of evidence. Raises UnknownPieceError when the book has none of that id."""
    stored = parts.book.find(evidence_id)
    if stored is None:
        raise UnknownPieceError(
            "No such piece of evidence is in the book",
            where=evidence_id[:80],
            mend="It may have been taken back; look in the list of sales",
        )
    name = stored.name
    first = name.candidates[0] if name and name.candidates else None
    return Detail(
        evidence=stored.evidence,
        subject=Subject.parse(first[0]) if first else None,
        text=first[1] if first else "",
        probability=first[2] if first else 0.0,
        decided=bool(name and name.decided and first),
        price=stored.price,
        problem=stored.problem,
        raw=_raw(parts, stored),
    )


def _raw(parts: Parts, stored: Stored) -> tuple[RawExcerpt, ...]:
    out = []
    for sha256, name, locator in stored.sources:
        reading = parts.book.reading(stored.evidence.id)
        out.append(excerpt_of(parts, sha256, name, locator, reading, stored.evidence.photos))
    return tuple(out)


def excerpt_of(
    parts: Parts, sha256: str, name: str, locator: str, reading: Reading | None, photos: tuple[str, ...]
) -> RawExcerpt:
    """The part of a source a fact was read from, marks keyed by letter."""
    source = parts.book.source(sha256)
    cut = raw_excerpt(source.data, source.name, locator, reading if reading and reading.source == sha256 else None)
    letters = string.ascii_lowercase
    marks = tuple(Mark(m.start, m.end, letters[i % 26], m.field, m.value, m.sure) for i, m in enumerate(cut.marks))
    return RawExcerpt(sha256, name, locator, source.media, cut.text, marks, photos[0] if photos else "")
