"""Properties and domain of the balance equations."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.balance.formulas import (
    balance_speed_rpm,
    clamping_unbalance_g_mm,
    permissible_unbalance_g_mm,
    quality_mm_per_s,
    rotating_force_n,
)

positive = st.floats(1e-3, 1e5)


@given(positive, positive, positive)
def test_speed_and_permissible_unbalance_are_inverse(grade: float, mass: float, speed: float) -> None:
    """First principles: at the highest speed the permissible unbalance is the actual one."""
    unbalance = permissible_unbalance_g_mm(grade, mass, speed)
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
            permissible_unbalance_g_mm(*arguments)
        with pytest.raises(ValueError, match="above 0"):
            balance_speed_rpm(*arguments)


@pytest.mark.parametrize("arguments", [(-1.0, 1.0), (1.0, -1.0), (math.nan, 1.0)])
def test_force_refuses_negatives(arguments: tuple[float, float]) -> None:
    """Neither unbalance nor speed may be negative."""
    with pytest.raises(ValueError, match="negative"):
        rotating_force_n(*arguments)


@given(positive, positive, positive)
def test_quality_is_the_grade_that_the_unbalance_just_keeps(grade: float, mass: float, speed: float) -> None:
    """First principles: the permissible unbalance of a grade has the quality of that grade."""
    unbalance = permissible_unbalance_g_mm(grade, mass, speed)
    assert quality_mm_per_s(mass, unbalance, speed) == pytest.approx(grade, rel=1e-12)
    assert quality_mm_per_s(mass, 2 * unbalance, speed) == pytest.approx(2 * grade, rel=1e-12)
    assert quality_mm_per_s(mass, unbalance, speed / 2) == pytest.approx(grade / 2, rel=1e-12)


def test_a_true_rotor_is_of_every_grade() -> None:
    """First principles: no unbalance, no vibration; a seat without error adds none."""
    assert quality_mm_per_s(1.0, 0.0, 1e6) == 0.0
    assert clamping_unbalance_g_mm(1.0, 0.0) == 0.0


@pytest.mark.parametrize("mass", [1e-6, 1e3])
@pytest.mark.parametrize("speed", [0.1, 1e6])
@pytest.mark.parametrize("eccentricity", [1e-6, 1e4])
def test_extremes_are_finite(mass: float, speed: float, eccentricity: float) -> None:
    """First principles: the ends of every range give finite numbers above zero."""
    unbalance = clamping_unbalance_g_mm(mass, eccentricity)
    values = [
        unbalance,
        quality_mm_per_s(mass, unbalance, speed),
        rotating_force_n(unbalance, speed),
    ]
    assert all(0 < value < math.inf for value in values)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_later_functions_refuse_what_is_no_quantity(bad: float) -> None:
    """Every argument is checked; an unbalance and an eccentricity may be zero."""
    calls: list[Callable[[], object]] = [
        lambda: quality_mm_per_s(bad, 1.0, 1.0),
        lambda: quality_mm_per_s(1.0, 1.0, bad),
        lambda: clamping_unbalance_g_mm(bad, 1.0),
    ]
    for call in calls:
        with pytest.raises(ValueError, match="above 0"):
            call()
    if bad != 0.0:
        with pytest.raises(ValueError, match="0 or more"):
            quality_mm_per_s(1.0, bad, 1.0)
        with pytest.raises(ValueError, match="0 or more"):
            clamping_unbalance_g_mm(1.0, bad)
