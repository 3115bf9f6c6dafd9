"""Bending frequencies that were measured, each with the band within which the beam must fall."""

from __future__ import annotations

import math

import pytest

from rules.bending.beam import Segment, Spring, area_mm2, second_moment_mm4, shear_coefficient
from rules.bending.frequencies import bending_frequencies

ALUMINIUM = (72e3, 0.33, 2810e-9)
"""7075: Young's modulus, MPa, Poisson's ratio, density, kg/mm³."""
STEEL = (210e3, 0.28, 7800e-9)
TIP_KG = 30.3e-3
"""Plug and sensor at the end of the tubes."""


def _piece(length: float, outer: float, bore: float, material: tuple[float, float, float]) -> Segment:
    modulus, poisson, density = material
    area, second = area_mm2(outer, bore), second_moment_mm4(outer, bore)
    shear = shear_coefficient(bore / outer, poisson) * modulus / (2 * (1 + poisson)) * area
    return Segment(length, modulus * second, density * area, shear, density * second)


RODS = {
    "16 x 190": ([_piece(190, 16, 0, ALUMINIUM)], 292.7),
    "16 x 140": ([_piece(140, 16, 0, ALUMINIUM)], 520.5),
    "16 x 140 then 10 x 50": ([_piece(140, 16, 0, ALUMINIUM), _piece(50, 10, 0, ALUMINIUM)], 399.0),
}
"""Aluminium rods, gripped over 10 mm in a bench clamp, and their measured first frequency, Hz.

Li, Experiment verification of receptance coupling substructure analysis, University of British Columbia, 2019-20, open
data; frequencies read from the figures to 4 Hz.
"""


@pytest.mark.parametrize("name", RODS)
def test_a_rigid_clamp_is_too_stiff(name: str) -> None:
    """Measured: a rigid clamp gives 3 to 13 % more than was measured."""
    beam, measured = RODS[name]
    assert 1.03 <= bending_frequencies(beam, elements=32)[0] / measured <= 1.13


def _clamp_n_mm_per_rad() -> float:
    """Return the tilting stiffness with which the first rod has its measured frequency, by bisection."""
    beam, measured = RODS["16 x 190"]
    low, high = 1e6, 1e9
    for _ in range(60):
        middle = math.sqrt(low * high)
        if bending_frequencies(beam, [Spring(0.0, None, middle)], elements=32)[0] < measured:
            low = middle
        else:
            high = middle
    return middle


def test_one_clamp_serves_three_rods() -> None:
    """Measured: with the spring of the first rod, about 33 N·m/mrad, the other two are within 5 %."""
    clamp = _clamp_n_mm_per_rad()
    assert clamp == pytest.approx(33.5e6, rel=0.1)
    for name in ("16 x 140", "16 x 140 then 10 x 50"):
        beam, measured = RODS[name]
        found = bending_frequencies(beam, [Spring(0.0, None, clamp)], elements=32)[0]
        assert found == pytest.approx(measured, rel=0.05)


@pytest.mark.parametrize(
    ("bore", "mode", "measured", "low", "high"),
    [
        (8, 0, [51.6, 53.0, 54.1], 0.94, 1.06),
        (8, 1, [396.2, 397.1, 394.9], 1.0, 1.10),
        (9, 0, [41.8, 43.7, 42.9, 46.4], 0.94, 1.06),
        (9, 1, [392.6, 399.7, 385.0, 393.0], 1.0, 1.10),
    ],
)
def test_tubes_with_a_tip_mass(bore: float, mode: int, measured: list[float], low: float, high: float) -> None:
    """Measured: steel tube of 10 mm, 330 mm long, shrunk on a plug; on the mean of the series.

    Sun, Experimentelle und simulative Modalanalyse eines Werkzeugschaftes beim HSC-Fräsen, master's thesis, TU
    Bergakademie Freiberg, 2020.
    """
    found = bending_frequencies([_piece(330, 10, bore, STEEL)], (), TIP_KG, elements=32)[mode]
    assert low <= found / (sum(measured) / len(measured)) <= high


def test_a_missing_tip_mass_is_the_largest_error() -> None:
    """Measured: without plug and sensor the tube of 10/8 mm would be 60 % too high."""
    assert bending_frequencies([_piece(330, 10, 8, STEEL)])[0] / 52.9 > 1.5


def test_the_assumed_band_covers_a_measured_seat() -> None:
    """Measured: a bar of 45 x 160 mm in a spindle nose shows 15 to 25 N/µm, the seat of size 63 between soft and stiff.

    Ito, Modular Design for Machine Tools, figure 9-21, after Tsutsumi: the axis runs from 10 to 30 N/µm.
    """
    beam = _piece(160, 45, 0, (210e3, 0.3, 7850e-9))
    stiff = []
    for tilting, radial in ((0.02, 0.01), (0.08, 0.1)):
        bent = 160**3 / (3 * beam.stiffness_n_mm2) + 160 / beam.shear_n
        seat = 160**2 / (tilting * 210e3 * 63**3) + 1 / (radial * 210e3 * 63)
        stiff.append(1e-3 / (bent + seat))
    assert 10 < stiff[0] < 20 < stiff[1] < 30
