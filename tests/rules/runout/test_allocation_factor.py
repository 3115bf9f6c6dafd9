"""The factor on the contributors that reaches a target."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.random_vectors.random_sum import RandomClocking, resultant_quantiles
from rules.runout.formulas import equal_effort_factor

parts = st.lists(st.floats(0.1, 10), min_size=1, max_size=6)


@settings(max_examples=40)
@given(parts, st.floats(0.1, 50))
def test_with_nothing_fixed_the_law_scales(scaled: list[float], target: float) -> None:
    """First principles: scaled by the factor, the 95 % point is the target."""
    factor = equal_effort_factor(target, RandomClocking([]), RandomClocking([], discs=scaled))
    assert factor is not None
    (reached,) = RandomClocking([], discs=[factor * a for a in scaled]).quantiles([0.95])
    assert reached == pytest.approx(target, rel=1e-6)


@settings(max_examples=25)
@given(parts, parts, st.floats(0.0, 2.0), st.floats(1.05, 3.0))
def test_with_a_fixed_part_the_rest_fills_up_to_the_target(
    fixed: list[float], scaled: list[float], sigma: float, more: float
) -> None:
    """First principles: fixed and scaled together reach the target."""
    target = more * float(resultant_quantiles([0.95], fixed)[0])
    factor = equal_effort_factor(target, RandomClocking(fixed), RandomClocking(scaled[:1], sigma, scaled[1:]))
    assert factor is not None
    law = RandomClocking([*fixed, factor * scaled[0]], factor * sigma, [factor * a for a in scaled[1:]])
    (reached,) = law.quantiles([0.95])
    assert reached == pytest.approx(target, rel=1e-4)


def test_no_factor_reaches_what_the_fixed_part_exceeds() -> None:
    """What was measured cannot be wished away."""
    assert equal_effort_factor(1.0, RandomClocking([2.0]), RandomClocking([1.0])) is None


def test_nothing_to_scale() -> None:
    """Without contributors to change there is no factor."""
    assert equal_effort_factor(5.0, RandomClocking([2.0]), RandomClocking([])) is None
    assert equal_effort_factor(5.0, RandomClocking([2.0]), RandomClocking([0.0])) is None


def test_a_gaussian_alone_scales_too() -> None:
    """First principles: Rayleigh, q = 2.4477·σ."""
    factor = equal_effort_factor(1.0, RandomClocking([]), RandomClocking([], 1.0))
    assert factor == pytest.approx(1 / math.sqrt(2 * math.log(20)), rel=1e-9)


@pytest.mark.parametrize("target", [-1.0, math.nan, math.inf])
def test_refuses_targets_that_are_none(target: float) -> None:
    """A target is finite and not negative."""
    with pytest.raises(ValueError, match="target"):
        equal_effort_factor(target, RandomClocking([]), RandomClocking([1.0]))
