"""Tapers against numbers in print; the source stands beside each."""

from __future__ import annotations

import pytest

from rules.couplings import hollow_taper, polygonal_taper, steep_taper
from rules.couplings.sides import coupling
from tests.support.taper_angle_tolerance import angle_tolerance_urad
from tests.support.tapers import angle_tolerance_um, axial_travel_mm, half_angle_deg, small_end_mm

MasRow = tuple[str, float, float, str, int, int, int, float, float, float]

# MAS 403-1982, table of a machine manual: number, gauge diameter, taper length, knob thread, flange
# thickness, gap, flange diameter, slot, AT4 as a diameter, small end; mm.
MAS_403 = [
    ("30", 31.75, 48.4, "M12", 20, 2, 46, 16.1, 0.0039, 17.633),
    ("35", 38.10, 56.4, "M12", 22, 2, 53, 16.1, 0.0045, 21.650),
    ("40", 44.45, 65.4, "M16", 25, 2, 63, 16.1, 0.0041, 25.375),
    ("45", 57.15, 82.8, "M20", 30, 3, 85, 19.3, 0.0052, 33.000),
    ("50", 69.85, 101.8, "M24", 35, 3, 100, 25.7, 0.0051, 40.158),
    ("55", 88.90, 126.8, "M30", 40, 3, 120, 25.7, 0.0063, 51.917),
    ("60", 107.95, 161.8, "M30", 45, 3, 155, 25.7, 0.0065, 60.758),
]

# ASME B5.50-1985, Machinery's Handbook 27th ed., p. 1313: number, gauge diameter, taper length, thread,
# flange diameter, slot; inches.  Dimension Y is 0.750 in at every size.
INCH = [
    ("30", 1.250, 1.875, "1/2-13 UNC", 1.812, 0.645),
    ("40", 1.750, 2.687, "5/8-11 UNC", 2.500, 0.645),
    ("45", 2.250, 3.250, "3/4-10 UNC", 3.250, 0.770),
    ("50", 2.750, 4.000, "1-8 UNC", 3.875, 1.020),
    ("60", 4.250, 6.375, "1 1/4-7 UNC", 5.500, 1.020),
]


def taper_of(name: str) -> float:
    """Rate of taper of a coupling that has one."""
    rate = coupling(name).taper_rate
    assert rate is not None
    return rate


@pytest.mark.parametrize("row", MAS_403, ids=[row[0] for row in MAS_403])
def test_mas_403_shanks_as_printed(row: MasRow) -> None:
    """Literature: the printed table; flange underside is thickness plus gap (from memory)."""
    size, gauge, length, thread, thickness, gap, flange, slot, _, small = row
    shank = steep_taper.shank("mas_403", size)
    assert shank is not None
    assert steep_taper.gauge_diameter(size) == gauge
    assert steep_taper.taper_length("mas_403", size) == shank.taper_length_mm == length
    assert steep_taper.knob_thread("mas_403", size) == thread
    assert steep_taper.flange_underside("mas_403", size) == thickness + gap
    assert (shank.flange_diameter_mm, shank.slot_width_mm, shank.small_end_mm) == (flange, slot, small)


@pytest.mark.parametrize("row", MAS_403, ids=[row[0] for row in MAS_403])
def test_the_printed_small_end_follows_from_7_in_24(row: MasRow) -> None:
    """Literature: small end = gauge diameter less length times 7/24, to the micrometre."""
    size, *_, small = row
    length = steep_taper.taper_length("mas_403", size)
    assert length is not None
    found = small_end_mm(steep_taper.gauge_diameter(size), length, taper_of("steep_taper"))
    assert found == pytest.approx(small, abs=5.1e-4)


@pytest.mark.parametrize("row", MAS_403, ids=[row[0] for row in MAS_403])
def test_the_printed_at4_follows_from_the_angle_table(row: MasRow) -> None:
    """Literature: AT4 as a diameter = angle tolerance (ISO 1947, from memory) times length."""
    length, printed_mm = row[2], row[8]
    angle = angle_tolerance_urad(length, 4)
    assert angle is not None
    assert round(angle_tolerance_um(angle, length) / 1000, 4) == printed_mm


@pytest.mark.parametrize(("size", "at3_um"), [("40", 2.62), ("50", 3.21)])
def test_at3_of_two_common_sizes(size: str, at3_um: float) -> None:
    """From memory of ISO 1947: AT3 over the cone of MAS 403 sizes 40 and 50."""
    length = steep_taper.taper_length("mas_403", size)
    assert length is not None
    angle = angle_tolerance_urad(length, 3)
    assert angle is not None
    assert angle_tolerance_um(angle, length) == pytest.approx(at3_um, abs=5e-3)


