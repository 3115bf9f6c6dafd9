"""Positions of components along the axis, calculated by hand."""

from __future__ import annotations

from typing import Any

import pytest

from rules.quantities.missing import Missing
from rules.rulebook.loader import base_request
from rules.schema.parsing import parse_request
from rules.stack.chain import chain_of
from rules.stack.positions import Positions, positions_on_axis
from tests.support.stacks import derived_of, holder_and_cutter


def _geometry(request: dict[str, Any]) -> Positions:
    return positions_on_axis(chain_of(parse_request(request)))


def test_press_in_stack_from_gauge_line_to_tip() -> None:
    """First principles: 70 mm holder, 155 − 55 mm of extension, 63 − 34 mm of cutter; 3 × 8 mm to the gauge plane."""
    geometry = _geometry(base_request("press_in"))
    assert [place.face for place in geometry.places] == [70, 70, 170, 170, 199]
    assert [place.start for place in geometry.places] == [0, 25, 15, 146, 136]
    assert geometry.last_clamping_face == 170
    assert geometry.gauge_plane == 194
    assert geometry.tip == 199


def test_points_about_which_parts_tilt() -> None:
    """The gauge line for a taper, mid-seat for a press-in collet and a grip, the mouth for an 8° collet."""
    geometry = _geometry(base_request("press_in"))
    assert [place.pivot for place in geometry.places] == [
        0,
        70 - 45 / 2,
        70 - 55 / 2,
        170 - 12,
        170 - 17,
    ]
    assert [place.pivot for place in _geometry(base_request("nut_collet")).places] == [0, 80, 80]


def test_levers_of_a_particle() -> None:
    """A hollow taper of size 63 tilts over its face, 0.9 × 63 mm; other seats tilt over their length."""
    assert _geometry(base_request("nut_collet")).places[0].lever == pytest.approx(56.7)
    assert [place.lever for place in _geometry(base_request("press_in")).places] == [65.4, 45, 55, 24, 34]


def test_projection_replaces_overall_length() -> None:
    """A stated projection is enough to find the tip."""
    request = base_request("nut_collet")
    del request["stack"]["components"][2]["overall_length_mm"]
    del request["stack"]["components"][2]["profile"]
    request["stack"]["joints"][0]["projection_mm"] = 43
    assert _geometry(request).tip == 123


def test_grip_follows_from_projection_and_overall_length() -> None:
    """The grip is what does not project."""
    request = base_request("nut_collet")
    request["stack"]["joints"][0] = {"upper": "collet-1", "lower": "end-mill", "projection_mm": 50}
    geometry = _geometry(request)
    assert geometry.tip == 130
    assert geometry.places[2].seat_length == 33


def test_collet_standing_out_moves_all_beyond_it() -> None:
    """The collet's face, not the socket's, is the clamping face."""
    request = base_request("nut_collet")
    request["stack"]["components"][1]["face_projection_mm"] = 2.5
    geometry = _geometry(request)
    assert geometry.last_clamping_face == 82.5
    assert geometry.tip == 125.5


def test_shell_mill_is_read_at_its_tip() -> None:
    """Beyond a face-mounted cutter three diameters lie in the air; the gauge plane is the tip."""
    geometry = _geometry(base_request("shell_mill"))
    assert geometry.gauge_plane == geometry.tip == 90


@pytest.mark.parametrize(("diameters", "plane"), [(0, 170), (2, 186), (3, 194)])
def test_policy_moves_the_gauge_plane(diameters: float, plane: float) -> None:
    """Common practice: three cutter diameters from the last clamping face."""
    request = base_request("press_in")
    request["policy"] = {"gauge_plane_diameters": diameters}
    assert _geometry(request).gauge_plane == plane


def test_a_request_may_name_the_distance() -> None:
    """A distance in mm wins over the multiple."""
    request = base_request("press_in")
    request["gauge_plane"] = {"datum": "last_clamping_face", "distance_mm": "3/4 in"}
    assert _geometry(request).gauge_plane == pytest.approx(170 + 19.05)


def test_what_is_missing_is_named() -> None:
    """Without the holder's length nothing beyond it has a place, and the field is named."""
    request = base_request("press_in")
    del request["stack"]["components"][0]["gauge_length_mm"]
    del request["stack"]["components"][0]["profile"]
    geometry = _geometry(request)
    assert geometry.tip == Missing(("/stack/components/0/gauge_length_mm",))
    assert geometry.places[0].start == 0


