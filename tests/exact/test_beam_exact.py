"""Stepped beams: exact mathematics and first principles."""

from __future__ import annotations

import math

import pytest

from rules.bending.beam import Segment, Spring, area_mm2, second_moment_mm4, shear_coefficient, tip_compliance
from rules.bending.frequencies import bending_frequencies, frequencies_by_springs

STEEL_MPA, STEEL_KG_PER_MM3, STEEL_POISSON = 210e3, 7850e-9, 0.3


def _steel(length_mm: float, diameter_mm: float, bore_mm: float = 0.0) -> Segment:
    return Segment(
        length_mm,
        STEEL_MPA * second_moment_mm4(diameter_mm, bore_mm),
        STEEL_KG_PER_MM3 * area_mm2(diameter_mm, bore_mm),
    )


def _unit_frequencies(tip_mass: float = 0.0, count: int = 3, elements: int = 64) -> list[float]:
    """Return ω/√(EI/(m·L⁴)) of a uniform cantilever with a tip mass given in masses of the beam."""
    per_hz = 2.0 * math.pi / math.sqrt(1000.0)
    return [f * per_hz for f in bending_frequencies([Segment(1.0, 1.0, 1.0)], (), tip_mass, count, elements)]


# Statics


def test_stepped_bar() -> None:
    """First principles: 60 mm of ⌀20 and 40 mm of ⌀10 in steel, 100 N: P/3E·((100³ − 40³)/I₁ + 40³/I₂) = 39.612 µm."""
    bar = [_steel(60, 20), _steel(40, 10)]
    by_hand = 100e3 / (3 * STEEL_MPA) * ((100**3 - 40**3) / second_moment_mm4(20) + 40**3 / second_moment_mm4(10))
    assert tip_compliance(bar).deflection_um(100.0) == pytest.approx(by_hand, rel=1e-14)
    assert by_hand == pytest.approx(39.612, abs=5e-4)


def test_end_mill_in_a_holder() -> None:
    """First principles: ⌀25 × 60 mm, then ⌀12 × 40 mm of steel under 100 N; a plain ⌀12 × 100 mm beside it."""
    assert tip_compliance([_steel(60, 25), _steel(40, 12)]).deflection_um(100.0) == pytest.approx(17.729, abs=5e-4)
    assert tip_compliance([_steel(100, 12)]).deflection_um(100.0) == pytest.approx(155.94, abs=5e-3)


# Frequencies


def test_uniform_steel_bar() -> None:
    """First principles: ⌀20 × 120 mm, 1.87510²/(2π)·√(EI/ρA)/L² = 1005.0 Hz; four elements are within 0.05 %."""
    bar = _steel(120, 20)
    exact = 1.8751040687119611**2 / (2 * math.pi) * math.sqrt(1000 * bar.stiffness_n_mm2 / bar.mass_kg_per_mm) / 120**2
    assert exact == pytest.approx(1005.0, abs=0.05)
    assert bending_frequencies([bar])[0] == pytest.approx(exact, rel=5e-5)
    assert bending_frequencies([bar], elements=64)[0] == pytest.approx(exact, rel=1e-8)


def test_roots_as_served() -> None:
    """First principles: with the usual few elements f₁ is 0.01 % high at most, f₂ 0.2 %, f₃ 1 %, never low."""
    errors = [
        served / exact - 1 for served, exact in zip(_unit_frequencies(elements=4), _unit_frequencies(), strict=True)
    ]
    assert all(0 < error < limit for error, limit in zip(errors, (1e-4, 2e-3, 1e-2), strict=True))


# Shear, rotary inertia and springs


def _bar(length_mm: float, diameter_mm: float, bore_mm: float = 0.0) -> Segment:
    area, second = area_mm2(diameter_mm, bore_mm), second_moment_mm4(diameter_mm, bore_mm)
    shear = shear_coefficient(bore_mm / diameter_mm, STEEL_POISSON) * STEEL_MPA / (2 * (1 + STEEL_POISSON)) * area
    return Segment(length_mm, STEEL_MPA * second, STEEL_KG_PER_MM3 * area, shear, STEEL_KG_PER_MM3 * second)


