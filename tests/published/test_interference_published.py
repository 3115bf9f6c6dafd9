"""Interference joints and rotating discs against textbooks, exercises in print and exact arithmetic."""

from __future__ import annotations

import math

import pytest

from rules.grip.formulas import (
    Ring,
    bore_growth_um,
    effective_interference_um,
    hub_stress_mpa,
    inner_hoop_mpa,
    interference_at_speed_um,
    joint_pressure_mpa,
    release_speed_rpm,
    shaft_stress_mpa,
    slip_force_n,
    slip_torque_n_m,
    surface_growth_um,
)

PSI_MPA = 4.4482216152605 / 25.4**2


def _steel(inner_mm: float, outer_mm: float, modulus_gpa: float = 210.0, density_kg_m3: float = 7850.0) -> Ring:
    return Ring(inner_mm, outer_mm, modulus_gpa, 0.3, density_kg_m3)


def _joint(joint_mm: float, outer_mm: float, modulus_gpa: float, density_kg_m3: float = 7850.0) -> tuple[Ring, Ring]:
    """Hub and solid shaft of one steel."""
    return _steel(joint_mm, outer_mm, modulus_gpa, density_kg_m3), _steel(0.0, joint_mm, modulus_gpa, density_kg_m3)


def test_solid_shaft_in_a_ring_of_twice_its_diameter() -> None:
    """Literature: machine-design textbooks, equal steel: 50 mm in 100 mm, δ = 50 µm, E = 207 GPa: 77.625 MPa."""
    assert joint_pressure_mpa(50.0, 50.0, *_joint(50.0, 100.0, 207.0)) == pytest.approx(77.625, rel=1e-12)


def test_carbide_shank_in_a_steel_bore() -> None:
    """First principles: Lamé by hand, carbide 620 GPa/0.22 in steel 206 GPa/0.30, 20 in 44 mm, δ = 20 µm."""
    hub, shank = Ring(20.0, 44.0, 206.0, 0.30, 7850.0), Ring(0.0, 20.0, 620.0, 0.22, 14500.0)
    pressure = joint_pressure_mpa(20.0, 20.0, hub, shank)
    outer = ((44**2 + 20**2) / (44**2 - 20**2) + 0.30) / 206e3
    assert pressure == pytest.approx(0.020 / (20 * (outer + (1 - 0.22) / 620e3)), rel=1e-12)
    assert pressure == pytest.approx(99.04, abs=0.005)
    assert slip_torque_n_m(pressure, 20.0, 40.0, 0.12) == pytest.approx(298.7, abs=0.05)


@pytest.mark.parametrize(("interference_in", "printed_psi"), [(0.0023, 14_720), (0.0007, 4_480)])
def test_collar_in_inches(interference_in: float, printed_psi: float) -> None:
    """Literature: Shigley 9th ed., solution 7-24: 1.5 in shaft in 2.5 in collar, E = 30·10⁶ psi.

    Printed are the pressures and, for the tight end, −14 720 psi all through the shaft; the hoop stress of
    31 280 psi in the collar is ours, p·(D²+d²)/(D²−d²) = 2.125·p.
    """
    hub, shaft = _joint(1.5 * 25.4, 2.5 * 25.4, 30e6 * PSI_MPA / 1000)
    pressure = joint_pressure_mpa(interference_in * 25_400, 1.5 * 25.4, hub, shaft)
    assert pressure / PSI_MPA == pytest.approx(printed_psi, rel=1e-9)
    for stress in shaft_stress_mpa(pressure, shaft)[:2]:
        assert stress / PSI_MPA == pytest.approx(-printed_psi, rel=1e-9)
    assert hub_stress_mpa(pressure, hub).hoop_mpa / PSI_MPA == pytest.approx(printed_psi * 2.125, rel=1e-9)


def test_hub_of_eighty_on_a_shaft_of_fifty() -> None:
    """Literature: worked example on a public page, 50/80 × 40 mm, δ = 40 µm, E 200 GPa, µ 0.15 (four figures)."""
    hub, shaft = _joint(50.0, 80.0, 200.0)
    pressure = joint_pressure_mpa(40.0, 50.0, hub, shaft)
    assert pressure == pytest.approx(48.75, rel=1e-12)
    assert slip_force_n(pressure, 50.0, 40.0, 0.15) == pytest.approx(45_950, abs=5)
    assert slip_torque_n_m(pressure, 50.0, 40.0, 0.15) == pytest.approx(1149, abs=0.5)
    assert hub_stress_mpa(pressure, hub).hoop_mpa == pytest.approx(111.3, abs=0.051)


