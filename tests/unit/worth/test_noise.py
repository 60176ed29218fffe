"""The sum of Student-t noise and normal uncertainty against adaptive quadrature."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad

from hangtab.worth.noise import (
    CENTRAL,
    chebyshev,
    log_mean_factor,
    log_normal_mean_factor,
    mean_probabilities,
    noise_below,
    noise_table,
    quantile,
)


def below_by_quadrature(x: float, rho: float, nu: float) -> float:
    f = lambda z: stats.t.cdf(x - rho * z, nu) * stats.norm.pdf(z)  # noqa: E731
    points = sorted({0.0, max(-9.0, min(9.0, x / max(rho, 1e-9)))})
    return quad(f, -9, 9, points=points, limit=400, epsabs=1e-12)[0]


@pytest.mark.parametrize("nu", [1.2, 3.0, 8.0, 60.0])
@pytest.mark.parametrize("rho", [0.0, 0.1, 0.7, 2.0, 9.0])
def test_probabilities_equal_quadrature(nu, rho):
    x = np.array([-3.0, -0.4, 0.0, 1.0, 2.5, 12.0])
    found, _ = noise_below(x, rho, nu)
    assert found == pytest.approx([below_by_quadrature(v, rho, nu) for v in x], abs=1e-8)


@pytest.mark.parametrize("nu", [1.5, 4.0, 30.0])
def test_interpolated_quantiles_invert_the_probability(nu):
    upper = np.array([0.75, 0.9, 0.95, 0.999])
    table = noise_table(nu, upper)
    points = chebyshev()
    between = 0.5 * (points[1:] + points[:-1])
    rho = (between / (1 - between))[[0, 3, 11, 20, 29, 36, 42]]
    for k, p in enumerate(upper):
        q = quantile(table, k, rho)
        for a, r in zip(q, rho, strict=True):
            reached, density = noise_below(np.array([a]), float(r), nu)
            assert abs(reached[0] - p) / density[0] < 1e-6 * (1 + r + a), (p, r)


def test_cut_mean_of_a_normal_equals_its_closed_form():
    table = noise_table(np.inf, mean_probabilities())
    sigma, rho = np.array([0.2, 0.5, 1.0]), np.array([0.0, 1.0, 0.5])
    found, expected = log_mean_factor(table, sigma, rho), log_normal_mean_factor(sigma * np.sqrt(1 + rho**2))
    assert found == pytest.approx(expected, rel=1e-9)
    z = np.linspace(*stats.norm.ppf([0.5 - CENTRAL / 2, 0.5 + CENTRAL / 2]), 200_001)
    by_quadrature = np.trapezoid(np.exp(0.7 * z) * stats.norm.pdf(z), z) / CENTRAL
    assert log_normal_mean_factor(np.array([0.7]))[0] == pytest.approx(np.log(by_quadrature), rel=1e-8)


@pytest.mark.parametrize("sd", [30.0, 100.0, 1e6])
def test_cut_mean_of_what_nobody_knows_is_finite(sd):
    """It lies below the cut end, and nears it as the spread grows."""
    edge = stats.norm.ppf(0.5 + CENTRAL / 2)
    found = log_normal_mean_factor(np.array([sd]))[0]
    assert found < sd * edge
    # Next to the end the integrand is exp((sd - edge) z), so the mean is its value there over sd - edge (Laplace).
    assert found == pytest.approx(
        sd * edge + stats.norm.logpdf(edge) - np.log((sd - edge) * CENTRAL), abs=3 / sd**2 + 1e-3
    )


def test_cut_mean_of_student_noise_equals_quadrature():
    nu, sigma = 3.0, 0.4
    low, high = stats.t.ppf([0.5 - CENTRAL / 2, 0.5 + CENTRAL / 2], nu)
    exact = quad(lambda u: np.exp(sigma * u) * stats.t.pdf(u, nu), low, high, epsabs=1e-12)[0] / CENTRAL
    found = log_mean_factor(noise_table(nu, mean_probabilities()), np.array([sigma]), np.array([0.0]))[0]
    assert found == pytest.approx(np.log(exact), rel=1e-6)
