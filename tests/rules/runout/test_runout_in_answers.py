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
    assert [(one.plane, one.predictions) for one in report.runout.planes] == [("gauge_plane", []), ("tip", [])]
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


def test_no_law_is_told_that_is_not_computed() -> None:
    """Assemblies with sizes up to the limits are not predicted, so there is no number under that name."""
    report = report_of(base_request("press_in"))
    names = {one.of for plane in report.runout.planes for one in plane.predictions}
    assert names == {"parts_at_limits", "worst_case", "best_clocking"}


def _mill(report: Report, plane: str) -> bool | None:
    found = report.runout.plane(plane)
    assert found is not None
    return found.readable


@pytest.mark.parametrize(
    ("flutes", "overall", "readable"), [(4, 63, True), (19, 63, False), (4, 57, False), (None, 63, None)]
)
def test_readable_is_a_round_surface(flutes: float | None, overall: float, readable: bool | None) -> None:
    """The gauge plane, 24 mm out, lies on the shank, on the flutes, beyond the tip, or nobody knows where."""
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
