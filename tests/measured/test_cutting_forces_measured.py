"""Measured cutting forces, each within the band that its missing inputs leave: a bound of the model, no equality."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import beta

from rules.cutting.analysis import work_material
from rules.cutting.formulas import edge_depth_mm, milling_load, specific_force_mpa


def _force(name: str, thickness: float) -> float:
    row = work_material(name)
    return specific_force_mpa(row.unit_force_mpa, row.exponent, thickness)


@pytest.mark.parametrize("thickness", [0.06, 0.10])
@pytest.mark.parametrize(
    ("tangential", "edge"), [(767.0, 27.7), (600.5, 17.9), (951.4, 11.1), (1319.4, 19.7), (631.0, 13.0)]
)
def test_aluminium_alloys_of_five_laboratories(tangential: float, edge: float, thickness: float) -> None:
    """Measured: milling force model for aviation aluminium alloy, Chin. J. Mech. Eng. 2021, table 5, dry.

    K_tc + K_te/h in N/mm² of 7075 and 6082. One alloy spreads by 1.9 between laboratories; the table is on the high
    side, and no laboratory is more than its spread above it. A sixth one, of 6061, is far below all others.
    """
    measured = tangential + edge / thickness
    row = work_material("wrought_aluminium")
    assert -0.15 <= _force("wrought_aluminium", thickness) / measured - 1.0 <= 0.95
    assert measured <= _force("wrought_aluminium", thickness) * (1.0 + row.spread)


@pytest.mark.parametrize("thickness", [0.02, 0.04, 0.06, 0.1])
@pytest.mark.parametrize(("tangential", "edge"), [(1889.2, 63.1), (2003.0, 50.0)])
def test_steel_of_two_data_sets(tangential: float, edge: float, thickness: float) -> None:
    """Measured: parameter files of data sets on receptance by milling (Franco et al.) and on stability (2024).

    The steel is not named; C45 is within 25 %.
    """
    assert _force("c45", thickness) == pytest.approx(tangential + edge / thickness, rel=0.25)


SLOTS = [(0.025, 245.0), (0.050, 409.0), (0.075, 495.0), (0.100, 582.0), (0.125, 761.0)]
"""Feed per tooth, mm, and measured peak in the plane, N: ⌀25, 2 teeth, 3 mm deep, 6000 rpm; 100 revolutions each."""


MEANS = [
    (0.025, (63.0, -39.8, 55.7)),
    (0.050, (107.1, -60.1, 70.9)),
    (0.075, (137.7, -71.6, 82.6)),
    (0.100, (171.3, -76.8, 85.2)),
    (0.125, (210.7, -78.5, 83.5)),
]
"""Feed per tooth, mm, and the means of the same records along feed, across and along the axis, N."""


@pytest.mark.parametrize(("feed", "mean"), MEANS)
def test_mean_forces_of_the_slots(feed: float, mean: tuple[float, float, float]) -> None:
    """The same records: the largest mean in the plane is that of the tangential force across the feed.

    Exact for a full slot: the mean of F_t·sin φ over the mean of F_t is B(p/2 + 1, 1/2) / B((p + 1)/2, 1/2) with
    p = 1 - m_c. The model is 21 to 29 % higher, within the spread of aluminium, and by as much at every feed.
    """
    row = work_material("wrought_aluminium")
    load = milling_load(25.0, 2, 3.0, 25.0, feed, None, row.unit_force_mpa, row.exponent, radial_ratio=row.radial_ratio)
    power = 1.0 - row.exponent
    across = load.mean_torque_n_m / 0.0125 * beta(power / 2.0 + 1.0, 0.5) / beta((power + 1.0) / 2.0, 0.5)
    assert 0.15 <= across / max(map(abs, mean)) - 1.0 <= 0.35


def _slot(feed: float, runout_um: float) -> float:
    row = work_material("wrought_aluminium")
    load = milling_load(
        25.0, 2, 3.0, 25.0, feed, None, row.unit_force_mpa, row.exponent,
        radial_ratio=row.radial_ratio, runout_um=runout_um,
    )  # fmt: skip
    return load.peak_in_plane_n


@pytest.mark.parametrize(("feed", "peak"), SLOTS)
def test_slots_of_a_dynamometer(feed: float, peak: float) -> None:
    """Measured: Li, open repository on force coefficients of flat end mills, records of 15 March 2018.

    Neither material nor runout is stated; the magnitude is that of wrought aluminium. Without runout the peak is 24 to
    38 % low at every feed. One runout of 40 µm brings four of the five within 6 %, and the fifth, whose revolutions
    scatter by 10 %, within 16 %.
    """
    assert -0.45 <= _slot(feed, 0.0) / peak - 1.0 <= -0.15
    assert -0.16 <= _slot(feed, 40.0) / peak - 1.0 <= 0.065


def test_one_runout_explains_the_slots_and_no_other_scale_does() -> None:
    """The same records: a model that is 0.5 or 1.7 times as large leaves the band, with any runout up to 100 µm."""
    for scale, holds in ((1.0, True), (0.5, False), (1.7, False)):
        found = any(
            all(abs(scale * _slot(feed, tir) / peak - 1.0) <= 0.16 for feed, peak in SLOTS)
            for tir in (0.0, 20.0, 40.0, 60.0, 100.0)
        )
        assert found is holds


def test_a_shallow_turning_cut_needs_more_than_in_proportion() -> None:
    """Measured: turning tests of a university course, open repository 2025: f 0.104 mm, F_c at 0.25 to 1.25 mm depth.

    At depths of the order of the corner radius the force is 12 to 19 % above the proportion; a corner radius of 0.8 mm
    (not stated) gives such an excess at the smallest depth, since its edge is at a low angle.
    """
    forces = {0.25: 65.5, 0.5: 120.2, 1.0: 212.6, 1.25: 268.2}
    assert forces[1.25] / forces[1.0] == pytest.approx(1.25, rel=0.02)
    for depth in (0.25, 0.5):
        excess = forces[depth] / (forces[1.0] * depth)
        computed = edge_depth_mm(depth, 0.24, 90.0, 0.8) / (edge_depth_mm(1.0, 0.24, 90.0, 0.8) * depth)
        assert computed > 1.0
        assert computed == pytest.approx(excess, rel=0.12)


TURNED = {0.104: 2044.0, 0.187: 1985.0, 0.299: 1903.0, 0.416: 1744.0}
"""Feed, mm, and specific force, N/mm², of the same turning tests at 1 mm depth; the steel is not named."""


def test_specific_force_falls_with_the_feed() -> None:
    """Measured: the exponent is 0.11 with nominal and 0.14 with measured feeds, the tables' least that of C45, 0.14."""
    slope = -np.polyfit(np.log(list(TURNED)), np.log(list(TURNED.values())), 1)[0]
    assert slope == pytest.approx(0.11, abs=0.005)
    assert work_material("c45").exponent == pytest.approx(slope, abs=0.04)


