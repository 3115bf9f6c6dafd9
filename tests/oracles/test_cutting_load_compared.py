"""Cutting load: independent computations and values of common knowledge."""

from __future__ import annotations

import math
import re
from typing import Any

import mpmath
import numpy as np
import pytest

from rules.cutting.analysis import work_material, work_materials
from rules.cutting.formulas import (
    engagement_angle_rad,
    mean_chip_thickness_mm,
    milling_load,
    peak_sums,
    specific_force_mpa,
)
from rules.cutting.tooth_sums import sine_power_integral, tooth_sums


def test_slab_mill_of_a_textbook_on_manufacturing() -> None:
    """Literature: Kalpakjian's slab-milling example, from memory: 3 W·s/mm³ are 3000 N/mm².

    100 mm wide, 3 mm deep, ⌀50, 20 teeth, 0.25 mm, 100 rpm: 150,000 mm³/min, 7.5 kW, 716 N·m.
    """
    load = milling_load(50.0, 20, 100.0, 3.0, 0.25, 100.0, 3000.0, 0.0, radial_ratio=0.4)
    assert load.removal_rate_mm3_per_min == pytest.approx(150_000.0, rel=1e-12)
    assert load.power_kw == pytest.approx(7.5, rel=1e-12)
    assert load.mean_torque_n_m == pytest.approx(716.0, abs=0.5)


def test_face_mill_of_a_textbook_on_manufacturing() -> None:
    """Literature: a problem of Kalpakjian's (answer computed): ⌀150, 75 % engaged, 5 W·s/mm³; 8.44 kW."""
    load = milling_load(150.0, 8, 3.0, 0.75 * 150.0, 0.125, 300.0, 5000.0, 0.0, radial_ratio=0.4)
    assert load.removal_rate_mm3_per_min == pytest.approx(101_250.0, rel=1e-12)
    assert load.power_kw == pytest.approx(8.44, abs=0.005)


@pytest.mark.parametrize(
    ("radial_share", "degrees"), [(1.0, 180.0), (0.75, 120.0), (0.5, 90.0), (0.25, 60.0), (0.067, 30.0)]
)
def test_engagement_and_mean_thickness_in_degrees(radial_share: float, degrees: float) -> None:
    """Literature: handbook form φs = acos(1 − 2·ae/D), h_m = 360/(π·φs°)·(ae/D)·f_z·sin κ (Dietrich)."""
    angle = engagement_angle_rad(40.0, 40.0 * radial_share)
    assert math.degrees(angle) == pytest.approx(degrees, abs=0.02)
    assert angle == pytest.approx(math.acos(1.0 - 2.0 * radial_share), rel=1e-14)
    for lead in (90.0, 45.0):
        printed = 360.0 / (math.pi * math.degrees(angle)) * radial_share * 0.2 * math.sin(math.radians(lead))
        assert mean_chip_thickness_mm(40.0, 40.0 * radial_share, 0.2, lead) == pytest.approx(printed, rel=1e-13)


HANDBOOKS = {
    "s235": (1780, 0.17, 0.0),
    "e295": (1500, 0.29, 0.0),
    "c45": (2220, 0.14, 0.0),
    "c60": (2130, 0.18, 0.0),
    "16mncr5": (1775, 0.24, 0.0),
    "42crmo4": (1800, 0.24, 0.0),
    "x5crni18_10": (2350, 0.21, 0.0),
    "grey_cast_iron_250": (1020, 0.25, 0.19),
    "wrought_aluminium": (700, 0.23, 0.19),
    "cast_aluminium": (700, 0.18, 0.6),
    "ti6al4v": (1370, 0.21, 0.15),
}
"""k_c1.1 and m_c of the lower handbook, and how far above it another one is, for milling's chips."""


def test_every_work_material_is_compared() -> None:
    """The comparison below leaves no named material out; groups are named by their number."""
    numbered = {name for name in work_materials() if re.fullmatch(r"[pmknsh]\d{1,2}|hrc\d+", name)}
    assert set(HANDBOOKS) == set(work_materials()) - numbered


