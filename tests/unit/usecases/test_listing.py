"""Which days a question for a list means. Seasons are those of the northern half of the world (common practice)."""

from datetime import date

import pytest

from hangtab.usecases.listing import period

TODAY = date(2026, 11, 25)


@pytest.mark.parametrize(
    ("text", "since", "until"),
    [
        ("all sales", None, None),
        ("all sales since last autumn", date(2025, 9, 1), None),
        ("all sales since autumn", date(2026, 9, 1), None),
        ("all sales since last spring", date(2026, 3, 1), None),
        ("all sales since 2024", date(2024, 1, 1), None),
        ("all sales in 2024", date(2024, 1, 1), date(2024, 12, 31)),
        ("the one that sold in March?", date(2026, 3, 1), date(2026, 3, 31)),
        ("sold in December", date(2025, 12, 1), date(2025, 12, 31)),
        ("sold in February 2024", date(2024, 2, 1), date(2024, 2, 29)),
        ("sold in last winter", date(2025, 12, 1), date(2026, 2, 28)),
        ("sold in good condition", None, None),
    ],
)
def test_days_of_a_question(text, since, until):
    assert period(text, TODAY) == (since, until)
