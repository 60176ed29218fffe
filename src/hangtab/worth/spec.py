"""What model to fit: `Spec` and `Curve`, both frozen values.

Promises: a Spec that can be built is free of contradictions that can be seen without the table.
Gives: the chain (nested groups) and the crossed groups told apart.
Not here: anything about the table's contents.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from itertools import pairwise
from math import isfinite
from typing import Any

from hangtab.worth.errors import SpecError

MARKET = "market"
DIRECTIONS = ("increasing", "decreasing", "free")
PRIORS = ("weak", "flat", "learned")
FEWEST_KNOTS = 2


@dataclass(frozen=True)
class Curve:
    """A smooth curve of one number, piecewise linear between knots.

    direction: "increasing" (never falls), "decreasing" (never rises) or "free".
    by: a column; one curve per value, each shrunk toward their common curve.
    knots: how many (placed at quantiles of the table), or the places themselves.
    missing: what a row without the number takes: "mean" of the table's rows, or "none" (no effect).
    """

    direction: str = "increasing"
    by: str | None = None
    knots: int | tuple[float, ...] = 8
    missing: str = "mean"

    def __post_init__(self) -> None:
        """Refuse a curve that cannot be drawn."""
        if self.direction not in DIRECTIONS:
            raise SpecError(f"No such direction: {self.direction!r}", mend=f"Choose one of {DIRECTIONS}.")
        if self.missing not in ("mean", "none"):
            raise SpecError(f"No such rule for missing values: {self.missing!r}", mend="Choose mean or none.")
        if not isinstance(self.knots, int):
            object.__setattr__(self, "knots", tuple(float(k) for k in self.knots))
            if not all(b - a > 0 and isfinite(b - a) for a, b in pairwise(self.knots)):
                raise SpecError("The knots do not rise", where=str(self.knots), mend="Sort them, drop repeats.")
        if (self.knots if isinstance(self.knots, int) else len(self.knots)) < FEWEST_KNOTS:
            raise SpecError(f"Too few knots: {self.knots}", where="Curve.knots", mend="Give two at least.")


@dataclass(frozen=True)
class Spec:
    """The model of one table; every field but `price` has a default.

    price: column of positive prices. when: column of dates. groups: "a", "a/b", "a/b/c" nest along
    one chain; every other name crosses it. factors: names of words (or lists of words: each word
    adds its effect). numbers: straight lines. curves: name -> direction or `Curve`. walks: "market"
    and/or the first name of the chain. kind: column of "sale", "below" or "above" (a bound), "offer" (accepted; its
    price may be hidden), "listing" (stood `days` at its ask; sold where it has a price), "lot" (one member of a lot;
    `price` is the sum for all rows of its `evidence`). ask: column of asks and bounds (`price` is the bound where it
    is empty). days: column of days on the market. evidence: column of ids. share: column of the probability, from
    anything but the price, that a sale was of this row's piece; the rows of one id are its candidates, what lacks to 1
    is that it was none of them.
    wider: column of noise-scale multipliers (hearsay: 2.0). spread_by: columns whose values have
    noise of their own. tails: "student" or "normal". criterion: "reml" or "ml". priors: per factor,
    number or crossed group "weak" (the default; crossed groups: "learned"), "flat", "learned" or a standard
    deviation in the units of the log price. reference: per flat factor the value without a column.
    scale: "log" (the model is of log prices) or "plain" (of the column itself, for other tables).
    nu: fixes the degrees of freedom of the Student-t noise.
    beside: columns kept with the fit (`Fitted.table`) that the model does not read.
    overlooked: share of bounds that say nothing (an ask ends unsold because nobody saw it, or repeats another):
    P(unsold) is q + (1 - q) P(price below the ask). 0: every bound tells. Above 0, variances are found from the sales
    alone and the mode from both.
    usual: standard deviations (of a walk's step, of "residual"; degrees of freedom) that are usual for components, by
    the names of `Fitted.components`: a weak prior, a factor of two either way, for tables of few rows.
    """

    price: str
    when: str | None = None
    groups: Sequence[str] = ()
    factors: Sequence[str] = ()
    numbers: Sequence[str] = ()
    curves: Mapping[str, Curve | str] = field(default_factory=dict)
    walks: Sequence[str] = ()
    kind: str | None = None
    ask: str | None = None
    days: str | None = None
    evidence: str | None = None
    share: str | None = None
    wider: str | None = None
    spread_by: Sequence[str] = ()
    tails: str = "student"
    criterion: str = "reml"
    priors: Mapping[str, str | float] = field(default_factory=dict)
    reference: Mapping[str, str] = field(default_factory=dict)
    scale: str = "log"
    nu: float | None = None
    overlooked: float = 0.0
    usual: Mapping[str, float] = field(default_factory=dict)
    beside: Sequence[str] = ()

    def __post_init__(self) -> None:
        """Bring lists to tuples and shorthand curves to `Curve`, then check."""
        for name in ("groups", "factors", "numbers", "walks", "spread_by", "beside"):
            object.__setattr__(self, name, tuple(getattr(self, name)))
        curves = {k: c if isinstance(c, Curve) else Curve(c) for k, c in self.curves.items()}
        object.__setattr__(self, "curves", curves)
        object.__setattr__(self, "priors", dict(self.priors))
        object.__setattr__(self, "reference", dict(self.reference))
        object.__setattr__(self, "usual", dict(self.usual))
        _check(self)

    @property
    def shapes(self) -> dict[str, Curve]:
        """The curves, shorthand written out."""
        return {k: c for k, c in self.curves.items() if isinstance(c, Curve)}

    @property
    def chain(self) -> tuple[str, ...]:
        """The nested groups, root first."""
        return _split_groups(self.groups)[0]

    @property
    def crossed(self) -> tuple[str, ...]:
        """The groups that cross the chain."""
        return _split_groups(self.groups)[1]

    @property
    def columns(self) -> tuple[str, ...]:
        """Every column of the table that is read or kept, each once, in a fixed order."""
        names = [part for path in self.chain for part in path.split("/")]
        names += [self.when] if self.when else []
        names += [part for path in self.crossed for part in path.split("/")]
        names += [*self.factors, *self.numbers, *self.curves, *self.spread_by]
        names += [c.by for c in self.shapes.values() if c.by]
        asked = (self.price, self.kind, self.ask, self.days, self.wider, self.evidence, self.share)
        names += [n for n in asked if n]
        names += self.beside
        return tuple(dict.fromkeys(names))

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for JSON."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Spec:
        """The Spec of plain values, such as `to_dict` wrote or a person; a curve may be its direction alone."""
        strange = sorted(set(values) - {f.name for f in fields(cls)})
        if strange or "price" not in values:
            what = f"No such field of a model: {strange[0]!r}" if strange else "The model names no column of prices"
            raise SpecError(what, where="Spec", mend=f"Use {', '.join(f.name for f in fields(cls))}.")
        kept = dict(values)
        curves = {k: c if isinstance(c, str) else Curve(**_tupled(c)) for k, c in kept.pop("curves", {}).items()}
        try:
            return cls(curves=curves, **kept)
        except TypeError as error:
            raise SpecError(f"A field of the model is not what it should be: {error}", where="Spec",
                            mend="Give lists of names, names, and numbers as documented.") from error  # fmt: skip


def _tupled(curve: Mapping[str, Any]) -> dict[str, Any]:
    knots = curve.get("knots", Curve.knots)
    return {**curve, "knots": tuple(knots) if isinstance(knots, list) else knots}


def _split_groups(groups: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    if not groups:
        return (), ()
    chain = [groups[0]]
    crossed: list[str] = []
    for path in groups[1:]:
        (chain if path.startswith(chain[-1] + "/") else crossed).append(path)
    return tuple(chain), tuple(crossed)


def _check(spec: Spec) -> None:
    choices = {"tails": ("student", "normal"), "criterion": ("reml", "ml"), "scale": ("log", "plain")}
    for name, allowed in choices.items():
        if getattr(spec, name) not in allowed:
            raise SpecError(
                f"No such {name}: {getattr(spec, name)!r}", where=f"Spec.{name}", mend=f"Choose one of {allowed}."
            )
    if len(set(spec.groups)) != len(spec.groups):
        raise SpecError("A group is named twice", where="Spec.groups", mend="Name each group once.")
    root = spec.chain[0] if spec.chain else None
    for walk in spec.walks:
        if walk not in (MARKET, root):
            raise SpecError(
                f"No walk can follow {walk!r}",
                where="Spec.walks",
                mend=f"Walks follow {MARKET!r} or the first group ({root!r}).",
            )
    if spec.walks and spec.when is None:
        raise SpecError("Walks need dates", where="Spec.when", mend="Name the column of dates in Spec.when.")
    if spec.share is not None and spec.evidence is None:
        raise SpecError("Names with shares need an id", where="Spec.evidence", mend="Name the column of ids.")
    if not 0.0 <= spec.overlooked < 1.0:
        raise SpecError(
            f"No such share of overlooked bounds: {spec.overlooked!r}",
            where="Spec.overlooked",
            mend="Give a share from 0 to under 1.",
        )
    if spec.nu is not None and not spec.nu > 0:
        raise SpecError("The degrees of freedom must be positive", where="Spec.nu", mend="Give a number above 0.")
    _check_priors(spec)
    _check_usual(spec)


def _check_priors(spec: Spec) -> None:
    for name, prior in spec.priors.items():
        if name not in (*spec.factors, *spec.numbers, *spec.crossed):
            raise SpecError(
                f"A prior for {name!r}, which is no factor, number or crossed group",
                where="Spec.priors",
                mend="Name one of those.",
            )
        good = prior in PRIORS if isinstance(prior, str) else prior > 0
        if not good or (name in spec.numbers and prior == "learned"):
            raise SpecError(
                f"No such prior: {prior!r}",
                where=f"Spec.priors[{name!r}]",
                mend=f"Choose one of {PRIORS} or a positive standard deviation (numbers cannot be learned).",
            )


def _check_usual(spec: Spec) -> None:
    for name, value in spec.usual.items():
        if not value > 0:
            raise SpecError(f"What is usual must be positive: {value!r}", where=f"Spec.usual[{name!r}]",
                            mend="Give a standard deviation above 0.")  # fmt: skip
