"""An invented fit that explains itself: every flag, a component that takes off, a title that is hostile."""

# ruff: noqa: E501 - invented values read best on one line

from __future__ import annotations

from datetime import UTC, date, datetime

from hangtab.usecases.explaining import Component, Effect, Explained, Left, Mover

HOSTILE = "<script>alert('x')</script>"
WARNING = (
    "Venue “Harrow Lane” and way of selling “auction” nearly always come together (214 of 215 sales): the split "
    "between them is a guess; worths that mix them are as wide as they must be."
)


def component(name: str, share: float, effective: float, of: int, *largest: Effect) -> Component:
    return Component(name, share, abs(share), "", 0.0, effective, of, 0.4, 0.32, 0.5, largest)


def left(by: str, value: str, off: float = 1.0, spread: float = 0.95, flag: str = "") -> Left:
    return Left(by, value, 240, off, 0.02, spread, 0.08, flag)


COMPONENTS = (
    component("Character", 0.52, 38.2, 61, Effect("Harbour Master", 636, 1.8, 0.12), Effect("Night Diver", 87, 0.4, 0.2)),
    component("Grade", 0.31, 6.1, 12, Effect("Northgate, carded, 14 to 100", 335, 11.2, 0.26)),
    component("The market over time", 0.09, 20.4, 60),
    component("Season", 0.001, 0.4, 12, Effect("May", 30, 1.0, 0.01)),
    Component("Way of selling", -0.02, 0.01, "Character", -0.03, 1.9, 2, 0.08, None, None, (Effect(HOSTILE, 9, 1.1, 0.05),)),
)  # fmt: skip
TIMES = tuple(
    left("quarter", f"{2019 + q // 4} Q{q % 4 + 1}", 1.0 + 0.01 * (q % 5 - 2), 0.9 + 0.02 * (q % 7)) for q in range(27)
)


def explained(*, converged: bool = True, warnings: tuple[str, ...] = (WARNING,)) -> Explained:
    """Five components over 9,312 sales; a dear quarter, a cheap one, a wide class and a narrow one."""
    times = (*TIMES, left("quarter", "2025 Q4", 1.12, 1.0, "high"), left("quarter", "2026 Q1", 0.9, 1.0, "low"))
    classes = (
        left("Kind of piece", "carded raw"),
        left("Venue and country", "Quayside, GB"),
        left("Way of selling", "auction", 1.02),
        left("Condition word", "boxed good", 1.0, 2.1, "wide"),
        left("Condition word", HOSTILE, 1.0, 0.5, "narrow"),
    )
    movers = (
        Mover("quayside/q1", "Harbour Master, carded, Northgate 34", "Quayside, GB", "2026-04", 480.0, 2.4, 1.77, 2.2, 0.74, 0.88),
        Mover("quayside/q2", HOSTILE, "private", "2025-11-02", 9.07, 0.37, 0.49, -2.8, 0.73, 0.31),
    )  # fmt: skip
    return Explained(
        datetime(2026, 11, 20, 21, 14, tzinfo=UTC), date(2026, 11, 20), "EUR", converged, 14, 0.0033, 7321.1442, 8.4,
        12480, 9312, 0.31, 0.1, 68.0, 12412.0, warnings, COMPONENTS, 0.099, classes, times, movers,
    )  # fmt: skip
