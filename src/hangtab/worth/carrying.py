"""Which effects carry the prices: degrees of freedom that each takes, its share of the spread of prices, its values.

Promises: the effective degrees of freedom of all components and the residual ones add up to the rows; the shares of
the components and of the residual add up to one.
Source: effective degrees of freedom as the trace of the hat matrix (Hastie & Tibshirani 1990, ch. 3); for a prior
precision Q and posterior covariance C a component has size - tr(C Q) of them.
Reads: a solved state. Gives: polars frames. Not here: residuals (residuals.py), what cannot be told apart
(confounding.py).
"""

from __future__ import annotations

import numpy as np
import polars as pl

from hangtab.worth.arrays import Floats, Ints, Sparse
from hangtab.worth.chain import Chain
from hangtab.worth.paths import Targets, take_rows
from hangtab.worth.routes import covariance, overlap
from hangtab.worth.sheet import SALE
from hangtab.worth.state import State, mode_parts, part_names
from hangtab.worth.terms import CurveTerm, Number, Words

CHUNK = 8192
SHOWN = 5
# A factor that this share of the sales has counts as one that every sale has.
EVERYWHERE = 0.995
# With more first nodes than this their mean is known well enough to be left out of their errors.
MOST_ROOTS = 200


def degrees(state: State) -> tuple[pl.DataFrame, Floats]:
    """Effective degrees of freedom by component, and every row's leverage (rows,).

    The frame has component, effective, of (values, nodes, knots or columns; walks: of all walks together).
    Both are under the weights of the ranges; the sum of the leverages is that of the components.
    """
    p, forest = state.problem, state.problem.forest
    cov = covariance(p.road, state.informing, known_flat=False)
    gap = cov.gaps(state.prior)
    found = [(name, gap.levels[k], len(forest.levels[k])) for k, name in enumerate(p.spec.chain)]
    if p.layout.line >= 0:
        found.append((p.layout.names[p.layout.line], gap.line, forest.T * int(forest.walked.sum())))
    if p.layout.market >= 0:
        found.append((p.layout.names[p.layout.market], gap.market, forest.T))
    for term, (a, b, _) in zip(p.border.terms, p.border.pieces, strict=True):
        lost = overlap(cov, np.arange(a, b), state.prior.border[a:b, a:b])
        found.append((term.name, float((~state.held[a:b]).sum()) - lost, term.size))
    names, effective, of = zip(*found, strict=True)
    frame = pl.DataFrame({"component": names, "effective": np.array(effective), "of": np.array(of, np.int64)})
    return frame, state.information * gap.rows


def shares(state: State) -> pl.DataFrame:
    """Share of the variance of the log price over the sales that each component carries; "residual" is the rest.

    component; share: covariance of its fitted part with the log price over the variance of the log price (all sum to
    one; negative where it only takes off what another adds); own: the variance of its fitted part alone, so measured;
    partner: the component it moves with most, empty where it has none, and between: twice their covariance.
    """
    fitted = _fitted_parts(state)
    p = state.problem
    at = np.flatnonzero(p.kind == SALE)
    columns = np.column_stack([fitted, p.y[at] - state.eta[at]])
    V = np.atleast_2d(np.cov(columns, rowvar=False, bias=True))
    whole = float(V.sum())
    V = V / whole if whole > 0 else np.zeros_like(V)
    names = [*part_names(state), "residual"]
    pairs = 2.0 * (V - np.diag(np.diag(V)))
    best = np.abs(pairs).argmax(axis=1)
    between = pairs[np.arange(len(names)), best]
    partner = [names[j] if abs(value) > 1e-9 else "" for j, value in zip(best, between, strict=True)]  # noqa: PLR2004 - rounding
    out = {"component": names, "share": V.sum(axis=1), "own": np.diag(V), "partner": partner, "between": between}
    return pl.DataFrame(out).filter(pl.col("component") != "intercept").sort("share", descending=True)


