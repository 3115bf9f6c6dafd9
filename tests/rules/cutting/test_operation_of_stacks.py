"""Properties of an operation."""

from __future__ import annotations

import math

import pytest

from rules.rulebook.loader import base_request
from tests.support.operations import change
from tests.support.stacks import derived_of


@pytest.mark.parametrize("cutting_speed", [100.0, 300.0])
def test_two_speeds_are_compared_by_the_one_that_is_set(cutting_speed: float) -> None:
    """By hand: n = 1000·v_c/(π·D), and how far it is off, as a share of the speed that the spindle is set to."""
    request = base_request("shrink")
    diameter = request["stack"]["components"][-1]["cutting_diameter_mm"]
    change(request["operations"][0], {"spindle_speed_rpm": 5000, "cutting_speed_m_per_min": cutting_speed})
    (operation,) = [fact for fact in derived_of(request).facts if fact.kind == "operation"]
    implied = 1000.0 * cutting_speed / (math.pi * diameter)
    assert operation.known["implied_speed_rpm"] == pytest.approx(implied, rel=1e-12)
    assert operation.known["speed_mismatch_ratio"] == pytest.approx(abs(implied - 5000.0) / 5000.0, rel=1e-12)


def test_a_deflection_limit_asks_for_the_force() -> None:
    """Neither stated nor computed from a cut: the field that would supply it is named, for both figures."""
    request = base_request("shrink")
    change(request["operations"][0], {"deflection_limit_um": 5})
    (operation,) = [fact for fact in derived_of(request).facts if fact.kind == "operation"]
    assert operation.lacking["radial_force_n"] == ("/operations/0/load/radial_force_n",)
    assert operation.lacking["deflection_um"] == ("/operations/0/load/radial_force_n",)
