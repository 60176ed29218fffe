"""Grades as graders write them: their own templates first, then a number near a grader's name or a graded word.

Promises that only labels of the catalogue's scales come out, each option with a weight; a bare number never counts as
a grade unless something says that the piece is graded. Reads `Scale.patterns`. Not here: what a grade is worth.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from hangtab.catalogue.model import Catalogue, Grader, Scale
from hangtab.domain.subject import Grading
from hangtab.naming.text import Folded, Token, fold

# Pieces are sent to be graded when they are good (common practice, no source), so that of two graders whose scales
# both hold a bare number, the one where it is a high grade is meant: e-fold per 25 of 100 positions.
_GOOD = 25.0
# How sure a number is by what stands near it.
SURE_TEMPLATE, SURE_NEAR, SURE_PLUS, SURE_BARE = 0.995, 0.97, 0.75, 0.6
_FARTHEST = 6
_NUMBER = r"\d+(?:[.,]\d+)?\+?"
_YEAR = re.compile(r"(?:19|20)\d\d")
_YEARS = "years year yrs yr jahre jahren jahr jaar ans"  # codespell:ignore ans
_UNITS = frozenset(f"x mm cm inch usd eur gbp cad mal stuck st pcs pieces {_YEARS}".split())
_SIGNS = "$€£#"


class GradeOption(NamedTuple):
    """A possible grading: how sure it is by itself, its weight against other options, its place in the original."""

    grading: Grading
    sure: float
    weight: float
    start: int
    end: int


@dataclass(frozen=True)
class _Template:
    grader: str
    scale: Scale
    pattern: re.Pattern[str]
    names_grader: bool


class Spot(NamedTuple):
    """A phrase that speaks of grading and its tokens."""

    id: str
    first: int
    last: int


class GradeReader:
    """Reads grades of one catalogue's graders."""

    def __init__(self, catalogue: Catalogue) -> None:
        """Compile every template once."""
        self._graders = catalogue.graders
        self._labels = {
            (g.id, s.id): {_plain(grade.label): grade.label for grade in s.grades}
            for g in self._graders.values()
            for s in g.scales
        }
        self._usual = {
            (g.id, s.id, grade.label): math.exp((grade.position - 100.0) / _GOOD)
            for g in self._graders.values()
            for s in g.scales
            for grade in s.grades
        }
        self._templates = [t for g in self._graders.values() for s in g.scales for t in _templates(g, s)]

    def templates(self, folded: Folded) -> list[GradeOption]:
        """Whole grades by the graders' templates, the fullest ones."""
        whole: list[tuple[int, bool, GradeOption]] = []
        for template in self._templates:
            labels = self._labels[template.grader, template.scale.id]
            for found in template.pattern.finditer(folded.text):
                label = labels[_plain(found["grade"])]
                subs = _triple(template.scale, labels, found.groupdict().get("sub") or "")
                if subs is None:
                    continue
                grading = Grading(template.grader, template.scale.id, label, subgrades=subs)
                places = folded.places
                option = GradeOption(
                    grading, SURE_TEMPLATE, SURE_TEMPLATE, places[found.start()], places[found.end() - 1] + 1
                )
                whole.append((found.end() - found.start(), template.names_grader, option))
        return _longest(whole, self)

    def near(self, text: Sequence[Token], free: Sequence[bool], spots: Sequence[Spot]) -> list[GradeOption]:
        """Numbers near a grader's name or, with an empty `Spot.id`, near a graded word (any grader)."""
        best: dict[Grading, GradeOption] = {}
        for spot in spots:
            for place, token in enumerate(text):
                distance = place - spot.last if place >= spot.last else spot.first - 1 - place + 0.5
                if not free[place] or distance > _FARTHEST:
                    continue
                for grading in self.fitting(token.text, spot.id):
                    weight = SURE_NEAR * 0.6**distance * (1.0 if spot.id else self.usual(grading))
                    known = best.get(grading)
                    if known is None or known.weight < weight:
                        best[grading] = GradeOption(grading, SURE_NEAR**distance, weight, token.start, token.end)
        return sorted(best.values(), key=lambda o: -o.weight)

    def fitting(self, number: str, grader: str = "") -> list[Grading]:
        """Every scale that has this label."""
        return [
            Grading(g, s, labels[number])
            for (g, s), labels in self._labels.items()
            if number in labels and grader in {"", g}
        ]

    def usual(self, grading: Grading) -> float:
        """How usual a grade is, 1 for the best of a scale."""
        return self._usual[grading.grader, grading.scale, grading.grade]

    def triple(self, grading: Grading, numbers: Sequence[str]) -> tuple[tuple[str, str], ...]:
        """Sub-grades out of numbers in the scale's order, empty when they do not fit."""
        scale = next(s for s in self._graders[grading.grader].scales if s.id == grading.scale)
        labels = self._labels[grading.grader, grading.scale]
        if len(numbers) != len(scale.subgrades) or not all(n in labels for n in numbers):
            return ()
        return tuple(sorted((s.name, labels[n]) for s, n in zip(scale.subgrades, numbers, strict=True)))


