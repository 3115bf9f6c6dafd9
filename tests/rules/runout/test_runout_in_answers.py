"""The runout section of an answer: planes, predictions and contributors, and what is absent if data are missing."""

from __future__ import annotations

import re
from typing import Any

import pytest

from rules.rulebook.loader import base_request
from rules.schema.report import Report
from service.sheets.check import report_text
from tests.support.stacks import quantile, report_of


def _bare() -> dict[str, Any]:
    """Return the press-in stack without any runout."""
    request = base_request("press_in")
    for part in request["stack"]["components"]:
        part.pop("runout", None)
    return request


def test_nothing_stated_predicts_nothing() -> None:
    """Without a single contributor there is no number of micrometres that could pass for a good one."""
    report = report_of(_bare())
    assert not report.runout.complete
    assert [(one.plane, one.predictions) for one in report.runout.planes] == [
        ("gauge_plane", []),
        ("tip", []),
        ("reading_plane", []),
    ]
    text = report_text(report)
    section = text[text.index("\nRunout\n") : text.index("\nSpeed\n")]
    assert not re.search(r"(?<!\d)0\.0", section)
    assert "not known" in section


def test_quantiles_rise_to_the_worst_case() -> None:
    """First principles: a quantile grows with its level; the lowest and the highest value bound them all."""
    report = report_of(base_request("press_in"))
    for plane in ("gauge_plane", "tip"):
        levels = [quantile(report, plane, name) for name in ("p50", "p80", "p95", "p99")]
        ends = quantile(report, plane, "p0", "best_clocking"), quantile(report, plane, "p100", "worst_case")
        listed = [ends[0], *levels, ends[1]]
        assert all(isinstance(one, float) for one in listed)
        assert listed == sorted(listed, key=lambda one: one or 0.0)


def test_three_statements_under_three_names() -> None:
    """Of assemblies, of parts at their limits, and the worst case; the lowest where a joint can be re-clocked."""
    report = report_of(base_request("press_in"))
    names = [[one.of for one in plane.predictions] for plane in report.runout.planes]
    assert names == [["assemblies", "parts_at_limits", "worst_case", "best_clocking"]] * 3
    for plane in report.runout.planes:
        for level in ("p50", "p80", "p95", "p99"):
            assert (plane.quantile_um(level) or 0) < (plane.quantile_um(level, "parts_at_limits") or 0)


def test_one_contributor_alone() -> None:
    """First principles: 3 µm at most is read as 3/√2 by half, 3·√0.95 by 95 %; at its limit it reads 3."""
    request = base_request("shrink")
    request["stack"]["components"][0]["runout"] = {"character": "offset", "statements": [{"tir_um": 0, "at_mm": 0}]}
    request["stack"]["components"][1]["runout"] = {"character": "offset", "statements": [{"tir_um": 3, "at_mm": 0}]}
    request["operations"][0]["limits"]["runout"] = {"tir_um": 1.5}
    report = report_of(request)
    tip = report.runout.plane("tip")
    assert tip is not None
    assert [tip.quantile_um(level) for level in ("p50", "p95")] == pytest.approx([3 / 2**0.5, 3 * 0.95**0.5], abs=1e-3)
    assert [tip.quantile_um(level, "parts_at_limits") for level in ("p50", "p95")] == [3.0, 3.0]
    assert tip.quantile_um("p100", "worst_case") == 3.0
    assert report.operation is not None
    assert report.operation.runout is not None
    assert report.operation.runout.probability_within_limit == {"assemblies": 0.25, "parts_at_limits": 0.0}


def test_a_joint_of_one_position_is_not_clocked() -> None:
    """A side-lock flat has one position, and the spindle's own runout is not stated: nothing can be turned."""
    names = {one.of for plane in report_of(base_request("side_lock")).runout.planes for one in plane.predictions}
    assert names == {"assemblies", "parts_at_limits", "worst_case"}


def test_a_rod_whose_form_alone_is_stated_is_not_without_runout() -> None:
    """Nothing clamps it, so bow and roundness do not count; what is not stated is not zero."""
    request = {"stack": {"components": [{
        "id": "pin", "kind": "gauge_pin", "machine_side": {"coupling": "cylindrical", "diameter_mm": 20},
        "overall_length_mm": 120, "straightness_um": 2, "roundness_um": 1,
    }]}, "operations": [{"id": "10", "limits": {"runout": {"tir_um": 5, "plane": "tip"}}}]}  # fmt: skip
    report = report_of(request)
    assert not report.runout.complete
    assert [one.at for one in report.runout.not_stated] == [["/stack/components/0/runout"]]
    assert not any(plane.predictions for plane in report.runout.planes)
    assert report.operation is not None
    assert report.operation.runout is not None
    assert report.operation.runout.probability_within_limit == {}
    assert "100.0 %" not in report_text(report)


def _mill(report: Report, plane: str) -> bool | None:
    found = report.runout.plane(plane)
    assert found is not None
    return found.readable


