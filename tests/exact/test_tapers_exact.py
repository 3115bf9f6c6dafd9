"""Tapers: exact mathematics and first principles."""

from __future__ import annotations

import pytest

from rules.couplings.sides import coupling
from tests.support.tapers import axial_travel_mm, half_angle_deg, taper_rate


def taper_of(name: str) -> float:
    """Rate of taper of a coupling that has one."""
    rate = taper_rate(name)
    assert rate is not None
    return rate


@pytest.mark.parametrize(
    ("taper", "degrees", "minutes", "seconds"),
    [(7 / 24, 8, 17, 50), (1 / 10, 2, 51, 45), (1 / 9.98, 2, 52, 5), (1 / 20, 1, 25, 56)],
)
def test_angles_of_the_common_tapers(taper: float, degrees: int, minutes: int, seconds: int) -> None:
    """First principles: half angles of 7/24, 1:10, 1:9.98 and 1:20 to the second."""
    assert half_angle_deg(taper) * 3600 == pytest.approx(degrees * 3600 + minutes * 60 + seconds, abs=0.6)


def test_the_included_angle_of_7_in_24() -> None:
    """First principles: 16°35′39″."""
    assert 2 * half_angle_deg(taper_of("steep_taper")) * 3600 == pytest.approx(16 * 3600 + 35 * 60 + 39, abs=1)


def test_a_micrometre_on_the_diameter_of_a_steep_taper_is_3_4286_along_it() -> None:
    """First principles: 24/7."""
    assert axial_travel_mm(1.0, half_angle_deg(taper_of("steep_taper"))) == pytest.approx(3.4286, abs=5e-5)


@pytest.mark.parametrize(("collapse_mm", "travel_mm"), [(0.5, 1.78), (1.0, 3.56)])
def test_travel_of_an_8_degree_collet(collapse_mm: float, travel_mm: float) -> None:
    """First principles: 3.558 mm along the axis a millimetre of diameter, the 8° being those of one side."""
    half_angle = coupling("nut_collet").described.half_angle_deg
    assert half_angle == 8
    assert axial_travel_mm(1.0, half_angle) == pytest.approx(3.558, abs=5e-4)
    assert axial_travel_mm(collapse_mm, half_angle) == pytest.approx(travel_mm, abs=5e-3)
