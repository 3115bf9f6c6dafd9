"""Tapers: values in print, each with title, edition and place."""

from __future__ import annotations

import pytest

from rules.couplings import steep_taper
from tests.support.printed_tables import ASME_B5_50, MAS_403
from tests.support.tapers import small_end_mm, stated, taper_rate

MasRow = tuple[str, float, float, str, int, int, int, float, float, float]


def taper_of(name: str) -> float:
    """Rate of taper of a coupling that has one."""
    rate = taper_rate(name)
    assert rate is not None
    return rate


@pytest.mark.parametrize("row", MAS_403, ids=[row[0] for row in MAS_403])
def test_mas_403_shanks_as_printed(row: MasRow) -> None:
    """Literature: MAS 403-1982, table of tool shanks; that the underside is thickness plus gap is from memory."""
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
    """Literature: MAS 403-1982, table of tool shanks: gauge diameter less length times 7/24, to the micrometre."""
    size, *_, small = row
    length = steep_taper.taper_length("mas_403", size)
    assert length is not None
    found = small_end_mm(steep_taper.gauge_diameter(size), length, taper_of("steep_taper"))
    assert found == pytest.approx(small, abs=5.1e-4)


@pytest.mark.parametrize("row", ASME_B5_50, ids=[row[0] for row in ASME_B5_50])
def test_inch_shanks_as_printed(row: tuple[str, float, float, str, float, float]) -> None:
    """Literature: ASME B5.50-1985 in Machinery's Handbook, 27th ed., p. 1313, times 25.4."""
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