def test_deflection_is_a_sum_of_bending_shear_and_springs() -> None:
    """First principles: L³/3EI + L/kGA + 1/k_t + L²/k_r of ⌀20 × 120 mm: 349.231 + 5.335 + 10 + 144 nm/N."""
    bar, springs = [_bar(120, 20)], [Spring(0.0, 1e5, 1e8)]
    parts = (120**3 / (3 * bar[0].stiffness_n_mm2), 120 / bar[0].shear_n, 1 / 1e5, 120**2 / 1e8)
    assert [1e6 * part for part in parts] == pytest.approx([349.231, 5.335, 10.0, 144.0], abs=1e-3)
    assert tip_compliance(bar, springs).total_mm_per_n == pytest.approx(sum(parts), rel=1e-14)
    assert bending_frequencies(bar, springs, elements=64)[0] == pytest.approx(777.48, abs=0.01)


def test_shear_within_reach_of_a_force() -> None:
    """First principles: shear acts only before the force; at 45 of 120 mm it adds 45/kGA."""
    bar = _bar(120, 20)
    with_shear = tip_compliance([bar], force_at_mm=45.0).total_mm_per_n
    without = tip_compliance([bar._replace(shear_n=math.inf)], force_at_mm=45.0).total_mm_per_n
    assert with_shear - without == pytest.approx(45 / bar.shear_n, rel=1e-9)


@pytest.mark.parametrize(("kappa", "beta"), [(1.0, 1.247917), (10.0, 1.722742), (100.0, 1.856787)])
def test_spring_at_the_root(kappa: float, beta: float) -> None:
    """First principles: κ·(1 + cos β·cosh β) = β·(sin β·cosh β − cos β·sinh β), κ = k·L/EI, without shear."""
    sine, cosine = math.sin(beta), math.cos(beta)
    left = kappa * (1 + cosine * math.cosh(beta))
    assert left == pytest.approx(beta * (sine * math.cosh(beta) - cosine * math.sinh(beta)), abs=1e-5 * (1 + kappa))
    found = bending_frequencies([Segment(1.0, 1.0, 1.0)], [Spring(0.0, None, kappa)], elements=64)[0]
    assert found * 2 * math.pi / math.sqrt(1000.0) == pytest.approx(beta**2, rel=3e-6)


def test_sets_of_springs_are_as_each_alone() -> None:
    """First principles: springs of several sets share one matrix, and each set is as if it were alone."""
    bar = [_bar(60, 30, 12), _bar(40, 16), _bar(30, 8)]
    sets = [[Spring(0.0, 1e5, 1e8)], [Spring(100.0, None, 1e6), Spring(0.0, 2e4, None)], [], [Spring(60.0, 1e4, 1e7)]]
    together = frequencies_by_springs(bar, sets, elements=12)
    for springs, found in zip(sets, together, strict=True):
        # cut at the places of all sets
        places = [Spring(z) for z in (0.0, 60.0, 100.0)]
        assert found == pytest.approx(bending_frequencies(bar, [*springs, *places], elements=12), rel=1e-9)


@pytest.mark.parametrize(
    ("bore_to_diameter", "poisson", "coefficient"),
    [(0, 0.3, 0.886364), (0.5, 0.3, 0.620229), (0.8, 0.3, 0.541077), (1, 0.3, 0.530612), (0, 0.22, 0.879808)],
)
def test_shear_coefficient_of_a_ring(bore_to_diameter: float, poisson: float, coefficient: float) -> None:
    """First principles: Cowper's integral; a thin tube has 2(1 + ν)/(4 + 3ν), a solid bar 6(1 + ν)/(7 + 6ν)."""
    assert shear_coefficient(bore_to_diameter, poisson) == pytest.approx(coefficient, abs=6e-7)
    if bore_to_diameter == 1:
        assert coefficient == pytest.approx(2 * (1 + poisson) / (4 + 3 * poisson), abs=6e-7)
