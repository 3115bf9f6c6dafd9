"""Straight shanks and collets: independent computations and values of common knowledge."""

from __future__ import annotations

import pytest

from rules.couplings import collets
from rules.grip.tolerances import limits


@pytest.mark.parametrize(
    ("diameter_mm", "lower_um"),
    [(3.5, -8), (6, -8), (8, -9), (10, -9), (12, -11), (18, -11), (20, -13), (25, -13), (32, -16), (50, -16)],
)
def test_h6_of_shank_diameters(diameter_mm: float, lower_um: int) -> None:
    """Literature: h6 by range, machine-drawing textbook, Table 15.1."""
    assert limits(float(diameter_mm), "h6", hole=False) == (lower_um, 0)


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
    """Literature: ISO 15488:2003, Table 4: run-out at a gauge length that goes with the bore, two classes."""
    assert collets.runout_limit(bore_mm, 1) == (gauge_length_mm, class_1_um)
    assert collets.runout_limit(bore_mm, 2) == (gauge_length_mm, class_2_um)
