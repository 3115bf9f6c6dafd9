"""Tapers: values in print, each with title, edition and place."""

from __future__ import annotations

import pytest

from rules.couplings import steep_taper
from tests.support.tapers import small_end_mm, stated, taper_rate

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
    rate = taper_rate(name)
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
    assert stated(steep_taper.shank("mas_403", size)).flange_underside_mm == thickness + gap
    assert (shank.flange_diameter_mm, shank.slot_width_mm, shank.small_end_mm) == (flange, slot, small)


@pytest.mark.parametrize("row", MAS_403, ids=[row[0] for row in MAS_403])
def test_the_printed_small_end_follows_from_7_in_24(row: MasRow) -> None:
    """Literature: small end = gauge diameter less length times 7/24, to the micrometre."""
    size, *_, small = row
    length = steep_taper.taper_length("mas_403", size)
    assert length is not None
    found = small_end_mm(steep_taper.gauge_diameter(size), length, taper_of("steep_taper"))
    assert found == pytest.approx(small, abs=5.1e-4)


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


def test_seven_in_24_is_three_and_a_half_inches_a_foot() -> None:
    """Literature: Machinery's Handbook 27th ed., p. 906."""
    assert taper_of("steep_taper") == pytest.approx(3.5 / 12, abs=1e-15)
