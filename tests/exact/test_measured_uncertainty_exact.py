"""A measured reading with its uncertainty: a fixed vector plus a plane Gaussian is the law of Rice."""

from __future__ import annotations

from typing import Any

import pytest
from scipy.stats import rayleigh, rice

from tests.support.stacks import report_of


def _p95(tir_um: float, uncertainty_um: float | None, law: str = "measured", at_mm: float = 30.0) -> float:
    statement: dict[str, Any] = {"tir_um": tir_um, "at_mm": at_mm}
    if uncertainty_um is not None:
        statement["uncertainty_um"] = uncertainty_um
    exact = {"law": "measured", "statements": [{"tir_um": 0, "at_mm": 0}]}
    shank = {"coupling": "cylindrical", "diameter_mm": 10, "tolerance": "h6", "length_mm": 40}
    bore = {"coupling": "shrink_fit", "diameter_mm": 10}
    holder = {"kind": "base_holder", "id": "h", "workpiece_side": bore, "gauge_length_mm": 80, "runout": exact}
    tool = {"kind": "gauge_pin", "id": "p", "machine_side": shank, "overall_length_mm": 70}
    tool["runout"] = {"law": law, "statements": [statement]}
    joint = {"upper": "h", "lower": "p", "grip_length_mm": 40}
    plane = report_of({"stack": {"components": [holder, tool], "joints": [joint]}}).runout.plane("gauge_plane")
    assert plane is not None
    assert plane.from_last_clamping_face_mm == at_mm
    found = plane.quantile_um("p95")
    assert found is not None
    return found


@pytest.mark.parametrize(("tir", "uncertainty"), [(4.0, 2.0), (4.0, 8.0), (10.0, 1.0), (1.0, 3.0), (10.0, 10_000.0)])
def test_the_law_of_rice(tir: float, uncertainty: float) -> None:
    """Exact: the reading is twice the distance of a point with σ = U/4 in each coordinate (GUM, k = 2)."""
    sigma = uncertainty / 4.0
    assert _p95(tir, uncertainty) == pytest.approx(2.0 * rice(tir / 2.0 / sigma, scale=sigma).ppf(0.95), rel=2e-3)


def test_without_runout_only_the_error_is_read() -> None:
    """Exact: the law of Rayleigh."""
    assert _p95(0.0, 2.0) == pytest.approx(2.0 * rayleigh(scale=0.5).ppf(0.95), rel=2e-3)


def test_no_uncertainty_is_a_point() -> None:
    """A single measured reading is what it is."""
    assert _p95(4.0, None) == _p95(4.0, 0.0) == 4.0


def test_a_stated_uncertainty_always_counts() -> None:
    """Beside a limit, too: nothing that is stated is passed over."""
    assert _p95(4.0, 2.0, law="limit") > _p95(4.0, None, law="limit") + 0.1
