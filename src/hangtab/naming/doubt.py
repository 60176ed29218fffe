"""How likely it is that a text means none of its candidates, and whether a person must look whatever the odds.

Promises that each doubt is stated with its words. Reads what was heard. Not here: sentences about it (`why`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from hangtab.domain.name import Reason
from hangtab.naming.hearing import Mention
from hangtab.naming.lexicon import Sense
from hangtab.naming.merge import Whole
from hangtab.naming.text import Token
from hangtab.naming.weigh import Fit

# Shares of texts with such a mark that mean something else. From memory of how listings go wrong; the demo's truth
# (tests/journeys/test_naming_truth.py) holds the whole to its promise.
ALWAYS = 0.01
DANGER = 0.85
CONFLICT = 0.25
UNKNOWN_LINE = 0.6
NO_PIECE = 0.5
POOR_FIT = 0.5  # the best thing contradicts a word of the text
_POOR = 2.9
NO_GRADE = 0.3
DOUBTED = 0.3
# A word that nothing explains may name what the catalogue lacks: a sticker, a territory, another piece.
STRANGE_WORD, MOST_STRANGE = 0.03, 0.15


@dataclass(slots=True)
class Doubt:
    """The probability of "none of these" and what makes it."""

    none: float = ALWAYS
    dangers: list[Reason] = field(default_factory=list)
    lot: Reason | None = None
    unknown: str = ""
    conflicts: list[tuple[Reason, Reason]] = field(default_factory=list)
    no_grade: Reason | None = None
    against: list[Reason] = field(default_factory=list)

    @property
    def waits(self) -> bool:
        """Whether a person must look even at a likely candidate."""
        return bool(self.dangers or self.lot or self.no_grade)

    def add(self, share: float) -> None:
        """Another, independent way to be wrong."""
        self.none = 1.0 - (1.0 - self.none) * (1.0 - share)


def doubt(whole: Whole, fits: Sequence[Fit], *, unknown: str, asked: bool) -> Doubt:
    """All doubts about a text."""
    heard = whole.heard
    found = Doubt(unknown=unknown, dangers=heard.dangers, conflicts=whole.conflicts, lot=heard.lot)
    found.against = [*heard.dangers, *(m.reason for m in heard.denied)]
    named = heard.named.get(Sense.CHARACTER, [])
    if not fits:
        found.none = 1.0
        return found
    if not named:
        found.add(NO_PIECE)
    if heard.dangers:
        found.add(DANGER)
    if whole.conflicts:
        found.add(CONFLICT)
        found.against += [other for _, other in whole.conflicts]
    if unknown and named:
        found.add(UNKNOWN_LINE)
    if fits[0].odds <= -_POOR:
        found.add(POOR_FIT)
    if named and named[0].doubted:
        found.add(DOUBTED)
    if heard.graded and not heard.grades and "raw" not in heard.roles:
        found.no_grade = heard.graded
        found.add(NO_GRADE)
    found.lot = found.lot or _several(named)
    if not asked:
        found.add(min(STRANGE_WORD * len(_strange(heard.left)), MOST_STRANGE))
    return found


def _several(named: Sequence[Mention]) -> Reason | None:
    """Two different pieces in one title are a lot."""
    mentions = [m for m in named if m.reason.start >= 0]
    for place, one in enumerate(mentions):
        for two in mentions[place + 1 :]:
            if not one.ids & two.ids:
                reason = two.reason
                return Reason(reason.text, "several pieces", "lot", reason.sure, reason.start, reason.end)
    return None


def _strange(left: Sequence[Token]) -> list[Token]:
    """Unexplained words long enough to be part of a name."""
    return [t for t in left if len(t.text) > 3]  # noqa: PLR2004 - shorter words are particles in the four languages
