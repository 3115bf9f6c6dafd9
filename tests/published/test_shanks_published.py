"""Straight shanks and collets against numbers in print; the source stands beside each."""

from __future__ import annotations

import pytest

from rules.couplings import collets, straight_shank
from rules.grip.tolerances import limits


@pytest.mark.parametrize(
    ("diameters", "length_mm"),
    [
        ((2, 3, 4, 5), 28),
        ((6, 8), 36),
        ((10,), 40),
        ((12, 14), 45),
        ((16, 18), 48),
        ((20,), 50),
        ((25,), 56),
        ((32,), 60),
    ],
)
def test_hardmetal_shank_lengths_as_printed(diameters: tuple[int, ...], length_mm: int) -> None:
    """Literature: DIN 6535 (February 1992), l1."""
    assert {straight_shank.shank_length("din_6535", float(d)) for d in diameters} == {length_mm}


def test_the_list_of_hardmetal_diameters_is_complete() -> None:
    """Literature: DIN 6535 (February 1992), d1."""
    assert straight_shank.diameters("din_6535") == (2, 3, 4, 5, 6, 8, 10, 12, 14, 16, 18, 20, 25, 32)


@pytest.mark.parametrize("form", ["plain", "side_lock_flat", "inclined_flat"])
def test_hardmetal_shanks_are_h6(form: str) -> None:
    """Literature: DIN 6535 (February 1992), forms HA, HB, HE."""
    assert straight_shank.tolerance("din_6535", form) == "h6"


@pytest.mark.parametrize(
    ("diameter_mm", "lower_um"),
    [(3.5, -8), (6, -8), (8, -9), (10, -9), (12, -11), (18, -11), (20, -13), (25, -13), (32, -16), (50, -16)],
)
def test_h6_of_shank_diameters(diameter_mm: float, lower_um: int) -> None:
    """Literature: h6 by range, machine-drawing textbook, Table 15.1."""
    assert limits(float(diameter_mm), "h6", hole=False) == (lower_um, 0)


@pytest.mark.parametrize(
    ("diameter_mm", "flats", "width", "position", "height", "spacing"),
    [(20, 1, 11, 25, 18.2, None), (25, 2, 12, 32, 23.0, 17), (32, 2, 14, 36, 30.0, 19)],
)
def test_large_side_lock_flats_as_printed(
    diameter_mm: float, flats: int, width: float, position: float, height: float, spacing: float | None
) -> None:
    """Literature: DIN 6535 (February 1992), form HB: b1, e1, h1, l2."""
    flat = straight_shank.flat("din_6535", "side_lock_flat", float(diameter_mm))
    assert flat is not None
    assert (flat.flats, flat.flat_width_mm, flat.flat_position_mm, flat.height_mm, flat.flat_spacing_mm) == (
        flats,
        width,
        position,
        height,
        spacing,
    )


def test_one_flat_up_to_20_mm_and_two_above() -> None:
    """Literature: DIN 6535 (February 1992), form HB."""
    for diameter in straight_shank.diameters("din_6535"):
        flat = straight_shank.flat("din_6535", "side_lock_flat", diameter)
        if diameter < 6:
            assert flat is None
        else:
            assert flat is not None
            assert flat.flats == (1 if diameter <= 20 else 2)


@pytest.mark.parametrize(("nominal_mm", "smallest_mm"), [(2.0, 1.5), (6.0, 5.0)])
def test_clamping_ranges_of_8_degree_collets_as_printed(nominal_mm: float, smallest_mm: float) -> None:
    """Literature: a public page on ISO 15488 collets: a 2 mm collet holds 1.5 to 2, a 6 mm collet 5 to 6."""
    assert collets.clamping_range("16", nominal_mm) == (smallest_mm, nominal_mm)


@pytest.mark.parametrize(
    ("bore_mm", "gauge_length_mm", "class_1_um", "class_2_um"),
    [(1.0, 6, 10, 15), (1.6, 6, 10, 15), (2.0, 10, 10, 15), (3.0, 10, 10, 15), (6.0, 16, 10, 15),
     (10.0, 25, 10, 15), (12.0, 40, 15, 20), (18.0, 40, 15, 20), (20.0, 50, 15, 20), (26.0, 50, 15, 20)],
)  # fmt: skip
def test_run_out_of_8_degree_collets(
    bore_mm: float, gauge_length_mm: float, class_1_um: float, class_2_um: float
) -> None:
    """From memory: ISO 15488, run-out of the collet at a gauge distance that goes with the bore, two classes."""
    assert collets.runout_limit(bore_mm, 1) == (gauge_length_mm, class_1_um)
    assert collets.runout_limit(bore_mm, 2) == (gauge_length_mm, class_2_um)
