"""One fit over rows that lie in several places: what their sums come to.

Promises: every place runs the same fit on its own rows and meets the others only here, where sums over rows, the
largest of some numbers, or whole lists are asked for; so all of them take the same steps and end at the same figures.
Gives: `Together`, what a place asks of the others, and `Alone`, for rows that all lie here.
Not here: how places speak with each other (far.py).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Protocol, TypeVar

import numpy as np

from hangtab.worth.arrays import Floats

T = TypeVar("T")


class Together(Protocol):
    """What one place asks of all. `what` names the question; all places must ask the same ones in the same order."""

    def total(self, what: str, *values: Any) -> tuple[Any, ...]:  # noqa: ANN401 - arrays or numbers
        """Sums over all places of each array or number, of the same shapes."""

    def most(self, what: str, value: float) -> float:
        """The largest value of any place."""

    def every(self, what: str, thing: T) -> list[T]:
        """The things of all places, in their order."""


class Alone:
    """All rows are here: nobody need be asked."""

    def total(self, what: str, *values: Any) -> tuple[Any, ...]:  # noqa: ANN401, ARG002
        """The values themselves."""
        return values

    def most(self, what: str, value: float) -> float:  # noqa: ARG002
        """The value itself."""
        return value

    def every(self, what: str, thing: T) -> list[T]:  # noqa: ARG002
        """The one thing."""
        return [thing]


def flatten(values: tuple[Any, ...]) -> Floats:
    """Arrays and numbers as one vector, to be added to those of other places."""
    return np.concatenate([np.ravel(np.asarray(v, float)) for v in values])


def unflatten(flat: Floats, values: tuple[Any, ...]) -> tuple[Any, ...]:
    """The vector as arrays and numbers of the shapes of `values`."""
    out: list[Any] = []
    at = 0
    for value in values:
        shape = np.shape(value)
        size = int(np.prod(shape))
        piece = flat[at : at + size]
        out.append(piece.reshape(shape) if shape else float(piece[0]))
        at += size
    return tuple(out)


@dataclass(frozen=True)
class Crew:
    """Who works on a fit: parts at a time here, and the other places that hold rows of the same table."""

    threads: int = 1
    together: Together = field(default_factory=Alone)
