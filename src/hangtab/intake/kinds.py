"""Kind, outcome, standing and postage from what a source says about them.

Promises a kind for every combination of signs. The words are in status.csv. That a shown price beside an accepted
offer is the asked one is common practice, no source. Not here: amounts and dates.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from hangtab.domain.evidence import Kind, Outcome, PostageKind, Standing
from hangtab.intake.words import plain, status_phrases, statuses


@dataclass(frozen=True, slots=True)
class Signs:
    """What a row shows: status words, which amounts are there, bids (None when not stated) and the venue's kind."""

    words: frozenset[str]
    price: bool
    ask: bool
    offer: bool
    bids: int | None
    quantity: int
    over: bool  # a day of sale or end is stated
    venue_kind: str = ""
    fallen: bool = False  # it fell through after it was sold
    above_ask: bool = False


def kind_of(signs: Signs) -> Kind:
    """The kind of fact.

    >>> kind_of(Signs(frozenset({"sold"}), True, False, False, 7, 1, True))
    <Kind.AUCTION: 'auction'>
    """
    words = signs.words
    rules = (
        ("hearsay" in words, Kind.HEARSAY),
        (bool(words & {"start", "unsold", "ask"}) and "sold" not in words, _without_buyer(signs)),
        ("trade" in words, Kind.TRADE),
        ("lot" in words or signs.quantity > 1, Kind.LOT),
        ("offer" in words or (signs.offer and "auction" not in words) or _hidden(signs), Kind.OFFER),
        ("private" in words or (signs.venue_kind == "private" and signs.price), Kind.PRIVATE),
    )
    return next((kind for holds, kind in rules if holds), None) or _plain_kind(signs)


def _without_buyer(signs: Signs) -> Kind:
    words = signs.words
    if "start" in words or ("unsold" in words and ("auction" in words or signs.bids == 0)):
        return Kind.START
    return Kind.UNSOLD if "unsold" in words else Kind.ASK


def _hidden(signs: Signs) -> bool:
    """Sold, then fallen through, with an ask and no price: what was agreed is not shown."""
    return signs.fallen and signs.ask and not signs.price and "auction" not in signs.words


def _plain_kind(signs: Signs) -> Kind:
    # More than was asked comes from bids, unless the source says otherwise.
    auction = "auction" in signs.words or bool(signs.bids) or signs.venue_kind.startswith("auction") or signs.above_ask
    sold = "sold" in signs.words or signs.price
    if auction and signs.bids == 0 and "sold" not in signs.words:
        return Kind.START
    if "fixed" in signs.words and sold:
        return Kind.SALE
    if sold:
        return Kind.AUCTION if auction else Kind.SALE
    if auction and signs.over:
        return Kind.START
    return Kind.UNSOLD if signs.over else Kind.ASK


def pieces_in_title(title: str) -> int:
    """How many pieces a title that opens with a word for a lot speaks of, 1 when it does not.

    >>> pieces_in_title("Lot of 5 Tidewardens loose"), pieces_in_title("Konvolut 3 Skyloom"), pieces_in_title("lot 17")
    (5, 3, 1)
    """
    found = _lot_opening().match(plain(title[:80]))
    return int(found[1]) if found else 1


@lru_cache(maxsize=1)
def _lot_opening() -> re.Pattern[str]:
    words = "|".join(sorted(status_phrases("kind:lot"), key=len, reverse=True))
    return re.compile(rf"(?:{words})\s(?:(?:of|de|von|van|mit|aus|a)\s)?(\d{{1,3}})\s(?=\S)")


def outcome_of(outcome: str, kind: str) -> Outcome:
    """What became of it: the outcome column's word, else a fall-through named among the status words."""
    found = statuses("outcome", outcome) if outcome else ()
    found = found or tuple(w for w in (statuses("outcome", kind) if kind else ()) if w != Outcome.COMPLETED)
    return Outcome(next((w for w in found if w != Outcome.COMPLETED), Outcome.COMPLETED))


def standing_of(standing: str, kind: Kind) -> Standing:
    """How well it is known; reported unless the source says more or less."""
    if kind is Kind.HEARSAY:
        return Standing.HEARSAY
    found = statuses("standing", standing) if standing else ()
    return Standing(found[0]) if found else Standing.REPORTED


def postage_words(*texts: str) -> PostageKind | None:
    """The kind of postage that words state, None when they state none."""
    for text in texts:
        if text and (found := statuses("postage", text)):
            return PostageKind(found[0])
    return None
