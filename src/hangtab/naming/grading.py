"""Which grades a text can mean, each with what else was said of it: sub-grades, qualifiers, case generation.

Promises whole `Grading` values of the catalogue's graders. Reads phrases and free numbers. Not here: templates and
distances (`grades`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from hangtab.catalogue.model import Catalogue
from hangtab.domain.subject import Grading
from hangtab.naming.grades import SURE_BARE, SURE_PLUS, GradeOption, GradeReader, Spot, triples
from hangtab.naming.lexicon import Sense
from hangtab.naming.spoken import Spoken
from hangtab.naming.text import Token, fold

# A scale that the text names rules its sisters out.
_OTHER_SCALE = 1e-3


class Numbers(NamedTuple):
    """A text's numbers and what speaks of grading beside them."""

    original: str
    text: Sequence[Token]
    free: Sequence[bool]
    spots: Sequence[Spot]
    asked: bool


class GradeHearer:
    """Hears grades of one catalogue's graders."""

    def __init__(self, catalogue: Catalogue) -> None:
        """Make the reader once."""
        self._reader = GradeReader(catalogue)

    def options(self, numbers: Numbers, phrases: Sequence[Spoken]) -> list[GradeOption]:
        """Every grade the text can mean."""
        runs = triples(numbers.text, numbers.free, numbers.original)
        single = list(numbers.free)
        for first, last in runs:
            single[first:last] = [False] * (last - first)
        single = self._apart(numbers.text, single, phrases)
        found = self._reader.templates(fold(numbers.original))
        graders = {s.id for s in numbers.spots if s.id}
        if graders:
            found = [o for o in found if o.grading.grader in graders]
        if not found or not graders:
            # "graded 10" is one grader's template, but may be another's grade as well.
            known = {o.grading for o in found}
            near = self._reader.near(numbers.text, single, numbers.spots)
            found += [o for o in near if o.grading not in known]
        if not found and not numbers.spots:
            found = self._loose(numbers, single)
        return [self._complete(o, numbers, runs, phrases) for o in found]

    def _apart(self, text: Sequence[Token], single: Sequence[bool], phrases: Sequence[Spoken]) -> list[bool]:
        """Numbers right after a sub-grade's name are that sub-grade's, where another one is left to be the grade."""
        free = list(single)
        for phrase in phrases:
            if Sense.SUBGRADE in phrase.senses and phrase.hit.last < len(free):
                free[phrase.hit.last] = False
        left = any(ok and self._reader.fitting(t.text) for t, ok in zip(text, free, strict=True))
        return free if left else list(single)

    def _loose(self, numbers: Numbers, single: Sequence[bool]) -> list[GradeOption]:
        """A number that nothing near explains: "34+" is how grades are written, a bare one only a person means."""
        found = []
        for token, ok in zip(numbers.text, single, strict=True):
            sure = SURE_PLUS if token.text.endswith("+") else SURE_BARE if numbers.asked else 0.0
            if ok and sure:
                fits = self._reader.fitting(token.text)
                total = sum(self._reader.usual(g) for g in fits)
                found += [
                    GradeOption(g, sure, sure * self._reader.usual(g) / total, token.start, token.end) for g in fits
                ]
        return found

    def _complete(
        self, option: GradeOption, numbers: Numbers, runs: Sequence[tuple[int, int]], phrases: Sequence[Spoken]
    ) -> GradeOption:
        """The option with what else was said of its grade."""
        grading = option.grading
        subs = dict(grading.subgrades)
        for first, last in runs:
            subs = subs or dict(self._reader.triple(grading, [t.text for t in numbers.text[first:last]]))
        said = [p for p in phrases if not (p.denied or p.missing)]
        subs = {**_named_subgrades(option, numbers, said), **subs}
        generations = _of_grader(said, Sense.GENERATION, grading.grader)
        scales = _of_grader(said, Sense.SCALE, grading.grader)
        full = Grading(
            grading.grader,
            grading.scale,
            grading.grade,
            generations[-1] if generations else "",
            tuple(sorted(subs.items())),
            tuple(sorted(set(_of_grader(said, Sense.QUALIFIER, grading.grader)))),
        )
        other = bool(scales) and grading.scale not in scales
        return option._replace(grading=full, weight=option.weight * (_OTHER_SCALE if other else 1.0))


def spots(phrases: Iterable[Spoken], certified: Sequence[str], *, about_grade: bool, size: int) -> list[Spot]:
    """What speaks of grading and where; a grader's name rules out the other graders.

    `certified`: graders whose certificate number stands in the text of `size` tokens; `about_grade`: all of it does.
    """
    said = [p for p in phrases if not p.denied]
    graders = [Spot(grader, p.hit.first, p.hit.last) for p in said for grader in p.ids(Sense.GRADER)]
    graders += [Spot(grader, 0, size) for grader in certified]
    words = [Spot("", p.hit.first, p.hit.last) for p in said if "graded" in p.roles]
    return graders or words or ([Spot("", 0, 0)] if about_grade else [])


def _of_grader(phrases: Iterable[Spoken], sense: Sense, grader: str) -> list[str]:
    """Ids of one sense that belong to a grader, without its prefix, the first of each phrase."""
    prefix = f"{grader}/"
    own = ([k for k in p.ids(sense) if k.startswith(prefix)] for p in phrases)
    return [keys[0].removeprefix(prefix) for keys in own if keys]


def _named_subgrades(option: GradeOption, numbers: Numbers, phrases: Iterable[Spoken]) -> dict[str, str]:
    """Sub-grades written after their name ("board 34"), unless the number is the grade itself ("third card 34")."""
    prefix = f"{option.grading.grader}/{option.grading.scale}/"
    found: dict[str, str] = {}
    for phrase in phrases:
        place = phrase.hit.last
        names = [k.removeprefix(prefix) for k in phrase.ids(Sense.SUBGRADE) if k.startswith(prefix)]
        if names and place < len(numbers.text) and numbers.free[place]:
            token = numbers.text[place]
            if not option.start <= token.start < option.end:
                found.setdefault(names[0], token.text)
    return found
