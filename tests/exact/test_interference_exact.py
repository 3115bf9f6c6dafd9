"""Interference joints and rotating discs: exact mathematics and first principles."""

from __future__ import annotations

import math

import pytest

from rules.grip.formulas import (
    Ring,
    bore_growth_um,
    inner_hoop_mpa,
    interference_at_speed_um,
    joint_pressure_mpa,
    lift_off_moment_n_m,
    slip_torque_n_m,
    surface_growth_um,
)


def _steel(inner_mm: float, outer_mm: float, modulus_gpa: float = 210.0, density_kg_m3: float = 7850.0) -> Ring:
    return Ring(inner_mm, outer_mm, modulus_gpa, 0.3, density_kg_m3)


def _joint(joint_mm: float, outer_mm: float, modulus_gpa: float, density_kg_m3: float = 7850.0) -> tuple[Ring, Ring]:
    """Hub and solid shaft of one steel."""
    return _steel(joint_mm, outer_mm, modulus_gpa, density_kg_m3), _steel(0.0, joint_mm, modulus_gpa, density_kg_m3)


def test_carbide_shank_in_a_steel_bore() -> None:
    """First principles: Lamé by hand, carbide 620 GPa/0.22 in steel 206 GPa/0.30, 20 in 44 mm, δ = 20 µm."""
    hub, shank = Ring(20.0, 44.0, 206.0, 0.30, 7850.0), Ring(0.0, 20.0, 620.0, 0.22, 14500.0)
    pressure = joint_pressure_mpa(20.0, 20.0, hub, shank)
    outer = ((44**2 + 20**2) / (44**2 - 20**2) + 0.30) / 206e3
    assert pressure == pytest.approx(0.020 / (20 * (outer + (1 - 0.22) / 620e3)), rel=1e-12)
    assert pressure == pytest.approx(99.04, abs=0.005)
    assert slip_torque_n_m(pressure, 20.0, 40.0, 0.12) == pytest.approx(298.7, abs=0.05)


def test_joint_of_a_tool_shank() -> None:
    """First principles: equal steel, p = E·δ/(2d)·(1 − (d/D)²): 12/24 mm, δ = 12 µm, 36 mm long, µ 0.15."""
    pressure = joint_pressure_mpa(12.0, 12.0, *_joint(12.0, 24.0, 210.0))
    assert pressure == pytest.approx(210e3 * 0.012 / 24 * 0.75, rel=1e-12)
    assert pressure == pytest.approx(78.75, rel=1e-12)
    assert slip_torque_n_m(pressure, 12.0, 36.0, 0.15) == pytest.approx(96.2, abs=0.05)


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


def test_face_ring_opens_where_the_moment_takes_the_pressure() -> None:
    """First principles: F/A − M·r/I = 0 of a ring with D = 57 mm and a wall of 0.001 mm: M = F·D/4."""
    mean, wall, force = 57.0, 1e-3, 18e3
    outer, inner = mean + wall, mean - wall
    area = math.pi / 4 * (outer**2 - inner**2)
    second = math.pi / 64 * (outer**4 - inner**4)
    assert lift_off_moment_n_m(force, mean) == pytest.approx(force / area * second / (mean / 2) / 1e3, rel=1e-6)
