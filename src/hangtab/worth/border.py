"""The border: all terms' columns side by side, random ones first, flat ones last.

Promises: one fixed order of columns for a table's content, whatever the order of its rows.
Gives: sparse rows for the forest (knots first), the border's prior precision for given variances.
Not here: what a single term does (terms.py).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl
import scipy.sparse as sp

from hangtab.worth import kernels
from hangtab.worth.arrays import Entry, Flags, Floats, Ints, Places, Sparse
from hangtab.worth.errors import SpecError
from hangtab.worth.precisions import Block, log_determinant, make_block
from hangtab.worth.rows import ROW, Read, Rows
from hangtab.worth.spec import Curve, Spec
from hangtab.worth.survey import Moments, Survey
from hangtab.worth.terms import TRACE, CurveTerm, Intercept, Number, Part, Term, Words, ramp
from hangtab.worth.threads import side_by_side

# Rows laid at a time, so few that their entries stay in the processor's cache.
AT_ONCE = 2**14
NARROWEST = 1e-11  # of a value's own size: floats keep sixteen digits


@dataclass(frozen=True)
class Border:
    """Terms and where each starts; p columns, the last `flat` of them without a prior."""

    terms: tuple[Term, ...]
    starts: tuple[int, ...]
    p: int
    flat: int
    unit: float
    learned: tuple[str, ...] = field(init=False)
    pieces: tuple[tuple[int, int, tuple[Part, ...]], ...] = field(init=False, repr=False)
    blocks: tuple[Block, ...] = field(init=False, repr=False)
    pattern: sp.csr_array = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Keep each term's prior, and the names of the variances to learn."""
        pieces = tuple((s, s + t.size, tuple(t.parts())) for t, s in zip(self.terms, self.starts, strict=True))
        names = [q.name for t, (_, _, ps) in zip(self.terms, pieces, strict=True) if not t.flat for q in ps
                 if q.variance is None]  # fmt: skip
        blocks = tuple(make_block([q.K for q in ps] if not t.flat else [], b - a)
                       for t, (a, b, ps) in zip(self.terms, pieces, strict=True))  # fmt: skip
        object.__setattr__(self, "blocks", blocks)
        object.__setattr__(self, "pattern", sp.csr_array(sp.block_diag([b.places for b in blocks], format="csr")))
        object.__setattr__(self, "pieces", pieces)
        object.__setattr__(self, "learned", tuple(names))

    @property
    def bounded(self) -> Flags:
        """Columns that may not be negative, (p,)."""
        out = np.zeros(self.p, bool)
        for term, start in zip(self.terms, self.starts, strict=True):
            out[start : start + term.size] = term.bounded
        return out

    def rows(self, frame: Read, knot: Places, T: int, threads: int = 1) -> tuple[Sparse, Floats]:
        """Sparse rows over knots and border, and (rows, terms) multipliers of unseen values' prior variance.

        knot (rows,): the row's monthly knot, -1 for none.
        """
        frame = frame.frame(self.reads, threads) if isinstance(frame, Rows) else frame
        slices = [slice(a, min(a + AT_ONCE, len(frame))) for a in range(0, len(frame), AT_ONCE)]
        ptr = np.zeros(len(frame) + 1, np.int64)
        room = side_by_side(lambda at: self._room(frame[at], knot[at]), threads, slices)
        for at, own in zip(slices, room, strict=True):
            ptr[at.start + 1 : at.stop + 1] = own
        np.cumsum(ptr, out=ptr)
        rows = Sparse(ptr, np.empty(int(ptr[-1]), np.int32), np.empty(int(ptr[-1])))
        free, unseen = ptr[:-1].copy(), np.zeros((len(frame), len(self.terms)))
        side_by_side(lambda at: self._lay(frame[at], knot[at], T, (rows, free[at], unseen[at])), threads, slices)
        if (free < ptr[1:]).any():
            kernels.close_gaps(rows, free)
            rows = Sparse(ptr, rows.idx[: ptr[-1]].copy(), rows.val[: ptr[-1]].copy())
        return rows, unseen

    @property
    def reads(self) -> tuple[str, ...]:
        """The columns of a table that its terms are made from; one at least, for a frame without any has no rows."""
        return tuple(name for term in self.terms for name in term.reads) or (ROW,)

    def _room(self, frame: pl.DataFrame, knot: Places) -> Ints:
        """Entries of each row at most, (rows,)."""
        room = (knot >= 0).astype(np.int64)
        for term in self.terms:
            if term.most is None:
                room += np.bincount(term.entries(frame).row, minlength=len(frame))
            else:
                room += term.most
        return room

    def _lay(self, frame: pl.DataFrame, knot: Places, T: int, into: tuple[Sparse, Ints, Floats]) -> None:
        """Put the entries of some rows in place; free (rows,) moves on to the end of each row."""
        rows, free, unseen = into
        dated = np.flatnonzero(knot >= 0)
        kernels.lay(rows, free, Entry(dated, knot[dated].astype(np.int64), np.ones(len(dated))))
        for k, (term, start) in enumerate(zip(self.terms, self.starts, strict=True)):
            e = term.entries(frame)
            kernels.lay(rows, free, Entry(e.row, e.col + (start + T), e.val))
            if e.unseen.any():  # a large table's zeros are never touched, so they take no memory
                unseen[:, k] = e.unseen

    def precision(self, variances: dict[str, float], held: Flags) -> tuple[sp.csr_array, float]:
        """Prior precision (p, p), and its log determinant over the free columns that have a prior.

        Its entries stand where those of `pattern` do, whatever the variances.
        """
        val, logdet = [], 0.0
        for term, (a, b, parts), block in zip(self.terms, self.pieces, self.blocks, strict=True):
            if term.flat:
                val.append(np.full(b - a, 0.0 if term.name == "intercept" else TRACE / self.unit**2))
                continue
            of = [q.variance if q.variance is not None else variances[q.name] for q in parts]
            val.append((block.values / np.array(of)[:, None]).sum(axis=0))
            logdet += log_determinant(block.matrix(val[-1]), ~held[a:b])
        data = np.concatenate(val)
        return sp.csr_array((data, self.pattern.indices, self.pattern.indptr), shape=self.pattern.shape), logdet


