"""The law of randomly clocked vectors against theorems, published constants and frozen quadrature."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import hyp2f1
from scipy.stats import rayleigh, rice

from rules.random_vectors.comparison import probability_less
from rules.random_vectors.random_sum import gaussian_sigma, resultant_cdf, resultant_cdf_many, resultant_quantiles

ERROR = 1e-6
"""What the law promises, in probability."""


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6, 7, 12])
def test_unit_steps_end_inside_the_unit_circle(count: int) -> None:
    """Literature: Rayleigh and Kluyver (1906), P(R_n < 1) = 1/(n + 1) for n ≥ 2 unit steps."""
    assert resultant_cdf(1.0, [1.0] * count) == pytest.approx(1 / (count + 1), abs=ERROR)


@pytest.mark.parametrize(("radius", "probability"), [(0.5, 0.16086125), (1.0, 1 / 3), (1.5, 0.53989309)])
def test_two_equal_vectors(radius: float, probability: float) -> None:
    """First principles: F(r) = (2/π)·asin(r/2)."""
    assert resultant_cdf(radius, [1.0, 1.0]) == pytest.approx(probability, abs=1e-8)
    assert resultant_cdf(radius, [1.0, 1.0]) == pytest.approx(2 / math.pi * math.asin(radius / 2), abs=1e-12)


@pytest.mark.parametrize(("radius", "probability"), [(5.0, 0.5), (6.0, 0.651553)])
def test_two_vectors_of_three_and_four(radius: float, probability: float) -> None:
    """First principles: P(R < r) = acos((a² + b² − r²)/(2ab))/π."""
    assert resultant_cdf(radius, [3.0, 4.0]) == pytest.approx(probability, abs=ERROR)


@pytest.mark.parametrize(
    ("radius", "probability"), [(2, 0.14554), (4, 0.48486), (5, 0.65297), (7, 0.90232), (9, 0.99513)]
)
def test_five_unequal_vectors(radius: float, probability: float) -> None:
    """First principles: a = 3, 2, 2.5, 1, 1.2; the series, and 2·10⁶ random draws within 0.001, agreed."""
    assert resultant_cdf(radius, [3, 2, 2.5, 1, 1.2]) == pytest.approx(probability, abs=6e-6)


@pytest.mark.parametrize(("radius", "probability"), [(4, 0.42990), (7, 0.84464)])
def test_five_vectors_and_a_gaussian(radius: float, probability: float) -> None:
    """First principles: the same with a plane Gaussian of σ = 1.5 per axis."""
    assert resultant_cdf(radius, [3, 2, 2.5, 1, 1.2], 1.5) == pytest.approx(probability, abs=6e-6)


@pytest.mark.parametrize(("radius", "probability"), [(2, 0.176564), (4, 0.574682), (6, 0.907527)])
def test_four_unequal_vectors(radius: float, probability: float) -> None:
    """First principles: a = 3, 2, 1.5, 1; Kluyver's integral by mpmath quadrature, frozen."""
    assert resultant_cdf(radius, [3, 2, 1.5, 1]) == pytest.approx(probability, abs=1.5e-6)


@pytest.mark.parametrize(
    ("count", "values"),
    [
        (3, {0.5: 0.04806278, 1.5: 0.51167949, 2: 0.69609664, 2.5: 0.85587479, 3: 1.0}),
        (4, {0.5: 0.0625144, 1.5: 0.3878745, 2: 0.6163953, 2.5: 0.7822856, 3: 0.8912748, 4: 1.0}),
        (5, {0.5: 0.0413458, 1.5: 0.3435152, 2: 0.5247982, 2.5: 0.6947811, 3: 0.8350507, 4: 0.9670794}),
        (6, {2: 0.4678275, 3: 0.7672190, 4: 0.9375549}),
    ],
)
def test_table_of_unit_steps(count: int, values: dict[float, float]) -> None:
    """First principles: distribution of three to six unit steps, two independent methods within 1e-7."""
    found = resultant_cdf_many(list(values), [1.0] * count)
    assert found == pytest.approx(list(values.values()), abs=ERROR)


