"""What one text says about a piece, sorted by what it is about.

Promises that every fact keeps the words it was read from, and that the facts of the title stand before those of columns
and of the description. Reads text; gives `Heard`. Not here: which piece has these facts (`weigh`).
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from hangtab.catalogue.model import Catalogue
from hangtab.domain.name import Reason
from hangtab.domain.subject import FeatureState, PartState
from hangtab.naming.grades import GradeOption, free_numbers
from hangtab.naming.grading import GradeHearer, Numbers, spots
from hangtab.naming.lexicon import Sense
from hangtab.naming.match import Matcher
from hangtab.naming.spoken import DANGERS, Spoken, speak
from hangtab.naming.text import Token, fold, tokens

_YEAR = re.compile(r"(?:19|20)\d\d")
_NOT_HERE = -1
_LOT_COUNT = range(2, 100)
_NAMED = (
    Sense.MAKER, Sense.LINE, Sense.CARD, Sense.CHARACTER, Sense.FIGURE, Sense.RELEASE, Sense.CHANGE, Sense.PROTOTYPE,
    Sense.STAGE, Sense.FINISH,
)  # fmt: skip
_FEATURE_STATES = {
    "seen": FeatureState.SEEN,
    "confirmed": FeatureState.CONFIRMED,
    "refuted": FeatureState.REFUTED,
}


class Mention(NamedTuple):
    """A phrase that names one or several catalogue entries of one sense."""

    ids: frozenset[str]
    reason: Reason
    doubted: bool = False


class FlawHeard(NamedTuple):
    """A flaw said; `qualifies` are graders that have a qualifier of the same word, which it then is."""

    id: str
    reason: Reason
    qualifies: frozenset[str] = frozenset()


class FeatureHeard(NamedTuple):
    """A feature said: the ids it can be, how far the text says it is verified."""

    ids: tuple[str, ...]
    state: FeatureState
    reason: Reason
    doubted: bool = False


@dataclass(slots=True)
class Heard:
    """The facts of one text; lists are in the order of the text."""

    named: dict[Sense, list[Mention]] = field(default_factory=lambda: defaultdict(list))
    denied: list[Mention] = field(default_factory=list)
    features: list[FeatureHeard] = field(default_factory=list)
    parts: list[tuple[tuple[str, ...], PartState, Reason]] = field(default_factory=list)
    flaws: list[FlawHeard] = field(default_factory=list)
    notes: list[tuple[str, Reason]] = field(default_factory=list)
    roles: dict[str, Reason] = field(default_factory=dict)
    states: dict[str, Reason] = field(default_factory=dict)
    years: list[tuple[int, Reason]] = field(default_factory=list)
    grades: list[GradeOption] = field(default_factory=list)
    graded: Reason | None = None  # a grader or graded word was said
    dangers: list[Reason] = field(default_factory=list)
    lot: Reason | None = None
    left: list[Token] = field(default_factory=list)  # words that nothing explains
    reasons: list[Reason] = field(default_factory=list)  # of everything understood, in order


class Hearer:
    """Hears texts with one catalogue's words."""

    def __init__(self, catalogue: Catalogue, matcher: Matcher) -> None:
        """Keep what grades and certificates look like."""
        self._matcher = matcher
        self._grades = GradeHearer(catalogue)
        self._certificates = {
            g.id: re.compile(g.certificate.removeprefix("^").removesuffix("$"), re.IGNORECASE)
            for g in catalogue.graders.values()
            if g.certificate
        }
        self._years = range(
            min((x.first_year for x in catalogue.lines.values()), default=0) - 1,
            max((x.last_year for x in catalogue.lines.values()), default=0) + 2,
        )
        self._finishes = {p.finish for p in catalogue.prototypes.values()}

    def hear(self, original: str, *, asked: bool = False, about_grade: bool = False) -> Heard:
        """Everything one text says. `about_grade`: the text stands in a column of grades."""
        folded = fold(original)
        heard = Heard()
        certified, blank = self._certified(original, heard)
        text = [t for t in tokens(folded) if not any(a <= t.start < b for a, b in blank)]
        hits = self._matcher.find(text)
        phrases = speak(hits, text, original, asked)
        covered = [False] * len(text)
        for hit in hits:
            covered[hit.first : hit.last] = [True] * (hit.last - hit.first)
        for place, phrase in enumerate(phrases):
            self._sort(heard, phrase, phrases[place + 1 : place + 2], asked)
        free = free_numbers(text, covered, original)
        if any(free):
            numbers = Numbers(
                original, text, free, spots(phrases, certified, about_grade=about_grade, size=len(text)), asked
            )
            heard.grades = self._grades.options(numbers, phrases)
            heard.reasons += [_grade_reason(o, original) for o in heard.grades[:1]]
        self._rest(heard, text, covered, free)
        return heard

    def _certified(self, original: str, heard: Heard) -> tuple[list[str], list[tuple[int, int]]]:
        """Graders whose certificate numbers stand in the text, and the characters these take."""
        graders, blank = [], []
        if not any(c.isdigit() for c in original):
            return [], []
        for match in re.finditer(r"[\w-]*\d[\w-]*", original):
            for grader, pattern in self._certificates.items():
                if pattern.fullmatch(match.group()):
                    reason = Reason(match.group(), grader, "certificate", 0.99, match.start(), match.end())
                    heard.reasons.append(reason)
                    heard.graded = heard.graded or reason
                    graders.append(grader)
                    blank.append(match.span())
                    break
        return graders, blank

    def _sort(self, heard: Heard, phrase: Spoken, following: Sequence[Spoken], asked: bool) -> None:  # noqa: FBT001
        """Put one phrase where it belongs."""
        for sense in _NAMED:
            if sense in phrase.senses:
                ids = phrase.ids(sense)
                mention = Mention(frozenset(ids), phrase.reason(ids[0], sense.value), phrase.doubted)
                (heard.denied if phrase.denied else heard.named[sense]).append(mention)
                if not phrase.denied:
                    heard.reasons.append(mention.reason)
        if Sense.FEATURE in phrase.senses:
            self._feature(heard, phrase, following, asked)
        elif Sense.PART in phrase.senses:
            self._part(heard, phrase)
        self._condition(heard, phrase)
        for role in phrase.roles:
            self._role(heard, phrase, role)

    @staticmethod
    def _feature(heard: Heard, phrase: Spoken, following: Sequence[Spoken], asked: bool) -> None:  # noqa: FBT001
        ids = phrase.ids(Sense.FEATURE)
        reason = phrase.reason(ids[0], "feature")
        if phrase.denied or phrase.missing:
            heard.denied.append(Mention(frozenset(ids), reason))
            heard.features = [f for f in heard.features if f.ids != ids]
            return
        heard.reasons.append(reason)
        state = FeatureState.CLAIMED
        for after in following:
            near = after.hit.first == phrase.hit.last
            if near and after.roles & {"label", "verified"}:
                state = FeatureState.LABEL
            for said in after.ids(Sense.STATE) if near and asked else ():
                state = _FEATURE_STATES.get(said, state)
        said_before = [f for f in heard.features if f.ids == ids]
        if said_before and state is FeatureState.CLAIMED:
            return
        heard.features = [f for f in heard.features if f.ids != ids]
        heard.features.append(FeatureHeard(ids, state, reason, phrase.doubted))

    @staticmethod
    def _part(heard: Heard, phrase: Spoken) -> None:
        ids = phrase.ids(Sense.PART)
        state = PartState.PRESENT
        if phrase.missing:
            state = PartState.MISSING
        elif phrase.remade:
            state = PartState.REPRODUCTION
        reason = phrase.reason(f"{ids[0]} {state.value}", "part")
        heard.parts.append((ids, state, reason))
        heard.reasons.append(reason)

    @staticmethod
    def _condition(heard: Heard, phrase: Spoken) -> None:
        for sense in () if "noise" in phrase.roles else (Sense.FLAW, Sense.CONDITION):
            # Noise in one language may be a flaw in another ("sale"); what means nothing to most means nothing.
            ids = phrase.ids(sense) if sense in phrase.senses and not (phrase.denied or phrase.missing) else ()
            for key in ids[:1]:
                reason = phrase.reason(key, sense.value)
                if sense is Sense.FLAW:
                    graders = frozenset(q.partition("/")[0] for q in phrase.ids(Sense.QUALIFIER))
                    heard.flaws.append(FlawHeard(key, reason, graders))
                else:
                    heard.notes.append((key, reason))
                heard.reasons.append(reason)
        for key in phrase.ids(Sense.STATE):
            heard.states[key] = phrase.reason(key, "state")
            if key == "part-unknown" and heard.parts:
                ids, _, reason = heard.parts.pop()
                heard.parts.append((ids, PartState.UNKNOWN, reason))

    @staticmethod
    def _role(heard: Heard, phrase: Spoken, role: str) -> None:
        reason = phrase.reason(role, "danger" if role in DANGERS else "lot" if role == "lot" else "state")
        if role in DANGERS:
            if not phrase.denied:
                heard.dangers.append(reason)
                heard.reasons.append(reason)
            return
        if phrase.denied:
            if role == "graded":
                heard.roles["raw"] = reason
            return
        if role in {"noise", "query", "not", "missing", "present"}:
            return
        if role == "lot":
            heard.lot = heard.lot or reason
        if role == "graded":
            heard.graded = heard.graded or reason
        heard.roles.setdefault(role, reason)
        heard.reasons.append(reason)

    def _rest(self, heard: Heard, text: Sequence[Token], covered: Sequence[bool], free: Sequence[bool]) -> None:
        """Years, counts, and the words that nothing explains."""
        for place, token in enumerate(text):
            word = token.text
            if covered[place]:
                continue
            decade = place + 1 < len(text) and text[place + 1].start == token.end  # "1990s", "1990er"
            if _YEAR.fullmatch(word) and int(word) in self._years and not decade:
                reason = Reason(word, word, "year", 0.9, token.start, token.end)
                heard.years.append((int(word), reason))
                heard.reasons.append(reason)
            elif word == "x" or (place and text[place - 1].text == "x" and word.isdigit()):
                self._count(heard, text, place)
            elif word.isalpha() and not free[place] and len(word) > 1:
                heard.left.append(token)

    @staticmethod
    def _count(heard: Heard, text: Sequence[Token], place: int) -> None:
        """Counts ("9 x", "x9") offer several pieces."""
        near = [t for t in (*text[max(place - 1, 0) : place], *text[place + 1 : place + 2]) if t.text.isdigit()]
        for token in near:
            if int(token.text) in _LOT_COUNT:
                heard.lot = heard.lot or Reason(token.text, token.text, "lot", 0.9, token.start, token.end)


def _grade_reason(option: GradeOption, original: str) -> Reason:
    grading = option.grading
    text = original[option.start : option.end]
    return Reason(text, f"{grading.grader} {grading.grade}", "grade", round(option.sure, 3), option.start, option.end)


def from_elsewhere(reason: Reason) -> Reason:
    """The same reason, read from somewhere else than the title."""
    return Reason(reason.text, reason.meaning, reason.kind, reason.sure, _NOT_HERE, _NOT_HERE)
