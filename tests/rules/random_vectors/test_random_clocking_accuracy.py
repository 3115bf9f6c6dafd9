"""The accuracy of 1e-6: two computations compared, and one with seeded samples."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import hankel1e, ndtr, roots_legendre
from scipy.stats import rice

from rules.random_vectors.random_sum import (
    best_clocking,
    resultant_cdf,
    resultant_cdf_many,
    resultant_quantiles,
    worst_case,
)
from tests.oracles.random_vectors.law import (
    AddedVectorLaw,
    GaussianLaw,
    ResultantLaw,
    TwoVectorLaw,
    resultant_law,
    table_of,
    tabulate,
)
from tests.oracles.random_vectors.series import (
    MOST_TERMS,
    SeriesLaw,
    SeriesLength,
    least_position,
    series_law,
    series_length,
)
from tests.oracles.random_vectors.series_rest import DEEP, SHALLOW, _higher_orders, end_of_sum, tail_sum

FloatArray = NDArray[np.float64]

ERROR = 1e-6
LEVELS = [1e-4, 0.01, 0.05, 0.2, 0.5, 0.8, 0.95, 0.99, 0.9999]

BALANCED = [
    [1.0, 1.0, 1.0],
    [3.0, 2.0, 1.0],
    [1.0] * 4,
    [2.0, 2.0, 1.0, 1.0],
    [3.0, 2.0, 2.5, 1.0, 1.2],
    [1.0] * 5,
    [3.0, 2.0, 1.5, 1.0, 0.6, 0.3],
    [1.0] * 6,
    [3.0, 3.0, 2.0, 1.0, 0.5, 0.3, 0.2, 0.1],
    [6.0, 6.0, 6.0, 6.0, 2.0, 2.0, 1.0],
    [1.0] * 20,
]
LOPSIDED = [
    [10.0, 3.0, 2.0],
    [17.0, 3.0, 2.0, 1.5],
    [1.5, 1.5, 1.0, 0.01],
    [5.0, 1.0, 0.1, 0.01],
    [100.0, 2.0, 1.5, 0.5, 3.0],
    [0.8, 0.09, 0.05, 0.04, 0.02],
    [1.0, 1.0, 1e-3],
    [30.0, 10.0, 3.0, 1.0, 0.3, 0.1, 0.03, 0.01],
]
EXTREME = [
    [1e3, 1e3, 1e-3],
    [1e3, 1.0, 1e-3],
    [1e3] + [1e-3] * 10,
    [1e3, 1e3] + [1e-3] * 8,
    [1e3, 1e3, 1e3] + [1e-3] * 5,
    [1e3, 10.0, 0.1, 1e-3],
]


def _circle_through(amplitudes: Sequence[float], radius: float) -> list[float]:
    """Angles at which a pair of vectors has the resultant |r − c| or r + c: kinks of the inner law."""
    a, b, c = amplitudes
    found = [0.0, math.pi]
    for reach in (abs(radius - c), radius + c):
        cosine = (reach * reach - a * a - b * b) / (2 * a * b)
        if -1.0 < cosine < 1.0:
            found.append(math.acos(cosine))
    return sorted(found)


def _three_by_angle(amplitudes: Sequence[float], radius: float) -> float:
    """Average the closed law of two vectors over the angle between the first two of three."""
    a, b, c = amplitudes
    x, weights = roots_legendre(200)
    total = 0.0
    edges = _circle_through(amplitudes, radius)
    for low, high in pairwise(edges):
        # the cube of a sine makes roots and logarithms at either end harmless
        smooth = 0.5 * np.pi * x
        theta = low + (high - low) * (0.5 + 0.75 * (np.sin(smooth) - np.sin(smooth) ** 3 / 3))
        stretch = (high - low) * 0.75 * np.cos(smooth) ** 3 * 0.5 * np.pi
        pair = np.sqrt(np.maximum(a * a + b * b + 2 * a * b * np.cos(theta), 1e-300))
        cosine = np.clip((pair**2 + c * c - radius**2) / (2 * pair * c), -1.0, 1.0)
        total += float(np.dot(weights, np.arccos(cosine) / np.pi * stretch))
    return total / math.pi


@pytest.mark.parametrize(
    "amplitudes", [[1.0, 1.0, 1.0], [3.0, 2.0, 1.0], [10.0, 3.0, 2.0], [2.0, 1.0, 1.0], [1.0, 1.0, 0.05]]
)
def test_three_vectors_against_the_average_over_an_angle(amplitudes: list[float]) -> None:
    """First principles: condition on one angle and use the cosine rule for the other."""
    low, high = best_clocking(amplitudes), worst_case(amplitudes)
    radii = low + (high - low) * np.array([0.003, 0.03, 0.1, 0.27, 0.5, 0.71, 0.9, 0.99, 0.9999])
    expected = [_three_by_angle(amplitudes, float(r)) for r in radii]
    assert resultant_cdf_many(radii, amplitudes) == pytest.approx(np.array(expected), abs=ERROR)


def _kinks(amplitudes: Sequence[float]) -> FloatArray:
    """All |± a₁ ± … ± aₙ| of a short stack: where the law has its kinks."""
    signs = np.stack(np.meshgrid(*[[-1.0, 1.0]] * len(amplitudes))).reshape(len(amplitudes), -1)
    return np.unique(np.abs(np.array(amplitudes) @ signs))


def _probe(amplitudes: Sequence[float], sigma: float = 0.0) -> FloatArray:
    """Radii all over the support, close to its ends, on the kinks of the law and just beside them."""
    low, high = best_clocking(amplitudes) if sigma == 0 else 0.0, worst_case(amplitudes) + 8 * sigma
    spread = low + (high - low) * np.concatenate((np.linspace(0.005, 0.995, 37), [1e-4, 1e-3, 0.999, 0.9999]))
    if len(amplitudes) > 6:
        return spread
    kinks = _kinks(amplitudes)
    near = np.concatenate((kinks, kinks * (1 - 1e-4), kinks * (1 + 1e-4)))
    return np.concatenate((spread, near[(near > low) & (near < high)]))


def _largest_added(amplitudes: Sequence[float], sigma: float = 0.0) -> AddedVectorLaw:
    """The law by the route for lopsided stacks, whatever the stack."""
    ordered = sorted(amplitudes, reverse=True)
    rest = table_of(resultant_law(ordered[1:], sigma))
    largest = ordered[0]
    return AddedVectorLaw(largest, rest, max(0.0, largest - rest.edges[-1]), largest + float(rest.edges[-1]))


def test_an_added_vector_ends_with_its_support() -> None:
    """First principles: 5 and 2 and 1 at any angle lie between 2 and 8, and nowhere else."""
    law = _largest_added([5.0, 2.0, 1.0])
    found = law.cdf(np.array([0.0, 1.0, 2.0, 8.0 * (1 + 1e-9), 100.0]))
    assert found.tolist() == [0.0, 0.0, 0.0, 1.0, 1.0]


def test_a_dwarfed_rest_leaves_a_ring() -> None:
    """First principles: 1000 with 1 and a Gaussian of 0.001 lies between 999 and 1001, but for the Gaussian's tail."""
    law = resultant_law([1000.0, 1.0], 0.001)
    assert isinstance(law, AddedVectorLaw)
    assert (law.lower, law.upper) == pytest.approx((999.0, 1001.0), abs=0.01)


