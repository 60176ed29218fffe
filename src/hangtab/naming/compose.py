"""From fits to subjects: each thing with each reading of its features and grade, weighed together.

Promises weights that multiply (thing x features x grading) and subjects that hold only what was said, as far as their
thing can have it. Not here: how likely it is that nothing fits (`namer`).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from hangtab.catalogue.model import Catalogue, FeatureKind
from hangtab.domain.name import Reason
from hangtab.domain.subject import Feature, FeatureState, Grading, Packaging, Part, PartState, Seal, Subject
from hangtab.naming.hearing import FeatureHeard, Heard
from hangtab.naming.sentence import USUAL_SEAL
from hangtab.naming.things import Row, Things
from hangtab.naming.weigh import Fit

MOST_THINGS, MOST_GRADINGS, MOST_CANDIDATES = 12, 6, 8
# A scale that does not grade this packaging is not the one meant.
WRONG_FORM = 0.2
# How much of a grade's uncertainty (distance, doubt) goes to "some other grade".
_OTHER_GRADE = 0.1
# Raw and a grade in one title: "raw, would grade 34". Half each, so that it waits.
_RAW_TOO = 0.5


class Weighed(NamedTuple):
    """One possible subject, not built yet."""

    weight: float
    fit: Fit
    features: tuple[Feature, ...]
    grading: Grading | None


class Composer:
    """Builds subjects of one catalogue."""

    def __init__(self, catalogue: Catalogue, known: Things) -> None:
        """Keep what limits features, flaws, scales and parts."""
        self._catalogue = catalogue
        self._known = known
        self._forms = {(g.id, s.id): s.forms for g in catalogue.graders.values() for s in g.scales}
        self._kinds = {f.id: f.kind for f in catalogue.features.values()}

    def weigh(self, fits: Sequence[Fit], heard: Heard) -> list[Weighed]:
        """All combinations of the best things, heaviest first, weights summing to one."""
        best = sorted(fits, key=lambda f: (-f.odds, f.row.id, f.row.packaging))[:MOST_THINGS]
        gradings = readings(heard)
        found = []
        top = best[0].odds if best else 0.0
        for fit in best:
            base = math.exp(fit.odds - top)
            if base < 1e-6:  # noqa: PLR2004 - cannot be seen in a percentage
                break
            for share, features in self._features(fit.row, _with_implied(fit.row, heard)):
                for weight, grading in self._graded(fit.row, gradings):
                    found.append(Weighed(base * share * weight, fit, features, grading))
        total = sum(w.weight for w in found) or 1.0
        ordered = sorted(found, key=lambda w: -w.weight)
        return [w._replace(weight=w.weight / total) for w in ordered]

    def _features(self, row: Row, said: Sequence[FeatureHeard]) -> list[tuple[float, tuple[Feature, ...]]]:
        """Which features were meant, as far as the release has them."""
        if not said or row.packaging in {Packaging.LOOSE, Packaging.PROTOTYPE}:
            kept = [f for f in said if self._known.anywhere & set(f.ids)]
            return [(1.0, tuple(Feature(f.ids[0], f.state) for f in kept))]
        slots: list[list[Feature | None]] = []
        for feature in said:
            able = [i for i in feature.ids if i in row.features or i in self._known.anywhere] or list(feature.ids)
            options: list[Feature | None] = [Feature(i, feature.state) for i in able]
            slots.append([*options, *([None] * len(options) if feature.doubted else [])])
        chosen: dict[tuple[Feature, ...], int] = {}
        for combination in itertools.islice(itertools.product(*slots), 64):
            features = tuple(sorted({f for f in combination if f}))
            territories = sum(self._kinds.get(f.id) is FeatureKind.TERRITORY for f in features)
            if territories <= 1:
                chosen[features] = chosen.get(features, 0) + 1
        if not chosen:  # two territories in one title: either may be the slip
            flat = sorted({f for slot in slots for f in slot if f})
            chosen = dict.fromkeys(((f,) for f in flat), 1)
        total = sum(chosen.values())
        return [(count / total, features) for features, count in chosen.items()]

    def _graded(
        self, row: Row, gradings: Sequence[tuple[float, Grading | None]]
    ) -> Iterator[tuple[float, Grading | None]]:
        """Readings of the grade; of a grader's scales with the same label, the one for this packaging is meant."""
        groups: dict[tuple[str, str], list[tuple[float, Grading]]] = {}
        for weight, grading in gradings:
            if grading is None:
                yield weight, None
            else:
                groups.setdefault((grading.grader, grading.grade), []).append((weight, grading))
        for group in groups.values():
            fitting = [(w, g) for w, g in group if self._fits(g, row.packaging)]
            total = sum(w for w, _ in group)
            kept = sum(w for w, _ in fitting)
            if fitting:
                yield from ((w / kept * total, g) for w, g in fitting)
            else:
                yield from ((w * WRONG_FORM, g) for w, g in group)

    def _fits(self, grading: Grading, packaging: Packaging) -> bool:
        forms = self._forms[grading.grader, grading.scale]
        return not forms or packaging in forms

    def subject(self, weighed: Weighed, heard: Heard) -> Subject:
        """The subject with everything said that its thing can have."""
        row, grading = weighed.fit.row, weighed.grading
        grader = grading.grader if grading else ""
        flaws = [
            f.id
            for f in heard.flaws
            if grader not in f.qualifies
            and (not self._catalogue.flaws[f.id].packaging or row.packaging in self._catalogue.flaws[f.id].packaging)
        ]
        return Subject(
            row.id,
            row.packaging,
            _seal(row.packaging, heard),
            self._parts(row, heard),
            grading,
            weighed.features,
            tuple(flaws),
            heard.notes[0][0] if heard.notes and not grading else "",
        )

    def _parts(self, row: Row, heard: Heard) -> tuple[Part, ...]:
        """Parts said, and with "complete" all others of the piece."""
        owners = {row.character, row.figure, row.release}
        states: dict[str, PartState] = {}
        if "complete" in heard.roles:
            states = {p: PartState.PRESENT for owner in (row.character, row.figure) for p in self._of(owner)}
        for ids, state, _ in heard.parts:
            states |= dict.fromkeys([i for i in ids if self._catalogue.parts[i].of in owners][:1], state)
        return tuple(Part(i, s) for i, s in states.items())

    def _of(self, owner: str) -> tuple[str, ...]:
        return self._known.parts.get(owner, ())


