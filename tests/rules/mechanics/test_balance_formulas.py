"""Properties of the balance equations and their refusals."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.mechanics.balance import balance_speed_rpm, permissible_unbalance_gmm, rotating_force_n

positive = st.floats(1e-3, 1e5)


@given(positive, positive, positive)
def test_speed_and_permissible_unbalance_are_inverse(grade: float, mass: float, speed: float) -> None:
    """First principles: at the highest speed the permissible unbalance is the actual one."""
    unbalance = permissible_unbalance_gmm(grade, mass, speed)
    assert balance_speed_rpm(grade, mass, unbalance) == pytest.approx(speed, rel=1e-12)


@given(st.floats(0, 1e5), st.floats(0, 1e5))
def test_doubling_the_speed_quadruples_the_force(unbalance: float, speed: float) -> None:
    """First principles: F = U·ω²."""
    assert rotating_force_n(unbalance, 2 * speed) == pytest.approx(4 * rotating_force_n(unbalance, speed))


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_refuses_what_is_no_quantity(bad: float) -> None:
    """Every argument must be above zero and finite."""
    for arguments in [(bad, 1.0, 1.0), (1.0, bad, 1.0), (1.0, 1.0, bad)]:
        with pytest.raises(ValueError, match="above 0"):
            permissible_unbalance_gmm(*arguments)
        with pytest.raises(ValueError, match="above 0"):
            balance_speed_rpm(*arguments)


@pytest.mark.parametrize("arguments", [(-1.0, 1.0), (1.0, -1.0), (math.nan, 1.0)])
def test_force_refuses_negatives(arguments: tuple[float, float]) -> None:
    """Neither unbalance nor speed may be negative."""
    with pytest.raises(ValueError, match="negative"):
        rotating_force_n(*arguments)
