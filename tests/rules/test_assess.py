"""Assessment of a stack: verdict, policy, provenance and determinism."""

from __future__ import annotations

import copy
import gc
import json
from pathlib import Path
from typing import Any
from weakref import ref

import pytest

from rules.assessor import Assessor
from rules.rulebook.book import RuleEntry
from rules.rulebook.loader import base_names, base_request
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.report import Report
from tests.support.operations import change

ASSESSOR = Assessor.load()


def _report(request: dict[str, Any]) -> Report:
    return ASSESSOR.assess(parse_request(request))


def _with_warning() -> dict[str, Any]:
    request = base_request("nut_collet")
    request["stack"]["joints"][0]["grip_length_mm"] = 20
    return request


def _with_gap() -> dict[str, Any]:
    request = base_request("nut_collet")
    del request["stack"]["components"][1]["workpiece_side"]["depth_mm"]
    return request


@pytest.mark.parametrize(
    ("make", "policy", "verdict"),
    [
        (_with_warning, {}, "review"),
        (_with_warning, {"on_warning": "fail"}, "fail"),
        (_with_warning, {"on_undecided": "fail"}, "review"),
        (_with_gap, {}, "review"),
        (_with_gap, {"on_undecided": "fail"}, "fail"),
        (_with_gap, {"on_warning": "fail"}, "review"),
    ],
)
def test_verdict_follows_the_policy(make: Any, policy: dict[str, str], verdict: str) -> None:
    """Warnings and gaps ask for review; the policy may tighten, never loosen."""
    assert _report(make() | {"policy": policy}).verdict == verdict


def test_advice_passes() -> None:
    """Advice alone does not hold a stack back."""
    request = base_request("nut_collet")
    request["stack"]["joints"][0]["projection_mm"] = 60
    request["stack"]["components"][2] |= {
        "overall_length_mm": 100,
        "profile": [{"length_mm": 100, "outer_mm": 12}],
    }
    report = _report(request)
    assert ([item.code for item in report.findings], report.verdict) == (["OVH-010"], "pass")


def test_errors_come_first() -> None:
    """Findings are ordered by gravity, then by code."""
    request = base_request("press_in")
    change(request["operations"][0], {"feed_per_tooth_mm": 0.08, "runout_limit_um": 12})
    request["machine"]["max_speed_rpm"] = 100
    gravity = [{"error": 0, "warning": 1, "advice": 2}[item.severity] for item in _report(request).findings]
    assert gravity == sorted(gravity)
    assert len(set(gravity)) == 3


def test_margin_is_negative_beyond_the_limit_in_both_directions() -> None:
    """A speed above its limit and a grip below its limit both have a negative margin."""
    request = base_request("press_in")
    change(request["operations"][0], {"spindle_speed_rpm": 15_100})
    request["stack"]["joints"][0]["grip_length_mm"] = 38
    margins = {item.code: item.margin for item in _report(request).findings}
    assert margins["SPD-010"] == -100
    assert margins["GRIP-010"] == -2


@pytest.mark.parametrize("step", [-1, 0, 1])
def test_threshold_of_the_policy_is_kept_to_the_last_bit(step: int) -> None:
    """A limit just below, at and just above the observed ratio: only the first is broken."""
    request = base_request("nut_collet")
    request["stack"]["joints"][0]["projection_mm"] = 43
    # the flutes of 26 mm bend like 9.6 mm, the shank of 17 mm like 12 mm
    ratio = 43 / (43**3 / (26**3 / 9.6**4 + (43**3 - 26**3) / 12**4)) ** 0.25
    request["policy"] = {
        "thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": ratio + step * 1e-9}]
    }
    fired = [item.code for item in _report(request).findings]
    assert fired == (["OVH-010"] if step < 0 else [])