@pytest.mark.parametrize("feed", TURNED)
def test_soft_steel_is_nearest_to_the_turning_tests(feed: float) -> None:
    """Measured: structural steel is 15 to 28 % above at every feed, within its spread but for the thinnest chip."""
    assert 0.10 <= _force("s235", feed) / TURNED[feed] - 1.0 <= 0.30


@pytest.mark.parametrize(
    ("name", "printed", "least", "most"),
    [
        ("c45", 2240.0, 0.0, 0.2), ("c45", 2320.0, 0.0, 0.2), ("c45", 2510.0, 0.0, 0.2),
        ("42crmo4", 1970.0, 0.0, 0.3), ("42crmo4", 2380.0, -0.1, 0.1), ("42crmo4", 2730.0, -0.15, 0.0),
        ("16mncr5", 1690.0, 0.25, 0.45),
    ],
)  # fmt: skip
def test_power_constants_of_a_handbook(name: str, printed: float, least: float, most: float) -> None:
    """Measured: Machinery's Handbook, 31st ed., p. 1147, table 1b, sharp tools, h 0.3 mm (from memory).

    Plain carbon steel of 180 to 260 HB, 4140 of 200 to 360 HB, 8620 of 180 to 200 HB. 42CrMo4 lies among the hard ones
    as it should, 16MnCr5 is high.
    """
    assert least <= _force(name, 0.3) / printed - 1.0 <= most