@pytest.mark.parametrize(
    ("interference_um", "printed_mpa", "printed_n_m"), [(20.0, 25.6, 482), (40.0, 51.2, 965), (60.0, 76.8, 1447)]
)
def test_same_hub_over_its_range_of_interference(
    interference_um: float, printed_mpa: float, printed_n_m: float
) -> None:
    """Literature: worked example on a public page, 50/80 × 40 mm, E 210 GPa, µ 0.12 (three figures)."""
    hub, shaft = _joint(50.0, 80.0, 210.0)
    pressure = joint_pressure_mpa(interference_um, 50.0, hub, shaft)
    assert pressure == pytest.approx(printed_mpa, abs=0.051)
    assert slip_torque_n_m(pressure, 50.0, 40.0, 0.12) == pytest.approx(printed_n_m, abs=0.6)
    if interference_um == 40.0:
        assert hub_stress_mpa(pressure, hub).hoop_mpa == pytest.approx(117, abs=0.5)


def test_joint_of_a_tool_shank() -> None:
    """First principles: equal steel, p = E·δ/(2d)·(1 − (d/D)²): 12/24 mm, δ = 12 µm, 36 mm long, µ 0.15."""
    pressure = joint_pressure_mpa(12.0, 12.0, *_joint(12.0, 24.0, 210.0))
    assert pressure == pytest.approx(210e3 * 0.012 / 24 * 0.75, rel=1e-12)
    assert pressure == pytest.approx(78.75, rel=1e-12)
    assert slip_torque_n_m(pressure, 12.0, 36.0, 0.15) == pytest.approx(96.2, abs=0.05)


def test_disc_that_comes_loose_at_speed() -> None:
    """Literature: exercise of the Ugural & Fenster type, published solution (three figures).

    Disc 0.5/0.1 m on a solid steel shaft, 7.8 Mg/m³, 200 GPa, loose at 6900 rpm: radial allowance
    5.26·10⁻⁵ m (the page's exponent is garbled; exact is 5.25), 109.2 MPa at rest, 212 MPa spinning.
    """
    hub, shaft = _joint(100.0, 500.0, 200.0, 7800.0)
    allowance_um = -interference_at_speed_um(0.0, 6900.0, hub, shaft)
    assert allowance_um / 2 == pytest.approx(52.6, abs=0.15)
    assert release_speed_rpm(allowance_um, hub, shaft) == pytest.approx(6900.0, rel=1e-12)
    pressure = joint_pressure_mpa(allowance_um, 100.0, hub, shaft)
    assert hub_stress_mpa(pressure, hub).hoop_mpa == pytest.approx(109.2, abs=0.05)
    left = joint_pressure_mpa(interference_at_speed_um(allowance_um, 6900.0, hub, shaft), 100.0, hub, shaft)
    assert left == pytest.approx(0.0, abs=1e-10)
    assert hub_stress_mpa(left, hub, 6900.0).hoop_mpa == pytest.approx(212, abs=0.5)


def test_large_disc_on_a_shaft() -> None:
    """Literature: published exercise, 750 mm disc on 80 mm shaft, δ = 50 µm, 7470 kg/m³, 207 GPa: p = 63.9 MPa.

    The page cuts 63.95 off rather than rounding it, and its own hoop stress is wrong in sign and size and
    is not followed. First principles: 65.4 MPa at rest, loose at 3690 rpm with 129.7 MPa.
    """
    hub, shaft = _joint(80.0, 750.0, 207.0, 7470.0)
    pressure = joint_pressure_mpa(50.0, 80.0, hub, shaft)
    assert pressure == pytest.approx(63.9, abs=0.1)
    assert hub_stress_mpa(pressure, hub).hoop_mpa == pytest.approx(pressure * (750**2 + 80**2) / (750**2 - 80**2))
    assert hub_stress_mpa(pressure, hub).hoop_mpa == pytest.approx(65.4, abs=0.05)
    release = release_speed_rpm(50.0, hub, shaft)
    assert release is not None
    assert release == pytest.approx(3690, abs=1)
    assert hub_stress_mpa(0.0, hub, release).hoop_mpa == pytest.approx(129.7, abs=0.05)


