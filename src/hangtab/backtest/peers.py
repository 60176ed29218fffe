"""Simpler ways to estimate, judged on the same sales: the last five of the variant, a straight line, a general learner.

Promises: a peer sees the same rows and columns as the engine, and its ranges come from errors that it made on rows it
had not learned from. Reads: rows before, rows to try. Gives: forecasts (see forecast).
Not here: tuning. Each peer is what one gets who does not tune; the general learner needs the extra `backtest`.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from hangtab.backtest.arrays import Floats
from hangtab.backtest.features import Matrix, features
from hangtab.backtest.forecast import held_out, student
from hangtab.backtest.residuals import Noise, fit_noise
from hangtab.domain.errors import HangtabError
from hangtab.worth import Spec

LAST = 5
LEAST = 30  # errors by which a level of its own spread is judged
RIDGE = 1e-6
ROUNDS = 100  # the learner's own default


@dataclass(frozen=True)
class LastFive:
    """The median of the last five sales of the same variant; of fewer where there are fewer; of the nearest else.

    levels: nested columns, the nearest last ("line", "character", ..., "form"): the last five are sought at the nearest
    level that has any sale, the whole table in the end. Its range is the spread of its own earlier errors: each sale
    before is replayed against the five before it, and errors are pooled by level and by how many sales there were.
    """

    levels: tuple[str, ...]
    price: str = "price"
    when: str = "sold"

    def __call__(self, before: pl.DataFrame, tried: pl.DataFrame) -> pl.DataFrame:
        """Replay the sales before, then forecast."""
        sales = before.filter(pl.col(self.price).is_not_null()).sort(self.when, maintain_order=True)
        shelves: list[dict[tuple[object, ...], deque[float]]] = [
            defaultdict(lambda: deque(maxlen=LAST)) for _ in range(len(self.levels) + 1)
        ]
        errors: dict[tuple[int, int], list[float]] = defaultdict(list)
        for path, y in zip(self._paths(sales), np.log(sales[self.price].to_numpy()), strict=True):
            found = _nearest(shelves, path)
            if found is not None:
                errors[found[1:]].append(y - found[0])
            for depth, shelf in enumerate(shelves):
                shelf[path[:depth]].append(y)
        return _forecast([_nearest(shelves, path) for path in self._paths(tried)], errors)

    def _paths(self, rows: pl.DataFrame) -> Iterator[tuple[object, ...]]:
        return iter(rows.select(self.levels).iter_rows()) if self.levels else iter([()] * len(rows))


def _nearest(
    shelves: list[dict[tuple[object, ...], deque[float]]], path: Sequence[object]
) -> tuple[float, int, int] | None:
    """Median, depth and count of the last few at the nearest level with any."""
    for depth in range(len(shelves) - 1, -1, -1):
        shelf = shelves[depth].get(tuple(path[:depth]))
        if shelf:
            return float(np.median(shelf)), depth, len(shelf)
    return None


def _forecast(found: list[tuple[float, int, int] | None], errors: dict[tuple[int, int], list[float]]) -> pl.DataFrame:
    everything = fit_noise(np.concatenate([np.array(e) for e in errors.values()]))
    by_depth: dict[int, list[float]] = defaultdict(list)
    for (depth, _), own in errors.items():
        by_depth[depth] += own
    noises: dict[tuple[int, int], Noise] = {}
    for depth, count in {f[1:] for f in found if f is not None}:
        enough = [e for e in (errors[depth, count], by_depth[depth]) if len(e) >= LEAST]
        noises[depth, count] = fit_noise(np.array(enough[0])) if enough else everything
    picked = [f or (np.nan, 0, 0) for f in found]
    own_noise = [noises.get((depth, count), everything) for _, depth, count in picked]
    return student([f[0] for f in picked], [n.freedom for n in own_noise], [n.scale for n in own_noise])


@dataclass(frozen=True)
class StraightLine:
    """Least squares of the log price on the Spec's columns: words as switches, numbers as they are, normal errors."""

    spec: Spec

    def __call__(self, before: pl.DataFrame, tried: pl.DataFrame) -> pl.DataFrame:
        """Solve and forecast; a word never seen has no effect."""
        known, asked = features(before, tried, self.spec)
        rows, new = (_switches(known, part) for part in (known, asked))
        y = np.log(before[self.spec.price].to_numpy())
        gram = rows.T @ rows + RIDGE * len(y) * np.eye(rows.shape[1])
        b = np.linalg.solve(gram, rows.T @ y)
        rest = y - rows @ b
        sd = float(np.sqrt(rest @ rest / max(len(y) - rows.shape[1], 1)))
        return student(new @ b, np.full(len(new), np.inf), np.full(len(new), sd))


def _switches(known: Matrix, part: Matrix) -> Floats:
    """Intercept, standardised numbers, one column per word."""
    middle, spread = known.numbers.mean(axis=0), known.numbers.std(axis=0)
    columns = [np.ones((len(part.numbers), 1)), (part.numbers - middle) / np.where(spread > 0, spread, 1.0)]
    columns += [(part.words[:, [j]] == np.arange(size)).astype(float) for j, size in enumerate(known.sizes)]
    return np.concatenate([np.nan_to_num(c) for c in columns], axis=1)


@dataclass(frozen=True)
class Learner:
    """LightGBM on the Spec's columns with its defaults; its spread is that of its errors on the last quarter before.

    form: column by whose values the spread is taken apart, where there are enough errors.
    """

    spec: Spec
    form: str | None = None
    seed: int = 0

    def __call__(self, before: pl.DataFrame, tried: pl.DataFrame) -> pl.DataFrame:
        """Learn a part and see the errors on the rest, then learn all and forecast."""
        sales = before.filter(pl.col(self.spec.kind) == "sale") if self.spec.kind else before
        first, rest = held_out(sales, self.spec.when, self.seed)
        errors = np.log(rest[self.spec.price].to_numpy()) - self._learned(first, rest)
        overall = fit_noise(errors)
        forms, asked = (r[self.form].to_list() if self.form else ["all"] * len(r) for r in (rest, tried))
        own = {f: errors[np.array(forms) == f] for f in set(asked)}
        noises = {f: fit_noise(e) if len(e) >= LEAST else overall for f, e in own.items()}
        middle = self._learned(sales, tried)
        return student(middle, [noises[f].freedom for f in asked], [noises[f].scale for f in asked])

    def _learned(self, rows: pl.DataFrame, asked: pl.DataFrame) -> Floats:
        lightgbm = load_learner()
        known, new = features(rows, asked, self.spec)
        count = known.numbers.shape[1]
        data = lightgbm.Dataset(
            np.hstack([known.numbers, known.words]),
            np.log(rows[self.spec.price].to_numpy()),
            categorical_feature=list(range(count, count + known.words.shape[1])),
            params={"verbosity": -1},
        )
        said = {"verbosity": -1, "num_threads": 1, "seed": self.seed, "deterministic": True}
        model = lightgbm.train(said, data, num_boost_round=ROUNDS)
        return np.asarray(model.predict(np.hstack([new.numbers, new.words])))


def load_learner() -> Any:  # noqa: ANN401 - an optional module
    """LightGBM. Raises HangtabError with the line that installs it."""
    try:
        import lightgbm  # noqa: PLC0415 - an extra; only those who compare with it pay for it
    except ImportError as error:
        raise HangtabError(
            "The general learner is not installed", where="the package lightgbm", mend="pip install 'hangtab[backtest]'"
        ) from error
    return lightgbm