@pytest.mark.parametrize("row", INCH, ids=[row[0] for row in INCH])
def test_inch_shanks_as_printed(row: tuple[str, float, float, str, float, float]) -> None:
    """Literature: the inch table times 25.4; the cones are those of the metric forms."""
    size, gauge, length, thread, flange, slot = row
    shank = steep_taper.shank("asme_b5_50", size)
    assert shank is not None
    assert steep_taper.gauge_diameter(size) == pytest.approx(gauge * 25.4, abs=1e-9)
    assert shank.taper_length_mm == pytest.approx(length * 25.4, abs=1e-9)
    assert shank.flange_diameter_mm == pytest.approx(flange * 25.4, abs=1e-9)
    assert shank.slot_width_mm == pytest.approx(slot * 25.4, abs=1e-9)
    assert shank.flange_underside_mm == pytest.approx(0.750 * 25.4, abs=1e-9)
    assert shank.knob_thread == thread


def test_size_40_shanks_of_three_families_do_not_interchange() -> None:
    """Literature: public comparisons of MAS 403, ISO 7388-1 form A and the inch V-flange.

    Flange underside at size 40: 27, 19.1 and 19.05 mm; thread M16, M16 and 5/8-11 UNC.
    """
    families = ("mas_403", "iso_7388_1_a", "asme_b5_50")
    assert [steep_taper.flange_underside(name, "40") for name in families] == [27, 19.1, 19.05]
    assert [steep_taper.knob_thread(name, "40") for name in families] == ["M16", "M16", "5/8-11 UNC"]
    assert [steep_taper.form(name).drive_keys for name in families] == ["equal", "unequal", "unequal"]
    for one in families:
        for other in families:
            assert (steep_taper.interchange(one, other) == "fits") is (one == other)


def test_seven_in_24_is_three_and_a_half_inches_a_foot() -> None:
    """Literature: Machinery's Handbook 27th ed., p. 906."""
    assert taper_of("steep_taper") == pytest.approx(3.5 / 12, abs=1e-15)


@pytest.mark.parametrize(
    ("taper", "degrees", "minutes", "seconds"),
    [(7 / 24, 8, 17, 50), (1 / 10, 2, 51, 45), (1 / 9.98, 2, 52, 5), (1 / 20, 1, 25, 56)],
)
def test_angles_of_the_common_tapers(taper: float, degrees: int, minutes: int, seconds: int) -> None:
    """First principles: half angles of 7/24, 1:10, 1:9.98 and 1:20 to the second."""
    assert half_angle_deg(taper) * 3600 == pytest.approx(degrees * 3600 + minutes * 60 + seconds, abs=0.6)


def test_the_included_angle_of_7_in_24() -> None:
    """First principles: 16°35′39″."""
    assert 2 * half_angle_deg(taper_of("steep_taper")) * 3600 == pytest.approx(16 * 3600 + 35 * 60 + 39, abs=1)


def test_the_couplings_carry_those_tapers() -> None:
    """From memory: hollow taper drawn 1:9.98 (ISO 12164), polygonal taper 1:20 (ISO 26623)."""
    assert taper_of("hollow_taper") == pytest.approx(1 / 9.98, rel=1e-12)
    assert taper_of("polygonal_taper") == pytest.approx(1 / 20, rel=1e-12)


def test_a_micrometre_on_the_diameter_of_a_steep_taper_is_3_4286_along_it() -> None:
    """First principles: 24/7."""
    assert axial_travel_mm(1.0, half_angle_deg(taper_of("steep_taper"))) == pytest.approx(3.4286, abs=5e-5)


@pytest.mark.parametrize(("collapse_mm", "travel_mm"), [(0.5, 1.78), (1.0, 3.56)])
def test_travel_of_an_8_degree_collet(collapse_mm: float, travel_mm: float) -> None:
    """First principles: 3.558 mm along the axis a millimetre of diameter, the 8° being those of one side."""
    half_angle = coupling("nut_collet").described.half_angle_deg
    assert half_angle == 8
    assert axial_travel_mm(1.0, half_angle) == pytest.approx(3.558, abs=5e-4)
    assert axial_travel_mm(collapse_mm, half_angle) == pytest.approx(travel_mm, abs=5e-3)


def test_the_cone_of_a_63_hollow_taper_is_48_mm() -> None:
    """Literature: a public page; the micrometres are from memory of ISO 12164-1."""
    assert hollow_taper.gauge_diameter("63") == pytest.approx(48, abs=0.02)


@pytest.mark.parametrize(
    ("size", "thread", "force_kn"),
    [
        ("32", "M12×1.5", 15),
        ("40", "M14×1.5", 20),
        ("50", "M16×1.5", 25),
        ("63", "M20×2", 30),
        ("80", "M20×2", 40),
        ("100", "M24×2", 60),
    ],
)
def test_polygonal_tapers_as_printed(size: str, thread: str, force_kn: float) -> None:
    """Literature: ISO 26623-1:2020 as an unofficial page gives it."""
    assert polygonal_taper.knob_thread(size) == thread
    assert polygonal_taper.clamping_force_kn(size) == force_kn


def test_the_polygon_of_size_63_as_drawn() -> None:
    """Literature: a drawing shows e = 1.400 and Dm = 44; a table of 0.7 and 22 throughout misprints."""
    assert (polygonal_taper.taper("63").eccentricity_mm, polygonal_taper.taper("63").mean_diameter_mm) == (
        1.4,
        44,
    )
