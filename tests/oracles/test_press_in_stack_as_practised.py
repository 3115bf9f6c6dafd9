"""A stack of press-in collets compared with common practice at the gauge.

All of it common practice, no printed source: with a 40 taper holder, a 20 mm extension of 120 mm in a
press-in collet and a 1/4 in rod in a small one, the indicator three diameters from the last collet reads
about 7 µm with a plain ground rod and less with a precision pin; the same built with 8° nut collets reads
clearly more. Inputs: 3 µm per press-in collet at three diameters, 2 µm for the taper seat, 3 µm for the
extension, 3 µm for the rod and 1 µm for the pin.
"""

from __future__ import annotations

import copy
from typing import Any

import pytest

from rules.quantities.missing import Missing
from rules.random_vectors.random_sum import resultant_quantiles
from rules.runout.contributors import contributors_of
from rules.schema.parsing import parse_request
from rules.stack.chain import chain_of
from rules.stack.positions import positions_on_axis

GAUGE_READS_UM = 7.0

STACK: dict[str, Any] = {
    "stack": {
        "components": [
            {
                "id": "holder",
                "kind": "base_holder",
                "machine_side": {"coupling": "steep_taper", "size": "40", "form": "iso_7388_2_j"},
                "workpiece_side": {"coupling": "press_collet", "designation": "large"},
                "gauge_length_mm": 63,
                "runout": {"statements": [{"tir_um": 2, "at_mm": 0}]},
            },
            {
                "id": "large collet",
                "kind": "collet",
                "machine_side": {"coupling": "press_collet", "designation": "large"},
                "workpiece_side": {"coupling": "collet_bore", "nominal_mm": 20, "length_mm": 42},
                "runout": {"statements": [{"tir_um": 3, "at_mm": 60}]},
            },
            {
                "id": "extension",
                "kind": "extension",
                "machine_side": {"coupling": "cylindrical", "diameter_mm": 20},
                "workpiece_side": {"coupling": "press_collet", "designation": "small"},
                "overall_length_mm": 120,
                "runout": {"statements": [{"tir_um": 3, "at_mm": 0}]},
            },
            {
                "id": "small collet",
                "kind": "collet",
                "machine_side": {"coupling": "press_collet", "designation": "small"},
                "workpiece_side": {"coupling": "collet_bore", "nominal_mm": "1/4 in", "length_mm": 20},
                "runout": {"statements": [{"tir_um": 3, "at_mm": "3/4 in"}]},
            },
            {
                "id": "rod",
                "kind": "gauge_pin",
                "machine_side": {"coupling": "cylindrical", "diameter_mm": "1/4 in"},
                "overall_length_mm": 60,
                "runout": {"statements": [{"tir_um": 3, "at_mm": "3/4 in"}]},
            },
        ],
        "joints": [
            {"upper": "large collet", "lower": "extension", "grip_length_mm": 42},
            {"upper": "small collet", "lower": "rod", "grip_length_mm": 20},
        ],
    }
}
for _part in STACK["stack"]["components"]:
    _part["id"] = _part["id"].replace(" ", "-")
for _joint in STACK["stack"]["joints"]:
    _joint["upper"] = _joint["upper"].replace(" ", "-")

LEVELS = (0.05, 0.2, 0.5, 0.8, 0.95, 0.99)


def _readings(request: dict[str, Any]) -> list[float]:
    chain = chain_of(parse_request(request))
    geometry = positions_on_axis(chain)
    assert not isinstance(geometry.gauge_plane, Missing)
    found = contributors_of(chain, geometry)
    assert found.lacking is None
    amplitudes = [abs(item.line.at(geometry.gauge_plane)) for item in found.known]
    return [2 * float(radius) for radius in resultant_quantiles(LEVELS, amplitudes)]


def _with_pin(tir_um: float) -> dict[str, Any]:
    request = copy.deepcopy(STACK)
    request["stack"]["components"][4]["runout"]["statements"][0]["tir_um"] = tir_um
    return request


def _with_nut_collets() -> dict[str, Any]:
    """Run-out of ISO 15488, normal class, from memory: 20 µm at 50 mm for 20 mm, 15 µm at 25 mm for 1/4 in."""
    request = copy.deepcopy(STACK)
    parts = request["stack"]["components"]
    for holder, collet, size, tir, at in ((0, 1, "32", 20, 50), (2, 3, "16", 15, 25)):
        parts[holder]["workpiece_side"] = {"coupling": "nut_collet", "size": size}
        parts[collet]["machine_side"] = {"coupling": "nut_collet", "size": size}
        parts[collet]["runout"] = {"statements": [{"tir_um": tir, "at_mm": at}]}
    return request


def test_indicator_touches_three_diameters_out() -> None:
    """First principles: 63 mm of holder, 78 mm of extension and 19.05 mm of rod."""
    geometry = positions_on_axis(chain_of(parse_request(STACK)))
    assert geometry.gauge_plane == pytest.approx(63 + 78 + 19.05)


def test_reading_lies_in_the_predicted_band() -> None:
    """Common practice: about 7 µm is what one reads, so it lies between the 20 % and the 95 % point."""
    readings = dict(zip(LEVELS, _readings(STACK), strict=True))
    assert readings[0.2] < GAUGE_READS_UM < readings[0.95]


def test_precision_pin_lowers_every_level() -> None:
    """Common practice: a ground pin reads less than a plain rod."""
    assert all(pin < rod for pin, rod in zip(_readings(_with_pin(1)), _readings(STACK), strict=True))


def test_nut_collets_read_clearly_more() -> None:
    """Common practice: the same reach on 8° nut collets; even its middle lies above the press-in stack's 95 %."""
    nut, press = _readings(_with_nut_collets()), _readings(STACK)
    assert nut[LEVELS.index(0.5)] > press[LEVELS.index(0.95)]
