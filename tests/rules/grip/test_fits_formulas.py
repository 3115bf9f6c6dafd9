"""Clearance of a fit, its kind, and the tolerance unit."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.grip.formulas import clearance_um, fit_kind, limit_sizes_mm, range_mean_mm, tolerance_unit_um

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


@pytest.mark.parametrize(
    ("low", "high", "kind"),
    [
        (-1e-9, 10, "transition"),
        (0, 10, "clearance"),
        (1e-9, 10, "clearance"),
        (-10, -1e-9, "interference"),
        (-10, 0, "interference"),
        (-10, 1e-9, "transition"),
        (0, 0, "clearance"),
    ],
)
def test_the_kind_of_a_fit_at_its_boundaries(low: float, high: float, kind: str) -> None:
    """Touching at exactly 0 counts as clearance from above and as interference from below (ISO 286-1)."""
    assert fit_kind(low, high) == kind


def test_limits_the_wrong_way_round_are_refused() -> None:
    """A lower deviation above the upper one, or not a number, is an error that names the part."""
    with pytest.raises(ValueError, match="hole"):
        clearance_um((1.0, 0.0), (0.0, 1.0))
    with pytest.raises(ValueError, match="shaft"):
        clearance_um((0.0, 1.0), (float("nan"), 1.0))
    with pytest.raises(ValueError, match="smallest clearance"):
        fit_kind(1.0, 0.0)


def test_the_tolerance_unit_of_18_to_30_mm() -> None:
    """Literature (ISO 286-1, annex A): D = 23.238 mm, i = 1.3074 µm; IT6 = 10 i = 13, IT7 = 16 i = 21 µm."""
    mean = range_mean_mm(18.0, 30.0)
    assert mean == pytest.approx(23.238, abs=5e-4)
    unit = tolerance_unit_um(mean)
    assert unit == pytest.approx(1.3074, abs=5e-5)
    assert [round(unit * n) for n in (10, 16, 25, 40)] == [13, 21, 33, 52]


@pytest.mark.parametrize("mean_mm", [0.0, -1.0, 500.001, float("nan")])
def test_the_tolerance_unit_refuses_sizes_outside_its_domain(mean_mm: float) -> None:
    """The unit i holds up to 500 mm."""
    with pytest.raises(ValueError, match="500"):
        tolerance_unit_um(mean_mm)


@pytest.mark.parametrize(("over", "up_to"), [(0.0, 3.0), (3.0, 3.0), (6.0, 3.0)])
def test_a_range_must_be_a_range(over: float, up_to: float) -> None:
    """An empty or reversed range has no mean."""
    with pytest.raises(ValueError, match="range"):
        range_mean_mm(over, up_to)
