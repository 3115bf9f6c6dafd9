"""Eccentricities at random angles: bounds, steps, closed cases, shares and rejected input."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import roots_legendre

from rules.random_vectors.comparison import probability_less
from rules.random_vectors.random_sum import (
    best_clocking,
    gaussian_sigma,
    resultant_cdf,
    resultant_cdf_many,
    resultant_quantiles,
    variance_shares,
    worst_case,
)
from tests.oracles.random_vectors.law import StepLaw, TwoVectorLaw
from tests.oracles.random_vectors.quantiles import in_order

LEVELS = [0.0, 0.05, 0.5, 0.95, 1.0]


@pytest.mark.parametrize("amplitudes", [[], [0.0], [0.0, 0.0, 0.0]])
def test_nothing_displaces_nothing(amplitudes: list[float]) -> None:
    """First principles: without a vector the resultant is 0, a step there."""
    assert resultant_quantiles(LEVELS, amplitudes).tolist() == [0.0] * len(LEVELS)
    assert resultant_cdf_many([-1e-300, 0.0, 1.0], amplitudes).tolist() == [0.0, 1.0, 1.0]
    assert worst_case(amplitudes) == best_clocking(amplitudes) == 0.0


@pytest.mark.parametrize("amplitude", [5e-324, 1e-3, 0.1, 3.7, 1e3, 1e300])
def test_one_vector_is_a_step_at_its_amplitude(amplitude: float) -> None:
    """First principles: one angle changes nothing; the step is exact to the last float."""
    assert resultant_quantiles(LEVELS, [amplitude]).tolist() == [amplitude] * len(LEVELS)
    around = [math.nextafter(amplitude, 0.0), amplitude, math.nextafter(amplitude, math.inf)]
    assert resultant_cdf_many(around, [amplitude]).tolist() == [0.0, 1.0, 1.0]


def test_the_law_of_one_vector_steps_at_it() -> None:
    """First principles: less than the vector never, as much or more always; every level has the one radius."""
    law = StepLaw(3.0)
    assert law.cdf(np.array([0.0, 3.0 * (1 - 1e-12), 3.0, 4.0])).tolist() == [0.0, 0.0, 1.0, 1.0]
    assert law.quantile(np.array([0.05, 0.95])).tolist() == [3.0, 3.0]


@pytest.mark.parametrize(
    ("levels", "found", "expected"),
    [
        ([0.01, 0.5, 0.51, 0.99], [0.9, 2.0, 1.99, 3.1], [1.0, 2.0, 2.0, 3.0]),
        ([0.99, 0.51, 0.5, 0.01], [3.1, 1.99, 2.0, 0.9], [3.0, 2.0, 2.0, 1.0]),
        ([0.1, 0.9], [1.5, 2.5], [1.5, 2.5]),
    ],
)
def test_quantiles_ascend_inside_the_support(levels: list[float], found: list[float], expected: list[float]) -> None:
    """First principles: 2 and 1 lie between 1 and 3, and a higher level never has the smaller radius."""
    assert in_order(TwoVectorLaw(2.0, 1.0), levels, found) == expected


@pytest.mark.parametrize(("a", "b"), [(1.0, 1.0), (3.0, 4.0), (1e3, 1e-3), (2.0, 1.999999)])
@pytest.mark.parametrize("probability", [1e-9, 0.05, 0.5, 0.95, 1 - 1e-9])
def test_two_vectors_follow_the_cosine_rule(a: float, b: float, probability: float) -> None:
    """First principles: R² = a² + b² − 2ab·cos(πp) at probability p."""
    (found,) = resultant_quantiles([probability], [a, b])
    half = math.pi * probability / 2
    exact = math.hypot((a - b) * math.cos(half), (a + b) * math.sin(half))
    assert found == pytest.approx(exact, rel=1e-14)
    # near the ends an unavoidable rounding of the radius is a larger one of the probability
    assert resultant_cdf(float(found), [a, b]) == pytest.approx(probability, abs=1e-6)


@pytest.mark.parametrize(
    "amplitudes", [[1.0, 2.5], [1.0, 1.0, 1.0], [9.0, 1.0, 2.0, 0.5], [1.0] * 9, [1e3, 1e-3, 1e-3, 1e-3]]
)
def test_the_ends_are_the_best_and_the_worst_clocking(amplitudes: list[float]) -> None:
    """First principles: no resultant outside them, probability 0 and 1 give them."""
    least, greatest = best_clocking(amplitudes), worst_case(amplitudes)
    ends = resultant_quantiles([0.0, 1.0], amplitudes)
    assert ends.tolist() == [least, greatest]
    outside = [-1.0, math.nextafter(least, -1.0), greatest, 2 * greatest, math.inf]
    assert resultant_cdf_many(outside, amplitudes).tolist() == [0.0, 0.0, 1.0, 1.0, 1.0]


def test_least_and_greatest_resultants() -> None:
    """First principles: all in line, and the largest against the rest."""
    assert worst_case([0.1] * 10) == 1.0
    assert best_clocking([1.0, 5.0, 1.5]) == 2.5
    assert best_clocking([1.0, 2.0, 1.5]) == 0.0


def test_an_array_keeps_its_shape() -> None:
    """First principles: every radius is answered where it stood, a single one like the many."""
    radii = np.array([[0.5, 1.0, 2.0], [3.0, 4.0, 9.0]])
    many = resultant_cdf_many(radii, [3.0, 2.0, 1.0])
    assert many.shape == (2, 3)
    single = [[resultant_cdf(float(r), [3.0, 2.0, 1.0]) for r in row] for row in radii]
    assert many == pytest.approx(np.array(single), abs=1e-12)


def test_probabilities_in_any_order() -> None:
    """First principles: a quantile does not depend on its neighbours in the list."""
    amplitudes = [1.5, 1.5, 1.0, 0.7]
    mixed = resultant_quantiles([0.95, 0.2, 0.5, 0.2], amplitudes)
    sorted_ = resultant_quantiles([0.2, 0.5, 0.95], amplitudes)
    assert mixed == pytest.approx(sorted_[[2, 0, 1, 0]], abs=1e-6)
    assert resultant_quantiles([], amplitudes).shape == (0,)


def test_the_input_is_not_changed() -> None:
    """First principles: a pure function leaves its arguments alone."""
    amplitudes = [1.0, 3.0, 2.0]
    radii = np.array([1.0, 2.0])
    resultant_cdf_many(radii, amplitudes, 0.5)
    resultant_quantiles([0.9, 0.1], amplitudes, 0.5)
    assert amplitudes == [1.0, 3.0, 2.0]
    assert radii.tolist() == [1.0, 2.0]


@pytest.mark.parametrize(
    ("amplitudes", "sigma"),
    [([1.0, 1.0], 0.0), ([3.0, 2.0, 2.5, 1.0, 1.2], 1.5), ([1.0] * 7, 0.0), ([4.0, 0.1, 0.2], 0.0), ([2.0], 0.3)],
)
def test_mean_square(amplitudes: list[float], sigma: float) -> None:
    """First principles: E[R²] = Σ a² + 2σ², as the integral of 2r·(1 − F)."""
    top = worst_case(amplitudes) + 9.0 * sigma
    x, weights = roots_legendre(400)
    radii = 0.5 * top * (1.0 + x)
    square = float(np.dot(weights, radii * (1.0 - resultant_cdf_many(radii, amplitudes, sigma)))) * top
    assert square == pytest.approx(sum(a * a for a in amplitudes) + 2.0 * sigma**2, rel=2e-5)


def test_a_further_vector_may_lower_the_95_percent_point() -> None:
    """First principles: two equal vectors pile up just below 2; a small third one spreads the pile inwards.

    A larger worst case, a larger mean square, and yet p95 falls: no rule may take it for granted that one
    more contributor makes every quantile worse.
    """
    (two,) = resultant_quantiles([0.95], [1.0, 1.0])
    (three,) = resultant_quantiles([0.95], [1.0, 1.0, 0.01])
    assert two - three == pytest.approx(0.0022, abs=2e-4)
    assert worst_case([1.0, 1.0, 0.01]) > worst_case([1.0, 1.0])
    # by 0.1 the spread outwards has won
    assert resultant_quantiles([0.95], [1.0, 1.0, 0.1])[0] > two


@pytest.mark.parametrize("added", [0.001, 0.3, 1.0, 5.0])
@pytest.mark.parametrize("amplitudes", [[], [0.5], [0.4, 0.4]])
def test_a_further_vector_raises_every_quantile_of_a_broad_law(amplitudes: list[float], added: float) -> None:
    """Literature: Anderson (1955): whatever is added to a law whose density falls outwards spreads it."""
    levels = [0.05, 0.5, 0.8, 0.95, 0.99]
    before = resultant_quantiles(levels, amplitudes, 1.0)
    after = resultant_quantiles(levels, [*amplitudes, added], 1.0)
    tolerance = 1e-6 if added < 0.01 else 0.0
    assert np.all(after > before - tolerance)


def test_shares() -> None:
    """First principles: a² for a fixed amplitude, 2σ² for a plane Gaussian, of their sum."""
    shares = variance_shares([2.0, 0.0, 1.0], [0.0, 1.0, 0.5])
    assert shares == pytest.approx(np.array([4.0, 2.0, 1.5]) / 7.5, rel=1e-14)
    assert variance_shares([], []) == ()
    assert variance_shares([0.0, 0.0], [0.0, 0.0]) == (0.0, 0.0)
    assert variance_shares([1e200, 1e200], [0.0, 0.0]) == (0.5, 0.5)


@pytest.mark.parametrize("probability", [0.01, 0.5, 0.95, 0.9973])
def test_sigma_of_a_limit(probability: float) -> None:
    """First principles: with that σ the limit is met with that probability."""
    sigma = gaussian_sigma(3.0, probability)
    assert resultant_cdf(3.0, [], sigma) == pytest.approx(probability, abs=1e-14)


def test_sigma_of_a_limit_of_nothing_is_nothing() -> None:
    """First principles: a part that must not be off at all has no spread."""
    assert gaussian_sigma(0.0) == 0.0


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [([1.0], [2.0], 1.0), ([2.0], [1.0], 0.0), ([1.0], [1.0], 0.0), ([], [1.0], 1.0), ([], [], 0.0)],
)
def test_steps_compared(first: list[float], second: list[float], expected: float) -> None:
    """First principles: two certain lengths are smaller or not; a tie is not smaller."""
    assert probability_less(first, 0.0, second, 0.0) == expected


def test_a_step_against_a_law() -> None:
    """First principles: P(a < R) = 1 − F(a) and P(R < a) = F(a)."""
    share = resultant_cdf(2.0, [1.0, 1.5, 1.0])
    assert probability_less([1.0, 1.5, 1.0], 0.0, [2.0], 0.0) == pytest.approx(share, abs=1e-12)
    assert probability_less([2.0], 0.0, [1.0, 1.5, 1.0], 0.0) == pytest.approx(1.0 - share, abs=1e-12)


def test_laws_that_do_not_overlap() -> None:
    """First principles: what is always larger is larger with probability 1."""
    assert probability_less([1.0, 0.5], 0.0, [9.0, 1.0], 0.0) == 1.0
    assert probability_less([9.0, 1.0], 0.0, [1.0, 0.5], 0.0) == 0.0


@pytest.mark.parametrize("ratio", [0.2, 1.0, 3.0])
def test_two_gaussians_compared(ratio: float) -> None:
    """First principles: P(R₁ < R₂) = σ₂²/(σ₁² + σ₂²) for two plane Gaussians."""
    assert probability_less([], ratio, [], 1.0) == pytest.approx(1.0 / (1.0 + ratio**2), abs=1e-9)


@pytest.mark.parametrize("bad", [[-1.0, 2.0], [math.nan], [1.0, math.inf]])
def test_bad_amplitudes_are_refused(bad: list[float]) -> None:
    """Every function says in plain words what is wrong with an amplitude."""
    for call in (
        lambda: resultant_cdf(1.0, bad),
        lambda: resultant_cdf_many([1.0], bad),
        lambda: resultant_quantiles([0.5], bad),
        lambda: worst_case(bad),
        lambda: best_clocking(bad),
        lambda: variance_shares(bad, [0.0] * len(bad)),
        lambda: probability_less(bad, 0.0, [1.0], 0.0),
        lambda: probability_less([1.0], 0.0, bad, 0.0),
    ):
        with pytest.raises(ValueError, match="amplitude must be a finite number"):
            call()
    with pytest.raises(ValueError, match="a sigma must be a finite number, zero or more"):
        variance_shares([0.0] * len(bad), bad)


@pytest.mark.parametrize("sigma", [-1e-9, math.nan, math.inf])
def test_bad_sigmas_are_refused(sigma: float) -> None:
    """A negative or missing spread is no spread."""
    for call in (
        lambda: resultant_cdf(1.0, [1.0], sigma),
        lambda: resultant_quantiles([0.5], [1.0], sigma),
        lambda: probability_less([1.0], sigma, [1.0], 0.0),
        lambda: probability_less([1.0], 0.0, [1.0], sigma),
    ):
        with pytest.raises(ValueError, match="sigma must be a finite number, zero or more"):
            call()


@pytest.mark.parametrize("probability", [-1e-12, 1.0000001, math.nan])
def test_bad_probabilities_are_refused(probability: float) -> None:
    """Nothing is likelier than certain or less likely than never."""
    with pytest.raises(ValueError, match="a probability must lie between 0 and 1"):
        resultant_quantiles([0.5, probability], [1.0, 2.0])
    with pytest.raises(ValueError, match="between 0 and 1, ends excluded"):
        gaussian_sigma(1.0, probability)


def test_certainty_has_no_radius_when_a_gaussian_takes_part() -> None:
    """First principles: a Gaussian has no bound; just below certainty there is one."""
    with pytest.raises(ValueError, match="probability 1 has no radius"):
        resultant_quantiles([0.5, 1.0], [1.0], 0.1)
    assert resultant_quantiles([1.0 - 1e-9], [1.0], 0.1)[0] > 1.5


def test_what_is_no_flat_list_is_refused() -> None:
    """A table of probabilities, lists that do not match, sums beyond the largest float, radii that are none."""
    with pytest.raises(ValueError, match="flat list"):
        resultant_quantiles(np.array([[0.5]]), [1.0])
    with pytest.raises(ValueError, match="equal length"):
        variance_shares([1.0], [1.0, 2.0])
    with pytest.raises(ValueError, match="too large"):
        resultant_cdf(1.0, [1e308, 1e308])
    with pytest.raises(ValueError, match="radius must be a number"):
        resultant_cdf_many([1.0, math.nan], [1.0, 2.0])
