"""The subject: which piece, exactly, in which state.

Promises one canonical key per subject (parse and key are inverse; the order in which features, flaws and parts were
said does not matter). Not here: the canonical sentence, which needs the catalogue's names (naming).

Key: thing|packaging|parts|grading|features|flaws|note, for example
`tw-harbour-master-2|carded|sealed||northgate:forty:34+/board=34;yellowed|glow-sticker=claimed|crease|`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum


class Packaging(StrEnum):
    """How the piece is packed."""

    CARDED = "carded"
    BOXED = "boxed"
    LOOSE = "loose"
    PROTOTYPE = "prototype"


class Seal(StrEnum):
    """State of the packaging; SEALED is the usual state of a carded piece and is left out of sentences."""

    SEALED = "sealed"
    OPENED = "opened"
    RESEALED = "resealed"
    UNKNOWN = "unknown"


class PartState(StrEnum):
    """State of one part of the parts list; a part not mentioned is not listed."""

    PRESENT = "present"
    MISSING = "missing"
    REPRODUCTION = "reproduction"
    UNKNOWN = "unknown"


class FeatureState(StrEnum):
    """How far a feature is verified. Only LABEL and CONFIRMED earn its premium."""

    CLAIMED = "claimed"
    SEEN = "seen"
    LABEL = "label"
    CONFIRMED = "confirmed"
    REFUTED = "refuted"


VERIFIED = frozenset({FeatureState.LABEL, FeatureState.CONFIRMED})


@dataclass(frozen=True, slots=True, order=True)
class Part:
    """One part and its state; `id` is the catalogue's."""

    id: str
    state: PartState


@dataclass(frozen=True, slots=True, order=True)
class Feature:
    """One feature and how far it is verified; `id` is the catalogue's."""

    id: str
    state: FeatureState = FeatureState.CLAIMED


@dataclass(frozen=True, slots=True)
class Grading:
    """A grade as the grader wrote it: ids of the catalogue, `grade` the label with its modifier ("34+").

    `subgrades`: (name, grade) pairs, sorted. `qualifiers`: catalogue ids, sorted. `generation`: case generation id.
    """

    grader: str
    scale: str
    grade: str
    generation: str = ""
    subgrades: tuple[tuple[str, str], ...] = ()
    qualifiers: tuple[str, ...] = ()

    def key(self) -> str:
        """Canonical text of the grading."""
        head = f"{self.grader}:{self.scale}:{self.grade}"
        tail = "".join(f"/{name}={grade}" for name, grade in sorted(self.subgrades))
        marks = "".join(f";{q}" for q in sorted(self.qualifiers))
        return head + (f"@{self.generation}" if self.generation else "") + tail + marks

    @classmethod
    def parse(cls, text: str) -> Grading:
        """Inverse of `key`."""
        head, *qualifiers = text.split(";")
        head, *subs = head.split("/")
        head, _, generation = head.partition("@")
        grader, scale, grade = head.split(":")
        pairs = tuple((name, grade) for name, _, grade in (s.partition("=") for s in subs))
        return cls(grader, scale, grade, generation, pairs, tuple(qualifiers))


@dataclass(frozen=True, slots=True)
class Subject:
    """One exact variant in one exact condition.

    `thing` is the id of the most exact catalogue node known: a running change, else a release; a figure version when
    loose; a prototype. `note` is a catalogue id of a raw piece's condition words ("worn"), empty when none was said.
    """

    thing: str
    packaging: Packaging
    seal: Seal = Seal.UNKNOWN
    parts: tuple[Part, ...] = ()
    grading: Grading | None = None
    features: tuple[Feature, ...] = ()
    flaws: tuple[str, ...] = ()
    note: str = ""
    _key: str = field(default="", init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Put everything in canonical order, so that equal subjects are equal values."""
        object.__setattr__(self, "parts", tuple(sorted(set(self.parts))))
        object.__setattr__(self, "features", tuple(sorted(set(self.features))))
        object.__setattr__(self, "flaws", tuple(sorted(set(self.flaws))))
        object.__setattr__(self, "_key", self._make_key())

    def _make_key(self) -> str:
        return "|".join(
            (
                self.thing,
                self.packaging.value,
                self.seal.value if self.seal is not Seal.UNKNOWN else "",
                ",".join(f"{p.id}={p.state.value}" for p in self.parts),
                self.grading.key() if self.grading else "",
                ",".join(f"{f.id}={f.state.value}" for f in self.features),
                ",".join(self.flaws),
                self.note,
            )
        )

    @property
    def key(self) -> str:
        """Canonical key; the same subject always has the same key."""
        return self._key

    @property
    def variant(self) -> str:
        """Key of the piece without its condition: thing, packaging and features, whatever their state."""
        return "|".join((self.thing, self.packaging.value, ",".join(sorted(f.id for f in self.features))))

    @classmethod
    def parse(cls, key: str) -> Subject:
        """Inverse of `key`. Raises ValueError on text that is not a key.

        >>> s = Subject("tw-harbour-master-2", Packaging.CARDED, flaws=("crease",))
        >>> s.key, Subject.parse(s.key) == s
        ('tw-harbour-master-2|carded|||||crease|', True)
        """
        thing, packaging, seal, parts, grading, features, flaws, note = key.split("|")
        return cls(
            thing,
            Packaging(packaging),
            Seal(seal) if seal else Seal.UNKNOWN,
            tuple(Part(i, PartState(s)) for i, _, s in _pairs(parts)),
            Grading.parse(grading) if grading else None,
            tuple(Feature(i, FeatureState(s)) for i, _, s in _pairs(features)),
            tuple(flaws.split(",")) if flaws else (),
            note,
        )


def _pairs(text: str) -> list[tuple[str, str, str]]:
    return [p.partition("=") for p in text.split(",")] if text else []