@pytest.mark.parametrize(
    ("flutes", "overall", "readable"), [(4, 63, True), (19, 63, False), (4, 57, False), (None, 63, None)]
)
def test_readable_is_a_round_surface(flutes: float | None, overall: float, readable: bool | None) -> None:
    """The gauge plane, 24 mm out or at the tip, lies on the shank or on the flutes, or nobody knows where."""
    request = base_request("press_in")
    request["stack"]["components"][4] |= {"flute_length_mm": flutes, "overall_length_mm": overall}
    request["stack"]["components"][4]["profile"][0]["length_mm"] = overall
    assert _mill(report_of(request), "gauge_plane") is readable


def test_distances_count_from_both_data() -> None:
    """First principles: gauge line to the last clamping face, and on from there, is the whole distance."""
    report = report_of(base_request("press_in"))
    face = report.geometry.last_clamping_face_mm
    assert face is not None
    for plane in report.runout.planes:
        assert plane.from_last_clamping_face_mm is not None
        assert face + plane.from_last_clamping_face_mm == pytest.approx(plane.from_gauge_line_mm, abs=1e-3)


def test_ids_of_contributors_are_stable_and_unique() -> None:
    """Each is named by kind with component or joint; of two components of one name the second gets a number."""
    request = base_request("side_lock")
    ids = [one.id for one in report_of(request).runout.contributors]
    assert ids == ["part_runout:holder", "clearance:holder/end-mill", "part_runout:end-mill"]
    (clearance,) = [one for one in report_of(request).runout.contributors if one.kind == "clearance"]
    assert (clearance.component, str(clearance.joint)) == (None, "holder/end-mill")
    request["stack"]["components"][1]["id"] = request["stack"]["joints"][0]["lower"] = "holder"
    ids = [one.id for one in report_of(request).runout.contributors]
    assert ids == ["part_runout:holder", "clearance:holder/holder", "part_runout:holder#2"]


def test_the_policy_may_judge_parts_at_their_limits() -> None:
    """Assemblies keep 12 µm, parts at their limits do not: a warning, or an error where the policy judges those."""
    request = base_request("press_in")
    request["operations"][0]["limits"]["runout"] = {"tir_um": 12}
    found = {one.code: one for one in report_of(request).findings if one.code in ("RUN-010", "RUN-020", "RUN-060")}
    assert set(found) == {"RUN-060"}
    assert found["RUN-060"].severity == "warning"
    at_limits = quantile(report_of(request), "gauge_plane", "p95", "parts_at_limits")
    request["policy"] = {"judged_runout": "parts_at_limits"}
    (error,) = [one for one in report_of(request).findings if one.code in ("RUN-010", "RUN-020", "RUN-060")]
    assert (error.code, error.severity) == ("RUN-010", "error")
    assert error.observed is not None
    assert error.observed.value == at_limits
    assert error.message.startswith("95 % with every part at its limit")


def test_a_plain_slip_fit_tilts_and_a_side_lock_does_not() -> None:
    """First principles: 22 µm over a grip of 50 mm read up to 22·(1 + 2z/G), z from the face; with a screw, 22."""
    request = base_request("side_lock")
    request["stack"]["joints"][0]["grip_length_mm"] = 50
    (held,) = [one for one in report_of(request).runout.contributors if one.kind == "clearance"]
    assert set(held.tir_um.values()) == {22.0}
    request["stack"]["components"][0]["workpiece_side"]["coupling"] = "cylindrical"
    request["stack"]["components"][0]["workpiece_side"].pop("flat", None)
    runout = report_of(request).runout
    (loose,) = [one for one in runout.contributors if one.kind == "clearance"]
    for plane in runout.planes:
        assert plane.from_last_clamping_face_mm is not None
        expected = 22 * (1 + 2 * plane.from_last_clamping_face_mm / 50)
        assert loose.tir_um[plane.plane] == pytest.approx(expected, abs=1e-3)
    del request["stack"]["joints"][0]["grip_length_mm"]
    request["stack"]["joints"][0]["projection_mm"] = 54
    request["stack"]["components"][1].pop("overall_length_mm", None)
    lacking = {field for one in report_of(request).runout.not_stated for field in one.at}
    assert "/stack/joints/0/grip_length_mm" in lacking


def test_shares_count_what_is_known_of_a_size() -> None:
    """First principles: E r² is a² if measured, a²/2 up to a limit, c²/3 of a clearance from 0 to c."""
    request = base_request("side_lock")
    for part, law in zip(request["stack"]["components"], ("measured", "limit"), strict=True):
        part["runout"] = {"law": law, "character": "offset", "statements": [{"tir_um": 4, "at_mm": 0}]}
    share = {one.id: one.share["tip"] for one in report_of(request).runout.contributors}
    total = 16 + 8 + 22**2 / 3
    assert share["part_runout:holder"] == pytest.approx(16 / total, abs=1e-6)
    assert share["part_runout:end-mill"] == pytest.approx(8 / total, abs=1e-6)
    assert share["clearance:holder/end-mill"] == pytest.approx(22**2 / 3 / total, abs=1e-6)
