"""The meeting point of all places: adds up what they bring, and remembers it.

Promises: sums are made in the order of the places, so the result does not depend on who came first. Every answer is
kept: a place that is lost in mid-fit begins anew elsewhere, is told at once what was answered before, and so arrives
where the others wait, at the same figures.
Gives: bytes asked and answered per step. Not here: how messages travel (cluster.py).
"""

from __future__ import annotations

import pickle
from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from hangtab.worth.errors import WorthError

SUM, MOST, EVERY = "sum", "most", "every"


@dataclass(frozen=True)
class Asked:
    """What one place asks: its number, the count of its questions so far, how to join the payloads, a name for it."""

    place: int
    step: int
    how: str
    what: str
    payload: bytes


class Hub:
    """Joins what `places` places bring, question by question."""

    def __init__(self, places: int) -> None:
        """Begin with nothing asked."""
        self.places = places
        self.moved: list[int] = []
        self._answers: list[bytes] = []
        self._names: list[tuple[str, str]] = []
        self._brought: dict[int, dict[int, bytes]] = defaultdict(dict)

    def ask(self, asked: Asked) -> bytes | None:
        """Take one place's part of a question; the answer, if it is complete (all other places are to be told too).

        Raises WorthError if the places do not ask the same questions.
        """
        if asked.step < len(self._names) and self._names[asked.step] != (asked.how, asked.what):
            raise WorthError(
                f"The places took different steps: {self._names[asked.step][1]!r} and {asked.what!r}",
                where=f"step {asked.step}, place {asked.place}",
                mend="Let all workers have the same processors and the same versions.",
            )
        if asked.step < len(self._answers):
            return self._answers[asked.step]
        if asked.step == len(self._names):
            self._names.append((asked.how, asked.what))
        mine = self._brought[asked.step]
        mine[asked.place] = asked.payload
        if len(mine) < self.places:
            return None
        answer = joined(asked.how, [mine[k] for k in range(self.places)])
        self.moved.append(sum(map(len, mine.values())) + self.places * len(answer))
        del self._brought[asked.step]
        self._answers.append(answer)
        return answer


def joined(how: str, payloads: list[bytes]) -> bytes:
    """All places' payloads as one."""
    if how == EVERY:
        return pickle.dumps(payloads)
    out = np.frombuffer(payloads[0]).copy()
    for payload in payloads[1:]:
        other = np.frombuffer(payload)
        out = out + other if how == SUM else np.maximum(out, other)
    return out.tobytes()