def make_border(spec: Spec, seen: Survey) -> Border:
    """The terms of a table with the values its survey has seen."""
    unit = _unit(seen.price, logs=spec.scale == "log")
    terms: list[Term] = [_words(spec, seen, path, unit) for path in (*spec.crossed, *spec.factors)]
    terms += [_number(spec, seen, name, unit) for name in spec.numbers]
    terms += [t for name, c in spec.shapes.items() if (t := _curve(c, seen, name, unit)) is not None]
    terms = [t for t in terms if t.size and not t.flat] + [t for t in terms if t.size and t.flat] + [Intercept()]
    starts = np.concatenate([[0], np.cumsum([t.size for t in terms])])
    p = int(starts[-1])
    return Border(tuple(terms), tuple(int(s) for s in starts[:-1]), p, sum(t.size for t in terms if t.flat), unit)


def _unit(price: Moments, *, logs: bool) -> float:
    """Spread of the responses that priors are measured in; where there is none, 1 in the log, else their own size."""
    if price.sd > NARROWEST * abs(price.mean):
        return price.sd
    return 1.0 if logs else abs(price.mean) or 1.0


def _words(spec: Spec, seen: Survey, path: str, unit: float) -> Words:
    levels, many = sorted(seen.words[path]), path in seen.many
    prior = spec.priors.get(path, "learned" if path in spec.crossed else "weak")
    base = None
    if prior == "flat" and not many and levels:
        # Without a prior one value has to be the base, or the intercept could not be told from the rest.
        base = spec.reference.get(path, levels[0])
        if base not in levels:
            raise SpecError(f"The table has no {path} {base!r}", where="Spec.reference", mend=f"One of {levels}.")
        levels.remove(base)
    variance = {"weak": unit**2, "flat": unit**2, "learned": None}[prior] if isinstance(prior, str) else prior**2
    return Words(path, tuple(path.split("/")), tuple(levels), many, prior == "flat", variance, base=base)


def _number(spec: Spec, seen: Survey, name: str, unit: float) -> Number:
    moments, prior = seen.numbers[name], spec.priors.get(name, "weak")
    variance = unit**2 if isinstance(prior, str) else float(prior) ** 2
    return Number(name, moments.mean, moments.sd or 1.0, prior == "flat", variance)


def _curve(curve: Curve, seen: Survey, name: str, unit: float) -> CurveTerm | None:
    values = seen.values[name]
    knots = curve.knots if isinstance(curve.knots, tuple) else _quantile_knots(values.at, curve.knots)
    if len(knots) < 2:  # noqa: PLR2004 - a curve needs two ends
        return None
    count = int(values.times.sum())
    average = values.times @ ramp(values.at, knots) / count if count else np.zeros(len(knots) - 1)
    levels = sorted(seen.words[curve.by]) if curve.by else []
    return CurveTerm(name, curve, knots, tuple(average.tolist()), tuple(levels), 9.0 * unit**2)


def _quantile_knots(x: Floats, count: int) -> tuple[float, ...]:
    """Knots at quantiles of distinct rising values, none nearer to the next than a thousandth of the whole."""
    if len(x) == 0 or x[-1] - x[0] <= NARROWEST * max(abs(x[0]), abs(x[-1])):
        return ()
    chosen = x if len(x) <= count else np.quantile(x, np.linspace(0, 1, count))
    least = 1e-3 * (x[-1] - x[0])
    knots = [float(x[0])]
    for value in chosen[1:-1]:
        if value - knots[-1] >= least and x[-1] - value >= least:
            knots.append(float(value))
    return (*knots, float(x[-1]))
