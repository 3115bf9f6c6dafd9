"""Properties of the law of randomly clocked vectors for every stack."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.random_vectors.comparison import probability_less
from rules.random_vectors.random_sum import (
    best_clocking,
    resultant_cdf_many,
    resultant_quantiles,
    variance_shares,
    worst_case,
)

ERROR = 1e-6
LEVELS = [0.02, 0.2, 0.5, 0.8, 0.95, 0.99]

usual = st.lists(st.floats(0.05, 10.0), min_size=2, max_size=12)
wide = st.lists(st.floats(-3.0, 3.0).map(lambda x: 10.0**x), min_size=2, max_size=6)
repeated = st.lists(st.sampled_from([0.5, 1.0, 1.5, 2.0, 3.0]), min_size=2, max_size=10)
stacks = st.one_of(usual, wide, repeated)
sigmas = st.one_of(st.just(0.0), st.floats(0.01, 3.0))
few = settings(deadline=None, derandomize=True, max_examples=60)


@given(stack=stacks, sigma=sigmas)
@few
def test_the_quantile_is_the_inverse_of_the_law(stack: list[float], sigma: float) -> None:
    """First principles: P(R ≤ r_p) = p, but for what the last digits of the radius do near a step."""
    radii = resultant_quantiles(LEVELS, stack, sigma)
    slack = 1e-14 * (worst_case(stack) + sigma)
    assert np.all(resultant_cdf_many(radii - slack, stack, sigma) < np.array(LEVELS) + ERROR)
    assert np.all(resultant_cdf_many(radii + slack, stack, sigma) > np.array(LEVELS) - ERROR)


@given(stack=stacks, sigma=sigmas, levels=st.lists(st.floats(0.0, 0.999999), min_size=2, max_size=6))
@few
def test_quantiles_rise_with_the_probability(stack: list[float], sigma: float, levels: list[float]) -> None:
    """First principles: what is safer is larger."""
    radii = resultant_quantiles(sorted(levels), stack, sigma)
    assert all(low <= high for low, high in pairwise(radii.tolist()))


@given(stack=stacks)
@few
def test_quantiles_stay_between_the_best_and_the_worst_clocking(stack: list[float]) -> None:
    """First principles: the polygon and the triangle inequality."""
    radii = resultant_quantiles([0.0, *LEVELS, 1.0], stack)
    assert radii.min() >= best_clocking(stack)
    assert radii.max() <= worst_case(stack)


@given(stack=stacks, sigma=sigmas)
@few
def test_the_law_rises_from_0_to_1(stack: list[float], sigma: float) -> None:
    """First principles: a distribution function, within its error."""
    values = resultant_cdf_many(np.linspace(0.0, worst_case(stack) + 9.0 * sigma, 40), stack, sigma)
    assert np.all((values >= 0.0) & (values <= 1.0))
    assert np.all(np.diff(values) >= -ERROR)
    assert values[-1] > 1.0 - ERROR


@given(stack=stacks, sigma=sigmas, power=st.integers(-30, 30))
@few
def test_a_change_of_unit_scales_the_answer(stack: list[float], sigma: float, power: int) -> None:
    """First principles: lengths in one unit, any unit; by powers of two to the last digit."""
    factor = 2.0**power
    scaled = resultant_quantiles(LEVELS, [factor * a for a in stack], factor * sigma)
    assert scaled.tolist() == (factor * resultant_quantiles(LEVELS, stack, sigma)).tolist()


@given(stack=usual, sigma=sigmas, factor=st.floats(1e-6, 1e6))
@few
def test_inches_or_micrometres(stack: list[float], sigma: float, factor: float) -> None:
    """First principles: by any factor the probability stays what it was."""
    radii = factor * resultant_quantiles(LEVELS, stack, sigma)
    slack = 1e-13 * factor * (worst_case(stack) + sigma)
    scaled = [factor * a for a in stack]
    assert np.all(resultant_cdf_many(radii - slack, scaled, factor * sigma) < np.array(LEVELS) + 2 * ERROR)
    assert np.all(resultant_cdf_many(radii + slack, scaled, factor * sigma) > np.array(LEVELS) - 2 * ERROR)


@given(stack=stacks, sigma=sigmas, data=st.data())
@few
def test_the_order_does_not_matter(stack: list[float], sigma: float, data: st.DataObject) -> None:
    """First principles: a sum of vectors; the same digits in any order."""
    shuffled = data.draw(st.permutations(stack))
    assert resultant_quantiles(LEVELS, shuffled, sigma).tolist() == resultant_quantiles(LEVELS, stack, sigma).tolist()


@given(stack=stacks, sigma=sigmas, where=st.integers(0, 20))
@few
def test_a_vector_of_no_length_changes_nothing(stack: list[float], sigma: float, where: int) -> None:
    """First principles: nothing added, the same digits."""
    longer = [*stack[:where], 0.0, *stack[where:]]
    assert resultant_quantiles(LEVELS, longer, sigma).tolist() == resultant_quantiles(LEVELS, stack, sigma).tolist()
    assert resultant_cdf_many([1.0, 2.0], longer).tolist() == resultant_cdf_many([1.0, 2.0], stack).tolist()


@given(stack=stacks, added=st.floats(0.0, 1e3))
@few
def test_a_further_vector_raises_the_worst_case_and_the_mean_square(stack: list[float], added: float) -> None:
    """First principles: Σ a and Σ a²; the 95 % point is another matter, it may fall."""
    assert worst_case([*stack, added]) >= worst_case(stack)
    shares = variance_shares([*stack, added], [0.0] * (len(stack) + 1))
    assert abs(sum(shares) - 1.0) < 1e-12
    assert min(shares) >= 0.0


@given(first=usual.filter(lambda s: len(s) < 7), second=usual.filter(lambda s: len(s) < 7), sigma=sigmas)
@settings(deadline=None, derandomize=True, max_examples=15)
def test_one_of_two_is_the_smaller(first: list[float], second: list[float], sigma: float) -> None:
    """First principles: P(R₁ < R₂) + P(R₂ < R₁) = 1, no ties; 1/2 between equals."""
    chance = probability_less(first, 0.0, second, sigma)
    assert abs(chance + probability_less(second, sigma, first, 0.0) - 1.0) < ERROR
    assert abs(probability_less(first, sigma, first, sigma) - 0.5) < ERROR
