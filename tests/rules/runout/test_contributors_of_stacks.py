"""Contributors of a stack, and their growth along the axis."""

from __future__ import annotations

from typing import Any

import pytest

from rules.quantities.missing import Missing
from rules.rulebook.loader import base_request
from rules.runout.contributors import Contributors, contributors_of
from rules.schema.parsing import parse_request
from rules.stack.chain import chain_of
from rules.stack.positions import positions_on_axis
from tests.support.stacks import derived_of, known, one_rod


def _contributors(request: dict[str, Any]) -> Contributors:
    chain = chain_of(parse_request(request))
    return contributors_of(chain, positions_on_axis(chain))


def _tir(contributors: Contributors, name: str, z_mm: float) -> float:
    (line,) = [item.line for item in contributors.known if item.name == name]
    return 2 * line.at(z_mm).real


def test_single_statement_tilts_about_mid_seat() -> None:
    """First principles: 3 µm at 24 mm from the face, pivot 12 mm behind it, so 3·(48/36) at 36 mm."""
    found = _contributors(base_request("press_in"))
    assert _tir(found, "runout of collet-2", 170 + 24) == pytest.approx(3.0)
    assert _tir(found, "runout of collet-2", 170 + 36) == pytest.approx(3.0 * 48 / 36)


def test_two_statements_fix_a_line() -> None:
    """First principles: 1.5 µm at the face and 3 µm at 80 mm."""
    found = _contributors(base_request("press_in"))
    assert _tir(found, "runout of holder", 70) == pytest.approx(1.5)
    assert _tir(found, "runout of holder", 150) == pytest.approx(3.0)


@pytest.mark.parametrize("turned_round", [False, True])
def test_the_outer_of_two_readings_is_the_one_to_tighten(turned_round: bool) -> None:
    """The budget compares with 3 µm at 80 mm, not with 1.5 µm at the face, in whichever order they are stated."""
    request = base_request("press_in")
    readings = request["stack"]["components"][0]["runout"]["statements"]
    assert {one["at_mm"]: one["tir_um"] for one in readings} == {0: 1.5, 80: 3}
    if turned_round:
        readings.reverse()
    (holder,) = [item for item in _contributors(request).known if item.name == "runout of holder"]
    assert holder.stated_um == 3


def test_cutter_counts_from_the_face_that_clamps_it() -> None:
    """The cutter's statement at 24 mm holds 24 mm out of the collet, not beyond its own tip."""
    assert _tir(_contributors(base_request("press_in")), "runout of end-mill", 194) == pytest.approx(3.0)


def test_offset_is_the_same_everywhere() -> None:
    """A declared offset does not grow."""
    found = _contributors(base_request("shell_mill"))
    assert [_tir(found, "runout of shell-mill", z) for z in (0, 50, 500)] == pytest.approx([12, 12, 12])


def test_slip_fit_turns_its_largest_clearance_into_runout() -> None:
    """Literature: ISO 286-1, 20 H5/h6: clearance 0 to 9 + 13 = 22 µm; pulled over, all of it is read."""
    found = _contributors(base_request("side_lock"))
    assert _tir(found, "clearance of holder/end-mill", 300) == pytest.approx(22.0)


def test_even_clamps_add_no_clearance() -> None:
    """Collets, shrink-fit and hydraulic bores close evenly."""
    for base in ("press_in", "nut_collet", "shrink", "declared"):
        assert not [item for item in _contributors(base_request(base)).known if "clearance" in item.name]


def test_machine_spindle_counts_from_its_gauge_line() -> None:
    """A test bar of 2 µm at 0 and 4 µm at 300 mm moves everything."""
    request = base_request("press_in")
    request["machine"]["spindle_runout"] = {"statements": [{"tir_um": 2, "at_mm": 0}, {"tir_um": 4, "at_mm": 300}]}
    found = _contributors(request)
    assert _tir(found, "runout of the spindle", 150) == pytest.approx(3.0)
    assert found.known[0].displaces_from == 0


def test_missing_statements_are_named_not_zero() -> None:
    """A component without a runout statement leaves the budget incomplete."""
    request = base_request("press_in")
    del request["stack"]["components"][1]["runout"]
    found = _contributors(request)
    assert found.lacking == Missing(("/stack/components/1/runout",))
    assert len(found.known) == 4


def test_missing_tolerance_leaves_a_slip_fit_open() -> None:
    """Without the bore's tolerance the clearance is unknown, not zero."""
    request = base_request("side_lock")
    del request["stack"]["components"][0]["workpiece_side"]["tolerance"]
    assert _contributors(request).lacking == Missing(("/stack/components/0/workpiece_side/tolerance",))


def test_equal_distances_fix_no_line() -> None:
    """Two readings at one place are a lack, and a finding of its own."""
    request = base_request("press_in")
    request["stack"]["components"][0]["runout"] = {"statements": [{"tir_um": 2, "at_mm": 5}, {"tir_um": 3, "at_mm": 5}]}
    assert _contributors(request).lacking == Missing(("/stack/components/0/runout/statements/1/at_mm",))


def test_a_tool_that_nothing_clamps_has_no_bow() -> None:
    """Bow and roundness count beyond the face that clamps; a tool alone has none, and nothing is lacking for it."""
    rod = {
        "overall_length_mm": 120,
        "straightness_um": 3,
        "roundness_um": 1,
        "runout": {"statements": [{"tir_um": 4, "at_mm": 0}]},
    }
    rod["runout"]["character"] = "offset"
    found = _contributors(one_rod({"length_mm": 120, "outer_mm": 20}, **rod))
    assert [item.name for item in found.known] == ["runout of rod"]


