"""Balance of rigid rotors against the standard's examples, printed tables and exact arithmetic."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from rules.mechanics.balance import (
    balance_speed_rpm,
    permissible_eccentricity_um,
    permissible_unbalance_gmm,
    rotating_force_n,
)
from rules.tables.balance_grades import grade_value, grades

OUNCE_INCH_GMM = 28.349523125 * 25.4
POUND_KG = 0.45359237


def test_turbine_rotor_of_the_standard() -> None:
    """Literature: ISO 1940-1:2003, annex example (from memory): 3600 kg, 3000 rpm, G2.5."""
    assert permissible_eccentricity_um(2.5, 3000) == pytest.approx(7.96, abs=0.005)
    assert permissible_unbalance_gmm(2.5, 3600, 3000) == pytest.approx(28.6e3, rel=2e-3)


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
    assert permissible_unbalance_gmm(grade, mass_kg, speed_rpm) == pytest.approx(gmm, rel=3e-4)
    assert permissible_unbalance_gmm(grade, mass_kg, speed_rpm) == pytest.approx(
        grade * mass_kg * 1000 / (math.pi * speed_rpm / 30), rel=1e-14
    )


@pytest.mark.parametrize(
    ("speed_rpm", "ounce_inches"),
    [(500, 38.0), (1000, 19.0), (2000, 9.5), (3000, 6.3), (4000, 4.7), (5000, 3.8)],
)
def test_printed_table_in_ounce_inches(speed_rpm: float, ounce_inches: float) -> None:
    """Literature: tabulation in a balancing technical paper, 1000 lb rotor, per plane, G6.3; rounded in print."""
    per_plane = permissible_unbalance_gmm(6.3, 500 * POUND_KG, speed_rpm) / OUNCE_INCH_GMM
    assert per_plane == pytest.approx(ounce_inches, abs=0.12)


def test_inch_constant() -> None:
    """Literature: the inch form U = 6.015·G·W/n of handbooks (oz·in, lb, rpm)."""
    constant = permissible_unbalance_gmm(1.0, POUND_KG, 1.0) / OUNCE_INCH_GMM
    assert constant == pytest.approx(6.015, abs=5e-4)


def test_grade_of_a_measured_rotor() -> None:
    """Literature: balancing note, 6 kg, 5000 rpm, 180 g·mm: e = 30 µm, within G16 and not within G6.3."""
    assert 180 / 6 == 30
    assert balance_speed_rpm(grade_value("G16"), 6, 180) > 5000 > balance_speed_rpm(grade_value("G6.3"), 6, 180)
    assert permissible_unbalance_gmm(16, 6, 5000) == pytest.approx(183.35, abs=0.005)


@pytest.mark.parametrize(("speed_rpm", "newton"), [(3000, 98.69), (6000, 394.79)])
def test_rotating_force(speed_rpm: float, newton: float) -> None:
    """Literature: manual of a balancing instrument, 10 g at 100 mm."""
    assert rotating_force_n(1000.0, speed_rpm) == pytest.approx(newton, abs=0.007)


def test_force_where_a_printed_page_is_wrong() -> None:
    """First principles: 5 kg·mm at 3000 rpm pull with 493.5 N; a printed page has 0.497 N, a slip."""
    assert rotating_force_n(5000.0, 3000) == pytest.approx(493.48, abs=0.01)


@pytest.mark.parametrize(
    ("eccentricity_um", "speed_rpm", "mm_per_s"),
    [(2, 10_000, 2.09), (2, 20_000, 4.19), (2, 30_000, 6.28), (5, 10_000, 5.24), (5, 30_000, 15.71)],
)
def test_grade_of_a_seating_error(eccentricity_um: float, speed_rpm: float, mm_per_s: float) -> None:
    """First principles: G = e·ω; the seating eccentricities themselves are from memory."""
    speed = balance_speed_rpm(mm_per_s, 1.0, eccentricity_um)
    assert speed == pytest.approx(speed_rpm, rel=3e-3)


@pytest.mark.parametrize(("eccentricity_um", "speed_rpm"), [(2, 11_937), (5, 4_775)])
def test_where_the_fine_grade_ends(eccentricity_um: float, speed_rpm: float) -> None:
    """First principles: G2.5 is out of reach above n = 9549.3·2.5/e."""
    assert balance_speed_rpm(2.5, 1.0, eccentricity_um) == pytest.approx(speed_rpm, abs=1)


def test_grades_step_by_a_factor_of_two_and_a_half() -> None:
    """Literature: ISO 21940-11, grades G0.4 to G4000 (end points in print, list from memory)."""
    values = sorted(grade_value(name) for name in grades())
    assert (values[0], values[-1]) == (0.4, 4000)
    assert all(high / low == pytest.approx(2.5, rel=0.02) for low, high in pairwise(values))
