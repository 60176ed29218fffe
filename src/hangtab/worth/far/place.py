"""One place's side of a fit over many: what it asks of the others, and its share of the rows.

Promises: `Place` is the engine's `Together`; the questions are numbered, so that a place that begins anew asks the same
ones. Not here: how messages travel (cluster.py).
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import numpy as np
import polars as pl

from hangtab.worth.answers import full_noise_table
from hangtab.worth.errors import TableError
from hangtab.worth.far.hub import EVERY, MOST, SUM, Asked
from hangtab.worth.fitted import Fitted
from hangtab.worth.fitting import fit_problem
from hangtab.worth.progress import Step
from hangtab.worth.sheet import ABOVE, BELOW, SALE, read_table
from hangtab.worth.spec import Spec
from hangtab.worth.state import State
from hangtab.worth.threads import one_thread
from hangtab.worth.together import Crew, flatten, unflatten

T = TypeVar("T")


class Place:
    """Asks questions through `send`, which waits for the answer of all places."""

    def __init__(self, number: int, send: Callable[[Asked], bytes]) -> None:
        """Begin with the first question."""
        self.number = number
        self._send = send
        self._step = 0

    def _ask(self, how: str, what: str, payload: bytes) -> bytes:
        asked = Asked(self.number, self._step, how, what, payload)
        self._step += 1
        return self._send(asked)

    def total(self, what: str, *values: Any) -> tuple[Any, ...]:  # noqa: ANN401 - arrays or numbers
        """Sums over all places."""
        return unflatten(np.frombuffer(self._ask(SUM, what, flatten(values).tobytes())).copy(), values)

    def most(self, what: str, value: float) -> float:
        """The largest value of any place."""
        return float(np.frombuffer(self._ask(MOST, what, np.array([value]).tobytes()))[0])

    def every(self, what: str, thing: T) -> list[T]:
        """The things of all places, in their order."""
        return [pickle.loads(p) for p in pickle.loads(self._ask(EVERY, what, pickle.dumps(thing)))]  # noqa: S301 - our own


def read_share(paths: Sequence[str], spec: Spec) -> pl.DataFrame:
    """The rows of one place: the columns the model reads of its Parquet files."""
    return pl.concat([pl.read_parquet(path, columns=list(spec.columns)) for path in paths], how="vertical_relaxed")


@one_thread
def fit_share(table: pl.DataFrame, spec: Spec, place: Place, on_step: Callable[[Step], None]) -> Fitted:
    """The fit of all places' rows as one of them sees it: it answers for the first groups whose rows it holds.

    What its answers need of the other places is asked before it returns. Raises TableError for rows of a kind that only
    a fit in one process knows.
    """
    sheet = read_table(table, spec)
    # The others wait in the fit for this one's first question, so the complaint goes through it.
    strange = place.most("kinds", float(not np.isin(sheet.kind, (SALE, BELOW, ABOVE)).all()))
    if strange:
        raise TableError(
            "Only sales and bounds are fitted over a cluster",
            where=f"column {spec.kind}",
            mend="Leave out offers, listings, lots and uncertain names, or fit in one process.",
        )
    problem, point, report = fit_problem(spec, sheet, on_step, Crew(together=place))
    mode = point.mode
    noise = full_noise_table(problem.freedom(point.logs))
    state = State(problem, point.logs, mode.weight, mode.zeta, point.information, mode.factor.held, noise)
    state.prepare()
    return Fitted(state, report)
