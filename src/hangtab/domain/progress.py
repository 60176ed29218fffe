"""Progress of long work: the worker reports steps, the edge decides how to show them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """One report: stage in words, done of total (total 0 when unknown), and a note."""

    stage: str
    done: int
    total: int
    note: str = ""


OnStep = Callable[[Step], None]


def ignore_step(step: Step) -> None:
    """Show nothing."""
    del step