@pytest.mark.parametrize("name", HANDBOOKS)
def test_work_materials_are_at_or_above_the_handbooks(name: str) -> None:
    """Literature (from memory): German handbooks, König and Essel; where they differ, the higher is in the table."""
    unit_force, exponent, above = HANDBOOKS[name]
    row = work_material(name)
    for thickness in (0.02, 0.05, 0.1, 0.3):
        stated = specific_force_mpa(row.unit_force_mpa, row.exponent, thickness)
        lower = unit_force * thickness**-exponent
        assert lower * (1 - 1e-12) <= stated <= lower * (1 + above + 1e-12)


def turned(teeth: int, engagement: float, power: float, steps: int) -> tuple[Any, Any]:
    """Angle and force sin^p of each tooth over a revolution, at even steps and then about each tooth's exit."""
    angles = np.arange(steps) / steps * 2.0 * math.pi
    exits = engagement - np.arange(teeth) * 2.0 * math.pi / teeth
    rotation = np.concatenate([angles, exits * (1.0 - 1e-15), exits - 1e-9, exits + 1e-9])
    phi = np.mod(rotation[:, None] + np.arange(teeth) * 2.0 * math.pi / teeth, 2.0 * math.pi)
    engaged = (phi <= engagement * (1.0 + 1e-14)) & (phi < math.pi)
    force = np.where(engaged, np.sin(np.where(engaged, phi, 0.0)) ** power, 0.0)
    return phi, force


RANDOM = np.random.default_rng(20_240_613)
CASES = [
    *[(int(z), float(s), float(m)) for z, s, m in zip(
        RANDOM.integers(1, 17, 60), RANDOM.uniform(0.01, 1.0, 60), RANDOM.uniform(0.0, 0.5, 60), strict=True
    )],
    *[(z, s, 0.25) for z in (1, 2, 3, 4, 5, 6, 8, 12) for s in (0.25, 0.5, 0.75, 1.0)],
]  # fmt: skip


@pytest.mark.parametrize(("teeth", "share", "exponent"), CASES)
def test_peaks_against_turning_the_cutter(teeth: int, share: float, exponent: float) -> None:
    """First principles: 36,000 places of the cutter, tooth by tooth, none above the peak and one almost at it."""
    arc = engagement_angle_rad(1.0, share)
    phi, force = turned(teeth, arc, 1.0 - exponent, 36_000)
    along, vector = force.sum(axis=1), np.abs((force * np.exp(1j * phi)).sum(axis=1))
    sums = peak_sums(teeth, arc, 1.0 - exponent)
    for found, scanned in ((sums.along, along.max()), (sums.vector, vector.max())):
        assert scanned <= found * (1.0 + 1e-10)  # a tooth 1e-16 into the cut already shows at 1e-12
        assert scanned == pytest.approx(found, rel=1e-6)
    load = milling_load(25.0, teeth, 12.0, 25.0 * share, 0.1, None, 2100.0, exponent, 60.0, radial_ratio=0.45)
    sine = math.sin(math.radians(60.0))
    deepest = 2100.0 * 12.0 / sine * (0.1 * sine) ** (1.0 - exponent)
    assert load.peak_tangential_n == pytest.approx(deepest * along.max(), rel=1e-6)
    assert load.peak_in_plane_n == pytest.approx(deepest * vector.max() * math.hypot(1.0, 0.45), rel=1e-6)


@pytest.mark.parametrize(("teeth", "share", "exponent"), CASES[::4])
def test_mean_over_the_turn(teeth: int, share: float, exponent: float) -> None:
    """First principles: the mean of 36,000 places of the cutter."""
    arc = engagement_angle_rad(1.0, share)
    _, force = turned(teeth, arc, 1.0 - exponent, 36_000)
    load = milling_load(25.0, teeth, 12.0, 25.0 * share, 0.1, None, 2100.0, exponent, radial_ratio=0.45)
    mean = 2100.0 * 12.0 * 0.1 ** (1.0 - exponent) * force[:36_000].sum(axis=1).mean()
    assert load.mean_tangential_n == pytest.approx(mean, rel=1e-3)


