"""How a long fit reports where it is.

Promises: `on_step` is called with a `Step` once per iteration; an exception it raises stops the fit.
Not here: any drawing of bars, and any clock.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """One report: stage name, iterations done, iterations at most (0 unknown), a short note."""

    stage: str
    done: int
    total: int
    note: str = ""


def ignore_step(step: Step) -> None:
    """Take a step and do nothing with it."""
