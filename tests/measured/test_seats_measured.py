"""Figures of seats and tips that were measured or claimed in print: what the service says must lie among them."""

from __future__ import annotations

import pytest

from rules.balance.formulas import clamping_unbalance_g_mm, quality_mm_per_s
from rules.couplings.sides import COUPLINGS
from tests.support.stacks import holder_and_cutter, report_of


@pytest.mark.parametrize(
    ("coupling", "least_um", "most_um", "least_g", "most_g"),
    [("hollow_taper", 2.0, 3.0, 3.1, 4.7), ("steep_taper", 5.0, 10.0, 7.9, 15.7)],
)
def test_reseating_sets_the_finest_balance_grade(
    coupling: str, least_um: float, most_um: float, least_g: float, most_g: float
) -> None:
    """Claimed: radial repeat of a change of new parts by the balancing pages of a trade manual of 2016.

    1 kg at 15,000 rpm: G 3.1 to 4.7 with a hollow and G 7.9 to 15.7 with a steep taper.
    """
    definition = COUPLINGS[coupling].described
    found = definition.seating_eccentricity_um, definition.seating_eccentricity_up_to_um
    assert found == (least_um, most_um)
    for eccentricity, grade in zip((least_um, most_um), (least_g, most_g), strict=True):
        unbalance = clamping_unbalance_g_mm(1.0, eccentricity)
        assert quality_mm_per_s(1.0, unbalance, 15_000.0) == pytest.approx(grade, abs=0.06)


def test_the_tip_of_an_end_mill_is_among_measured_ones() -> None:
    """Measured: 2.92 and 12.0 N/µm in two modes of an end mill of 12 mm, 4.9 N/µm of a cutter of 31.75 mm.

    Settings of a data set on stability, 2024, and modal parameters by Li, 2019; the assemblies are not described, so
    the two modes of the end mill in series, 2.35 N/µm, and the second alone bound a usual stack: 46 mm out of a chuck,
    the core of the flutes 0.8 of the diameter.
    """
    request = holder_and_cutter()
    pieces = [{"length_mm": 50, "outer_mm": 12}, {"length_mm": 26, "outer_mm": 9.6}]
    request["stack"]["components"][1] |= {"overall_length_mm": 76, "profile": pieces}
    stiffness = report_of(request).stiffness.tip_stiffness_n_per_um
    assert stiffness is not None
    assert stiffness.low is not None
    assert stiffness.high is not None
    assert 1 / (1 / 2.92 + 1 / 12.0) < stiffness.low < stiffness.high < 12.0
