"""Effects that the sales cannot tell apart: pairs of values, values and chain nodes, flat columns.

Promises: a pair is named only when the data tell less of the split between the two than two clean sales would, while
they tell well what both add up to, and the split is wide enough to matter.
How: effects of a factor that every row has are taken against their mean, so that what a whole factor shares with the
level of all prices does not count. For two effects with prior covariance P and posterior S, the eigenvalues of S
against P say how much of each direction is still prior: near one for the split, near nothing for the sum.
Reads: a solved state. Gives: `Confounded` values with their words. Curves are not looked at. Not here: variances that
cannot be told apart (parameters.py).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from hangtab.worth.arrays import Flags, Floats, Ints
from hangtab.worth.carrying import (
    bare_targets,
    mean_covariances,
    mean_weights,
    node_label,
    node_paths,
    sales_of_columns,
)
from hangtab.worth.paths import take_rows
from hangtab.worth.sheet import SALE
from hangtab.worth.state import State
from hangtab.worth.terms import TRACE, Number, Words

CLOSE = -0.8
TOLD = 2.0
MATERIAL = 0.1
FEWEST = 5
TOGETHER = 0.9
MOST_SIBLINGS = 50
MOST_COUNTED = 20_000_000
MOST_NAMED = 20
MOST_LOOKED = 2000


@dataclass(frozen=True)
class Confounded:
    """Effects that cannot be told apart.

    kind: "pair" (two values), "node" (a value and a part of the chain), "single" (a value that every sale has),
    "flat" (columns without a prior that always move together), "variances" (two components' variances).
    effects: (component, value) of each, value empty for a whole component. together: sales (variances: groups) that
    have both, either: that have at least one. telling: how many clean sales' worth the data say of the split. sd: what
    is not known of it, standard deviation of the log price (variances: correlation of their estimates instead).
    """

    kind: str
    effects: tuple[tuple[str, str], ...]
    together: int
    either: int
    telling: float
    sd: float

    def said(self, names: tuple[str, ...]) -> str:
        """The warning in a sentence, the effects called by these names."""
        first, *rest = names
        if self.kind == "single":
            return f"Every sale has {first}: what it adds is part of the level of all prices."
        other = " and ".join([", ".join(rest[:-1]), rest[-1]] if len(rest) > 1 else rest)
        if self.kind == "variances":
            return (
                f"The spread of {first} and the spread of {other} can hardly be told apart: "
                f"{self.together} of {self.either} hold one only. Their sum is known."
            )
        if self.kind == "flat":
            return f"{first} and {other} always move together: the split between them is a guess."
        rest_of_it = "the split between them is a guess; worths that mix them are as wide as they must be."
        if self.together >= TOGETHER * self.either:
            word = "always" if self.together == self.either else "nearly always"
            return f"{first} and {other} {word} come together ({self.together} of {self.either} sales): {rest_of_it}"
        return (
            f"{first} and {other} can hardly be told apart ({self.together} sales have both, "
            f"{self.either - self.together} only one): {rest_of_it}"
        )

    @property
    def text(self) -> str:
        """The warning in the table's own names."""
        return self.said(tuple(f"{name} “{value}”" if value else name for name, value in self.effects))


@dataclass(frozen=True)
class _Columns:
    """Border columns. C: posterior covariance of those looked at, prior (p,) variance; each against its mean.

    label: (component, value); at: which columns; term: number of each column's term; words: whether it is a value.
    noise: standard deviation of one clean sale. counts: sales of each. means (p,): weight of each column in its
    term's mean, zero where none is taken.
    """

    C: Floats
    prior: Floats
    label: list[tuple[str, str]]
    at: Ints
    term: Ints
    words: Flags
    noise: float
    counts: Ints
    means: Floats


def effects_apart(state: State) -> list[Confounded]:
    """Every warning about effects, the widest split first."""
    cols = _columns(state)
    held = _held_counts(state)
    found = [*_single(state, cols), *_flat(state), *_pairs(cols, held), *_with_nodes(state, cols, held)]
    return sorted(found, key=lambda c: (-c.sd, c.effects))


def _columns(state: State) -> _Columns:
    p = state.problem
    border, size = p.border, p.forest.p
    counts, means = sales_of_columns(state), mean_weights(state)
    prior = np.zeros(size)
    term, words, looked = np.zeros(size, np.int64), np.zeros(size, bool), np.zeros(size, bool)
    learned, label = p.variances(state.logs), []
    for k, (t, (a, b, _)) in enumerate(zip(border.terms, border.pieces, strict=True)):
        label += [(t.name, value.replace("\x1f", " / ")) for value in t.labels()]
        term[a:b] = k
        if not isinstance(t, Words | Number):
            continue
        words[a:b], looked[a:b] = isinstance(t, Words), True
        own = learned[t.name] if t.variance is None else t.variance
        own = border.unit**2 / TRACE if t.flat else own
        w = means[a:b]
        prior[a:b] = own * (1.0 - 2.0 * w + (w * w).sum())
    sale = p.kind == SALE
    noise = 1.0 / np.sqrt(state.information[sale].mean())
    looked &= (counts >= FEWEST) & ~state.held & (np.sqrt(prior) >= MATERIAL * noise)
    at = np.flatnonzero(looked)
    # Of very many columns those with the most sales.
    at = np.sort(at[np.argsort(-counts[at], kind="stable")][:MOST_LOOKED])
    return _Columns(_against_means(state, at), prior, label, at, term, words, noise, counts, means)


def _against_means(state: State, at: Ints) -> Floats:
    """Posterior covariance of some columns, each against the mean of its term, (k, k)."""
    term, with_means, of_means = mean_covariances(state)
    mixed = with_means[np.ix_(at, term[at])]
    return state.informed.border_among(at) - mixed - mixed.T + of_means[np.ix_(term[at], term[at])]


def _split(S: Floats, prior: Floats, noise: float) -> tuple[float, float]:
    """What two effects' posterior covariance S (2, 2) leaves open of their split: telling, sd of the first's part."""
    root = np.sqrt(prior)
    values, vectors = np.linalg.eigh(S / np.outer(root, root))
    left = float(np.clip(values[1], 1e-15, 1.0))
    part = float((root * vectors[:, 1])[np.argmin(prior)])
    sd = np.sqrt(left) * abs(part)
    return noise**2 * (1.0 / max(sd**2, 1e-300) - 1.0 / max(part**2, 1e-300)), sd


def _apart(S: Floats, prior: Floats, noise: float, *, either_sign: bool = False) -> tuple[float, float] | None:
    """(telling, sd) of a split that the data leave open; None where they settle it or it does not matter."""
    spread = np.sqrt(np.maximum(np.diag(S), 1e-300))
    close = S[0, 1] / (spread[0] * spread[1])
    if (-abs(close) if either_sign else close) > CLOSE:
        return None
    telling, sd = _split(S, prior, noise)
    return (telling, sd) if telling <= TOLD and sd >= MATERIAL * noise else None


def _held_counts(state: State) -> csr_array:
    """Sales by border column, one where the sale touches it; of very wide tables a part of the sales."""
    p, T = state.problem, state.problem.forest.T
    at = np.flatnonzero(p.kind == SALE)
    per_row = len(p.forest.rows.idx) / max(len(p.y), 1)
    every = int(np.ceil(len(at) * per_row**2 / MOST_COUNTED))
    rows = take_rows(p.forest.rows, at[:: max(every, 1)])
    mine = (rows.idx >= T) & (rows.val != 0.0)
    which = np.repeat(np.arange(len(rows.ptr) - 1), np.diff(rows.ptr))[mine]
    shape = (len(rows.ptr) - 1, p.forest.p)
    return csr_array((np.ones(len(which)), (which, rows.idx[mine] - T)), shape=shape)


def _single(state: State, cols: _Columns) -> Iterator[Confounded]:
    """Factors of which all sales have the same value."""
    p = state.problem
    n = int((p.kind == SALE).sum())
    for term, (a, b, _) in zip(p.border.terms, p.border.pieces, strict=True):
        if isinstance(term, Words) and not term.many and not term.flat and b > a and cols.counts[a:b].max() == n:
            variance = term.variance if term.variance is not None else p.variances(state.logs)[term.name]
            if np.sqrt(variance) >= MATERIAL * cols.noise:
                j = a + int(cols.counts[a:b].argmax())
                yield Confounded("single", (cols.label[j],), n, n, 0.0, float(np.sqrt(variance)))


def _flat(state: State) -> Iterator[Confounded]:
    """Columns without a prior whose split only the trace of one decides."""
    p = state.problem
    border, label = p.border, []
    for t in border.terms:
        label += [(t.name, value) for value in t.labels()]
    first = p.forest.p - p.forest.flat
    at = np.arange(first, p.forest.p - 1)  # the last column is the intercept
    if len(at) == 0:
        return
    # Posterior variance over that of the trace: one for a direction that no row speaks of.
    open_ = state.informed.border_among(at) * TRACE / border.unit**2
    values, vectors = np.linalg.eigh((open_ + open_.T) / 2)
    for k in np.flatnonzero(values > 0.5)[::-1]:  # noqa: PLR2004 - more trace than data
        load = np.abs(vectors[:, k])
        named = at[load > 0.1 * load.max()]
        if len(named) > 1:
            yield Confounded("flat", tuple(label[j] for j in named), 0, 0, 0.0, float(np.sqrt(values[k] / TRACE)))


def _pairs(cols: _Columns, held: csr_array) -> Iterator[Confounded]:
    """Two border columns of different terms."""
    at = cols.at
    S = cols.C
    spread = np.sqrt(np.maximum(np.diag(S), 1e-300))
    close = S / np.outer(spread, spread)
    number = ~cols.words[at]
    signed = np.where(number[:, None] | number[None, :], -np.abs(close), close)
    flat = cols.prior[at] > 1.0 / TRACE**0.5 * cols.noise**2
    signed[np.ix_(flat, flat)] = 0.0  # told by _flat
    both = (held.T @ held).tocsr()
    seen: set[tuple[int, int]] = set()
    for i, j in np.argwhere(np.triu(signed <= CLOSE, 1)):
        a, b = int(at[i]), int(at[j])
        terms = (int(cols.term[a]), int(cols.term[b]))
        if terms[0] == terms[1] or (terms in seen and _two_valued(cols, terms)):
            continue
        found = _apart(
            S[np.ix_([i, j], [i, j])], cols.prior[[a, b]], cols.noise, either_sign=bool(number[i] or number[j])
        )
        if found:
            seen.add(terms)
            together = int(both[a, b])
            either = int(both[a, a] + both[b, b]) - together
            yield Confounded("pair", (cols.label[a], cols.label[b]), together, either, *found)


def _two_valued(cols: _Columns, terms: tuple[int, int]) -> bool:
    """Whether both terms have two values only, so that one warning says all."""
    return all(int((cols.term == k).sum()) <= 2 for k in terms)  # noqa: PLR2004 - two values


def _with_nodes(state: State, cols: _Columns, held: csr_array) -> Iterator[Confounded]:
    """A value whose sales are those of one part of the chain."""
    p = state.problem
    if not p.spec.chain:
        return
    sale = np.flatnonzero(p.kind == SALE)
    every = max(1, int(np.ceil(len(sale) / held.shape[0])))
    sale = sale[::every]
    own = held.T.tocsr()
    for a in cols.at[cols.words[cols.at]]:
        mine = sale[own.indices[own.indptr[a] : own.indptr[a + 1]]]
        run = _run(p.nodes[sale], p.nodes[mine])
        if run is None:
            continue
        node, top, together, either = run
        found = _node_apart(state, cols, int(a), node, top)
        if found:
            bottom = int((node >= 0).sum()) - 1
            called = (
                p.spec.chain[top],
                node_label(p.chain, top, int(node_paths(p.chain, bottom, node[[bottom]])[0, top])),
            )
            yield Confounded("node", (cols.label[a], called), together, either, *found)


def _run(nodes: Ints, mine: Ints) -> tuple[Ints, int, int, int] | None:
    """The part of the chain that has the same sales as a value: path to its deepest node, its top level, counts."""
    path, top, counted = np.full(nodes.shape[1], -1, np.int64), -1, (0, 0)
    for k in range(nodes.shape[1]):
        values, counts = np.unique(mine[:, k], return_counts=True)
        if len(values) == 0 or counts.max() < TOGETHER * len(mine):
            break
        path[k] = values[counts.argmax()]
        if top < 0:
            together, of = int(counts.max()), int((nodes[:, k] == path[k]).sum())
            if together >= TOGETHER * of:
                top, counted = k, (together, len(mine) + of - together)
    return (path, top, *counted) if top >= 0 else None


def _node_apart(state: State, cols: _Columns, a: int, path: Ints, top: int) -> tuple[float, float] | None:
    """Whether column `a` and the effects from level `top` down `path` are told apart."""
    chain, levels = state.problem.chain, state.prior.levels
    bottom = int((path >= 0).sum()) - 1
    parent = chain.parent[top][path[top]]
    siblings = np.flatnonzero(chain.parent[top] == parent)
    above = node_paths(chain, top, siblings)
    variance = float(levels[top : bottom + 1].sum())
    if len(siblings) > MOST_SIBLINGS:
        above = above[siblings == path[top]]
        above[:, top] = -1
        weight = np.ones(1)
    else:
        weight = _weights(state, top, siblings)
        own = float(weight[siblings == path[top]].sum())
        variance += float(levels[top]) * ((weight**2).sum() - 2.0 * own)
    if variance <= (MATERIAL * cols.noise) ** 2:
        return None
    way = bare_targets(state, np.concatenate([path[None, :], above]))
    take = np.append(1.0, -weight)
    with_columns = state.informed.lean(way).root[state.problem.forest.T :] @ take
    start, stop, _ = state.problem.border.pieces[int(cols.term[a])]
    between = float(with_columns[a] - cols.means[start:stop] @ with_columns[start:stop])
    own = int(np.searchsorted(cols.at, a))
    S = np.array([[cols.C[own, own], between], [between, float(take @ state.informed.joint(way) @ take)]])
    return _apart(S, np.array([cols.prior[a], variance]), cols.noise)


def _weights(state: State, level: int, nodes: Ints) -> Floats:
    """Share of each of some nodes in their sales."""
    p = state.problem
    counts = np.bincount(p.nodes[p.kind == SALE, level], minlength=len(p.chain.value[level]))[nodes].astype(float)
    return counts / counts.sum() if counts.sum() > 0 else np.full(len(nodes), 1.0 / len(nodes))
