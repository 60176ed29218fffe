"""Physical pieces: what each truly is and what is claimed of it.

Promises that a fake keeps its truth beside its claim. Gives frozen pieces; regrading or opening makes a new value with
the same number. What the crowd pays for a piece's state is here too, since it depends on what can be seen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from hangtab.demo.general import FLAWS
from hangtab.demo.graders import certificate, condition_log, grade_piece
from hangtab.demo.variants import Variants
from hangtab.domain.subject import Grading, Packaging, Seal

_FLAW_LOG = {"yellowing": -0.22, "lifted-bubble": -0.18, "torn-card": -0.3, "crease": -0.1, "fading": -0.2,
             "crushed-box": -0.15, "paint-wear": -0.15, "loose-joints": -0.12, "dented-bubble": -0.1}  # fmt: skip
_LABEL_TRUST = 0.75  # of a grade; the rest is what the buyer sees
BELIEF = 0.82  # the crowd's belief that a sticker only claimed is the original


@dataclass(frozen=True, slots=True)
class Piece:
    """One physical piece. `variant` is true, `claimed` what its seller says it is (indices of variants)."""

    number: int
    variant: int
    claimed: int
    condition: float
    seal: Seal
    flaws: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    grading: Grading | None = None
    position: float = 0.0
    certificate: str = ""

    @property
    def transplanted(self) -> bool:
        """Whether a claimed feature does not belong to it."""
        return self.variant != self.claimed


class PieceMaker:
    """Makes new pieces of a variant and regrades old ones; counts their numbers."""

    def __init__(self, variants: Variants, parts: dict[str, tuple[str, ...]], rng: np.random.Generator) -> None:
        """`parts` maps figure and release ids to part ids."""
        self._variants, self._parts, self._rng, self._count = variants, parts, rng, 0

    def new(self, variant: int, year: float) -> Piece:
        """A piece that comes to the market for the first time."""
        rng, v = self._rng, self._variants.rows[variant]
        self._count += 1
        true = variant
        plain = int(self._variants.plain[variant])
        dear = self._variants.crowd[variant] - self._variants.level(variant)
        graded = v.packaging is not Packaging.PROTOTYPE and rng.random() < self._graded_chance(v.packaging, dear)
        if plain >= 0 and not graded and rng.random() < 0.15:
            true = plain
        condition = float(np.clip(rng.normal(79, 8.5) if graded else rng.normal(61, 16), 3, 99.5))
        seal = self._seal(v.packaging, dear, graded=graded)
        flaws = () if v.packaging is Packaging.PROTOTYPE else self._flaws(v.packaging, condition, graded=graded)
        piece = Piece(
            self._count, true, variant, condition, seal, flaws, self._missing(v.figure, v.release, v.packaging)
        )
        return self.graded(piece, year) if graded else piece

    def _graded_chance(self, packaging: Packaging, dear: float) -> float:
        if packaging is Packaging.LOOSE:
            return 0.012
        return float(1 / (1 + np.exp(2.62 - 0.93 * dear)))

    def _seal(self, packaging: Packaging, dear: float, *, graded: bool) -> Seal:
        rng = self._rng
        if packaging is Packaging.BOXED and not graded:
            return Seal.OPENED if rng.random() < 0.55 else Seal.SEALED
        if packaging in (Packaging.LOOSE, Packaging.PROTOTYPE):
            return Seal.UNKNOWN
        return Seal.RESEALED if not graded and rng.random() < (0.035 if dear > 0.5 else 0.012) else Seal.SEALED

    def _flaws(self, packaging: Packaging, condition: float, *, graded: bool) -> tuple[str, ...]:
        chance = 0.03 if graded else float(np.clip(0.34 - condition / 300, 0.02, 0.4))
        return tuple(f.id for f in FLAWS if packaging in f.packaging and self._rng.random() < chance)

    def _missing(self, figure: str, release: str, packaging: Packaging) -> tuple[str, ...]:
        if packaging is Packaging.LOOSE:
            return tuple(p for p in self._parts.get(figure, ()) if self._rng.random() < 0.3)
        if packaging is Packaging.BOXED:
            return tuple(p for p in self._parts.get(release, ()) if self._rng.random() < 0.12)
        return ()

    def graded(self, piece: Piece, year: float) -> Piece:
        """The piece with a new grade and certificate."""
        rng = self._rng
        grader = "northgate" if rng.random() < 0.72 else "plumb"
        packaging = self._variants.rows[piece.variant].packaging
        grading, position = grade_piece(piece.condition, grader, packaging, year, rng)
        return replace(piece, grading=grading, position=position, certificate=certificate(grader, rng))


def state_log(piece: Piece, packaging: Packaging, dear: float) -> tuple[float, float]:
    """Log value of a piece's state and the part of it that is condition. `dear` is log price over the line's middle."""
    if packaging is Packaging.PROTOTYPE:
        return 0.15 * condition_log(piece.condition), 0.0
    seen = condition_log(min(piece.condition, 88.0))
    if piece.grading is not None:
        # Plumb's numbers are read as kinder than they look.
        kind = 4.0 if piece.grading.grader == "plumb" else 0.0
        label = condition_log(piece.position - kind)
        state = _LABEL_TRUST * label + (1 - _LABEL_TRUST) * condition_log(piece.condition)
        marks = -0.25 * len(piece.grading.qualifiers)
        return state + 0.1 + 0.07 * float(np.clip(dear, -1, 3)) + marks, state
    state = 0.85 * seen
    rest = sum(_FLAW_LOG.get(f, -0.05) for f in piece.flaws) - 0.28 * len(piece.missing)
    if piece.seal is Seal.RESEALED:
        rest -= 0.25  # half of the buyers see it
    if packaging is Packaging.BOXED and piece.seal is Seal.OPENED:
        rest -= 0.3
    return state + rest - 0.05, state


def crowd_log(piece: Piece, variants: Variants) -> tuple[float, float]:
    """Log value in EUR that the crowd gives to what it can see of a piece, without mood; and the condition part."""
    claimed = variants.crowd[piece.claimed]
    plain = int(variants.plain[piece.claimed])
    if plain >= 0 and piece.grading is None:
        claimed = np.log(BELIEF * np.exp(claimed) + (1 - BELIEF) * np.exp(variants.crowd[plain]))
    dear = float(claimed) - variants.level(piece.claimed)
    state, condition = state_log(piece, variants.rows[piece.claimed].packaging, dear)
    return float(claimed) + state, condition