def test_changed_thresholds_are_told() -> None:
    """Whoever reads the report sees that a limit was moved."""
    request = base_request("press_in") | {
        "policy": {"thresholds": [{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": 7}]}
    }
    (changed,) = _report(request).provenance.deviations
    assert (changed.code, changed.threshold, changed.value, changed.default) == (
        "OVH-010",
        "max_length_to_diameter",
        7,
        4.5,
    )


@pytest.mark.parametrize(
    ("thresholds", "pointer"),
    [
        ([{"code": "OVH-999", "threshold": "max_length_to_diameter", "value": 7}], "/policy/thresholds/0/code"),
        ([{"code": "OVH-010", "threshold": "max_length_to_diametre", "value": 7}], "/policy/thresholds/0/threshold"),
        ([{"code": "OVH-010", "threshold": "max_length_to_diameter", "value": 1e9}], "/policy/thresholds/0/value"),
    ],
)
def test_misspelt_or_absurd_thresholds_are_refused(thresholds: Any, pointer: str) -> None:
    """A limit that no rule has would pass silently; it is a bad request instead."""
    with pytest.raises(BadRequestError) as caught:
        _report(base_request("press_in") | {"policy": {"thresholds": thresholds}})
    assert [fault.pointer for fault in caught.value.faults] == [pointer]


def _reversed_keys(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _reversed_keys(value[key]) for key in reversed(value)}
    return [_reversed_keys(item) for item in value] if isinstance(value, list) else value


@pytest.mark.parametrize("base", base_names())
def test_same_request_same_bytes(base: str) -> None:
    """Asked twice, and with its keys in another order, a request gets the very same report."""
    request = base_request(base)
    kept = copy.deepcopy(request)
    answers = {_report(r).model_dump_json() for r in (request, request, _reversed_keys(request))}
    assert len(answers) == 1
    assert request == kept


def test_digest_does_not_depend_on_the_unit() -> None:
    """A quarter inch and 6.35 mm are the same request."""
    metric, inch = base_request("shrink"), base_request("shrink")
    metric["gauge_plane"] = {"datum": "last_clamping_face", "distance_mm": 6.35}
    inch["gauge_plane"] = {"datum": "last_clamping_face", "distance_mm": "1/4 in"}
    assert _report(metric) == _report(inch)


def test_pointers_lead_into_the_request() -> None:
    """Every pointer of a finding resolves in what was sent."""
    request = base_request("press_in")
    change(request["operations"][0], {"spindle_speed_rpm": 50_000})
    request["stack"]["components"][1]["machine_side"]["designation"] = "other"
    for finding in _report(request).findings:
        for pointer in finding.at:
            place: Any = request
            for step in pointer.split("/")[1:]:
                place = place[int(step)] if isinstance(place, list) else place[step]


def _replaced(folder: Path, code: str, **changes: Any) -> Assessor:
    """An assessor by the rulebooks with one rule replaced by a changed one."""
    written = set(RuleEntry.model_fields)
    entry = json.loads(ASSESSOR.book.rule(code).model_dump_json(include=written, by_alias=True, exclude_none=True))
    entry |= {"replaces": True, "examples": {}, **changes}  # its examples are those of the original
    book = {"book": "house rules", "version": "1", "title": "House rules", "rules": [entry]}
    (folder / "house.yaml").write_text(json.dumps(book), encoding="utf-8")
    return Assessor.load([folder], accepted=[code])


def test_replaced_rules_are_told(tmp_path: Path) -> None:
    """One that asks for less under the same code and severity must not pass for the original."""
    milder = "shank_diameter_mm >= clamping_min_mm"
    assessor = _replaced(tmp_path, "COL-010", require=milder, limit="clamping_min_mm")
    request = base_request("nut_collet")
    request["stack"]["components"][1]["workpiece_side"]["nominal_mm"] = 10
    report = assessor.assess(parse_request(request))
    assert "COL-010" not in {finding.code for finding in report.findings}
    (replaced,) = report.provenance.deviations
    assert replaced.kind == "rule"
    assert (replaced.code, replaced.safety, replaced.book) == ("COL-010", True, f"{tmp_path.name}/house.yaml")
    as_written = ASSESSOR.assess(parse_request(request))
    assert "COL-010" in {finding.code for finding in as_written.findings}
    assert as_written.provenance.deviations == []


def test_lowered_safety_rules_are_told(tmp_path: Path) -> None:
    """An operator may lower a safety rule, but not in silence."""
    assessor = _replaced(tmp_path, "COL-010", severity="warning")
    request = base_request("nut_collet")
    request["stack"]["components"][1]["workpiece_side"]["nominal_mm"] = 10
    report = assessor.assess(parse_request(request))
    lowered, replaced = report.provenance.deviations
    assert (replaced.kind, replaced.code) == ("rule", "COL-010")
    assert (lowered.kind, lowered.code, lowered.safety) == ("severity", "COL-010", True)
    assert (lowered.default_severity, lowered.severity) == ("error", "warning")
    assert report.provenance.rulebook_sha256 != ASSESSOR.book.digest
    assert "house rules" in report.provenance.rulebooks


def test_shrink_fit_brings_the_caution_about_heat() -> None:
    """Cautions follow the couplings of the stack."""
    assert any("skin burns" in text for text in _report(base_request("shrink")).cautions)
    assert not any("skin burns" in text for text in _report(base_request("nut_collet")).cautions)


@pytest.mark.parametrize("base", ["press_in", "shell_mill"])
def test_every_rule_is_accounted_for(base: str) -> None:
    """A rule is decided, undecided or has nothing to judge: one of the three, and none is passed over in silence."""
    request = base_request(base)
    request["stack"]["components"][0].pop("mass_kg", None)
    report = _report(request)
    decided, undecided = set(report.decided), {one.code for one in report.undecided}
    idle = {one.code for one in report.not_judged}
    assert decided | undecided | idle == {rule.code for rule in ASSESSOR.book.of_check}
    assert len(decided) + len(undecided) + len(idle) == len(ASSESSOR.book.of_check)


def test_rules_without_anything_to_judge_say_why() -> None:
    """Without an operation its rules are idle for that reason; others name what no part of the stack has."""
    request = base_request("press_in")
    del request["operations"]
    reasons = {one.code: one.reason for one in _report(request).not_judged}
    for rule in ASSESSOR.book.of_check:
        if rule.applies_to == "operation":
            assert reasons[rule.code] == "There is no operation to judge."
    assert any(reason.startswith("No joint has ") for reason in reasons.values())


@pytest.mark.parametrize("base", ["nut_collet", "press_in", "shrink"])
def test_a_check_is_forgotten_at_once(base: str) -> None:
    """Nothing in it refers in a circle, so that no collection of garbage holds up the checks of others."""
    request = parse_request(base_request(base))
    gc.disable()
    try:
        report, derived = ASSESSOR.assess_derived(request)
        kept = [ref(one) for one in (request, derived.chain.request, *(each.part for each in derived.chain.members))]
        assert all(one() is not None for one in kept)
        del report, derived, request
        assert [one() for one in kept if one() is not None] == []
    finally:
        gc.enable()
