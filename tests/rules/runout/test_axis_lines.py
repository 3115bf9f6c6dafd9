"""Eccentricity as a line along the axis."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.runout.formulas import (
    line_from_bow,
    line_from_offset,
    line_from_pivot,
    line_from_two_readings,
    slip_fit_lines,
    tir_from_particle,
)

lengths = st.floats(-500, 500)
readings = st.floats(0, 1000, allow_subnormal=False)


@given(readings, lengths)
def test_an_offset_reads_the_same_everywhere(tir: float, z: float) -> None:
    """First principles: a displaced axis reads twice its displacement at every distance."""
    assert 2 * line_from_offset(tir).at(z) == tir


@settings(deadline=None)
@given(readings, lengths, st.floats(0.5, 500), st.floats(0, 10))
def test_one_reading_holds_up_to_its_plane_and_grows_beyond_in_proportion(
    tir: float, pivot: float, reach: float, factor: float
) -> None:
    """First principles: an offset before the plane, similar triangles about the pivot beyond it."""
    line = line_from_pivot(tir, pivot + reach, pivot)
    span = (pivot + reach) - pivot
    assert 2 * line.at(pivot) == pytest.approx(tir, abs=1e-9 * max(1.0, tir * (1 + abs(pivot) / reach)))
    assert 2 * line.at(pivot + factor * span) == pytest.approx(
        max(1.0, factor) * tir, rel=1e-9, abs=1e-9 * max(1.0, tir * (1 + abs(pivot) / reach))
    )


def test_two_readings_are_met() -> None:
    """First principles: the line passes through the halves of both readings."""
    line = line_from_two_readings(2.0, 10.0, 5.0, 70.0)
    assert (2 * line.at(10.0), 2 * line.at(70.0)) == pytest.approx((2.0, 5.0))


def test_readings_that_fall_outward_cross_the_axis() -> None:
    """A tilt against an offset: the sign changes, the amplitude is its magnitude."""
    line = line_from_two_readings(4.0, 0.0, 0.0, 50.0)
    assert line.at(100.0) == pytest.approx(-2.0)


@pytest.mark.parametrize("at_mm", [-20.0, -20.5])
def test_a_reading_at_or_behind_the_pivot_fixes_no_tilt(at_mm: float) -> None:
    """No lever arm, no tilt."""
    with pytest.raises(ValueError, match="beyond the pivot"):
        line_from_pivot(3.0, at_mm, -20.0)


def test_two_readings_at_one_place_fix_no_line() -> None:
    """A line needs two places."""
    with pytest.raises(ValueError, match="same position"):
        line_from_two_readings(1.0, 5.0, 2.0, 5.0)


def test_a_particle_tilts_by_its_thickness_over_the_seat() -> None:
    """First principles: 5 µm under one end of a 50 mm seat read 20 µm at 100 mm beyond its middle."""
    assert tir_from_particle(5.0, 50.0, 100.0) == pytest.approx(20.0)
    with pytest.raises(ValueError, match="above 0"):
        tir_from_particle(5.0, 0.0, 100.0)


@pytest.mark.parametrize(("beyond", "ratio"), [(19.0, 1.0), (57.0, 3.0), (5.0, 1.0)])
def test_the_mouth_of_a_grip_is_the_cautious_pivot(beyond: float, ratio: float) -> None:
    """First principles: from 19 to 57 mm out of a 40 mm grip, 1.644 about its rear, 1.974 its middle, 3 its mouth."""
    assert line_from_pivot(1.0, 19.0, 0.0).at(beyond) == pytest.approx(0.5 * ratio)
    assert 2 * line_from_pivot(1.0, 19.0, -20.0).at(57.0) == pytest.approx(77 / 39)
    assert 2 * line_from_pivot(1.0, 19.0, -40.0).at(57.0) == pytest.approx(97 / 59)


def test_a_slip_fit_tilts_as_well_as_it_shifts() -> None:
    """First principles: 34 µm over 50 mm, 60 mm out: vectors of 37.4 and 20.4 µm, 115.6 µm at worst; 34 at the rear."""
    lines = slip_fit_lines(34.0, 50.0, 100.0)
    assert [lines.at_mouth.at(160.0), lines.at_rear.at(160.0)] == pytest.approx([37.4, 20.4])
    assert 2 * lines.bound.at(160.0) == pytest.approx(115.6)
    assert lines.at_mouth.at(160.0) + lines.at_rear.at(160.0) == pytest.approx(lines.bound.at(160.0))
    for inside in (50.0, 80.0, 100.0):
        assert 2 * lines.bound.at(inside) == pytest.approx(34.0)
        assert abs(lines.at_mouth.at(inside)) + abs(lines.at_rear.at(inside)) == pytest.approx(17.0)
    with pytest.raises(ValueError, match="above 0"):
        slip_fit_lines(34.0, 0.0, 100.0)


def test_a_particle_under_a_face_tilts_over_its_diameter() -> None:
    """First principles: 5 µm on a face of 57 mm mean, 63 mm outer diameter, read 26.3 and 23.8 µm at 150 mm."""
    assert tir_from_particle(5.0, 57.0, 150.0) == pytest.approx(26.3, abs=0.05)
    assert tir_from_particle(5.0, 63.0, 150.0) == pytest.approx(23.8, abs=0.05)


def test_a_bowed_rod_stands_off_by_its_parabola() -> None:
    """First principles: 3 µm over 120 mm, clamped at −10 mm; 40 mm beyond, 4·3·(40/120)² = 4/3 µm."""
    line = line_from_bow(3.0, 120.0, -10.0, 30.0)
    assert line.at(-10.0) == pytest.approx(0.0, abs=1e-12)
    assert line.at(30.0) == pytest.approx(4 / 3)


@pytest.mark.parametrize(("length", "tip"), [(0.0, 50.0), (-100.0, 50.0), (100.0, 10.0), (100.0, 9.0)])
def test_a_bow_needs_a_rod_that_stands_out(length: float, tip: float) -> None:
    """No length, or a tip at or behind the pivot, fixes no bow."""
    with pytest.raises(ValueError, match="ends beyond its pivot"):
        line_from_bow(3.0, length, 10.0, tip)
