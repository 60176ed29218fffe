"""An invented back-test for the page Track record."""

from datetime import UTC, date, datetime

from hangtab.backtest import ENGINE, LAST_FIVE, Class, Held, Peer, Study
from hangtab.backtest.ratios import Band, RatioStudy, Trend
from hangtab.usecases.backtest import KeptStudy


def tried(form="", thin="", sales=1200, error=0.21, held=0.81):
    return Class(form, thin, sales, error, 0.57, 0.5, held, 0.9, 1.3, 0.2, 31.0, 1.08, -0.02)


THIN = (("0", 88, 0.31), ("1", 122, 0.27), ("2–4", 260, 0.24), ("5–9", 180, 0.2), ("10+", 550, 0.18))
FORMS = ("carded graded", "carded raw", "loose raw", "boxed graded", "prototype raw")


def ratios(sales):
    return RatioStudy(sales, 0.98, 0.96, 1.0, 1.05, 0.95, 0.92, 0.98, 31.5, 1.08, Trend(-0.02, 0.01, -0.04, 0.0))


def kept_study() -> KeptStudy:
    thin = tuple(tried(thin=name, sales=sales, error=error) for name, sales, error in THIN)
    forms = tuple(tried(form, sales=240, error=0.17) for form in FORMS)
    narrow = tuple(tried(form, name, sales=48, error=error) for form in FORMS for name, _, error in THIN)
    worse = tuple(tried(thin=name, sales=sales, error=1.4 * error) for name, sales, error in THIN)
    study = Study(
        date(2026, 10, 30), ("2023-10-30", "2024-10-29", "2025-10-30"), "EUR", 1200,
        (tried(), *thin, *forms, *narrow),
        (Held(0.5, 0.5, 0.47, 0.53, 1200), Held(0.8, 0.81, 0.79, 0.83, 1200), Held(0.9, 0.9, 0.88, 0.92, 1200)),
        ratios(1200), tuple(Band(low, high, ratios(300)) for low, high in ((4, 21), (21, 40), (40, 86), (86, 2790))),
        (Peer(ENGINE, tried(), thin), Peer(LAST_FIVE, tried(error=0.32), worse)),
    )  # fmt: skip
    return KeptStudy(study, datetime(2026, 11, 20, 21, 30, tzinfo=UTC))