@pytest.mark.parametrize(("count", "quantile"), [(2, 1.993835), (3, 2.821362), (4, 3.382292), (5, 3.790529)])
def test_95_percent_of_unit_steps(count: int, quantile: float) -> None:
    """First principles: exact 95 % points; the Rayleigh rule √(n·ln 20) lies above, for two beyond the possible."""
    (found,) = resultant_quantiles([0.95], [1.0] * count)
    assert found == pytest.approx(quantile, abs=5e-6)
    assert found < math.sqrt(count * math.log(20))


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


@pytest.mark.parametrize(
    ("count", "mean"), [(2, 4 / math.pi), (3, 1.5745972375518936574946921830765), (4, 1.799092479836)]
)
def test_mean_length_of_unit_steps(count: int, mean: float) -> None:
    """Literature: OEIS A240946 for three steps; 4/π for two; the value for four computed twice."""
    assert _mean(count) == pytest.approx(mean, abs=3e-6)


@pytest.mark.parametrize("count", [3, 4])
def test_mean_square_is_the_number_of_steps(count: int) -> None:
    """First principles: E R² = n."""
    square = sum(
        quad(lambda r: 2 * r * (1 - resultant_cdf(r, [1.0] * count)), edge, edge + 1, epsabs=1e-7, limit=200)[0]
        for edge in range(count)
    )
    assert square == pytest.approx(count, abs=1e-5)


@pytest.mark.parametrize(("first", "second"), [(1, 2), (2, 3), (3, 2), (3, 4), (5, 2)])
def test_bernardi(first: int, second: int) -> None:
    """Literature: Bernardi, arXiv:1007.4870: P(R_m > R_n) = m/(m + n) for equal laws of step, m + n ≥ 3."""
    less = probability_less([1.0] * second, 0.0, [1.0] * first, 0.0)
    assert less == pytest.approx(first / (first + second), abs=2e-6)


@pytest.mark.parametrize(
    ("probability", "quantile"), [(0.5, 1.177410), (0.9, 2.145966), (0.95, 2.447747), (0.99, 3.034854)]
)
def test_rayleigh_quantiles(probability: float, quantile: float) -> None:
    """Literature: Rayleigh quantile σ·√(−2·ln(1 − p)); scipy.stats agrees."""
    (found,) = resultant_quantiles([probability], [], 1.0)
    assert found == pytest.approx(quantile, abs=1e-6)
    assert found == pytest.approx(float(rayleigh.ppf(probability)), rel=1e-9)


def test_capability_of_95_percent() -> None:
    """First principles: σ = a/2.4477 keeps 95 % within a, and several add as the root of their squares."""
    sigmas = [gaussian_sigma(limit) for limit in (3.0, 2.0, 1.5)]
    (found,) = resultant_quantiles([0.95], [], math.hypot(*sigmas))
    assert found == pytest.approx(math.hypot(3.0, 2.0, 1.5), rel=1e-9)


@pytest.mark.parametrize("radius", [0.5, 2.0, 3.0, 4.5, 8.0])
def test_one_vector_and_a_gaussian_is_rice(radius: float) -> None:
    """Literature: Rice distribution by scipy.stats."""
    assert resultant_cdf(radius, [3.0], 1.2) == pytest.approx(float(rice.cdf(radius, 3.0 / 1.2, scale=1.2)), abs=ERROR)


def test_seeded_draws_agree() -> None:
    """First principles: ten million seeded draws of six unequal vectors, within three standard errors."""
    amplitudes = [4.0, 3.0, 1.0, 0.5, 0.25, 6.0]
    rng = np.random.default_rng(20_240_501)
    radii, counts, draws = np.array([2.0, 5.0, 8.0, 11.0]), np.zeros(4), 0
    for _ in range(20):
        angles = rng.uniform(0, 2 * np.pi, (500_000, len(amplitudes)))
        reached = np.abs((np.exp(1j * angles) * amplitudes).sum(axis=1))
        counts += (reached[:, None] <= radii).sum(axis=0)
        draws += reached.size
    exact = resultant_cdf_many(radii, amplitudes)
    spread = np.sqrt(exact * (1 - exact) / draws)
    assert np.all(np.abs(counts / draws - exact) < 3.5 * spread)
