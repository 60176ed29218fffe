"""Proper scores against published closed forms and an independent library.

Formulas: Gneiting & Raftery 2007, J. Amer. Statist. Assoc. 102, sections 4.2 and 6.2. The expected figures were
computed with the library `scoringrules`, which agrees with quadrature to 1e-12; where it is called here, it is the
installed one that must agree.
"""

import math

import numpy as np
import pytest
import scoringrules
from scipy import integrate, stats

from hangtab.backtest import scores
from hangtab.backtest.mixture import NextSales


@pytest.mark.parametrize(
    ("mean", "sd", "y", "expected"),
    [
        (0, 1, 0, (math.sqrt(2) - 1) / math.sqrt(math.pi)),
        (0, 1, 1, 0.602441357628),
        (0, 1, -1, 0.602441357628),
        (0, 1, 2, 1.452791821686),
        (0.1, 0.4, 0, 0.103399925160),
        (1, 2, 3, 1.204882715255),
        (100, 15, 130, 21.791877325289),
    ],
)
def test_crps_of_a_normal(mean, sd, y, expected):
    assert scores.crps_normal(y, mean, sd) == pytest.approx(expected, abs=1e-11)
    assert scores.crps_normal(y, mean, sd) == pytest.approx(float(scoringrules.crps_normal(y, mean, sd)), rel=1e-12)


@pytest.mark.parametrize(
    ("y", "members", "expected", "fair"),
    [
        (0, (-1, 0, 1), 2 / 9, 0),
        (2.5, (1, 2, 3, 4), 0.375, 1 / 6),
        (0.6, (0.1, 0.2, 0.7, 0.9), 0.14375, 1 / 12),
        (10, (8, 9, 12, 15, 20), 1.6, 1.0),
    ],
)
def test_crps_of_an_ensemble(y, members, expected, fair):
    assert scores.crps_ensemble(y, members) == pytest.approx(expected, rel=1e-12)
    assert scores.crps_ensemble(y, members[::-1], fair=True) == pytest.approx(fair, abs=1e-12)
    theirs = scoringrules.crps_ensemble(y, np.array(members, float), estimator="fair")
    assert scores.crps_ensemble(y, members, fair=True) == pytest.approx(float(theirs), abs=1e-12)


@pytest.mark.parametrize(
    ("y", "low", "high", "missed", "expected"),
    [(0.5, 0, 1, 0.1, 1), (1.3, 0, 1, 0.1, 7), (-0.2, 0, 1, 0.1, 5), (5, 2, 4, 0.5, 6)],
)
def test_interval_score(y, low, high, missed, expected):
    assert scores.interval_score(y, low, high, missed) == pytest.approx(expected, rel=1e-12)
    theirs = scoringrules.interval_score(float(y), float(low), float(high), missed)
    assert scores.interval_score(y, low, high, missed) == pytest.approx(float(theirs), rel=1e-12)


@pytest.mark.parametrize(
    ("y", "quantile", "level", "expected"), [(10, 8, 0.9, 1.8), (8, 10, 0.9, 0.2), (10, 8, 0.1, 0.2), (3, 3, 0.5, 0)]
)
def test_pinball(y, quantile, level, expected):
    assert scores.pinball(y, quantile, level) == pytest.approx(expected, abs=1e-12)


def test_log_score_and_brier():
    assert scores.log_score_normal(0, 0, 1) == pytest.approx(0.918938533205, abs=1e-12)
    assert scores.brier(1, 0.7) == pytest.approx(0.09, rel=1e-12)


def test_crps_of_student_t():
    """The figure is that of `scoringrules` alone; the integral is scipy's."""
    assert scores.crps_student(0.5, 5, 0, 1) == pytest.approx(0.349645347246, abs=1e-12)
    for freedom, location, scale, y in ((1.5, 0, 1, -3), (3, 2, 0.5, 2.2), (30, -1, 2, 4)):
        theirs = float(scoringrules.crps_t(y, freedom, location, scale))
        assert scores.crps_student(y, freedom, location, scale) == pytest.approx(theirs, rel=1e-10)
    with pytest.raises(ValueError, match="more than one"):
        scores.crps_student(0, 1.0, 0, 1)


