"""Questions that name no piece are about the piece last looked at: "34+ yellowed", "graded 34".

Promises that what the words do not touch stays as it was, that words which look like another piece's name are refused
rather than read over, and that a question about nothing says so. Not here: prices among the words (naming).
"""

from __future__ import annotations

import re
from dataclasses import replace

from hangtab.domain.errors import UnknownPieceError
from hangtab.domain.name import Candidate, Naming
from hangtab.domain.subject import Packaging, Seal, Subject
from hangtab.naming import Saying
from hangtab.usecases.parts import Parts

# Words of a question that say nothing about a piece.
_FILLING = re.compile(
    r"\b(?:a|an|and|are|at|be|fair|for|good|high|how|in|is|it|its|low|much|of|one|or|piece|plus|price|that|the|then"
    r"|this|too|what|whats|worth|would)\b|[?!:;,]",
    re.IGNORECASE,
)


def subject_about(parts: Parts, key: str) -> Subject | None:
    """The piece last looked at, None when the key names none of the catalogue."""
    try:
        subject = Subject.parse(key)
        parts.catalogue.chain(subject.thing)
    except (ValueError, KeyError):
        return None
    return subject


def named(parts: Parts, text: str, about: Subject | None, read: str = "") -> Naming:
    """What a question means: the piece it names, else the piece last looked at in the condition it states.

    `read` is the whole question for the message. Raises UnknownPieceError when it names something unknown, or nothing
    while nothing was looked at.
    """
    own = parts.namer.name(Saying.ask(text))
    if own.unknown and own.candidates:
        raise _unknown(parts, own.unknown)
    if _names_piece(own) or (own.candidates and about is None):
        return own
    plain = re.sub(r"\s+", " ", _FILLING.sub(" ", text)).strip()
    left = parts.namer.name(Saying.ask(plain)) if plain else Naming((), 1.0, decided=False)
    if left.unknown:
        raise _unknown(parts, left.unknown)
    if about is None:
        raise UnknownPieceError(
            "The question names no piece",
            where=f"the question “{(read or text)[:80]}”",
            mend="Say which piece as well, such as “harbour master 34 graded”, or look one up first",
        )
    return Naming((kept(parts, plain, about),), 0.0, decided=True)


def _names_piece(naming: Naming) -> bool:
    return naming.lot or any("character" in r.kind for c in naming.candidates[:1] for r in c.speaks_for)


def kept(parts: Parts, text: str, about: Subject) -> Candidate:
    """The piece last looked at with what the words change; whatever they do not touch stays as it was."""
    found = _heard(parts, text, about)
    if found is None:
        return Candidate(about, parts.namer.sentence(about), 1.0)
    said = found.subject
    subject = replace(
        said,
        seal=said.seal if _means(found, *Seal) else about.seal,
        features=said.features or about.features,
        parts=said.parts or about.parts,
        flaws=said.flaws or about.flaws,
        note=said.note or ("" if said.grading else about.note),
    )
    if said.packaging is not about.packaging:
        subject = said
    return Candidate(subject, parts.namer.sentence(subject), 1.0, found.speaks_for)


def _heard(parts: Parts, text: str, about: Subject) -> Candidate | None:
    """What the words say of the piece, its own grade said first where they leave it; None when they say nothing."""
    if not text:
        return None
    loose = _loose(parts, about)
    if loose is not None and re.search(r"\bloose\b", text, re.IGNORECASE):
        about = loose
    first = parts.namer.name(Saying.ask(text), about=about).candidates[0]
    if not first.speaks_for:
        return None
    grading = about.grading
    if grading is None or _means(first, "raw") or any(r.kind == "grade" for r in first.speaks_for):
        return first
    grader = parts.catalogue.graders[grading.grader].names.name
    graded = parts.namer.name(Saying.ask(f"{grader} {grading.grade} {text}"), about=about).candidates[0]
    own = tuple(replace(r, start=-1, end=-1) for r in first.speaks_for)
    qualifiers = graded.subject.grading.qualifiers if graded.subject.grading else ()
    marked = replace(grading, qualifiers=tuple(dict.fromkeys((*grading.qualifiers, *qualifiers))))
    flaws = graded.subject.flaws if graded.subject.grading else first.subject.flaws
    return replace(first, subject=replace(first.subject, grading=marked, flaws=flaws), speaks_for=own)


def _loose(parts: Parts, about: Subject) -> Subject | None:
    """The figure of a carded or boxed piece by itself."""
    figure = parts.catalogue.chain(about.thing).figure
    return Subject(figure, Packaging.LOOSE) if figure and about.packaging is not Packaging.LOOSE else None


def _means(candidate: Candidate, *meanings: str) -> bool:
    return any(r.meaning in meanings for r in candidate.speaks_for)


def _unknown(parts: Parts, word: str) -> UnknownPieceError:
    lines = ", ".join(sorted(line.names.name for line in parts.catalogue.lines.values()))
    near = parts.namer.nearest(word, limit=1)
    hint = f"Did you mean {near[0]}? " if near else ""
    return UnknownPieceError(
        f"No line or piece called “{word[:60]}” is in the catalogue",
        where="the words asked about",
        mend=f"{hint}Known lines: {lines}. Or add it to the catalogue",
    )