@pytest.mark.parametrize("amplitudes", BALANCED + LOPSIDED)
def test_series_against_the_largest_vector_added_to_the_rest(amplitudes: list[float]) -> None:
    """First principles: Fourier and Bessel on one side, Green's theorem on the other."""
    parts = np.array(amplitudes) / sum(amplitudes)
    radii = _probe(parts.tolist())
    assert isinstance(resultant_law(parts.tolist(), 0.0), SeriesLaw)
    assert resultant_law(parts.tolist(), 0.0).cdf(radii) == pytest.approx(
        _largest_added(parts.tolist()).cdf(radii), abs=ERROR
    )


@pytest.mark.parametrize(
    ("amplitudes", "sigma"),
    [([2.0], 0.02), ([2.0], 3.0), ([1.0, 0.6], 0.01), ([3.0, 2.0, 2.5, 1.0, 1.2], 1.5), ([9.0, 1.0, 0.1], 0.05)],
)
def test_series_with_a_gaussian_against_the_largest_vector_added(amplitudes: list[float], sigma: float) -> None:
    """First principles: the same two routes with a plane Gaussian among the rest."""
    radii = _probe(amplitudes, sigma)
    law = resultant_law(amplitudes, sigma)
    assert isinstance(law, SeriesLaw)
    assert law.cdf(radii) == pytest.approx(_largest_added(amplitudes, sigma).cdf(radii), abs=ERROR)


