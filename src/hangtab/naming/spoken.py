"""Phrases of one text with what turns them round: "no", "not the", a question mark.

Promises that each phrase knows whether it is denied, doubted or said of a part that is missing. Reads hits; gives
`Spoken` values. Not here: which piece they add up to.
"""

from __future__ import annotations

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field

from hangtab.domain.name import Reason
from hangtab.naming.lexicon import Sense
from hangtab.naming.match import Hit
from hangtab.naming.text import Token

# A word that turns another round stands within so many words of it.
_REACH = 2
# What "not the ..." can deny, and what "no ..." can.
_NAMES = frozenset({Sense.LINE, Sense.CHARACTER, Sense.FIGURE, Sense.RELEASE, Sense.CARD, Sense.CHANGE, Sense.FEATURE})
_WANTING = frozenset({Sense.PART, Sense.FLAW, Sense.FEATURE, Sense.QUALIFIER})
DANGERS = frozenset({"custom", "reproduction", "empty"})
DOUBT = 0.5
# "From my own collection" offers one piece of it.
_OWN = frozenset("my own our private personal mein meine meiner eigene eigener ma notre mijn eigen onze".split())


@dataclass(slots=True)
class Spoken:
    """One phrase in its place. `sure` falls with spelling mistakes and doubt."""

    hit: Hit
    text: str
    start: int
    end: int
    sure: float
    denied: bool = False
    doubted: bool = False
    missing: bool = False
    remade: bool = False
    senses: AbstractSet[Sense] = field(default_factory=frozenset)
    roles: frozenset[str] = field(default_factory=frozenset)

    def ids(self, sense: Sense) -> tuple[str, ...]:
        """What the phrase can stand for in one sense."""
        return self.hit.senses.get(sense, ())

    def reason(self, meaning: str, kind: str) -> Reason:
        """The phrase as a reason for something."""
        return Reason(self.text, meaning, kind, round(self.sure, 3), self.start, self.end)


def speak(hits: Sequence[Hit], text: Sequence[Token], original: str, asked: bool) -> list[Spoken]:  # noqa: FBT001 - a fact
    """The phrases of a text in order, turned round where another phrase says so."""
    found = [_spoken(hit, text, original) for hit in hits]
    for place, phrase in enumerate(found):
        if "not" in phrase.roles:
            _deny(found, place)
        elif "missing" in phrase.roles:
            _miss(found, place)
        elif "reproduction" in phrase.roles:
            _remake(found, place)
        elif "lot" in phrase.roles and phrase.hit.first and text[phrase.hit.first - 1].text in _OWN:
            phrase.denied = True
        if "query" in phrase.roles:
            _doubt(found, place, last=asked and phrase.hit.last == len(text))
    return found


def _spoken(hit: Hit, text: Sequence[Token], original: str) -> Spoken:
    start, end = text[hit.first].start, text[hit.last - 1].end
    return Spoken(
        hit,
        original[start:end],
        start,
        end,
        hit.likeness,
        senses=hit.senses.keys(),
        roles=frozenset(hit.senses.get(Sense.ROLE, ())),
    )


def _deny(found: list[Spoken], place: int) -> None:
    """Deny what follows: "not the X" speaks against X, "not a custom" takes the danger out of the word."""
    reach = found[place].hit.last
    for phrase in found[place + 1 :]:
        if phrase.hit.first > reach + _REACH:
            return
        if phrase.senses & _NAMES or phrase.roles & (DANGERS | {"graded", "resealed", "opened", "lot"}):
            phrase.denied = True
            if phrase.senses & {Sense.CHARACTER, Sense.FEATURE} or phrase.roles:
                return
            reach = phrase.hit.last


def _miss(found: list[Spoken], place: int) -> None:
    """Mark what lacks: "no sail or rope", "sail and rope missing"; "no yellowing" and "no reproduction" deny."""
    word = found[place]
    reach = word.hit.last
    forward = False
    for phrase in found[place + 1 :]:
        # Only parts are counted on in one breath: "no tray, bilingual card" lacks the tray.
        more = forward and Sense.PART in phrase.senses and phrase.hit.first <= reach + _REACH
        if not more and (forward or phrase.hit.first > reach):
            break
        if phrase.senses & _WANTING:
            phrase.missing = True
        elif phrase.roles & DANGERS:
            phrase.denied = True
        else:
            break
        forward = True
        reach = phrase.hit.last
    if forward:
        return
    reach = word.hit.first
    for phrase in reversed(found[:place]):
        if phrase.hit.last < reach - _REACH or not phrase.senses & {Sense.PART}:
            return
        phrase.missing = True
        reach = phrase.hit.first


def _remake(found: list[Spoken], place: int) -> None:
    """Give the word to the part beside it: "reproduction sail" does not speak of the piece."""
    word = found[place]
    for phrase in (*found[place + 1 : place + 2], *found[max(place - 1, 0) : place]):
        near = phrase.hit.first - word.hit.last < _REACH and word.hit.first - phrase.hit.last < _REACH
        if phrase.senses & {Sense.PART} and near and not phrase.missing:
            phrase.remade = True
            word.denied = True
            return


def _doubt(found: list[Spoken], place: int, *, last: bool) -> None:
    """Doubt what stands before a "?" or after a "maybe"; a question as such may end in a mark."""
    mark = found[place]
    signed = mark.text == "?"
    framed = "query" in found[0].roles and found[0].text == "?"  # "? rare find ?" is decoration
    if last or (signed and framed):
        return
    near = found[place - 1 : place] if signed and place else found[place + 1 : place + 2]
    for phrase in near:
        gap = mark.hit.first - phrase.hit.last if signed else phrase.hit.first - mark.hit.last
        if gap == 0:
            phrase.doubted = True
            phrase.sure *= DOUBT