def test_crps_from_quantiles_nears_the_closed_form():
    levels = (np.arange(400) + 0.5) / 400
    found = scores.crps_quantiles([0.0, 1.0, 2.0], stats.norm.ppf(levels), levels)
    assert found == pytest.approx(scores.crps_normal([0.0, 1.0, 2.0], 0, 1), abs=2e-3)


def test_inside_counts_the_ends():
    assert scores.inside([1, 2, 3, 4], [1, 3, 1, 1], [2, 4, 3, 2]).tolist() == [True, False, True, False]


@pytest.mark.parametrize("freedom", [1.5, 3.0, 8.0, 200.0])
def test_the_next_sale_without_doubt_about_its_middle_is_student_t(freedom):
    y = np.array([-7.0, -0.3, 0.2, 1.0, 30.0])
    sales = NextSales(freedom, np.full(5, 0.2), np.full(5, 0.5), np.zeros(5))
    assert sales.below(y) == pytest.approx(stats.t.cdf(y, freedom, 0.2, 0.5), abs=1e-12)
    assert sales.log_density(y) == pytest.approx(stats.t.logpdf(y, freedom, 0.2, 0.5), rel=1e-8)
    assert sales.crps(y) == pytest.approx(scores.crps_student(y, freedom, 0.2, 0.5), rel=1e-8)


def test_the_next_sale_with_normal_noise_is_normal():
    sales = NextSales(math.inf, np.zeros(2), np.array([0.3, 0.3]), np.array([0.4, 0.0]))
    y = np.array([0.1, -1.0])
    assert sales.crps(y) == pytest.approx(scores.crps_normal(y, 0, [0.5, 0.3]), rel=1e-12)
    assert sales.below(y) == pytest.approx(stats.norm.cdf(y, 0, [0.5, 0.3]), abs=1e-14)
    assert -sales.log_density(y) == pytest.approx(scores.log_score_normal(y, 0, [0.5, 0.3]), rel=1e-12)


@pytest.mark.parametrize("freedom", [2.5, 5.0])
@pytest.mark.parametrize("sd", [0.1, 3.0])
def test_the_next_sale_against_adaptive_quadrature(freedom, sd):
    """Distribution, density and score of the sum against scipy's integrals of its definition."""

    def below(x):
        return integrate.quad(lambda z: stats.t.cdf(x - sd * z, freedom) * stats.norm.pdf(z), -9, 9, limit=200)[0]

    y = 1.3
    sales = NextSales(freedom, np.zeros(1), np.ones(1), np.array([sd]))
    assert sales.below([y])[0] == pytest.approx(below(y), abs=1e-9)
    density = integrate.quad(lambda z: stats.t.pdf(y - sd * z, freedom) * stats.norm.pdf(z), -9, 9, limit=200)[0]
    assert sales.log_density([y])[0] == pytest.approx(math.log(density), abs=1e-8)
    # Gauss-Legendre in the inverse hyperbolic sine of the distance, which tames the tails.
    points, weights = np.polynomial.legendre.leggauss(40)
    s, w = 8.0 * (points + 1), 8.0 * weights
    far = np.sinh(s)
    score = sum(wi * math.cosh(si) * ((1 - below(y + f)) ** 2 + below(y - f) ** 2)
                for wi, si, f in zip(w, s, far, strict=True))  # fmt: skip
    assert sales.crps([y])[0] == pytest.approx(score, rel=2e-4)


def test_tails_too_heavy_to_score_are_refused():
    with pytest.raises(ValueError, match="degrees of freedom"):
        NextSales(1.0, np.zeros(1), np.ones(1), np.zeros(1))
