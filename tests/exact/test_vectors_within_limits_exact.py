"""Vectors that are anywhere up to a limit: exact mathematics and first principles."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from rules.random_vectors.comparison import chance_of_less_than
from rules.random_vectors.random_sum import RandomClocking, resultant_cdf
from tests.oracles.random_vectors.law import overlap

LEVELS = (0.0, 0.25, 0.5, 0.95, 1.0)


def test_one_vector_up_to_its_limit() -> None:
    """First principles: F = (r/a)², so the median is a/√2, below the limit."""
    law = RandomClocking([], discs=[3.0])
    assert law.cdf([-1.0, 0.0, 1.5, 3.0, 4.0]) == pytest.approx([0.0, 0.0, 0.25, 1.0, 1.0], abs=1e-15)
    assert law.quantiles(LEVELS) == pytest.approx([3.0 * math.sqrt(p) for p in LEVELS], rel=1e-15)


@pytest.mark.parametrize("ratio", [0.1, 0.5, 1.0, 1.5, 1.9])
def test_two_equal_discs(ratio: float) -> None:
    """First principles: F = 1 + (2/π)(ρ² − 1)·acos(ρ/2) − (ρ/π)(1 + ρ²/2)·√(1 − ρ²/4)."""
    half = math.sqrt(1.0 - ratio**2 / 4.0)
    expected = (
        1.0
        + 2.0 / math.pi * (ratio**2 - 1.0) * math.acos(ratio / 2.0)
        - ratio / math.pi * (1.0 + ratio**2 / 2.0) * half
    )
    assert resultant_cdf(2.5 * ratio, [], discs=[2.5, 2.5]) == pytest.approx(expected, abs=1e-12)


def test_two_equal_discs_at_their_radius_and_in_the_mean() -> None:
    """First principles: F(a) = 1 − 3√3/(4π), E R = 128a/(45π)."""
    law = RandomClocking([], discs=[1.0, 1.0])
    assert law.probability(1.0) == pytest.approx(1.0 - 3.0 * math.sqrt(3.0) / (4.0 * math.pi), abs=1e-12)
    mean = quad(lambda r: 1.0 - law.probability(r), 0.0, 2.0, epsabs=1e-9, limit=200)[0]
    assert mean == pytest.approx(128.0 / (45.0 * math.pi), abs=1e-7)


@pytest.mark.parametrize(("radius", "probability"), [(3.0, 0.1568692), (5.0, 0.3910022), (8.0, 0.8091289)])
def test_a_disc_and_a_ring(radius: float, probability: float) -> None:
    """First principles: the overlap of the circles r and a at the distance b, over π·a²."""
    assert RandomClocking([5.0], discs=[5.0]).probability(radius) == pytest.approx(probability, abs=5e-8)


@pytest.mark.parametrize(
    ("first", "second", "apart", "share"),
    [(1.0, 2.0, 0.5, 0.25), (2.0, 1.0, 0.5, 1.0), (1.0, 1.0, 2.0, 0.0), (1.0, 1.0, 0.0, 1.0), (0.0, 1.0, 0.3, 0.0)],
)
def test_overlap_of_circles_inside_and_apart(first: float, second: float, apart: float, share: float) -> None:
    """First principles: all of the smaller circle, or nothing."""
    assert overlap(first, second, apart) == pytest.approx(share, abs=1e-15)


def test_overlap_of_circles_that_nearly_touch() -> None:
    """First principles: of a distance 2 − δ two unit circles share (4/3)·δ^(3/2)/π to first order."""
    for gap in (1e-4, 1e-6, 1e-8):
        assert overlap(1.0, 1.0, 2.0 - gap) == pytest.approx(4.0 / 3.0 * gap**1.5 / math.pi, rel=max(gap, 1e-6))


@pytest.mark.parametrize(
    ("rings", "sigma", "discs", "bands"),
    [
        ([], 0.0, [3.0, 2.0, 2.5, 1.0, 1.2], []),
        ([2.5, 1.0], 0.6, [3.0, 2.0], []),
        ([10.0], 0.0, [1.0, 1.0, 1.0], []),
        ([1.0], 0.0, [2.0], [(0.5, 3.0)]),
        ([], 0.0, [1e4, 1.0, 0.5], []),
    ],
)
def test_the_mean_square_is_the_sum_of_the_parts(
    rings: list[float], sigma: float, discs: list[float], bands: list[tuple[float, float]]
) -> None:
    """First principles: E r² is a² of a ring, a²/2 of a disc, (a² + ab + b²)/3 of a band, 2σ² of the Gaussian."""
    law = RandomClocking(rings, sigma, discs, bands)
    expected = sum(a * a for a in rings) + sum(a * a for a in discs) / 2.0 + 2.0 * sigma**2
    expected += sum((a * a + a * b + b * b) / 3.0 for b, a in bands)
    reach = law.greatest + 8.0 * sigma
    edges = np.linspace(0.0, reach, 4001)
    above = 1.0 - law.cdf(0.5 * (edges[1:] + edges[:-1]))
    found = float(np.sum(above * (edges[1:] ** 2 - edges[:-1] ** 2)))
    assert found == pytest.approx(expected, rel=2e-5)


@pytest.mark.parametrize(("radius", "exact", "formula"), [(1.0, 0.8646640, 0.8646647), (0.5, 0.389635, 0.389679)])
def test_many_discs_are_nearly_gaussian(radius: float, exact: float, formula: float) -> None:
    """First principles: F ≈ 1 − e^(−u)·[1 + (Σκ/2m₂²)(u²/2 − u)], u = r²/m₂, κ = −a⁴/6 for a disc."""
    law = RandomClocking([], discs=[1.0] * 20)
    r = radius * math.sqrt(20.0)
    mean_square, kappa = 10.0, -20.0 / 6.0
    u = r * r / mean_square
    first_order = 1.0 - math.exp(-u) * (1.0 + kappa / (2.0 * mean_square**2) * (u * u / 2.0 - u))
    assert first_order == pytest.approx(formula, abs=1e-6)
    assert law.probability(r) == pytest.approx(exact, abs=1e-6)


@pytest.mark.parametrize(("more", "fewer"), [(3, 2), (5, 3), (3, 1), (2, 1), (7, 4)])
def test_equal_steps_against_fewer(more: int, fewer: int) -> None:
    """Literature: P(R_m > R_n) = m/(m+n) for equal steps of any one law, m + n ≥ 3 (Bernardi, arXiv 1007.4870)."""
    first, second = RandomClocking([], discs=[1.0] * more), RandomClocking([], discs=[1.0] * fewer)
    assert chance_of_less_than(first, second) == pytest.approx(fewer / (more + fewer), abs=1e-6)


@pytest.mark.parametrize(("low", "high"), [(0.0, 5.0), (3.5, 17.0)])
def test_one_band(low: float, high: float) -> None:
    """First principles: a size that is uniform between two bounds."""
    law = RandomClocking([], bands=[(low, high)])
    assert law.quantiles((0.0, 0.3, 1.0)) == pytest.approx([low, low + 0.3 * (high - low), high])
    assert law.cdf([low + 0.3 * (high - low)]) == pytest.approx([0.3])
