"""How a fit fits, in words and rounded figures that add up as they are shown; the same in a terminal and on the page.

Promises: shares add up to 100.0. Reads: an Explained fit. Gives: text. Not here: tables, markup, drawings (fit_charts).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hangtab.rendering.sums import apportion
from hangtab.rendering.words import NARROW, count, day, grouped, per_cent
from hangtab.usecases.explaining import Component, Effect, Explained, Left, Mover

LEAST = 0.005  # components that carry less of the spread are put together
TIMES = 2.0  # from here on a factor is told as "2.4 times"
UNEXPLAINED = "Not explained"
EFFECTS, LEFT, ROWS = "All effects", "Left to the noise", "Rows"
KIND = "Kind of piece"
ALWAYS = (KIND, "Way of selling")
FLAGS = {
    "high": "dearer than the fit says",
    "low": "cheaper than the fit says",
    "wide": "prices differ more than the fit allows",
    "narrow": "prices differ less than the fit allows",
    "": "",
}


@dataclass(frozen=True, slots=True)
class Share:
    """One bar: what it is called, what it carries (exact), and its per cent as shown, in tenths."""

    name: str
    share: float
    shown: float


def summary(made: Explained) -> str:
    """How the fit went, in a sentence."""
    state = "converged" if made.converged else "did not converge"
    seen = f"{grouped(str(made.sales))} sales"
    rest = made.rows - made.sales
    rest_words = f" and {count(rest, 'other piece', 'other pieces')} of evidence" if rest else ""
    return (
        f"Fitted as of {day(made.as_of)} from {seen}{rest_words}: {state}, "
        f"{count(made.iterations, 'iteration')}, {made.seconds:.1f} s."
    )


def explained_words(made: Explained) -> str:
    """How much is explained, and how far a clean sale strays."""
    return (
        f"{per_cent(1.0 - made.unexplained)} of the spread of log prices is explained. "
        f"A clean sale strays from its fitted price by about {per_cent(made.noise)}."
    )


def shares(made: Explained) -> list[Share]:
    """What carries the prices: the larger components, the others together, what is not explained; 100.0 in all."""
    large = [c for c in made.components if abs(c.share) >= LEAST]
    small = [c for c in made.components if abs(c.share) < LEAST]
    rows = [(c.name, c.share) for c in large]
    if small:
        rows.append((f"{count(len(small), 'other')} together".capitalize(), sum(c.share for c in small)))
    rows.append((UNEXPLAINED, made.unexplained))
    shown = apportion([1000 * share for _, share in rows], 1000)
    return [Share(name, share, tenths / 10) for (name, share), tenths in zip(rows, shown, strict=True)]


def freedom(part: Component) -> str:
    """Degrees of freedom taken, of how many values: "38.2 of 61"."""
    return f"{part.effective:.1f} of {grouped(str(part.of))}"


def spread(part: Component) -> str:
    """How far a component's values lie apart, with its 95 % range: "39 % (32-47 %)"; empty where it is not learned."""
    if part.spread is None:
        return ""
    if part.low is None or part.high is None:
        return "nothing"
    return f"{per_cent(part.spread)} ({_short(part.low)}–{_short(part.high)}{NARROW}%)"


def _short(share: float) -> str:
    return f"over {grouped('999')}" if share > 9.99 else f"{share * 100:.0f}"  # noqa: PLR2004 - three digits


def effect(one: Effect) -> str:
    """A factor with its standard deviation: "× 2.74 ± 12 %"."""
    digits = 2 if one.factor < 10 else 0  # noqa: PLR2004 - three figures
    return f"× {one.factor:.{digits}f} ± {per_cent(one.give_or_take)}"


def difference(factor: float) -> str:
    """A factor as a difference.

    >>> difference(2.4), difference(0.7) == "30\u202f% less", difference(1.004) == "0\u202f% more"
    ('2.4 times as much', True, True)
    """
    if factor >= TIMES:
        return f"{factor:.1f} times as much"
    return f"{per_cent(factor - 1.0)} more" if factor >= 1.0 else f"{per_cent(1.0 - factor)} less"


def moved(one: Mover) -> str:
    """What a sale does, in plain words. Both parts are against the fit without it."""
    return (
        f"Brought {difference(one.off)} than the rest says; the estimate follows it by "
        f"{per_cent(one.leverage)} and is {_raised(one.shift)} by it."
    ).replace("as much than", "as much as")


def _raised(factor: float) -> str:
    return f"raised {per_cent(factor - 1.0)}" if factor >= 1.0 else f"lowered {per_cent(1.0 - factor)}"


def off(left: Left) -> str:
    """How far the middle of a class is off, with its sign."""
    value = per_cent(left.off - 1.0, 1)
    return f"+{value}" if left.off >= 1.0 else value


def told_classes(made: Explained) -> list[Left]:
    """Classes that are always shown, and of the others those with a flag."""
    always = [c for by in ALWAYS for c in made.classes if c.by == by]
    return always + [c for c in made.classes if c.by not in ALWAYS and c.flag]


def not_flagged(made: Explained) -> str:
    """How many classes were looked at, and how many stray."""
    stray = sum(1 for c in (*made.classes, *made.times) if c.flag)
    looked = len(made.classes) + len(made.times)
    said = "none strays" if not stray else f"{count(stray, 'strays', 'stray')}"
    return f"Of {grouped(str(looked))} classes and times, {said} from what the noise allows."


def degrees(made: Explained) -> Sequence[tuple[str, str]]:
    """The degrees of freedom as a sum: components, all effects, what is left, rows; one decimal, adding up."""
    parts = [*made.components]
    tenths = apportion([10 * made.effective, 10 * made.residual], 10 * made.rows)
    own = apportion([10 * c.effective for c in parts] + [10.0], tenths[0])
    rows = [(f"{c.name}, {grouped(str(c.of))} values", value) for c, value in zip(parts, own, strict=False)]
    rows += [("Level of all prices", own[-1]), (EFFECTS, tenths[0]), (LEFT, tenths[1])]
    rows.append((ROWS, 10 * made.rows))
    return [(name, grouped(f"{value / 10:.1f}")) for name, value in rows]
