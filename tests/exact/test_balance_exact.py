"""Balance of rigid rotors: exact mathematics and first principles."""

from __future__ import annotations

import math

import pytest

from rules.balance.formulas import (
    RPM_PER_RADIAN_PER_MILLISECOND,
    balance_speed_rpm,
    clamping_unbalance_g_mm,
    permissible_unbalance_g_mm,
    quality_mm_per_s,
    rotating_force_n,
)


def test_constant_of_the_standards_equations() -> None:
    """First principles: 30000/π = 9549.2966; handbooks print 9549."""
    assert pytest.approx(9549.2966, abs=5e-5) == RPM_PER_RADIAN_PER_MILLISECOND


@pytest.mark.parametrize(
    ("grade", "mass_kg", "speed_rpm", "gmm"),
    [
        (2.5, 1.0, 12_000, 1.989),
        (6.3, 1.2, 10_000, 7.219),
        (2.5, 0.8, 25_000, 0.764),
        (2.5, 1.0, 20_000, 1.194),
        (6.3, 1.0, 15_000, 4.011),
        (6.3, 2.0, 10_000, 12.03),
        (2.5, 2.0, 15_000, 3.183),
        (6.3, 200.0, 1500, 8021.4),
        (6.3, 50.0, 2950, 1019.7),
    ],
)
def test_permissible_unbalance(grade: float, mass_kg: float, speed_rpm: float, gmm: float) -> None:
    """First principles: U = G·m/ω with ω = π·n/30 (ISO 21940-11, clause 6), worked with a pocket calculator."""
    assert permissible_unbalance_g_mm(grade, mass_kg, speed_rpm) == pytest.approx(gmm, rel=3e-4)
    assert permissible_unbalance_g_mm(grade, mass_kg, speed_rpm) == pytest.approx(
        grade * mass_kg * 1000 / (math.pi * speed_rpm / 30), rel=1e-14
    )


def test_force_where_a_printed_page_is_wrong() -> None:
    """First principles: 5 kg 1 mm off at 3000 rpm, 314.16 rad/s: 493.5 N; a page has 31.416 and 0.497, slips."""
    assert rotating_force_n(clamping_unbalance_g_mm(5.0, 1000.0), 3000) == pytest.approx(493.48, abs=0.01)
    assert rotating_force_n(5000.0, 3000) == pytest.approx(5e-3 * 314.159265**2, rel=1e-8)


@pytest.mark.parametrize(("mass_kg", "eccentricity_um", "gmm"), [(1, 2, 2), (1, 5, 5), (2.4, 2, 4.8), (6.5, 5, 32.5)])
def test_unbalance_of_a_clamping(mass_kg: float, eccentricity_um: float, gmm: float) -> None:
    """First principles: U = m·e, kg times µm is g·mm."""
    assert clamping_unbalance_g_mm(mass_kg, eccentricity_um) == pytest.approx(gmm, rel=1e-14)


@pytest.mark.parametrize(
    ("eccentricity_um", "speed_rpm", "mm_per_s"),
    [
        (2, 10_000, 2.09),
        (2, 20_000, 4.19),
        (2, 30_000, 6.28),
        (5, 10_000, 5.24),
        (5, 20_000, 10.47),
        (5, 30_000, 15.71),
    ],
)
@pytest.mark.parametrize("mass_kg", [0.3, 1.0, 12.0])
def test_grade_of_a_seating_error(eccentricity_um: float, speed_rpm: float, mm_per_s: float, mass_kg: float) -> None:
    """First principles: G = e·ω whatever the mass; the seating eccentricities themselves are from memory."""
    unbalance = clamping_unbalance_g_mm(mass_kg, eccentricity_um)
    assert quality_mm_per_s(mass_kg, unbalance, speed_rpm) == pytest.approx(mm_per_s, abs=0.006)


@pytest.mark.parametrize(("eccentricity_um", "speed_rpm"), [(2, 11_937), (5, 4_775)])
def test_where_the_fine_grade_ends(eccentricity_um: float, speed_rpm: float) -> None:
    """First principles: G2.5 is out of reach above n = 9549.3·2.5/e."""
    assert balance_speed_rpm(2.5, 1.0, eccentricity_um) == pytest.approx(speed_rpm, abs=0.5)


def test_unbalance_that_a_spindle_bearing_takes() -> None:
    """First principles: 1 % of 20 kN at 20,000 rpm is U = F/ω² = 45.6 g·mm; the 1 % is from memory of ISO 16084."""
    allowed_n = 0.01 * 20_000
    unbalance = allowed_n / rotating_force_n(1.0, 20_000)
    assert unbalance == pytest.approx(45.6, abs=0.05)
    assert rotating_force_n(unbalance, 20_000) == pytest.approx(allowed_n, rel=1e-14)
