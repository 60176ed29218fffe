"""Where a price falls, in words a person would say. No praise, no alarm, no advice."""

from __future__ import annotations

from fractions import Fraction

RARE = 0.001


def verdict_words(below: float) -> str:
    """The place of a price among next sales.

    Args:
        below: probability that the next sale brings less, 0 to 1.

    >>> verdict_words(0.2)
    'Low: 4 of 5 such sales bring more'
    >>> verdict_words(0.5)
    'In the middle: 1 of 2 such sales bring more'
    >>> verdict_words(0.9999)
    'Very high: under 1 in 1 000 such sales bring more'
    """
    return f"{_place(below)}: {_share(1 - below)}"


def _place(below: float) -> str:
    bounds = ((0.05, "Very low"), (0.25, "Low"), (0.4, "Somewhat low"), (0.6, "In the middle"), (0.75, "Somewhat high"),
              (0.95, "High"))  # fmt: skip
    return next((word for bound, word in bounds if below < bound), "Very high")


def _share(above: float) -> str:
    if above < RARE:
        return "under 1 in 1 000 such sales bring more"
    if above > 1 - RARE:
        return "under 1 in 1 000 such sales bring less"
    share, more = (above, "more") if above <= 0.9 else (1 - above, "less")  # noqa: PLR2004
    if share < 0.1:  # noqa: PLR2004
        return f"1 in {round(1 / share)} such sales bring{'s' if round(1 / share) == 1 else ''} {more}"
    near = Fraction(share).limit_denominator(10)
    return f"{near.numerator} of {near.denominator} such sales bring {more}"