def test_missing_grip_points_into_the_joints() -> None:
    """A joint that is not stated is pointed at as the next entry of the list (RFC 6901, '-')."""
    request = base_request("nut_collet")
    del request["stack"]["joints"]
    assert _geometry(request).tip == Missing(("/stack/joints/-/grip_length_mm",))


def test_a_cutter_alone_has_no_clamping_face() -> None:
    """Nothing clamps it, so no face is invented."""
    request = base_request("press_in")
    cutter = request["stack"]["components"][4]
    geometry = _geometry({"stack": {"components": [cutter]}})
    assert isinstance(geometry.last_clamping_face, Missing)
    assert isinstance(geometry.gauge_plane, Missing)


@pytest.mark.parametrize(("grip_mm", "projection"), [(30, 50), (20, 60), (95, 0)])
def test_overhang_of_a_cutter_right_in_the_holder(grip_mm: float, projection: float) -> None:
    """First principles: of 80 mm what is not held stands out, so many times its 12 mm; never less than nothing."""
    request = holder_and_cutter()
    request["stack"]["joints"][0]["grip_length_mm"] = grip_mm
    request["stack"]["components"][1]["cutting_diameter_mm"] = 12
    cutter = [fact.known for fact in derived_of(request).facts if fact.kind == "component"][1]
    assert cutter["cutter_projection_mm"] == projection
    assert cutter["bending_diameter_mm"] == pytest.approx(12)
    assert cutter["cutter_projection_ratio"] == pytest.approx(projection / 12)
    assert "neck_ratio" not in cutter


@pytest.mark.parametrize(
    ("pieces", "flutes", "projection", "diameter", "ratio", "neck"),
    [
        ([(30, 6), (20, 5.6)], None, 30, 5.8665, 5.114, 3.571),
        ([(30, 6), (16, 2.8)], None, 36, 4.6537, 7.736, 5.714),
        ([(30, 6), (6, 0.95)], None, 30, 3.1175, 9.623, 6.316),
        ([(83, 12)], 26, 46, 11.3257, 4.062, 2.708),
        (None, 26, 46, 11.3257, 4.062, 2.708),
        ([(83, 12)], None, 46, 12, 3.833, None),
    ],
)
def test_overhang_of_a_neck_or_flutes(
    pieces: list[tuple[float, float]] | None,
    flutes: float | None,
    projection: float,
    diameter: float,
    ratio: float,
    neck: float | None,
) -> None:
    """First principles: D_eq = (D_s⁻⁴·(1 − x³) + D_n⁻⁴·x³)^−¼; flutes are a neck of 0.8 D."""
    request = holder_and_cutter()
    tool = request["stack"]["components"][1]
    del tool["profile"]
    tool |= {"cutting_diameter_mm": 12, "overall_length_mm": 100}
    if pieces is not None:
        tool["profile"] = [{"length_mm": length, "outer_mm": outer} for length, outer in pieces]
    if flutes is not None:
        tool["flute_length_mm"] = flutes
    request["stack"]["joints"][0] = {"upper": "holder", "lower": "end-mill", "projection_mm": projection}
    cutter = [fact.known for fact in derived_of(request).facts if fact.kind == "component"][1]
    assert cutter["bending_diameter_mm"] == pytest.approx(diameter, abs=6e-5)
    assert cutter["cutter_projection_ratio"] == pytest.approx(ratio, abs=6e-4)
    assert cutter.get("neck_ratio") == (None if neck is None else pytest.approx(neck, abs=6e-4))


def test_a_drill_has_no_overhang() -> None:
    """Drills, taps and reamers are pushed along their axis; milling cutters and boring tools bend."""
    for kind, bent in (("cutter", True), ("boring_tool", True), ("drill", False), ("tap", False), ("reamer", False)):
        request = holder_and_cutter()
        request["stack"]["components"][1] |= {"kind": kind, "cutting_diameter_mm": 12}
        cutter = [fact.known for fact in derived_of(request).facts if fact.kind == "component"][1]
        assert ("cutter_projection_ratio" in cutter) is bent
