"""Clearance of a fit."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.grip.formulas import clearance_um
from tests.support.fits import limit_sizes_mm

deviation = st.integers(min_value=-500, max_value=500)


@given(hole=st.tuples(deviation, deviation).map(sorted), shaft=st.tuples(deviation, deviation).map(sorted))
@settings(deadline=None, derandomize=True)
def test_the_clearance_spans_both_tolerances(hole: list[int], shaft: list[int]) -> None:
    """First principles: C_max - C_min is the sum of both tolerances, and both follow from the limit sizes."""
    low, high = clearance_um((hole[0], hole[1]), (shaft[0], shaft[1]))
    assert high - low == (hole[1] - hole[0]) + (shaft[1] - shaft[0])
    hole_mm, shaft_mm = limit_sizes_mm(20.0, (hole[0], hole[1])), limit_sizes_mm(20.0, (shaft[0], shaft[1]))
    assert low == pytest.approx(1000 * (hole_mm[0] - shaft_mm[1]), abs=1e-9)
    assert high == pytest.approx(1000 * (hole_mm[1] - shaft_mm[0]), abs=1e-9)


def test_limits_the_wrong_way_round_are_refused() -> None:
    """A lower deviation above the upper one, or not a number, is an error that names the part."""
    with pytest.raises(ValueError, match="hole"):
        clearance_um((1.0, 0.0), (0.0, 1.0))
    with pytest.raises(ValueError, match="shaft"):
        clearance_um((0.0, 1.0), (float("nan"), 1.0))
