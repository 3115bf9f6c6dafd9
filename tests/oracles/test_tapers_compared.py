"""Tapers: independent computations and values of common knowledge."""

from __future__ import annotations

import pytest

from rules.couplings import hollow_taper, steep_taper
from tests.support.printed_tables import MAS_403
from tests.support.taper_angle_tolerance import angle_tolerance_urad
from tests.support.tapers import angle_tolerance_um, stated, taper_rate

MasRow = tuple[str, float, float, str, int, int, int, float, float, float]


def taper_of(name: str) -> float:
    """Rate of taper of a coupling that has one."""
    rate = taper_rate(name)
    assert rate is not None
    return rate


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


def test_size_40_shanks_of_three_families_do_not_interchange() -> None:
    """Literature: public comparisons of MAS 403, ISO 7388-1 form A and the inch V-flange.

    Flange underside at size 40: 27, 19.1 and 19.05 mm; thread M16, M16 and 5/8-11 UNC.
    """
    families = ("mas_403", "iso_7388_1_a", "asme_b5_50")
    assert [stated(steep_taper.shank(name, "40")).flange_underside_mm for name in families] == [27, 19.1, 19.05]
    assert [steep_taper.knob_thread(name, "40") for name in families] == ["M16", "M16", "5/8-11 UNC"]
    assert [steep_taper.form(name).drive_keys for name in families] == ["equal", "unequal", "unequal"]
    for one in families:
        for other in families:
            assert (steep_taper.interchange(one, other) == "fits") is (one == other)


def test_the_couplings_carry_those_tapers() -> None:
    """From memory: hollow taper drawn 1:9.98 (ISO 12164), polygonal taper 1:20 (ISO 26623)."""
    assert taper_of("hollow_taper") == pytest.approx(1 / 9.98, rel=1e-12)
    assert taper_of("polygonal_taper") == pytest.approx(1 / 20, rel=1e-12)


def test_the_cone_of_a_63_hollow_taper_is_48_mm() -> None:
    """Literature: a public page; the micrometres are from memory of ISO 12164-1."""
    assert hollow_taper.gauge_diameter("63") == pytest.approx(48, abs=0.02)
