"""Clearance of joints, and the missing fields where it is unknown."""

from __future__ import annotations

from typing import Any

import pytest

from rules.grip.fits import clearance_of
from rules.quantities.missing import Missing, OrMissing
from rules.rulebook.loader import base_request
from rules.schema.parsing import parse_request
from rules.stack.chain import chain_of
from tests.support.stacks import derived_of, holder_and_cutter

BORE, SHANK = "/stack/components/0/workpiece_side", "/stack/components/1/machine_side"
BORE_OF_COLLET = "/stack/components/1/workpiece_side"


def _clearance(request: dict[str, Any], joint: int = 0) -> OrMissing[tuple[float, float]]:
    return clearance_of(chain_of(parse_request(request)).joints[joint])


@pytest.mark.parametrize(
    ("base", "joint", "sides"),
    [
        ("nut_collet", 0, (BORE, SHANK)),
        ("nut_collet", 1, ("/stack/components/1/workpiece_side",)),
        ("shell_mill", 0, (BORE, SHANK)),
    ],
)
def test_sides_that_are_no_bore_or_no_shank_are_named(base: str, joint: int, sides: tuple[str, ...]) -> None:
    """Neither end of a collet's seat is a bore or a straight shank; of a collet's grip only the upper end is none."""
    assert _clearance(base_request(base), joint) == Missing(sides)


@pytest.mark.parametrize(("bore_mm", "low"), [(12.0, 0.0), (12.002, 2.0), (11.99, -10.0)])
def test_nominal_diameters_count_beside_the_classes(bore_mm: float, low: float) -> None:
    """ISO 286-2: ⌀12 H6 is 0 to +11 µm, h6 is −11 to 0 µm: 0 to 22 µm of play, and the nominal difference on top."""
    request = holder_and_cutter()
    request["stack"]["components"][0]["workpiece_side"] |= {"diameter_mm": bore_mm, "tolerance": "H6"}
    request["stack"]["components"][1]["machine_side"]["tolerance"] = "h6"
    assert _clearance(request) == pytest.approx((low, low + 22.0), abs=1e-9)


@pytest.mark.parametrize(
    ("range_", "known", "fields"),
    [
        ({"clamping_min_mm": 11, "clamping_max_mm": 13}, 0.5, None),
        ({"clamping_min_mm": 12, "clamping_max_mm": 12}, None, None),
        ({"clamping_max_mm": 12}, None, (f"{BORE_OF_COLLET}/clamping_min_mm",)),
    ],
)
def test_share_a_collet_closes_by(
    range_: dict[str, float], known: float | None, fields: tuple[str, ...] | None
) -> None:
    """First principles: 12 mm is half way from 13 to 11; a collet without a range closes by nothing; a range that is
    not known leaves the share open."""
    request = base_request("press_in")
    side = request["stack"]["components"][1]["workpiece_side"]
    shank = request["stack"]["components"][2]["machine_side"]
    for field in ("clamping_min_mm", "clamping_max_mm", "nominal_mm"):
        side.pop(field, None)
    side |= range_
    shank["diameter_mm"] = 12
    joint = next(fact for fact in derived_of(request).facts if fact.kind == "joint" and fact.at[0] == BORE_OF_COLLET)
    assert joint.known.get("collapse_share") == known
    assert joint.lacking.get("collapse_share") == fields
