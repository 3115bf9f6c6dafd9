"""Geometry of cones."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.tapers import angle_tolerance_um, axial_travel_mm, half_angle_deg, small_end_mm


@given(taper=st.floats(min_value=0.01, max_value=1), change=st.floats(min_value=-5, max_value=5))
@settings(deadline=None, derandomize=True)
def test_travel_along_a_cone_undoes_its_taper(taper: float, change: float) -> None:
    """First principles: the travel of a diameter change times the rate of taper is that change."""
    assert axial_travel_mm(change, half_angle_deg(taper)) * taper == pytest.approx(change, abs=1e-12)


def test_the_small_end_lies_a_tapers_length_behind() -> None:
    """First principles: a cone of 1 in 10 loses 4 mm of diameter over 40 mm."""
    assert small_end_mm(60.0, 40.0, 0.1) == pytest.approx(56.0, abs=1e-12)


def test_impossible_cones_are_refused() -> None:
    """Flat or reversed tapers, cones past their tip, angles outside 0 to 90°, empty lengths."""
    for taper in (0.0, -0.1, math.nan):
        with pytest.raises(ValueError, match="taper"):
            half_angle_deg(taper)
    with pytest.raises(ValueError, match="shorter"):
        small_end_mm(10.0, 100.0, 0.1)
    for angle in (0.0, 90.0, math.nan):
        with pytest.raises(ValueError, match="90"):
            axial_travel_mm(1.0, angle)
    for angle_urad, length in ((0.0, 10.0), (63.0, 0.0)):
        with pytest.raises(ValueError, match="positive"):
            angle_tolerance_um(angle_urad, length)
