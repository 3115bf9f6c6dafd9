"""Walks in the plane: values in print, each with title, edition and place."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad
from scipy.special import hyp2f1

from rules.random_vectors.comparison import probability_less
from rules.random_vectors.random_sum import resultant_cdf, resultant_cdf_many

ERROR = 1e-6
"""What the law promises, in probability."""


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6, 7, 12])
def test_unit_steps_end_inside_the_unit_circle(count: int) -> None:
    """Literature: Kluyver, A local probability problem, Proc. KNAW 8 (1906), p. 341: P(R_n < 1) = 1/(n + 1), n ≥ 2."""
    assert resultant_cdf(1.0, [1.0] * count) == pytest.approx(1 / (count + 1), abs=ERROR)


def _density(radius: float, count: int, step: float = 1e-3) -> float:
    below, above = resultant_cdf_many([radius - step, radius + step], [1.0] * count)
    return float(above - below) / (2 * step)


@pytest.mark.parametrize("x", [0.5, 2.0, 2.5])
def test_density_of_three_unit_steps(x: float) -> None:
    """Literature: OEIS A240946, p₃ = (2√3/π)·x/(3+x²)·₂F₁(1/3, 2/3; 1; x²(9−x²)²/(3+x²)³)."""
    exact = (
        2
        * math.sqrt(3)
        / math.pi
        * x
        / (3 + x * x)
        * float(hyp2f1(1 / 3, 2 / 3, 1, x**2 * (9 - x**2) ** 2 / (3 + x**2) ** 3))
    )
    assert _density(x, 3) == pytest.approx(exact, abs=1e-3)


def test_density_of_four_unit_steps() -> None:
    """Literature: OEIS A244994, p₄(2) = 0.494233709887…; p₄ falls like a root there, so √step is extrapolated."""
    extrapolated = 2 * _density(2.0, 4, 1e-3) - _density(2.0, 4, 4e-3)
    assert extrapolated == pytest.approx(0.4942337098873, abs=5e-4)


def _mean(count: int) -> float:
    """E R = ∫ (1 − F) dr over the support, by adaptive quadrature between the kinks."""
    return sum(
        quad(lambda r: 1 - resultant_cdf(r, [1.0] * count), edge, edge + 1, epsabs=1e-7, limit=200)[0]
        for edge in range(count)
    )


def test_mean_length_of_three_unit_steps() -> None:
    """Literature: OEIS A240946."""
    assert _mean(3) == pytest.approx(1.5745972375518936574946921830765, abs=3e-6)


@pytest.mark.parametrize(("first", "second"), [(1, 2), (2, 3), (3, 2), (3, 4), (5, 2)])
def test_bernardi(first: int, second: int) -> None:
    """Literature: Bernardi, A short proof of Rayleigh's theorem with extensions, arXiv:1007.4870.

    P(R_m > R_n) = m/(m + n) for equal laws of step, m + n ≥ 3.
    """
    less = probability_less([1.0] * second, 0.0, [1.0] * first, 0.0)
    assert less == pytest.approx(first / (first + second), abs=2e-6)
