"""Take a take-in back, so that the book is as it would be without it.

Promises that what is left has the names and prices it would have if the source had never been there: evidence that now
rests on another source is named and levelled anew, and guessed postage no longer learns from what went. Not here:
settled answers (storage lets them sleep) and the fit, which a person makes anew.
"""

from __future__ import annotations

from hangtab.domain.errors import Problem
from hangtab.domain.progress import OnStep
from hangtab.naming import Saying
from hangtab.usecases.levels import book_guess, level_one, relevel
from hangtab.usecases.parts import Parts
from hangtab.usecases.take_in import stored_name


def undo_take_in(parts: Parts, take_in: int, on_step: OnStep) -> int:
    """Retract what a take-in asserted; evidence that has another source stays. Returns how many went.

    Raises BookError when there is no such take-in, or none that stands.
    """
    gone = parts.book.undo_take_in(take_in, parts.entry("undo take-in", take_in=take_in))
    _renew(parts)
    relevel(parts, on_step)
    return gone


def _renew(parts: Parts) -> None:
    """Name and level what came to rest on a source that was not there when the others were last named and levelled."""
    known = [s.evidence for i in parts.book.outdated() if (s := parts.book.find(i)) is not None]
    if not known:
        return
    guess = book_guess(parts)
    prices = [(e.id, level_one(parts, e, guess)) for e in known]
    names = [(e.id, stored_name(parts, parts.namer.name(Saying.of(e)))) for e in known]
    parts.book.rename(names, parts.entry("name anew", changed=len(known)))
    parts.book.reprice(
        [(i, None if isinstance(p, Problem) else p) for i, p in prices],
        parts.book.currency,
        parts.entry("level", count=len(prices)),
    )