def free_numbers(text: Sequence[Token], covered: Sequence[bool], original: str) -> list[bool]:
    """Which tokens may be a grade: numbers that no phrase holds, no year, no money, no measure, no count."""
    free = []
    for place, token in enumerate(text):
        ok = token.text[0].isdigit() and not covered[place] and not _YEAR.fullmatch(token.text)
        if ok:
            before = original[token.start - 1] if token.start else " "
            after = text[place + 1].text if place + 1 < len(text) else ""
            previous = text[place - 1].text if place else ""
            ok = before not in _SIGNS and after not in _UNITS and previous != "x"
            ok = ok and original[token.end : token.end + 1] not in {"%", "€", "£", "$"}
        free.append(ok)
    return free


def triples(text: Sequence[Token], free: Sequence[bool], original: str) -> list[tuple[int, int]]:
    """Runs of three or more free numbers split by / or -, as token ranges: sub-grades in the grader's order."""
    gaps = [original[one.end : two.start] for one, two in itertools.pairwise(text)]
    runs = []
    first = 0
    while first < len(text):
        last = first + 1
        while last < len(text) and _joined(free, gaps, first, last):
            last += 1
        if last - first >= 3:  # noqa: PLR2004 - two numbers are a range or a fraction
            runs.append((first, last))
            first = last
        else:
            first += 1
    return runs


def _joined(free: Sequence[bool], gaps: Sequence[str], first: int, place: int) -> bool:
    """Whether a number goes on with a run: split like the rest of it ("34 - 34-36-32" is a grade and three others)."""
    gap = gaps[place - 1]
    return free[first] and free[place] and gap.strip() in {"/", "-"} and gap == gaps[first]


def _plain(label: str) -> str:
    return fold(label).text.replace(",", ".").replace(" ", "")


def _longest(found: Iterable[tuple[int, bool, GradeOption]], reader: GradeReader) -> list[GradeOption]:
    """The templates that explain most; one without a grader's name is weighed by how usual its grade is."""
    options = sorted(found, key=lambda f: (not f[1], -f[0]))
    if not options:
        return []
    length, named, _ = options[0]
    kept = {o.grading: o for size, name, o in options if name == named and (named or size == length)}
    if named and len(kept) > 1:
        # "Northgate 34" inside "Northgate 34 (34/34/36)" says the same less fully.
        full = [o for o in kept.values() if o.grading.subgrades]
        kept = {o.grading: o for o in kept.values() if not _within(o, full)}
    return [o if named else o._replace(weight=o.weight * reader.usual(o.grading)) for o in kept.values()]


def _within(option: GradeOption, full: Sequence[GradeOption]) -> bool:
    return any(o is not option and o.start <= option.start < o.end and not option.grading.subgrades for o in full)


def _triple(scale: Scale, labels: dict[str, str], written: str) -> tuple[tuple[str, str], ...] | None:
    """Pairs of sub-grades, empty when none were written, None when they do not fit the scale."""
    if not written:
        return ()
    numbers = [n.replace(",", ".") for n in re.findall(_NUMBER, written)]
    if len(numbers) != len(scale.subgrades) or not all(n in labels for n in numbers):
        return None
    return tuple(sorted((s.name, labels[n]) for s, n in zip(scale.subgrades, numbers, strict=True)))


def _either(texts: Iterable[str]) -> str:
    plain = sorted({fold(t).text for t in texts if t}, key=lambda t: (-len(t), t))
    return "|".join(re.escape(t).replace(r"\ ", r"[\s-]*") for t in plain)


def _templates(grader: Grader, scale: Scale) -> list[_Template]:
    """The scale's templates as patterns; one that is nothing but a number would read any number, and is left out."""
    numbers = _either(grade.label for grade in scale.grades).replace(r"\.", "[.,]")
    count = max(len(scale.subgrades) - 1, 1)
    holes = {
        "{grader}": rf"(?:{_either([grader.names.name, *(a.text for a in grader.names.aliases)])})",
        "{grade}": rf"(?<![\d.,])(?P<grade>{numbers})(?![\d+]|[.,]\d)",
        "{sub}": rf"(?P<sub>{_NUMBER}(?:\s*[/-]\s*{_NUMBER}){{{count}}})",
    }
    made = []
    for template in scale.patterns:
        pieces = re.split(r"(\{grader\}|\{grade\}|\{sub\}|\{name\})", template)
        literal = "".join(p for p in pieces if p not in holes)
        says_graded = "{grader}" in pieces or any(c.isalpha() for c in literal)
        # Sub-grades by name are read word by word (hearing), since their names also stand inside names of cards.
        if "{name}" in pieces or not says_graded or pieces.count("{grade}") != 1 or pieces.count("{sub}") > 1:
            continue
        body = "".join(holes.get(p) or _literal(p) for p in pieces)
        pattern = re.compile(rf"(?<![^\W\d_]){body}(?![^\W\d_])")
        made.append(_Template(grader.id, scale, pattern, "{grader}" in pieces))
    return made


def _literal(text: str) -> str:
    return r"[\s:,#-]*".join(re.escape(fold(word).text) for word in re.split(r"\s+", text))