@pytest.mark.parametrize(
    ("amplitudes", "terms", "low", "high", "error"),
    [
        ([1.0, 1.0, 1.0, 1.0], 96, 0.05, 1.0, 2e-8),
        ([3.0, 2.0, 1.0], 192, 0.05, 1.0, 1e-8),
        ([3.0, 2.0, 2.5, 1.0, 1.2], 96, 0.05, 1.0, 1e-8),
        ([4.0, 3.0, 2.0, 1.0, 0.3, 0.2], 192, 0.05, 1.0, 2e-9),
        ([3.0, 2.0, 2.5, 1.0, 1.2], 2048, 0.05, 1.0, 1e-10),
        ([0.6, 0.37, 0.02, 0.01], 256, 0.05, 1.0, 6e-9),  # a_i·T down to 8
        ([3.0, 2.0, 1.0], 1024, 0.003, 0.01, 1e-10),  # r·T down to 10
    ],
)
def test_what_further_terms_add_is_what_the_tail_says(
    amplitudes: list[float], terms: int, low: float, high: float, error: float
) -> None:
    """First principles: the terms up to 16384 added one by one against the closed form of their sum."""
    parts = np.array(amplitudes) / sum(amplitudes)
    law = series_law(parts.tolist(), 0.0, 0.0, 1.0, MOST_TERMS)
    assert law is not None
    while law.terms < MOST_TERMS:
        law = law.longer
    radii = np.linspace(low, high, 50)
    known = law.rest(radii, terms)[0] - law.rest(radii, law.terms)[0]
    said = tail_sum(radii, parts, end_of_sum(terms))[0] - tail_sum(radii, parts, end_of_sum(law.terms))[0]
    assert np.max(np.abs(said - known)) < error


@pytest.mark.parametrize("amplitudes", BALANCED[:8] + LOPSIDED[:7])
def test_four_times_the_terms_change_nothing(amplitudes: list[float]) -> None:
    """First principles: where a series says that its terms are enough, more of them change less than 2e-7."""
    parts = np.array(amplitudes) / sum(amplitudes)
    law = resultant_law(parts.tolist(), 0.0)
    assert isinstance(law, SeriesLaw)
    low = max(law.least, law.lower)
    radii = low + (1.0 - low) * np.concatenate((np.geomspace(1e-6, 0.2, 40), np.linspace(0.2, 1.0, 40)))
    assert law.longer.orders == law.orders > 0
    assert law.cdf(radii) == pytest.approx(law.longer.cdf(radii), abs=2e-7)


@pytest.mark.parametrize("amplitudes", [[1.0, 1.0, 1.0], [3.0, 2.0, 1.5, 1.0], [3.0, 2.0, 2.5, 1.0, 1.2], [1.0] * 6])
def test_slope_of_the_tail(amplitudes: list[float]) -> None:
    """First principles: the slope given with the tail is its difference quotient, to leading order."""
    parts = np.array(amplitudes) / sum(amplitudes)
    radii, step = np.linspace(0.3, 0.95, 25), 1e-6
    end = end_of_sum(128)
    up, down = (tail_sum(radii + move, parts, end)[0] for move in (step, -step))
    quotient = (up - down) / (2 * step)
    slope = tail_sum(radii, parts, end)[1]
    assert np.max(np.abs(slope - quotient)) < 0.05 * np.max(np.abs(quotient))


def test_orders_of_the_tail_agree_where_both_hold() -> None:
    """First principles: two more orders in 1/T change little once a_i·T is large, down to r·T of 13.

    Half of the vectors against the other half leave nothing, so small radii have a tail worth seeing.
    """
    parts, radii = np.array([0.5, 0.3, 0.2]), np.linspace(0.008, 1.0, 60)
    shallow, deep = (tail_sum(radii, parts, end_of_sum(512), orders)[0] for orders in (SHALLOW, DEEP))
    assert np.max(np.abs(shallow - deep)) < 1e-8


