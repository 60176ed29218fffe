"""How well each thing fits what was heard: log-odds, and the words for and against.

Promises that every penalty has its reason beside it and that what was not said costs nothing, except where silence
speaks: a special name, a prototype, a running change and a loose piece are usually said. Not here: normalising.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from hangtab.domain.name import Reason
from hangtab.domain.subject import Packaging
from hangtab.naming.hearing import Heard, Mention
from hangtab.naming.lexicon import Sense
from hangtab.naming.things import Row, Things

# Log-odds. A seller who names a card or figure means it: about one slip in a hundred (common practice, no source), and
# a slip could have fallen on any of three others. A year is often that of the copyright line, so it counts less.
SLIP = 5.7
YEAR_NEAR, YEAR_FAR = 3.0, 4.0
# A wrong territory or sticker for the release: the words exist, the piece does not.
NO_SUCH_FEATURE = 5.7
# Anybody can sign a card, but a signing is usually of certain releases, which then list it.
UNLISTED = 3.0
# Special things are nearly always called so; a plain title means the plain thing.
UNSAID_NAME, UNSAID_CHANGE, UNSAID_PROTOTYPE, UNSAID_LOOSE = 3.0, 4.0, 7.0, 3.9
SAID_CHANGE_PLAIN = 4.6
# A doubted word ("glow sticker?") speaks, but not for much.
DOUBTED = 0.7
_PACKED = {"carded": Packaging.CARDED, "boxed": Packaging.BOXED}


@dataclass(slots=True)
class Fit:
    """A row with its log-odds; the reasons are only gathered for rows that are shown."""

    row: Row
    odds: float
    against: list[Reason] = field(default_factory=list)
    silent: list[str] = field(default_factory=list)


def fit(row: Row, heard: Heard, known: Things, popularity: Mapping[str, float]) -> Fit:
    """Weigh one row against everything heard."""
    found = Fit(row, popularity.get(row.id, 0.0))
    _packaging(found, heard)
    if row.packaging is Packaging.PROTOTYPE:
        _prototype(found, heard)
    else:
        _version(found, heard, known)
        if row.packaging is not Packaging.LOOSE:
            _released(found, heard, known)
    _line(found, heard)
    return found


def _cost(found: Fit, mention: Mention | None, amount: float, *, silent: str = "") -> None:
    if mention is not None and mention.doubted:
        amount = min(amount, DOUBTED)
    found.odds -= amount
    if mention is not None:
        found.against.append(mention.reason)
    if silent:
        found.silent.append(silent)


def _packaging(found: Fit, heard: Heard) -> None:
    """Loose, carded or boxed as said; unsaid, as it was sold."""
    row, roles = found.row, heard.roles
    loose = "loose" in roles
    packed = [p for role, p in _PACKED.items() if role in roles]
    if row.packaging is Packaging.LOOSE:
        if loose:
            return
        shut = packed or any(r in roles for r in ("sealed", "resealed", "opened"))
        # A card, or a sticker on it, is only named where there is one.
        shut = shut or bool(heard.named[Sense.CARD] or heard.features)
        _cost(found, None, SLIP if shut else UNSAID_LOOSE, silent="loose")
        return
    if row.packaging is Packaging.PROTOTYPE:
        return
    if loose and not packed:
        _cost(found, Mention(frozenset(), roles["loose"]), SLIP)
    elif packed and row.packaging not in packed:
        role = next(role for role in _PACKED if role in roles)
        _cost(found, Mention(frozenset(), roles[role]), SLIP)


def _prototype(found: Fit, heard: Heard) -> None:
    row = found.row
    said = [m for s in (Sense.PROTOTYPE, Sense.STAGE, Sense.FINISH) for m in heard.named[s]]
    if not said and "prototype" not in heard.roles:
        _cost(found, None, UNSAID_PROTOTYPE, silent="prototype")
        return
    for sense, value in ((Sense.PROTOTYPE, row.id), (Sense.STAGE, row.stage), (Sense.FINISH, row.finish)):
        mentions = heard.named[sense]
        if mentions and not any(value in m.ids for m in mentions):
            _cost(found, mentions[0], SLIP)
    if row.own_name and not heard.named[Sense.PROTOTYPE]:
        _cost(found, None, UNSAID_NAME, silent="name")


def _version(found: Fit, heard: Heard, known: Things) -> None:
    """Figure version and running change, on any packaging."""
    row = found.row
    stages = [m for s in (Sense.PROTOTYPE, Sense.STAGE) for m in heard.named[s]]
    if stages or "prototype" in heard.roles:
        _cost(found, stages[0] if stages else None, SLIP)
    figures = _own(heard.named[Sense.FIGURE], known.figures_of, row.character)
    if figures and not any(row.figure in m.ids for m in figures):
        _cost(found, figures[0], SLIP)
    changes = heard.named[Sense.CHANGE]
    if row.change:
        if not changes:
            _cost(found, None, UNSAID_CHANGE, silent="change")
        elif not any(row.change in m.ids for m in changes):
            _cost(found, changes[0], SLIP)
    elif changes:
        _cost(found, changes[0], SAID_CHANGE_PLAIN)


def _released(found: Fit, heard: Heard, known: Things) -> None:
    """Card, release name, year and features."""
    row = found.row
    cards = _own(heard.named[Sense.CARD], known.card_line, row.line)
    if cards and not any(row.card in m.ids for m in cards):
        _cost(found, cards[0], SLIP)
    names = heard.named[Sense.RELEASE]
    if row.own_name and not any(row.release in m.ids for m in names):
        _cost(found, None, UNSAID_NAME, silent="name")
    elif names and not row.own_name:
        _cost(found, names[0], SLIP)
    if heard.years and row.year:
        away = min(abs(year - row.year) for year, _ in heard.years)
        if away:
            _cost(found, Mention(frozenset(), heard.years[0][1]), YEAR_NEAR if away == 1 else YEAR_FAR)
    for feature in heard.features:
        if not row.features.intersection(feature.ids):
            amount = UNLISTED if known.anywhere.intersection(feature.ids) else NO_SUCH_FEATURE
            _cost(found, Mention(frozenset(feature.ids), feature.reason, feature.doubted), amount)


def _line(found: Fit, heard: Heard) -> None:
    row = found.row
    lines = heard.named[Sense.LINE]
    if lines and not any(row.line in m.ids for m in lines):
        _cost(found, lines[0], SLIP)


def _own(mentions: list[Mention], owner: Mapping[str, str], of: str) -> list[Mention]:
    """Mentions that can speak of this owner: "second card" names one card of each line."""
    return [m for m in mentions if any(owner.get(i) == of for i in m.ids)] or mentions