def test_ring_shrunk_on_a_solid_disc() -> None:
    """First principles (the problem is a published one): 300 mm disc in 450 mm ring, loose at 3000 rpm, 208 GPa.

    Equal steel: the loss on the diameter is ρω²d·(3+ν)/4E·(b² + (1−ν)/(3+ν)·a²) less the disc's
    ρω²d·(1−ν)/4E·a², which leaves ρω²d·(3+ν)/4E·b²; hence 46.7 µm, and 8.99 MPa at rest.
    """
    ring, disc = _joint(300.0, 450.0, 208.0)
    fit_um = -interference_at_speed_um(0.0, 3000.0, ring, disc)
    omega = 100 * math.pi
    assert fit_um == pytest.approx(7850 * omega**2 * 0.3 * 3.3 / (4 * 208e9) * 0.225**2 * 1e6, rel=1e-12)
    assert fit_um == pytest.approx(46.7, abs=0.05)
    assert joint_pressure_mpa(fit_um, 300.0, ring, disc) == pytest.approx(8.99, abs=0.005)


def test_solid_disc_at_speed() -> None:
    """First principles: σ = (3+ν)/8·ρω²R² = 108.7 MPa at 250 mm, 14 000 rpm; the page with these data
    misprints its formula."""
    assert 14_000 * math.pi / 30 == pytest.approx(1466.08, abs=0.005)
    stress = inner_hoop_mpa(_steel(0.0, 250.0), 14_000.0)
    assert stress == pytest.approx(3.3 / 8 * 7850 * (14_000 * math.pi / 30) ** 2 * 0.125**2 / 1e6, rel=1e-12)
    assert stress == pytest.approx(108.7, abs=0.051)


def test_a_small_hole_doubles_the_stress_at_the_centre() -> None:
    """Literature: textbooks on rotating discs; a pinhole has twice the stress of the solid disc."""
    solid, pierced = inner_hoop_mpa(_steel(0.0, 250.0), 9000.0), inner_hoop_mpa(_steel(1e-4, 250.0), 9000.0)
    assert pierced / solid == pytest.approx(2.0, rel=1e-9)


@pytest.mark.parametrize(("speed_rpm", "growth_um"), [(10_000.0, 0.348), (30_000.0, 3.135)])
def test_bore_of_a_holder_at_speed(speed_rpm: float, growth_um: float) -> None:
    """First principles: u = ρω²a/(4E)·((3+ν)b² + (1−ν)a²) (Timoshenko), a = 10, b = 22 mm, 206 GPa."""
    found = bore_growth_um(_steel(20.0, 44.0, 206.0), speed_rpm)
    omega = speed_rpm * math.pi / 30
    radial_m = 7850 * omega**2 * 0.010 / (4 * 206e9) * (3.3 * 0.022**2 + 0.7 * 0.010**2)
    assert found == pytest.approx(2e6 * radial_m, rel=1e-12)
    assert found == pytest.approx(growth_um, abs=0.0006)


def test_sleeve_and_shank_of_tool_size() -> None:
    """First principles: sleeve 12/24 mm of steel at 30 000 rpm: bore +0.554 µm, shank +0.028 µm (210 GPa)."""
    sleeve, shank = _joint(12.0, 24.0, 210.0)
    assert bore_growth_um(sleeve, 30_000.0) == pytest.approx(0.554, abs=0.0005)
    assert surface_growth_um(shank, 30_000.0) == pytest.approx(0.028, abs=0.0005)
    omega = 1000 * math.pi
    assert surface_growth_um(shank, 30_000.0) == pytest.approx(
        2e6 * 7850 * omega**2 * 0.006**3 * 0.7 / (4 * 210e9), rel=1e-12
    )


def test_smoothing_of_the_surfaces() -> None:
    """Literature: DIN 7190 (from memory), δ − 0.8·(Rz_o + Rz_i): Rz 3 and 2 µm take 4 µm of 20."""
    assert effective_interference_um(20.0, 3.0, 2.0, 0.8) == pytest.approx(16.0, rel=1e-12)
    assert effective_interference_um(4.0, 3.0, 2.0, 0.8) == 0.0


@pytest.mark.parametrize("inner_mm", [0.0, 20.0])
def test_same_material_form_of_the_textbook(inner_mm: float) -> None:
    """Literature: Shigley 9th ed., Eq. 7-40: p = Eδ/(2d³)·(D²−d²)(d²−d_i²)/(D²−d_i²)."""
    hub, shaft = _steel(50.0, 80.0, 207.0), _steel(inner_mm, 50.0, 207.0)
    squares = (80**2 - 50**2) * (50**2 - inner_mm**2) / (80**2 - inner_mm**2)
    assert joint_pressure_mpa(30.0, 50.0, hub, shaft) == pytest.approx(207e3 * 0.030 / (2 * 50**3) * squares, rel=1e-12)