def sliced(teeth: int, arc: float, power: float, lag: float, eccentricity: float, up: bool) -> tuple[float, float]:
    """Largest sums over 60 slices of the arc or more, 240 rotations and 24 directions, each tooth at its radius."""
    pitch = 2.0 * math.pi / teeth
    count = int(60 * max(1.0, lag / arc))
    heights = (np.arange(count) + 0.5) / count * lag
    rotations = np.arange(240) / 240.0 * 2.0 * math.pi
    first, last = (0.0, arc) if up else (math.pi - arc, math.pi)
    along = vector = 0.0
    for direction in np.arange(24) / 24.0 * pitch:
        radii = [eccentricity * np.cos(j * pitch - heights - direction)[None, :] for j in range(2 * teeth)]
        torque: Any = 0.0
        force: Any = 0.0
        for tooth in range(teeth):
            angle = rotations[:, None] + tooth * pitch - heights[None, :]
            chips = [m * np.sin(angle) + radii[tooth] - radii[tooth + m] for m in range(1, teeth + 1)]
            turn = np.mod(angle, 2.0 * math.pi)
            thickness = np.where((turn > first) & (turn < last), np.maximum(np.min(chips, axis=0), 0.0), 0.0)
            torque = torque + (thickness**power).mean(axis=1)
            force = force + (thickness**power * np.exp(1j * angle)).mean(axis=1)
        along, vector = max(along, float(torque.max())), max(vector, float(np.abs(force).max()))
    return along, vector


@pytest.mark.parametrize("up", [True, False])
@pytest.mark.parametrize(
    ("teeth", "share", "power", "lag", "eccentricity"),
    [
        (4, 0.1, 0.74, 0.9623, 0.0625), (4, 0.1, 0.74, 0.9623, 0.25), (2, 0.5, 0.86, 0.6, 0.1),
        (3, 0.25, 0.86, 2.0, 0.3),
        (4, 1.0, 0.74, 0.4, 0.2), (6, 0.5, 0.76, 1.0, 0.05), (5, 0.75, 0.8, 3.0, 0.15), (4, 0.05, 0.86, 2.5, 0.02),
        pytest.param(4, 0.025, 0.86, 5.0, 0.02, marks=pytest.mark.long),
    ],
)  # fmt: skip
def test_helix_and_runout_by_slices(
    teeth: int, share: float, power: float, lag: float, eccentricity: float, up: bool
) -> None:
    """First principles: slices, teeth and earlier passes one by one; up milling counts, down milling is not above."""
    arc = engagement_angle_rad(1.0, share)
    along, vector = sliced(teeth, arc, power, lag, eccentricity, up)
    sums = tooth_sums(teeth, arc, power, lag, eccentricity)
    if up:
        assert sums.along == pytest.approx(along, rel=0.015)
        assert sums.vector == pytest.approx(vector, rel=0.015)
    assert along <= sums.along * 1.015
    assert vector <= sums.vector * 1.015


@pytest.mark.parametrize("sense", [1.0, -1.0])
@pytest.mark.parametrize(("teeth", "share", "exponent"), CASES[::4])
def test_radial_and_tangential_forces_as_vectors(teeth: int, share: float, exponent: float, sense: float) -> None:
    """First principles: against the rotation and towards the axis, tooth by tooth; up and down milling alike."""
    arc = engagement_angle_rad(1.0, share)
    phi, force = turned(teeth, arc, 1.0 - exponent, 36_000)
    x = force * (sense * np.sin(phi) - 0.45 * np.cos(phi))
    y = force * (-sense * np.cos(phi) - 0.45 * np.sin(phi))
    scanned = 2100.0 * 12.0 * 0.1 ** (1.0 - exponent) * np.hypot(x.sum(axis=1), y.sum(axis=1)).max()
    load = milling_load(25.0, teeth, 12.0, 25.0 * share, 0.1, None, 2100.0, exponent, radial_ratio=0.45)
    assert load.peak_in_plane_n == pytest.approx(scanned, rel=1e-6)


@pytest.mark.parametrize("power", [0.0, 0.05, 0.4, 0.74, 1.0, 1.26, 2.0, 3.7])
def test_powers_of_the_sine_as_the_incomplete_beta_function(power: float) -> None:
    """Up to a right angle, which the two series share half and half, and at the ends."""
    for angle in (0.0, 1e-9, 0.01, 0.3, 0.785, 0.786, 1.2, 1.57, 0.5 * math.pi):
        with mpmath.workdps(40):
            told = float(mpmath.betainc((power + 1) / mpmath.mpf(2), 0.5, 0, mpmath.sin(angle) ** 2) / 2)
        assert sine_power_integral(power, angle) == pytest.approx(told, rel=1e-14, abs=1e-300)