@pytest.mark.parametrize(
    ("law", "angles", "directed"),
    [
        ("measured", (90, 90), True),
        ("measured", (90, None), False),
        ("measured", (None, None), False),
        ("limit", (90, 90), False),
    ],
)
def test_only_what_is_measured_with_every_angle_has_a_direction(
    law: str, angles: tuple[float | None, float | None], directed: bool
) -> None:
    """First principles: 2 µm at the face and 4 µm at 80 mm, a quarter turn on, point along the imaginary axis."""
    request = base_request("press_in")
    readings = [{"tir_um": 2, "at_mm": 0, "angle_deg": angles[0]}, {"tir_um": 4, "at_mm": 80, "angle_deg": angles[1]}]
    request["stack"]["components"][0] |= {"runout": {"law": law, "statements": readings}}
    (holder,) = [item for item in _contributors(request).known if item.name == "runout of holder"]
    assert (holder.group is not None) is directed
    assert 2 * holder.line.at(150) == pytest.approx(4j if directed else 4)


def test_a_measured_spindle_has_a_direction() -> None:
    """First principles: 2 µm at the gauge line and 4 µm at 80 mm, half a turn on, point along the negative axis."""
    request = base_request("press_in")
    readings = [{"tir_um": 2, "at_mm": 0, "angle_deg": 180}, {"tir_um": 4, "at_mm": 80, "angle_deg": 180}]
    request["machine"] |= {"spindle_runout": {"law": "measured", "statements": readings}}
    (spindle,) = [item for item in _contributors(request).known if item.name == "runout of the spindle"]
    assert spindle.group is not None
    assert 2 * spindle.line.at(0) == pytest.approx(-2)
    assert 2 * spindle.line.at(160) == pytest.approx(-6)


def test_one_reading_of_a_spindle_tilts_about_the_gauge_line() -> None:
    """First principles: 4 µm up to 80 mm, then along a line from the gauge line, where the taper bears first."""
    request = base_request("press_in")
    request["machine"]["spindle_runout"] = {"statements": [{"tir_um": 4, "at_mm": 80}]}
    derived = derived_of(request)
    (spindle,) = [item for item in derived.contributors.known if item.name == "runout of the spindle"]
    assert known(derived.geometry.places[0].pivot) == 0
    assert [2 * spindle.line.at(z) for z in (-10, 0, 80, 160)] == pytest.approx([4, 4, 4, 8])


def test_a_tilt_bound_is_a_vector_of_its_own() -> None:
    """First principles, 2·(a + α·|z - z₁|): 4 µm at 50 mm from the face and 20 µm/m, which reads 4 µm over 100 mm."""
    request = base_request("press_in")
    request["stack"]["components"][0]["runout"] = {"statements": [{"tir_um": 4, "at_mm": 50}], "max_tilt_um_per_m": 20}
    found = _contributors(request)
    assert [_tir(found, "runout of holder", z) for z in (70, 120, 220)] == pytest.approx([4, 4, 4])
    assert [abs(_tir(found, "tilt of holder", z)) for z in (70, 120, 220)] == pytest.approx([2, 0, 4])
    (tilt,) = [item for item in found.known if item.kind == "tilt"]
    assert (tilt.id, tilt.law, tilt.group, tilt.stated_um) == ("tilt:holder", "limit", None, 4)


@pytest.mark.parametrize(
    ("law", "of_tilt"), [(None, "limit"), ("limit", "limit"), ("capability", "capability"), ("measured", "limit")]
)
def test_a_reading_does_not_measure_the_tilt(law: str | None, of_tilt: str) -> None:
    """What bounds it stays a limit beside a measured offset, and a capability beside one."""
    request = base_request("press_in")
    runout = {"statements": [{"tir_um": 4, "at_mm": 50}], "max_tilt_um_per_m": 20, "law": law}
    request["stack"]["components"][0]["runout"] = {name: value for name, value in runout.items() if value is not None}
    assert {item.law for item in _contributors(request).known if item.kind == "tilt"} == {of_tilt}


def test_the_tilt_of_a_spindle_counts_from_its_reading() -> None:
    """Common practice, two bars: 2 µm at the nose; 10 µm/m reads 6 µm more at 300 mm."""
    request = base_request("press_in")
    request["machine"]["spindle_runout"] = {"statements": [{"tir_um": 2, "at_mm": 0}], "max_tilt_um_per_m": 10}
    found = _contributors(request)
    assert _tir(found, "runout of the spindle", 300) == pytest.approx(2)
    assert _tir(found, "tilt of the spindle", 300) == pytest.approx(6)
    (tilt,) = [item for item in found.known if item.kind == "tilt"]
    assert tilt.displaces_from == 0


def test_with_a_tilt_bound_a_reading_at_the_seat_is_enough() -> None:
    """Without one it fixes no tilt, and the runout stays open."""
    request = base_request("nut_collet")
    tool = request["stack"]["components"][-1]
    tool["runout"] = {"statements": [{"tir_um": 2, "at_mm": 0}]}
    assert _contributors(request).lacking is not None
    tool["runout"]["max_tilt_um_per_m"] = 15
    assert _contributors(request).lacking is None
