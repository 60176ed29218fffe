"""The reply to one question: a worth, two set against each other, or several pieces that no single worth answers.

Promises that a question that names no piece is about the one last looked at. Not here: lists of sales (listing).
"""

from __future__ import annotations

from dataclasses import replace

from hangtab.domain.errors import UnknownPieceError
from hangtab.domain.name import Naming
from hangtab.domain.subject import Subject
from hangtab.domain.worth import Worth
from hangtab.naming import Saying, split_price
from hangtab.usecases.about import named
from hangtab.usecases.comparing import asks_to_compare, compare
from hangtab.usecases.desk import Compared, SeveralPieces
from hangtab.usecases.estimate import Ask, answer, estimate, split_asked
from hangtab.usecases.fitting import Standing
from hangtab.usecases.listing import asks_for_list
from hangtab.usecases.parts import Parts
from hangtab.usecases.views import Answer, Other


def reply(parts: Parts, standing: Standing, asked: Ask, about: Subject | None) -> Answer | Compared | SeveralPieces:
    """What a person gets who asks. Raises UnknownPieceError when no known piece is meant."""
    if asked.subject:
        return answer(parts, standing, split_asked(asked))
    priced = _split(asked)
    compared = compare(parts, standing, priced, about)
    if compared is not None:
        return compared
    naming = named(parts, priced.text, about, read=asked.text)
    if naming.lot:
        return _several(standing, naming, priced)
    if naming == parts.namer.name(Saying.ask(priced.text)):
        return answer(parts, standing, priced)
    return _about(parts, standing, naming, priced, about)


def one_worth(parts: Parts, standing: Standing, asked: Ask) -> Worth:
    """The worth alone. Raises UnknownPieceError when no known piece is meant, or more than one worth is asked for."""
    if not asked.subject:
        priced = _split(asked)
        several = asks_for_list(parts, asked.text, asked.at) or asks_to_compare(asked.text)
        if several or parts.namer.name(Saying.ask(priced.text)).lot:
            raise more_than_one(asked.text)
    return estimate(parts, standing, split_asked(asked))


def more_than_one(text: str) -> UnknownPieceError:
    """A list, a comparison or a lot where one worth is wanted."""
    return UnknownPieceError(
        "That asks for more than one worth", where=text[:80], mend="Ask for one piece, or for the list of sales"
    )


def _split(asked: Ask) -> Ask:
    """The question without the price among its words, even where nothing is left of it."""
    text, price = split_price(asked.text) if asked.text and not asked.price else (asked.text, asked.price)
    return replace(asked, text=text, price=price or "")


def _about(parts: Parts, standing: Standing, naming: Naming, asked: Ask, about: Subject | None) -> Answer:
    """The answer about the piece last looked at, under the words that were typed."""
    chosen = naming.candidates[0]
    made = answer(parts, standing, replace(asked, text="", subject=chosen.subject.key))
    said = parts.namer.sentence(about) if about else ""
    return replace(made, asked=asked.text, naming=naming, about=said)


def _several(standing: Standing, naming: Naming, asked: Ask) -> SeveralPieces:
    """What the lot may hold, each with its own worth."""
    valuer = standing.valuer
    subjects = [c.subject for c in naming.candidates]
    spans = valuer.spans(subjects, [asked.at] * len(subjects), "next")
    others = tuple(
        Other(c.subject.key, c.text, c.probability, s.median) for c, s in zip(naming.candidates, spans, strict=True)
    )
    return SeveralPieces(asked.text, valuer.currency, others)
