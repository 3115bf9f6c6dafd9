"""The law of randomly clocked vectors: values in print, each with title, edition and place."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import roots_legendre

from rules.random_vectors.comparison import probability_less
from rules.random_vectors.random_sum import resultant_cdf_many

ERROR = 1e-6


def _moments(count: int, power: float) -> float:
    """E R^power of unit steps, as p·∫ r^(p−1)·(1 − F) dr or, for p < 0, −p·∫ r^(p−1)·F dr to the end and beyond."""
    x, weights = roots_legendre(60)
    total = 0.0
    for edge in range(count):
        # a cube makes the kinks at whole numbers harmless
        u = 0.5 * (x + 1.0)
        radii = edge + u**2 * (3.0 - 2.0 * u)
        law = resultant_cdf_many(radii, [1.0] * count)
        part = radii ** (power - 1.0) * (1.0 - law if power > 0 else -law)
        total += float(np.dot(weights, part * 3.0 * u * (1.0 - u)))
    return power * total + (count**power if power < 0 else 0.0)


@pytest.mark.parametrize(
    ("count", "power", "value", "tolerance"),
    [
        (3, 1, 1.5745972375518936574946921830765, 1e-5),  # OEIS A240946
        (3, -1, 0.8964407887767628642327709, 3e-5),  # OEIS A258104
    ],
)
def test_moments_of_unit_steps(count: int, power: float, value: float, tolerance: float) -> None:
    """Literature: OEIS A240946, mean of three steps, and A258104, mean of the inverse."""
    assert _moments(count, power) == pytest.approx(value, abs=tolerance)


def test_density_of_three_steps_at_its_end() -> None:
    """Literature: OEIS A240946, p₃(3) = √3/(2π), from the inside by differences of growing order."""
    step = 0.01
    one, two, three = (1.0 - resultant_cdf_many(3.0 - step * np.array([1.0, 2.0, 3.0]), [1.0] * 3)) / step
    assert 3.0 * one - 1.5 * two + three / 3.0 == pytest.approx(math.sqrt(3) / (2 * math.pi), abs=1e-4)


def test_density_of_four_steps_at_one() -> None:
    """Literature: OEIS A244995, p₄(1) = 0.32993380106, by a difference of the fourth order."""
    step = 0.02
    outer, inner = (
        float(np.diff(resultant_cdf_many([1.0 - k * step, 1.0 + k * step], [1.0] * 4))[0]) / step for k in (2, 1)
    )
    assert (8.0 * inner - outer) / 12.0 == pytest.approx(0.32993380106, abs=2e-5)


@pytest.mark.parametrize(
    ("a", "b", "c"),
    [
        ([2.0], [1.5, 0.5], [1.0, 1.0, 0.4]),
        ([1.0, 2.0, 0.3], [2.0, 2.0], [1.0, 1.0, 1.0, 0.7]),
        ([3.0, 1.0], [2.0, 0.1], [1.0, 1.0]),
    ],
)
def test_lemma_of_bernardi(a: list[float], b: list[float], c: list[float]) -> None:
    """Literature: Bernardi, A short proof of Rayleigh's theorem with extensions, arXiv:1007.4870.

    P(A > B∘C) + P(B > A∘C) + P(C > A∘B) = 1 for any three sums: P(a > b∘c) is the angle
    that faces a in a triangle of sides a, b, c, over π, and the three add up to π.
    """
    chances = [
        probability_less([*second, *third], 0.0, first, 0.0)
        for first, second, third in ((a, b, c), (b, a, c), (c, a, b))
    ]
    assert math.fsum(chances) == pytest.approx(1.0, abs=3 * ERROR)


@pytest.mark.parametrize(("first", "second"), [(1, 3), (4, 3), (2, 20), (12, 3)])
def test_more_of_bernardi(first: int, second: int) -> None:
    """Literature: Bernardi, A short proof of Rayleigh's theorem with extensions, arXiv:1007.4870.

    P(R_m > R_n) = m/(m + n), also for walks of very unequal length.
    """
    less = probability_less([0.7] * second, 0.0, [0.7] * first, 0.0)
    assert less == pytest.approx(first / (first + second), abs=ERROR)
