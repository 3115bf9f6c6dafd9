"""A reading with a bound of the tilt: two independent vectors, each anywhere within its disc."""

from __future__ import annotations

from math import acos, pi, sqrt
from typing import Any

import pytest
from scipy.optimize import brentq

from rules.schema.report import Report
from tests.support.stacks import report_of


def _report(tir_um: float, tilt_um_per_m: float, beyond_mm: float) -> Report:
    """Return the report of a pin that reads up to `tir_um` at its mouth; the gauge plane is `beyond_mm` from there."""
    exact = {"law": "measured", "statements": [{"tir_um": 0, "at_mm": 0}]}
    shank = {"coupling": "cylindrical", "diameter_mm": 10, "tolerance": "h6", "length_mm": 40}
    bore = {"coupling": "shrink_fit", "diameter_mm": 10}
    holder = {"kind": "base_holder", "id": "h", "workpiece_side": bore, "gauge_length_mm": 80, "runout": exact}
    runout: dict[str, Any] = {"statements": [{"tir_um": tir_um, "at_mm": 0}], "max_tilt_um_per_m": tilt_um_per_m}
    pin = {"kind": "gauge_pin", "id": "p", "machine_side": shank, "overall_length_mm": 240, "runout": runout}
    joint = {"upper": "h", "lower": "p", "grip_length_mm": 40}
    policy = {"gauge_plane_diameters": beyond_mm / 10}
    return report_of({"stack": {"components": [holder, pin], "joints": [joint]}, "policy": policy})


def _two_equal_discs(ratio: float) -> float:
    """Return F of the sum of two vectors, each uniform over the disc of radius 1, at this radius; by its overlap."""
    return (
        1.0
        + 2.0 / pi * (ratio**2 - 1.0) * acos(ratio / 2.0)
        - ratio / pi * (1.0 + ratio**2 / 2.0) * sqrt(1.0 - ratio**2 / 4.0)
    )


@pytest.mark.parametrize("name", ["p50", "p80", "p95"])
@pytest.mark.parametrize("beyond_mm", [50.0, 100.0, 200.0])
def test_where_the_tilt_is_as_large_as_the_offset(beyond_mm: float, name: str) -> None:
    """Exact: the sum of two equal discs in closed form."""
    plane = _report(6.0, 3000.0 / beyond_mm, beyond_mm).runout.plane("gauge_plane")
    assert plane is not None
    share = float(name[1:]) / 100.0
    radius = brentq(lambda ratio: _two_equal_discs(ratio) - share, 0.0, 2.0)
    assert plane.quantile_um(name) == pytest.approx(6.0 * radius, rel=2e-3)


@pytest.mark.parametrize(("tilt", "beyond_mm"), [(10.0, 30.0), (32.5, 150.0), (100.0, 60.0)])
def test_the_worst_case_is_the_triangle_inequality(tilt: float, beyond_mm: float) -> None:
    """Exact: TIR + 2·α·|z - z₁|; angle tolerances of a 7/24 taper of size 40 give 32.5 µrad and 9.75 µm at 150 mm."""
    plane = _report(3.0, tilt, beyond_mm).runout.plane("gauge_plane")
    assert plane is not None
    assert plane.quantile_um("p100", of="worst_case") == pytest.approx(3.0 + 2.0 * tilt * beyond_mm / 1000.0, abs=0.011)
