"""One piece of evidence opened down to its raw source, with the read characters marked."""

from __future__ import annotations

from hangtab.domain.errors import UnknownPieceError
from hangtab.domain.evidence import ReadField, Reading
from hangtab.domain.subject import Subject
from hangtab.intake import Layout, Media, SourceFile, raw_excerpt, read_source
from hangtab.usecases.parts import Parts
from hangtab.usecases.ports import SourceRecord, Stored
from hangtab.usecases.views import Detail, Mark, RawExcerpt

LETTERS = "abcdefghijklmnopqrstuvwxyz"
TABLES = {Media.CSV, Media.TSV, Media.XLSX}


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
    fields = reading.fields if reading and reading.source == sha256 else ()
    media = Media(source.media)
    cut = raw_excerpt(source.data, media, locator, _layout(parts, source, locator), fields)
    sure = {f.name: f for f in fields}
    marks = tuple(
        Mark(m.start, m.end, LETTERS[i % len(LETTERS)], m.name, *_read(sure.get(m.name)))
        for i, m in enumerate(cut.marks)
    )
    return RawExcerpt(sha256, name, locator, source.media, cut.text, marks, photos[0] if photos else "")


def _layout(parts: Parts, source: SourceRecord, locator: str) -> Layout | None:
    """How the table of a locator was understood, None for pages and lines."""
    if Media(source.media) not in TABLES:
        return None
    layouts = read_source(SourceFile(source.name, source.data), parts.setting()).layouts
    named = [one for one in layouts if one.sheet and locator.startswith(f"sheet {one.sheet},")]
    return (named or list(layouts))[0]


def _read(field: ReadField | None) -> tuple[str, float]:
    return (field.text, field.sure) if field else ("", 1.0)
