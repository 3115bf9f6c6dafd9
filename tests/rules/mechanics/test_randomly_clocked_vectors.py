"""Properties of the law of randomly clocked vectors, its degenerate cases and refusals."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from rules.mechanics.random_clocking import (
    best_clocking,
    gaussian_sigma,
    probability_less,
    resultant_cdf,
    resultant_cdf_many,
    resultant_quantiles,
    variance_shares,
    worst_case,
)

amplitudes = st.lists(st.floats(1e-3, 1e3), min_size=1, max_size=20)
SETTINGS = settings(deadline=None, derandomize=True, max_examples=60)
LEVELS = (0.05, 0.5, 0.8, 0.95, 0.99)


@SETTINGS
@given(amplitudes)
def test_quantiles_rise_and_stay_within_the_possible(parts: list[float]) -> None:
    """First principles: between the polygon bound and the sum, and never falling with the probability."""
    found = resultant_quantiles((0.0, *LEVELS, 1.0), parts)
    assert all(low <= high for low, high in pairwise(found))
    assert found[0] == pytest.approx(best_clocking(parts))
    assert found[-1] == pytest.approx(worst_case(parts))


@SETTINGS
@given(st.lists(st.floats(0.1, 10), min_size=2, max_size=20), st.sampled_from([0.0, 0.5, 3.0]))
def test_quantile_and_distribution_are_inverse(parts: list[float], sigma: float) -> None:
    """The probability of a quantile is the one asked for, within 1e-6."""
    found = resultant_quantiles(LEVELS, parts, sigma)
    assert resultant_cdf_many(found, parts, sigma) == pytest.approx(LEVELS, abs=2e-6)


@SETTINGS
@given(amplitudes, st.floats(1e-3, 1e3), st.randoms(use_true_random=False))
def test_neither_unit_nor_order_matters(parts: list[float], factor: float, rng: object) -> None:
    """Another unit scales the answer; another order leaves it to the last bits."""
    shuffled = sorted(parts, key=lambda _: rng.random())  # type: ignore[attr-defined]
    plain = resultant_quantiles(LEVELS, parts)
    assert resultant_quantiles(LEVELS, [factor * a for a in shuffled]) == pytest.approx(factor * plain, rel=1e-4)


@SETTINGS
@given(amplitudes, st.floats(0, 1e3))
def test_another_contributor_never_lowers_the_worst_case(parts: list[float], more: float) -> None:
    """First principles: the sum grows."""
    assert worst_case([*parts, more]) >= worst_case(parts)


@SETTINGS
@given(st.lists(st.floats(0.5, 2), min_size=2, max_size=12))
def test_another_like_contributor_raises_the_95_percent_point(parts: list[float]) -> None:
    """Of contributors of like size one more always shows (in general the claim is false, see below)."""
    low, high = (float(resultant_quantiles([0.95], p)[0]) for p in (parts, [*parts, max(parts)]))
    assert high > low


def test_a_step_turned_into_an_arc_can_lower_a_low_quantile() -> None:
    """First principles: one vector always reads its amplitude; with a second the lower half reads less."""
    assert resultant_quantiles([0.2], [2.0])[0] == pytest.approx(2.0)
    assert resultant_quantiles([0.2], [2.0, 1.0])[0] < 2.0


@SETTINGS
@given(amplitudes)
def test_a_contributor_of_nothing_changes_nothing(parts: list[float]) -> None:
    """Zero amplitude is no contributor."""
    assert resultant_quantiles(LEVELS, [*parts, 0.0]) == pytest.approx(resultant_quantiles(LEVELS, parts), rel=1e-9)


def test_nothing_and_one() -> None:
    """No contributor reads zero; one alone is a step at its amplitude."""
    assert resultant_quantiles(LEVELS, []).tolist() == [0.0] * len(LEVELS)
    assert resultant_quantiles(LEVELS, [3.5]).tolist() == [3.5] * len(LEVELS)
    assert resultant_cdf_many([3.4999, 3.5], [3.5]).tolist() == [0.0, 1.0]


@pytest.mark.parametrize(
    "parts",
    [
        [1e3, 1e-3, 1e-3, 1e-3],
        [1e3, 1e3, 1e-3, 1e-3],
        [1e3, 1.0, 1e-3],
        [1e3, 900.0, 1e-1, 1e-2, 1e-3],
        [5.0, 0.01, 0.02, 0.005, 0.01],
        [1.0] * 20,
        [3.0, 0.5, 0.4],
    ],
)
def test_vectors_of_very_different_size(parts: list[float]) -> None:
    """First principles: the last vector is split off and its angle integrated over the law of the others.

    By Green's theorem the share of a disc needs the law of the others on its boundary only; so the check uses the
    law of one vector less, integrated in another way than R itself is.
    """
    *others, last = parts
    for radius in resultant_quantiles((0.3, 0.7), parts):

        def chance(angle: float, radius: float = float(radius)) -> float:
            return _inside_shifted(others, last, angle, radius)

        value = quad(chance, 0.0, math.pi, limit=400, epsabs=1e-7)[0] / math.pi
        assert resultant_cdf(float(radius), parts) == pytest.approx(value, abs=3e-6)


def _inside_shifted(others: list[float], last: float, angle: float, radius: float) -> float:
    """Return the boundary element's part of the share: the law of the others there, times its angle seen from them."""
    rho = math.sqrt(radius**2 + last**2 + 2 * radius * last * math.cos(angle))
    if rho == 0.0:
        return 0.0
    weight = (radius**2 + radius * last * math.cos(angle)) / rho**2
    return resultant_cdf(rho, others) * weight


def test_probability_less_is_fair_between_like_stacks() -> None:
    """Two stacks of one law: each reads less than the other half of the time."""
    parts = [3.0, 2.0, 1.0, 0.5]
    assert probability_less(parts, 0.0, parts, 0.0) == pytest.approx(0.5, abs=2e-6)
    assert probability_less([1.0], 0.0, [2.0, 0.5], 0.0) == 1.0


def test_shares_add_up() -> None:
    """First principles: squares of amplitudes, twice the variance for a Gaussian."""
    shares = variance_shares([3.0, 1.0, 0.0], [0.0, 0.0, 1.0])
    assert shares.tolist() == pytest.approx([9 / 12, 1 / 12, 2 / 12])
    assert variance_shares([0.0], [0.0]).tolist() == [0.0]


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_refuses_amplitudes_that_are_none(bad: float) -> None:
    """Negative, infinite and not-a-number are named."""
    for call in (
        lambda: resultant_cdf(1.0, [1.0, bad]),
        lambda: resultant_quantiles([0.5], [1.0, bad]),
        lambda: resultant_quantiles([0.5], [1.0], bad),
        lambda: worst_case([bad]),
        lambda: gaussian_sigma(bad),
    ):
        with pytest.raises(ValueError, match="finite"):
            call()


@pytest.mark.parametrize("probability", [-0.1, 1.1, math.nan])
def test_refuses_probabilities_that_are_none(probability: float) -> None:
    """A probability lies between 0 and 1; 1 has no radius where a Gaussian contributes."""
    with pytest.raises(ValueError, match="between 0 and 1"):
        resultant_quantiles([probability], [1.0, 2.0])
    with pytest.raises(ValueError, match="no bound"):
        resultant_quantiles([1.0], [1.0], 0.5)


def test_answers_are_the_same_every_time() -> None:
    """No random numbers: the same bits."""
    parts = list(np.linspace(0.1, 3.0, 9))
    assert resultant_quantiles(LEVELS, parts).tobytes() == resultant_quantiles(LEVELS, parts).tobytes()