def _with_implied(row: Row, heard: Heard) -> list[FeatureHeard]:
    """The features said, and those that go without saying unless denied."""
    if not row.implied or row.packaging is Packaging.LOOSE:
        return heard.features
    told = {i for f in heard.features for i in f.ids} | {i for m in heard.denied for i in m.ids}
    silent = [f for f in row.implied if f not in told]
    return [*heard.features, *(FeatureHeard((f,), FeatureState.CLAIMED, Reason("", f, "feature")) for f in silent)]


def readings(heard: Heard) -> list[tuple[float, Grading | None]]:
    """Gradings with weights that sum to one; None is ungraded."""
    options = sorted(heard.grades, key=lambda o: -o.weight)[:MOST_GRADINGS]
    total = sum(o.weight for o in options)
    if not options or total <= 0.0:
        return [(1.0, None)]
    sure = max(o.sure for o in options)
    none = _OTHER_GRADE * (1.0 - sure) if heard.graded else 1.0 - sure
    if "raw" in heard.roles:
        none = _RAW_TOO
    found: list[tuple[float, Grading | None]] = [(o.weight / total * (1.0 - none), o.grading) for o in options]
    return [*found, (none, None)] if none else found


def _seal(packaging: Packaging, heard: Heard) -> Seal:
    if packaging in {Packaging.LOOSE, Packaging.PROTOTYPE}:
        return Seal.UNKNOWN
    for role, seal in _SEALS.items():
        if role in heard.roles:
            return seal
    return Seal.UNKNOWN if "seal-unknown" in heard.states else USUAL_SEAL.get(packaging, Seal.UNKNOWN)


# The worst word counts: "factory sealed, later resealed".
_SEALS: Mapping[str, Seal] = {"resealed": Seal.RESEALED, "opened": Seal.OPENED, "sealed": Seal.SEALED}
