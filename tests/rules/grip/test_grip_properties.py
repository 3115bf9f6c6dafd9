"""Properties of grip capacity and of the safety factor against slip."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.grip.formulas import combined_safety, scaled_capacity, slip_force_from_torque_n

capacities = st.floats(1e-3, 1e6)
lengths = st.floats(1e-3, 5000.0)
safeties = st.floats(1e-6, 1e6)


@given(capacities, lengths, st.floats(0.001, 1.0))
def test_capacity_goes_with_the_length_held(rated: float, length: float, share: float) -> None:
    """First principles: half the grip holds half; the rated grip holds what it is rated for."""
    assert scaled_capacity(rated, length, share * length) == pytest.approx(share * rated, rel=1e-12)
    assert scaled_capacity(rated, length, length) == rated


@given(capacities, lengths, st.floats(1.0, 1e3))
def test_nothing_is_promised_beyond_the_rated_length(rated: float, length: float, factor: float) -> None:
    """First principles: what was not rated is not counted on."""
    assert scaled_capacity(rated, length, factor * length) == rated


@given(st.floats(0.0, 1e5), lengths)
def test_slip_force_makes_the_torque_again(torque: float, diameter: float) -> None:
    """First principles: force times radius."""
    assert slip_force_from_torque_n(torque, diameter) * diameter / 2000.0 == pytest.approx(torque, rel=1e-13)


@given(st.floats(1.0, 1e5), st.floats(1.0, 1e5), st.floats(1.0, 1e5))
def test_combined_safety_is_capacity_over_the_resultant(capacity: float, around: float, along: float) -> None:
    """First principles: Coulomb friction acts along the resultant of the two slips."""
    combined = combined_safety(capacity / around, capacity / along)
    assert combined == pytest.approx(capacity / math.hypot(around, along), rel=1e-12)


@given(safeties, safeties)
def test_combined_safety_is_below_both_and_symmetric(one: float, other: float) -> None:
    """First principles: at most the smaller, at least that over √2, whichever comes first."""
    combined = combined_safety(one, other)
    assert combined is not None
    assert min(one, other) / math.sqrt(2.0) * (1 - 1e-15) <= combined <= min(one, other)
    assert combined == combined_safety(other, one)


def test_a_demand_in_one_direction_stands_alone() -> None:
    """First principles: without the other demand the resultant is the one there is."""
    assert combined_safety(2.5, None) == combined_safety(None, 2.5) == 2.5
    assert combined_safety(None, None) is None
    assert combined_safety(2.0, 1e300) == pytest.approx(2.0)
    assert combined_safety(1e300, 1e300) == pytest.approx(1e300 / math.sqrt(2.0))


def test_what_holds_nothing_has_no_safety() -> None:
    """First principles: no capacity, no grip, no safety; zero is an answer, not an error."""
    assert scaled_capacity(0.0, 40.0, 30.0) == scaled_capacity(80.0, 40.0, 0.0) == 0.0
    assert slip_force_from_torque_n(0.0, 10.0) == 0.0
    assert combined_safety(0.0, 3.0) == combined_safety(0.0, 0.0) == combined_safety(0.0) == 0.0


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf, -5e-324])
def test_refuses_what_is_no_quantity(bad: float) -> None:
    """Every argument must be finite and not negative."""
    calls: list[Callable[[], object]] = [
        lambda: scaled_capacity(bad, 1.0, 1.0),
        lambda: scaled_capacity(1.0, bad, 1.0),
        lambda: scaled_capacity(1.0, 1.0, bad),
        lambda: slip_force_from_torque_n(bad, 1.0),
        lambda: slip_force_from_torque_n(1.0, bad),
        lambda: combined_safety(bad, 1.0),
        lambda: combined_safety(None, bad),
    ]
    for call in calls:
        with pytest.raises(ValueError, match="finite"):
            call()


def test_a_rating_needs_a_length_and_a_shank_a_diameter() -> None:
    """First principles: nothing is divided by zero."""
    with pytest.raises(ValueError, match="rated grip length"):
        scaled_capacity(1.0, 0.0, 1.0)
    with pytest.raises(ValueError, match="diameter"):
        slip_force_from_torque_n(1.0, 0.0)
