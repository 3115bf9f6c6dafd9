"""Straight shanks and collets: values in print, each with title, edition and place."""

from __future__ import annotations

import pytest

from rules.couplings import straight_shank


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
    """Literature: DIN 6535 (February 1992), shanks of hardmetal tools, column l1."""
    assert {straight_shank.shank_length("din_6535", float(d)) for d in diameters} == {length_mm}


def test_the_list_of_hardmetal_diameters_is_complete() -> None:
    """Literature: DIN 6535 (February 1992), shanks of hardmetal tools, column d1."""
    assert straight_shank.diameters("din_6535") == (2, 3, 4, 5, 6, 8, 10, 12, 14, 16, 18, 20, 25, 32)


@pytest.mark.parametrize("form", ["plain", "side_lock_flat", "inclined_flat"])
def test_hardmetal_shanks_are_h6(form: str) -> None:
    """Literature: DIN 6535 (February 1992), shanks of hardmetal tools, forms HA, HB, HE, column d1."""
    assert straight_shank.tolerance("din_6535", form) == "h6"


@pytest.mark.parametrize(
    ("diameter_mm", "flats", "width", "position", "height", "spacing"),
    [(20, 1, 11, 25, 18.2, None), (25, 2, 12, 32, 23.0, 17), (32, 2, 14, 36, 30.0, 19)],
)
def test_large_side_lock_flats_as_printed(
    diameter_mm: float, flats: int, width: float, position: float, height: float, spacing: float | None
) -> None:
    """Literature: DIN 6535 (February 1992), shanks of hardmetal tools, form HB, columns b1, e1, h1, l2."""
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
    """Literature: DIN 6535 (February 1992), shanks of hardmetal tools, form HB, column d1."""
    for diameter in straight_shank.diameters("din_6535"):
        flat = straight_shank.flat("din_6535", "side_lock_flat", diameter)
        if diameter < 6:
            assert flat is None
        else:
            assert flat is not None
            assert flat.flats == (1 if diameter <= 20 else 2)
