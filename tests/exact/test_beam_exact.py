"""Stepped beams: exact mathematics and first principles."""

from __future__ import annotations

import math

import pytest

from rules.bending.beam import Segment, area_mm2, second_moment_mm4, tip_compliance
from rules.bending.frequencies import bending_frequencies

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
