"""Interference joints and rotating discs: values in print, each with title, edition and place."""

from __future__ import annotations

import pytest

from rules.grip.formulas import (
    Ring,
    hub_stress_mpa,
    joint_pressure_mpa,
    shaft_stress_mpa,
)

PSI_MPA = 4.4482216152605 / 25.4**2


def _steel(inner_mm: float, outer_mm: float, modulus_gpa: float = 210.0, density_kg_m3: float = 7850.0) -> Ring:
    return Ring(inner_mm, outer_mm, modulus_gpa, 0.3, density_kg_m3)


def _joint(joint_mm: float, outer_mm: float, modulus_gpa: float, density_kg_m3: float = 7850.0) -> tuple[Ring, Ring]:
    """Hub and solid shaft of one steel."""
    return _steel(joint_mm, outer_mm, modulus_gpa, density_kg_m3), _steel(0.0, joint_mm, modulus_gpa, density_kg_m3)


@pytest.mark.parametrize(("interference_in", "printed_psi"), [(0.0023, 14_720), (0.0007, 4_480)])
def test_collar_in_inches(interference_in: float, printed_psi: float) -> None:
    """Literature: Shigley's Mechanical Engineering Design, 9th ed., Problem 7-24.

    A 1.5 in shaft in a 2.5 in collar, E = 30·10⁶ psi. Printed are the pressures and, for the tight end, −14 720 psi
    all through the shaft; the hoop stress of 31 280 psi in the collar is ours, p·(D²+d²)/(D²−d²) = 2.125·p.
    """
    hub, shaft = _joint(1.5 * 25.4, 2.5 * 25.4, 30e6 * PSI_MPA / 1000)
    pressure = joint_pressure_mpa(interference_in * 25_400, 1.5 * 25.4, hub, shaft)
    assert pressure / PSI_MPA == pytest.approx(printed_psi, rel=1e-9)
    for stress in shaft_stress_mpa(pressure, shaft)[:2]:
        assert stress / PSI_MPA == pytest.approx(-printed_psi, rel=1e-9)
    assert hub_stress_mpa(pressure, hub).hoop_mpa / PSI_MPA == pytest.approx(printed_psi * 2.125, rel=1e-9)


@pytest.mark.parametrize("inner_mm", [0.0, 20.0])
def test_same_material_form_of_the_textbook(inner_mm: float) -> None:
    """Literature: Shigley's Mechanical Engineering Design, 9th ed., Eq. 7-40.

    p = Eδ/(2d³)·(D²−d²)(d²−d_i²)/(D²−d_i²).
    """
    hub, shaft = _steel(50.0, 80.0, 207.0), _steel(inner_mm, 50.0, 207.0)
    squares = (80**2 - 50**2) * (50**2 - inner_mm**2) / (80**2 - inner_mm**2)
    assert joint_pressure_mpa(30.0, 50.0, hub, shaft) == pytest.approx(207e3 * 0.030 / (2 * 50**3) * squares, rel=1e-12)
