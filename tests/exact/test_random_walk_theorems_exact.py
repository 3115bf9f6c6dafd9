"""Walks in the plane: exact mathematics and first principles."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad
from scipy.special import j0, j1
from scipy.stats import rayleigh

from rules.random_vectors.random_sum import gaussian_sigma, resultant_cdf, resultant_quantiles

ERROR = 1e-6
"""What the law promises, in probability."""


@pytest.mark.parametrize(("radius", "probability"), [(0.5, 0.16086125), (1.0, 1 / 3), (1.5, 0.53989309)])
def test_two_equal_vectors(radius: float, probability: float) -> None:
    """First principles: F(r) = (2/π)·asin(r/2)."""
    assert resultant_cdf(radius, [1.0, 1.0]) == pytest.approx(probability, abs=1e-8)
    assert resultant_cdf(radius, [1.0, 1.0]) == pytest.approx(2 / math.pi * math.asin(radius / 2), abs=1e-12)


@pytest.mark.parametrize(("radius", "probability"), [(5.0, 0.5), (6.0, 0.651553)])
def test_two_vectors_of_three_and_four(radius: float, probability: float) -> None:
    """First principles: P(R < r) = acos((a² + b² − r²)/(2ab))/π."""
    assert resultant_cdf(radius, [3.0, 4.0]) == pytest.approx(probability, abs=ERROR)


@pytest.mark.parametrize(("count", "quantile"), [(2, 1.993835), (3, 2.821362), (4, 3.382292), (5, 3.790529)])
def test_95_percent_of_unit_steps(count: int, quantile: float) -> None:
    """First principles: exact 95 % points; the Rayleigh rule √(n·ln 20) lies above, for two beyond the possible."""
    (found,) = resultant_quantiles([0.95], [1.0] * count)
    assert found == pytest.approx(quantile, abs=5e-6)
    assert found < math.sqrt(count * math.log(20))


@pytest.mark.parametrize(
    ("count", "power", "moment"),
    [(2, 1, 4 / math.pi), (2, 2, 2.0), (2, 4, 6.0), (3, 2, 3.0), (3, 4, 15.0), (4, 2, 4.0), (4, 4, 28.0)],
)
def test_moments_of_unit_steps(count: int, power: int, moment: float) -> None:
    """First principles: E R² = n and E R⁴ = 2n² − n, from cross terms whose mean is 0; E R₂ = 4/π by integration."""
    found = sum(
        quad(
            lambda r: power * r ** (power - 1) * (1 - resultant_cdf(r, [1.0] * count)),
            edge,
            edge + 1,
            epsabs=1e-7,
            limit=200,
        )[0]
        for edge in range(count)
    )
    assert found == pytest.approx(moment, abs=1e-5 if power <= 2 else 1e-4)


def test_mean_of_four_unit_steps() -> None:
    """First principles: Kluyver's E R₄ = 4·∫ J₁·J₀³ dx/x by another quadrature, 1.799092."""
    tail_free = 4 * quad(lambda x: j1(x) * j0(x) ** 3 / x, 0, 400, limit=2000)[0]
    assert tail_free == pytest.approx(1.799092, abs=2e-5)
    found = sum(
        quad(lambda r: 1 - resultant_cdf(r, [1.0] * 4), edge, edge + 1, epsabs=1e-7, limit=200)[0] for edge in range(4)
    )
    assert found == pytest.approx(tail_free, abs=2e-5)


@pytest.mark.parametrize(
    ("probability", "quantile"), [(0.5, 1.177410), (0.9, 2.145966), (0.95, 2.447747), (0.99, 3.034854)]
)
def test_rayleigh_quantiles(probability: float, quantile: float) -> None:
    """First principles: Rayleigh quantile σ·√(−2·ln(1 − p)); scipy.stats agrees."""
    (found,) = resultant_quantiles([probability], [], 1.0)
    assert found == pytest.approx(quantile, abs=1e-6)
    assert found == pytest.approx(float(rayleigh.ppf(probability)), rel=1e-9)


def test_capability_of_95_percent() -> None:
    """First principles: σ = a/2.4477 keeps 95 % within a, and several add as the root of their squares."""
    sigmas = [gaussian_sigma(limit) for limit in (3.0, 2.0, 1.5)]
    (found,) = resultant_quantiles([0.95], [], math.hypot(*sigmas))
    assert found == pytest.approx(math.hypot(3.0, 2.0, 1.5), rel=1e-9)