@pytest.mark.parametrize("signs", [(1.0, 1.0, 1.0), (1.0, -1.0, 1.0), (-1.0, -1.0, -1.0)])
def test_higher_orders_against_hankel_functions(signs: tuple[float, float, float]) -> None:
    """Literature: Hankel functions by scipy: their product over its leading term, to the fifth order in 1/T."""
    phases, y = np.array([10.0, 14.0, 21.0]), 12.0
    exact = hankel1e(1, y) * np.sqrt(np.pi * y / 2) * np.exp(0.75j * np.pi)
    for x, sign in zip(phases, signs, strict=True):
        scaled = hankel1e(0, x) * np.sqrt(np.pi * x / 2) * np.exp(0.25j * np.pi)
        exact = exact * (scaled if sign > 0 else scaled.conjugate())
    inverse, pattern = 1.0 / phases, np.array([signs])
    e1 = np.array([[0.375 / y]]) + pattern @ (-0.125 * inverse)
    c2, c3, c4 = _higher_orders(e1, np.array([[1.0 / y]]), inverse[None], pattern.T)
    series = (1.0 + 1j * e1 - c2 - 1j * c3 + c4)[0, 0]
    assert abs(series - exact) < 6e-6


@pytest.mark.parametrize(
    ("amplitudes", "orders"), [([1.0] * 20, 0), ([1.0] * 4, SHALLOW), ([60.0, 1.0, 0.3, 0.1], DEEP)]
)
def test_length_of_the_series(amplitudes: list[float], orders: int) -> None:
    """First principles: many vectors need no tail, few need one, lopsided ones a finer one."""
    parts = [a / sum(amplitudes) for a in amplitudes]
    length = series_length(parts, 0.0)
    assert length.orders == orders
    assert length.terms <= 1200
    least = least_position(parts, length)
    assert (least == 0.0) == (orders == 0)
    assert least < 0.2
    assert least_position(parts, SeriesLength(4 * length.terms, orders)) <= least


@pytest.mark.parametrize("law", [TwoVectorLaw(1.0, 0.7), TwoVectorLaw(1.0, 1.0), GaussianLaw(0.3)])
def test_a_table_repeats_its_law(law: TwoVectorLaw | GaussianLaw) -> None:
    """First principles: piecewise polynomials to the tolerance asked for, the ends exact."""
    table = tabulate(law.cdf, law.lower, law.upper, 1e-8)
    radii = np.linspace(law.lower, law.upper, 3001)
    assert np.max(np.abs(table.cdf(radii) - law.cdf(radii))) < 1e-5  # a root's first steps
    inner = radii[50:-50]
    assert np.max(np.abs(table.cdf(inner) - law.cdf(inner))) < 1e-7
    assert table.cdf(np.array([law.lower - 1e-9, law.upper])).tolist() == [0.0, 1.0]


def test_a_table_is_not_taken_in_by_a_coefficient_that_happens_to_vanish() -> None:
    """Golden: at a kink one high coefficient may be small by chance, so the table looks at several."""
    law = resultant_law([0.08881797, 0.0512, 0.03662427, 0.0243835], 0.0)
    table = table_of(law)
    radii = np.linspace(law.lower, law.upper, 2001)
    assert np.max(np.abs(table.cdf(radii) - law.cdf(radii))) < ERROR


@pytest.mark.parametrize("ratio", [1e-6, 1e-4, 1e-2, 0.3, 1.0, 10.0])
def test_one_vector_and_a_gaussian(ratio: float) -> None:
    """Literature: Rice (1944), by scipy where its argument is moderate, else its normal limit."""
    radii = 1.0 + ratio * np.array([-4.0, -1.0, -0.1, 0.0, 0.5, 2.0, 4.0])
    radii = radii[radii > 0.0]
    found = resultant_cdf_many(radii, [1.0], ratio)
    if ratio < 1e-3:
        # E R exceeds a by σ²/(2a), the next order beside the normal law
        expected = ndtr((radii - 1.0) / ratio - 0.5 * ratio)
        assert found == pytest.approx(expected, abs=ERROR)
    else:
        assert found == pytest.approx(rice.cdf(radii, 1.0 / ratio, scale=ratio), abs=ERROR)