def _fitted_parts(state: State) -> Floats:
    """Every sale's fitted parts, (sales, parts); in pieces, so that memory stays small."""
    p = state.problem
    at = np.flatnonzero(p.kind == SALE)
    pieces = [at[i : i + CHUNK] for i in range(0, len(at), CHUNK)]
    block = p.forest.block.astype(np.int64)
    rows = (Targets(take_rows(p.forest.rows, own), block[own], p.nodes[own]) for own in pieces)
    return np.concatenate([mode_parts(state, targets) for targets in rows])


def largest(state: State, top: int = SHOWN) -> pl.DataFrame:
    """The `top` largest values of each component.

    component, value (of a chain level: the path to it), sales, estimate and se in log price (se: posterior standard
    deviation). Values of a factor that every sale has, and the first level of the chain, are told against the mean of
    the sales; those below against their parent; a curve by its whole rise, a number by one unit of it.
    """
    found = [*_values(state), *_curves(state), *_nodes(state, top)]
    schema = {"component": pl.String, "value": pl.String, "sales": pl.Int64, "estimate": pl.Float64, "se": pl.Float64}
    frame = pl.DataFrame(found, schema=schema, orient="row")
    order = frame.sort(pl.col("estimate").abs(), "value", descending=[True, False])
    return order.group_by("component", maintain_order=True).head(top)


Value = tuple[str, str, int, float, float]


def _values(state: State) -> list[Value]:
    """Values of factors and crossed groups, numbers."""
    p = state.problem
    sold, means = sales_of_columns(state), mean_weights(state)
    B = against_means(state, state.solution.columns.B)
    number, with_means, of_means = mean_covariances(state)
    own = np.arange(p.forest.p)
    se = state.informed.border_variances() - 2.0 * with_means[own, number] + np.diag(of_means)[number]
    se = np.sqrt(np.maximum(se, 0.0))
    found: list[Value] = []
    for term, (a, b, _) in zip(p.border.terms, p.border.pieces, strict=True):
        unit = term.unit if isinstance(term, Number) else 1.0
        if isinstance(term, Words | Number) and not (b - a == 1 and means[a] > 0):
            found += [
                (term.name, label.replace("\x1f", " / "), int(sold[j]), float(B[j, 0] / unit), float(se[j] / unit))
                for j, label in zip(range(a, b), term.labels(), strict=True)
            ]
    return found


def mean_weights(state: State) -> Floats:
    """Each value's share of the sales in a factor that every sale has, 0 in all other columns, (p,)."""
    p, counts = state.problem, sales_of_columns(state)
    sales, out = int((p.kind == SALE).sum()), np.zeros(p.forest.p)
    for term, (a, b, _) in zip(p.border.terms, p.border.pieces, strict=True):
        if isinstance(term, Words) and not term.many and not term.flat and counts[a:b].sum() >= EVERYWHERE * sales:
            out[a:b] = counts[a:b] / counts[a:b].sum()
    return out


def against_means(state: State, values: Floats) -> Floats:
    """Values by border column (p, m), those of a factor that every sale has less their mean."""
    out, means = values.copy(), mean_weights(state)
    for a, b, _ in state.problem.border.pieces:
        out[a:b] -= (means[a:b] @ out[a:b])[None, :]
    return out


def mean_covariances(state: State) -> tuple[Ints, Floats, Floats]:
    """Each column's term (p,); covariances of the columns with their terms' means (p, terms), of those (terms, terms).

    The mean of a term's effects is that over the sales, for a factor that every sale has; nothing for all others.
    """
    p, means = state.problem, mean_weights(state)
    term = np.repeat(np.arange(len(p.border.pieces)), [b - a for a, b, _ in p.border.pieces])
    W = np.zeros((p.forest.p, len(p.border.pieces)))
    W[np.arange(p.forest.p), term] = means
    with_means = state.informed.border_with(W)
    return term, with_means, W.T @ with_means


def _curves(state: State) -> list[Value]:
    """The whole rise of each curve from its lowest to its highest knot."""
    p = state.problem
    sold, found = sales_of_columns(state), []
    for term, start in zip(p.border.terms, p.border.starts, strict=True):
        if not isinstance(term, CurveTerm):
            continue
        sign = -1.0 if term.curve.direction == "decreasing" else 1.0
        span = f"{term.knots[0]:g} to {term.knots[-1]:g}"
        for k, level in enumerate(("", *term.levels)):
            if not level and term.levels:
                continue  # the common curve is what the others lean to; no row follows it
            at = start + k * term.segments + np.arange(term.segments)
            rise = sign * float(state.solution.columns.B[at, 0].sum())
            var = float(state.informed.border_among(at).sum())
            found.append((term.name, f"{level} {span}".strip(), int(sold[at].max()), rise, np.sqrt(max(var, 0.0))))
    return found


