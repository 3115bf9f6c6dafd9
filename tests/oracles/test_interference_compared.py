"""Interference joints and rotating discs: independent computations and values of common knowledge."""

from __future__ import annotations

import pytest

from rules.grip.formulas import (
    Ring,
    effective_interference_um,
    hub_stress_mpa,
    inner_hoop_mpa,
    interference_at_speed_um,
    joint_pressure_mpa,
    release_speed_rpm,
    slip_force_n,
    slip_torque_n_m,
)


def _steel(inner_mm: float, outer_mm: float, modulus_gpa: float = 210.0, density_kg_m3: float = 7850.0) -> Ring:
    return Ring(inner_mm, outer_mm, modulus_gpa, 0.3, density_kg_m3)


def _joint(joint_mm: float, outer_mm: float, modulus_gpa: float, density_kg_m3: float = 7850.0) -> tuple[Ring, Ring]:
    """Hub and solid shaft of one steel."""
    return _steel(joint_mm, outer_mm, modulus_gpa, density_kg_m3), _steel(0.0, joint_mm, modulus_gpa, density_kg_m3)


def test_solid_shaft_in_a_ring_of_twice_its_diameter() -> None:
    """Literature: machine-design textbooks, equal steel: 50 mm in 100 mm, δ = 50 µm, E = 207 GPa: 77.625 MPa."""
    assert joint_pressure_mpa(50.0, 50.0, *_joint(50.0, 100.0, 207.0)) == pytest.approx(77.625, rel=1e-12)


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


def test_a_small_hole_doubles_the_stress_at_the_centre() -> None:
    """Literature: textbooks on rotating discs; a pinhole has twice the stress of the solid disc."""
    solid, pierced = inner_hoop_mpa(_steel(0.0, 250.0), 9000.0), inner_hoop_mpa(_steel(1e-4, 250.0), 9000.0)
    assert pierced / solid == pytest.approx(2.0, rel=1e-9)


def test_smoothing_of_the_surfaces() -> None:
    """Literature: DIN 7190 (from memory), δ − 0.8·(Rz_o + Rz_i): Rz 3 and 2 µm take 4 µm of 20."""
    assert effective_interference_um(20.0, 3.0, 2.0, 0.8) == pytest.approx(16.0, rel=1e-12)
    assert effective_interference_um(4.0, 3.0, 2.0, 0.8) == 0.0