def test_a_large_vector_with_tiny_ones_moves_by_their_projection() -> None:
    """First principles: |a + b| is a plus the projection of b: the law of one coordinate of two small ones.

    The coordinate cos θ₁ + cos θ₂ is symmetric, so its median is 0, and P(|x| < 1e-3·u) follows from the
    arc sine law of the resultant of two.
    """
    big, small = 1e3, 1e-3
    radii = big + small * np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    x, weights = roots_legendre(400)
    angle = 0.5 * np.pi * (x + 1.0)  # of the first vector
    inside = [
        float(np.dot(weights, np.arccos(np.clip(-(u - np.cos(angle)), -1.0, 1.0)))) / (2 * np.pi)
        for u in (-2.0, -1.0, 0.0, 1.0, 2.0)
    ]
    assert resultant_cdf_many(radii, [small, big, small]) == pytest.approx(np.array(inside), abs=2e-5)
    assert resultant_quantiles([0.5], [small, big, small])[0] == pytest.approx(big, abs=1e-8)


@pytest.mark.parametrize("amplitudes", BALANCED + LOPSIDED + EXTREME)
def test_the_quantile_meets_its_probability(amplitudes: list[float]) -> None:
    """First principles: |P(R ≤ r_p) − p| < 1e-6; where the law is a near step, within a rounding of r."""
    radii = resultant_quantiles(LEVELS, amplitudes)
    slack = 4e-16 * worst_case(amplitudes)
    below, above = (resultant_cdf_many(radii + move, amplitudes) for move in (-slack, slack))
    assert np.all(below < np.array(LEVELS) + ERROR)
    assert np.all(above > np.array(LEVELS) - ERROR)


def _draws(amplitudes: Sequence[float], sigma: float, count: int) -> FloatArray:
    rng = np.random.default_rng(20_240_229)
    total = np.zeros(count, dtype=np.complex128)
    for amplitude in amplitudes:
        total += amplitude * np.exp(2j * np.pi * rng.random(count))
    if sigma:
        total += sigma * (rng.standard_normal(count) + 1j * rng.standard_normal(count))
    return np.sort(np.abs(total))


def _largest_gap(amplitudes: Sequence[float], sigma: float, count: int) -> float:
    """Kolmogorov's distance of seeded draws from the law, in units of 1/√count, on 400 of them."""
    reached = _draws(amplitudes, sigma, count)[:: count // 400]
    rank = np.arange(0, count, count // 400) / count
    law = resultant_cdf_many(reached, amplitudes, sigma)
    return float(np.max(np.abs(law - rank))) * math.sqrt(count)


SEEDED = [
    ([1.5, 1.5, 1.0, 1.5, 1.5], 0.0),
    ([4.0, 3.0, 1.0, 0.5, 0.25, 6.0], 0.0),
    ([10.0 ** (k / 3) for k in range(-9, 10)], 0.0),
    ([1e3, 1e3] + [1e-3] * 8, 0.0),
    ([2.0, 2.0, 0.2], 0.0),
    ([2.0, 2.0, 0.2], 0.5),
    ([5.0, 0.5], 0.01),
]


@pytest.mark.parametrize(("amplitudes", "sigma"), SEEDED)
def test_seeded_draws_follow_the_law(amplitudes: list[float], sigma: float) -> None:
    """First principles: 200 000 draws stay within Kolmogorov's band, 1.95/√N, passed once in a thousand."""
    assert _largest_gap(amplitudes, sigma, 200_000) < 1.95


@pytest.mark.long
@pytest.mark.parametrize(("amplitudes", "sigma"), SEEDED)
def test_many_seeded_draws_follow_the_law(amplitudes: list[float], sigma: float) -> None:
    """First principles: the same with ten million draws."""
    assert _largest_gap(amplitudes, sigma, 10_000_000) < 1.95


def test_a_route_for_every_stack() -> None:
    """First principles: balanced stacks take the series, lopsided beyond its length the nested route."""
    routes: dict[type[ResultantLaw], int] = {}
    for amplitudes in EXTREME:
        law = resultant_law([a / sum(amplitudes) for a in amplitudes], 0.0)
        routes[type(law)] = routes.get(type(law), 0) + 1
    assert routes[AddedVectorLaw] >= 4
    assert resultant_cdf(1000.0, EXTREME[2]) == pytest.approx(0.5, abs=1e-4)