def _nodes(state: State, top: int) -> list[Value]:
    """The largest effects of each chain level."""
    p, found = state.problem, []
    sale = p.kind == SALE
    for k, name in enumerate(p.spec.chain):
        effect = state.solution.effects[k][:, 0]
        effect = effect - (_root_weights(state) @ effect if k == 0 else 0.0)
        known = np.flatnonzero([v is not None for v in p.chain.value[k]])
        best = known[np.lexsort((known, -np.abs(effect[known])))][:top]
        sold = np.bincount(p.nodes[sale, k], minlength=len(effect))
        for j, se in zip(best, effect_spreads(state, k, best), strict=True):
            found.append((name, node_label(p.chain, k, int(j)), int(sold[j]), float(effect[j]), float(se)))
    return found


def _root_weights(state: State) -> Floats:
    """Each first node's share of the sales."""
    p = state.problem
    counts = np.bincount(p.nodes[p.kind == SALE, 0], minlength=len(p.chain.value[0]))
    return np.asarray(counts / counts.sum())


def effect_spreads(state: State, level: int, nodes: Ints) -> Floats:
    """Posterior standard deviation of some nodes' own effects, (nodes,); of roots, against the mean of the sales."""
    if len(nodes) == 0:
        return np.zeros(0)
    if level == 0 and len(state.problem.chain.value[0]) <= MOST_ROOTS:
        return _root_spreads(state)[nodes]
    paths = node_paths(state.problem.chain, level, nodes)
    above = paths.copy()
    above[:, level] = -1
    cov = state.informed.joint(bare_targets(state, np.concatenate([paths, above])))
    m = len(nodes)
    own, parent, both = np.diag(cov)[:m], np.diag(cov)[m:], np.diag(cov[:m, m:])
    return np.sqrt(np.maximum(own + parent - 2.0 * both, 0.0))


def _root_spreads(state: State) -> Floats:
    weight = _root_weights(state)
    paths = node_paths(state.problem.chain, 0, np.arange(len(weight)))
    A = np.eye(len(weight)) - weight[None, :]
    cov = state.informed.joint(bare_targets(state, paths))
    return np.sqrt(np.maximum(np.diag(A @ cov @ A.T), 0.0))


def node_paths(chain: Chain, level: int, nodes: Ints) -> Ints:
    """Nodes from the root down to each, (nodes, levels); -1 below."""
    out = np.full((len(nodes), len(chain.paths)), -1, np.int64)
    at = nodes
    for k in range(level, -1, -1):
        out[:, k] = at
        at = chain.parent[k][at]
    return out


def bare_targets(state: State, paths: Ints) -> Targets:
    """Targets that are the running sums of the chain alone, without border or walks."""
    like = state.problem.forest.rows
    empty = Sparse(np.zeros(len(paths) + 1, like.ptr.dtype), like.idx[:0], like.val[:0])
    root = state.problem.forest.levels[0].block.astype(np.int64)
    return Targets(empty, np.where(paths[:, 0] >= 0, root[np.maximum(paths[:, 0], 0)], 0), paths)


def node_label(chain: Chain, level: int, node: int) -> str:
    """The names from the root down to a node."""
    path = node_paths(chain, level, np.array([node]))[0, : level + 1]
    names = [chain.value[k][int(j)] or "?" for k, j in enumerate(path)]
    return " / ".join(names).replace("\x1f", " / ")


def sales_of_columns(state: State) -> Ints:
    """How many sales touch each border column, (p,)."""
    p, T = state.problem, state.problem.forest.T
    rows = take_rows(p.forest.rows, np.flatnonzero(p.kind == SALE))
    touched = rows.idx[(rows.idx >= T) & (rows.val != 0.0)] - T
    return np.bincount(touched, minlength=p.forest.p)
