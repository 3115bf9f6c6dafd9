"""Cleaning, retention knob, holds, measuring and record in the work instruction."""

from __future__ import annotations

import copy
import json
import re
from pathlib import Path
from typing import Any

import pytest

from rules.assembly.instruction import RELEASED_BY
from rules.rulebook.loader import base_names, base_request
from rules.runout.analysis import PlaneBudget
from rules.schema.parsing import parse_request
from rules.schema.report import AssemblyReport, AssemblyStep
from tests.support.assemblies import assembly_of, halted, not_stated, two_parts, values_of
from tests.support.operations import change, drop
from tests.support.stacks import derived_of, known, named, quantile, report_of


def measured(report: AssemblyReport) -> AssemblyStep:
    """Return the acceptance reading."""
    return [step for step in report.steps if step.action == "measure"][-1]


TAPER = {"coupling": "hollow_taper", "size": "50", "form": "A"}


def _cleaned(request: dict[str, Any]) -> list[tuple[str | None, float]]:
    """Return joint and reading of a particle of every cleaning step."""
    steps = [step for step in assembly_of(request).steps if step.action == "clean"]
    return [(named(step.joint), values_of(step)["reading for a particle of 1 µm"][0] or 0.0) for step in steps]


def test_seat_on_which_dirt_shows_most_is_cleaned_first() -> None:
    """First principles: a particle t at the end of a seat G reads 2·t·z/G at z beyond the point about which it tilts.

    Gauge plane of the base at 194 mm: taper of 65.4 mm, collets of 45 and 24 mm, grips of 55 and 34 mm.
    """
    expected = {
        None: 2 * 194 / 65.4,
        "holder/collet-1": 2 * (194 - 70 + 45 / 2) / 45,
        "collet-1/extension": 2 * (194 - 70 + 55 / 2) / 55,
        "extension/collet-2": 2 * (194 - 170 + 24 / 2) / 24,
        "collet-2/end-mill": 2 * (194 - 170 + 34 / 2) / 34,
    }
    found = _cleaned(base_request("press_in"))
    assert dict(found) == pytest.approx(expected, abs=6e-4)
    assert [joint for joint, _ in found] == sorted(expected, key=lambda joint: -expected[joint])


def test_order_of_cleaning_follows_the_stack() -> None:
    """A short seat far from the gauge plane is cleaned before the spindle's; a longer one after it."""
    request = base_request("press_in")
    assert _cleaned(request)[0][0] == "holder/collet-1"
    request["stack"]["components"][1]["workpiece_side"]["length_mm"] = 60
    assert _cleaned(request)[0][0] is None


def test_only_the_most_sensitive_seat_is_cleaned_twice() -> None:
    """Common practice: it is said of the first, and only where something is known."""
    report = assembly_of(base_request("press_in"))
    twice = [step.number for step in report.steps if "Clean it twice" in step.text]
    assert twice == [2]
    request = base_request("press_in")
    del request["stack"]["components"][0]["gauge_length_mm"]
    request["stack"]["components"][0].pop("profile")
    unknown = assembly_of(request)
    assert not any("Clean it twice" in step.text for step in unknown.steps)
    (first,) = (step for step in unknown.steps if step.action == "clean" and step.joint is None)
    assert "/stack/components/0/gauge_length_mm" in not_stated(first)


def test_retention_knob_is_fitted_without_an_invented_torque() -> None:
    """Its form and thread are told, its torque is left to the maker and to the record."""
    report = assembly_of(base_request("press_in"))
    (step,) = (one for one in report.steps if one.action == "fit")
    assert "ISO 7388-3 JD" in step.text
    assert "M16" in step.text
    assert step.from_maker == ["tightening torque of the retention knob"]
    (blank,) = (one for one in report.record.blanks if one.name == "tightening torque of the retention knob")
    assert (blank.target, blank.unit) == (None, "N.m")


def test_knob_thread_of_the_taper_where_the_knob_states_none() -> None:
    """Literature: the thread of a size 40 shank of ISO 7388-2 form J is M16, from memory."""
    request = base_request("press_in")
    del request["stack"]["components"][5]["thread"]
    (step,) = (one for one in assembly_of(request).steps if one.action == "fit")
    assert "thread: M16" in step.text


def test_knob_of_another_form_is_not_fitted() -> None:
    """What the drawbar does not grip lets the tool go: the step says stop, with the rule's own words."""
    request = base_request("press_in")
    request["stack"]["components"][5]["form"] = "mas_403_60"
    report = assembly_of(request)
    assert not any(step.action == "fit" for step in report.steps)
    assert any(step.action == "stop" and "KNOB-020" in step.text for step in report.steps)


def test_knob_without_a_steep_taper_has_no_place() -> None:
    """A hollow taper takes no knob."""
    request = base_request("nut_collet")
    request["stack"]["components"].append({"id": "knob", "kind": "retention_knob"})
    steps = assembly_of(request).steps
    (step,) = (one for one in steps if one.components == ["holder", "knob"] and one.action == "stop")
    assert "no steep taper" in step.text


def test_missing_knob_is_asked_for() -> None:
    """A steep taper without a knob, and a machine that does not say which: the field is named."""
    request = base_request("press_in")
    del request["stack"]["components"][5]
    del request["machine"]["retention_knob"]
    (step,) = (one for one in assembly_of(request).steps if one.action == "check" and "retention knob" in one.text)
    assert not_stated(step) == ["/machine/retention_knob"]


STOPS = {
    "kinds": ({"coupling": "hydraulic", "diameter_mm": 20}, TAPER, "JNT-010"),
    "sizes": (TAPER, {**TAPER, "size": "63"}, "TAP-010"),
    "pilots": (
        {"coupling": "shell_mill_arbor", "pilot_diameter_mm": 22, "drive": "keys"},
        {"coupling": "shell_mill_arbor", "pilot_diameter_mm": 27, "drive": "keys"},
        "ARB-010",
    ),
    "thick shank": (
        {"coupling": "hydraulic", "diameter_mm": 16, "tolerance": "H6"},
        {"coupling": "cylindrical", "diameter_mm": 20, "tolerance": "h6", "form": "plain"},
        "BOR-010",
    ),
    "no flat": (
        {"coupling": "side_lock", "diameter_mm": 20, "flat": "side_lock_flat"},
        {"coupling": "cylindrical", "diameter_mm": 20, "form": "plain"},
        "SID-010",
    ),
    "same gender": (
        {"coupling": "declared", "designation": "a", "gender": "male"},
        {"coupling": "declared", "designation": "a", "gender": "male"},
        "DCL-020",
    ),
}


@pytest.mark.parametrize("name", STOPS)
def test_what_does_not_mate_is_not_joined(name: str) -> None:
    """An error at the joint becomes a step that says stop and why, and nothing after it builds on it."""
    upper, lower, code = STOPS[name]
    report = assembly_of(two_parts(upper, lower))
    (step,) = (one for one in report.steps if named(one.joint) == "holder/end-mill" and one.action != "clean")
    assert step.action == "stop"
    assert step.text.startswith("Do not join end-mill to holder.")
    assert code in step.text
    assert report.state == "do_not_build"
    assert report.reasons[0].code == code
    assert not report.disassembly
    assert report.steps[-1].action == "stop"
    assert not any(one.action in ("seat", "measure", "record") for one in report.steps)


def test_what_is_not_stated_is_not_joined() -> None:
    """Without the coupling of an end nobody can say how it goes together: stop, and the field is named."""
    request = two_parts(TAPER, TAPER)
    del request["stack"]["components"][1]["machine_side"]
    (step,) = (
        one for one in assembly_of(request).steps if named(one.joint) == "holder/end-mill" and one.action == "stop"
    )
    assert not_stated(step) == ["/stack/components/1/machine_side"]


def test_cut_too_heavy_for_the_joint_is_no_stop() -> None:
    """The joint can be made although the cut would turn the shank in it; the tool is not released."""
    bore = {"coupling": "hydraulic", "diameter_mm": 20, "tolerance": "H6", "depth_mm": 58, "minimum_grip_mm": 40}
    bore |= {"rated_torque_n_m": 5, "rated_grip_mm": 50, "rated_axial_force_n": 10_000}
    shank = {"coupling": "cylindrical", "diameter_mm": 20, "tolerance": "h6", "form": "plain", "length_mm": 60}
    request = two_parts(bore, shank, grip_length_mm=50)
    change(request["operations"][0], {"torque_n_m": 50})
    report = assembly_of(request)
    assert report.state == "build_do_not_release"
    assert report.reasons[0].code == "GRIP-070"


def test_what_must_not_be_built_has_no_other_step() -> None:
    """A collet that is to hold a shank of the wrong size is neither tightened nor pressed, nor is a taper cleaned."""
    for base, part in (("nut_collet", 2), ("press_in", 4)):
        request = base_request(base)
        request["stack"]["components"][part]["machine_side"]["diameter_mm"] = 30
        report = assembly_of(request)
        assert {step.action for step in report.steps} == {"stop"}
        (halt,) = (step for step in report.steps if step.joint)
        assert "end-mill" in halt.components


def test_collet_without_a_shank_is_not_closed() -> None:
    """A stack that ends in a collet is not built."""
    request = base_request("nut_collet")
    del request["stack"]["components"][2]
    report = assembly_of(request)
    assert any("nothing for it to hold" in text for text in halted(report))
    assert any(one.kind == "stop" and one.code is None for one in report.reasons)


def _plain_shank(request: dict[str, Any]) -> dict[str, Any]:
    """Return the press-in stack with short flutes, so that the gauge plane is on the plain shank."""
    request["stack"]["components"][4]["flute_length_mm"] = 4
    return request


def test_reading_where_the_limit_holds() -> None:
    """First principles: plane, distance, expectation and limit are those of the check; no number is new."""
    request = _plain_shank(base_request("press_in"))
    derived = derived_of(request)
    report = assembly_of(request)
    acceptance = known(report.acceptance)
    assert (acceptance.plane, acceptance.face_of) == ("gauge_plane", "collet-2")
    assert (acceptance.from_gauge_line_mm, acceptance.from_last_clamping_face_mm) == (194.0, 24.0)
    assert (acceptance.limit_um, acceptance.reading_limit_um) == (60.0, 60.0)
    assert isinstance(derived.gauge_plane, PlaneBudget)
    expected = acceptance.predictions[0]
    assert expected.of == "assemblies"
    assert expected.quantiles_um["p50"] == pytest.approx(derived.gauge_plane.assemblies.p50_um, abs=5e-4)
    assert expected.quantiles_um["p95"] == pytest.approx(derived.gauge_plane.assemblies.p95_um, abs=5e-4)
    step = measured(report)
    assert values_of(step)["reading"] == (None, None, 60.0)
    assert "24 mm from the face of collet-2" in step.text
    assert "194 mm from the gauge line" in step.text
    assert "at most 60 µm" in acceptance.rule
    assert "ISO 14253-1" in acceptance.rule


@pytest.mark.parametrize("plane", ["gauge_plane", "tip"])
def test_flutes_are_not_read(plane: str) -> None:
    """29 mm out of the collet, 19 mm of it flutes: read 1 mm before them, the limit in proportion, rounded down."""
    request = base_request("press_in")
    request["operations"][0]["limits"]["runout"]["plane"] = plane
    report = assembly_of(request)
    acceptance = known(report.acceptance)
    assert (acceptance.plane, acceptance.from_last_clamping_face_mm) == ("reading_plane", 9.0)
    runout = report_of(request).runout
    limited, read = known(quantile(runout, plane)), known(quantile(runout, "reading_plane"))
    assert acceptance.limit_um == 60.0
    assert acceptance.reading_limit_um == pytest.approx(60.0 * read / limited - 0.05, abs=0.051)
    assert acceptance.predictions[0].quantiles_um["p95"] == read
    assert f"{acceptance.reading_limit_um:g} µm at this one" in acceptance.rule
    assert runout.plane("reading_plane").readable
    assert not runout.plane(plane).readable


def test_a_limit_is_not_converted_without_a_prediction() -> None:
    """With a contributor missing nothing says what the limit is elsewhere."""
    request = base_request("press_in")
    del request["stack"]["components"][1]["runout"]
    acceptance = known(assembly_of(request).acceptance)
    assert (acceptance.plane, acceptance.limit_um, acceptance.reading_limit_um) == ("reading_plane", 60.0, None)
    assert "cannot be converted" in acceptance.rule


def test_limit_at_the_tip_is_read_at_the_tip() -> None:
    """Where the limit holds at the tip of a pin, that is where to read: 29 mm out of the last collet."""
    request = base_request("press_in")
    change(request["operations"][0], {"runout_limit_at": "tip"})
    request["stack"]["components"][4].pop("flute_length_mm")
    acceptance = known(assembly_of(request).acceptance)
    assert (acceptance.plane, acceptance.from_last_clamping_face_mm, acceptance.from_gauge_line_mm) == ("tip", 29, 199)


@pytest.mark.parametrize(
    ("flutes", "overall", "stated", "said"),
    [
        (4, 63, None, ""),
        (19, 63, None, ""),
        (25.1, 63, None, "never sweep an indicator over the flutes"),
        (19, 63, 24, "never sweep an indicator over the flutes"),
        (4, 57, 24, "beyond the tip"),
    ],
)
def test_where_the_indicator_touches(flutes: float, overall: float, stated: float | None, said: str) -> None:
    """A plane stated on the flutes or beyond the tip is said to be there, as is a shank too short to read."""
    request = base_request("press_in")
    if stated is not None:
        request["gauge_plane"] = {"datum": "last_clamping_face", "distance_mm": stated}
    request["stack"]["components"][4] |= {"flute_length_mm": flutes, "overall_length_mm": overall}
    request["stack"]["components"][4]["profile"][0]["length_mm"] = overall
    step = measured(assembly_of(request))
    for words in ("ever sweep an indicator over the flutes", "beyond the tip"):
        assert (words in step.text) == (words in said)


def test_nothing_is_promised_while_a_contributor_is_missing() -> None:
    """A partial sum would promise too little: no expectation, the missing field named."""
    request = base_request("press_in")
    del request["stack"]["components"][1]["runout"]
    report = assembly_of(request)
    assert known(report.acceptance).predictions == []
    step = measured(report)
    assert "no expected reading" in step.text
    assert not_stated(step) == ["/stack/components/1/runout"]


def test_no_limit_no_judgement() -> None:
    """Without a limit the reading is recorded and the field named."""
    request = base_request("press_in")
    drop(request["operations"][0], "runout_limit_um")
    report = assembly_of(request)
    acceptance = known(report.acceptance)
    assert (acceptance.limit_um, acceptance.operation) == (None, None)
    assert "Record the reading" in acceptance.rule
    step = measured(report)
    assert not_stated(step) == ["/operations/0/limits/runout"]


def test_record_has_a_blank_for_everything_that_was_set() -> None:
    """Golden: reading, grips with their bounds, torques of the makers, who and when."""
    report = assembly_of(base_request("press_in"))
    told = [(one.group, one.name, one.component or named(one.joint), one.target) for one in report.record.blanks]
    assert told == [
        *(("part", "serial number", name, None) for name in PARTS),
        ("setting", "grip length", "collet-1/extension", 55.0),
        ("setting", "projection", "collet-1/extension", 100.0),
        ("setting", "grip length", "collet-2/end-mill", 34.0),
        ("setting", "projection", "collet-2/end-mill", 29.0),
        ("setting", "length from gauge line to tip", None, 199.0),
        ("setting", "runout limit of the gauge spindle", None, None),
        ("setting", "tightening torque of the retention knob", None, None),
        ("setting", "press time", "holder/collet-1", None),
        ("setting", "press time", "extension/collet-2", None),
        ("instrument", "indicator, serial number", None, None),
        ("instrument", "calibration due", None, None),
        ("instrument", "temperature", None, 20.0),  # ISO 1
        ("reading", "reading of the test bar", None, None),
        ("reading", "reading after this joint", "collet-1/extension", None),
        ("reading", "angle of the high spot", "collet-1/extension", None),
        *(("reading", f"reading at {angle}°", None, None) for angle in (0, 45, 90, 135, 180, 225, 270, 315, 360)),
        ("reading", "reading at the plain shank", None, None),
        ("reading", "angle of the high spot", None, None),
        ("uncertainty", "uncertainty of the indicator's calibration", None, None),
        ("uncertainty", "resolution of the indicator", None, None),
        ("uncertainty", "drift", None, None),
        ("uncertainty", "scatter of re-seating", None, None),
        ("uncertainty", "expanded uncertainty of the reading, k = 2", None, None),
        *(("signature", name, None, None) for name in ("decision on the reading", "built by", "measured by", "date")),
        ("signature", "released by", None, None),
    ]
    bounds = {(one.name, named(one.joint)): (one.at_least, one.at_most) for one in report.record.blanks}
    assert bounds["reading at the plain shank", None] == (None, 55.8)
    assert bounds["grip length", "collet-1/extension"] == (40.0, 60.0)


PARTS = ("holder", "collet-1", "extension", "collet-2", "end-mill", "knob")


def test_heavy_stack_is_supported() -> None:
    """From 8 kg on (the caution's own threshold) the part that hangs out is supported, extension or not."""
    request = base_request("nut_collet")
    assert not any("upport the free end" in step.text for step in assembly_of(request).steps)
    request["stack"]["components"][0]["mass_kg"] = 9
    for part in request["stack"]["components"]:
        part.setdefault("mass_kg", 0.1)
    report = assembly_of(request)
    (clamp,) = (step for step in report.steps if step.action == "clamp")
    assert "Support the free end of end-mill," in clamp.text
    told = report_of(request)
    assert any("free end of a heavy" in caution for caution in told.cautions)


@pytest.mark.parametrize("name", base_names())
def test_nothing_is_held_up_by_hand(name: str) -> None:
    """Common practice: what may drop rests on a pad from below."""
    report = assembly_of(base_request(name))
    for step in (*report.steps, *report.disassembly):
        for sentence in step.text.split(". "):
            if sentence.startswith(("Support", "Meanwhile support")):
                assert "from below on a pad" in sentence, sentence


STATES: dict[str, tuple[Any, str, list[tuple[str, str | None]]]] = {
    "nothing against it": (lambda request: request, "build", []),
    "an error of no joint": (
        lambda request: request["stack"]["components"][4].update(max_speed_rpm=5000),
        "build_do_not_release",
        [("error", "SPD-010")],
    ),
    "a spindle that does not take the holder": (
        # the gauge may take what the machine does not
        lambda request: request["machine"]["spindle"].update(size="50"),
        "build_do_not_release",
        [("error", "TAP-010")],
    ),
    "an undecided rule": (
        lambda request: request["stack"]["components"][1].pop("runout"),
        "build_do_not_release",
        [("undecided", "BAL-020")],
    ),
    "an error at a joint": (
        lambda request: request["stack"]["components"][4]["machine_side"].update(diameter_mm=30),
        "do_not_build",
        [("error", "COL-010")],
    ),
    "a coupling that is not stated": (
        lambda request: request["stack"]["components"][4].pop("machine_side"),
        "do_not_build",
        [("stop", None)],
    ),
    "a knob that the drawbar does not grip": (
        lambda request: request["stack"]["components"][5].update(form="mas_403_60"),
        "do_not_build",
        [("error", "KNOB-020")],
    ),
}


@pytest.mark.parametrize("name", STATES)
def test_state(name: str) -> None:
    """First principles: only what no rule doubts is released, and what a joint forbids is not begun; with reasons."""
    edit, state, first = STATES[name]
    request = base_request("press_in")
    edit(request)
    told = report_of(request | {"include": ["assembly"]})
    report = known(told.assembly)
    assert report.state == report.record.state == state
    assert (told.verdict == "pass") == (state == "build")
    assert [(one.kind, one.code) for one in report.reasons[: len(first)]] == first
    assert bool(report.reasons) == (state != "build")
    assert not any("/stack" in one.text or "/operations" in one.text for one in report.reasons)

    names = [one.name for one in report.record.blanks]
    assert (RELEASED_BY in names) == (state == "build")
    prose = [*(step.text for step in report.steps), report.record.release]
    prose += [report.acceptance.rule] if report.acceptance is not None else []
    releasing = [text for text in prose if re.search(r"[Aa]ccept\b|\b[Ss]ign\b|signature", text)]
    assert bool(releasing) == (state == "build"), releasing
    if state == "build_do_not_release":
        assert "mark the assembly 'do not release'" in report.steps[-1].text
        assert report.record.release.startswith("Not released.")
    if state == "do_not_build":
        assert names == ["stopped by", "date"]
        assert report.record.release.startswith("Not to be built.")


def test_the_tightest_limit_of_all_operations_counts() -> None:
    """First principles: a tool that two operations share keeps the smaller of two limits at one plane."""
    request = base_request("press_in")
    finer = copy.deepcopy(request["operations"][0]) | {"id": "finish"}
    finer["limits"]["runout"]["tir_um"] = 40.0
    for order in ([request["operations"][0], finer], [finer, request["operations"][0]]):
        acceptance = known(assembly_of(request | {"operations": order}).acceptance)
        assert (acceptance.operation, acceptance.limit_um) == ("finish", 40.0)
    # 60 µm at the tip allow less than 59 µm at the gauge plane 5 mm before it: the eccentricity grows outward
    finer["limits"]["runout"] = {"plane": "tip", "tir_um": 60.0}
    other = copy.deepcopy(request["operations"][0])
    other["limits"]["runout"]["tir_um"] = 59.0
    acceptance = known(assembly_of(request | {"operations": [other, finer]}).acceptance)
    assert (acceptance.operation, acceptance.limit_um) == ("finish", 60.0)


@pytest.mark.parametrize(("stated", "told"), [(None, (0.5, "common practice")), (0.02, (0.02, None))])
def test_length_to_set(stated: float | None, told: tuple[float, str | None]) -> None:
    """The tip of the check, with the tolerance of the request or that of common practice; a pin has none to set."""
    request = base_request("press_in")
    if stated is not None:
        request["stack"]["length_tolerance_mm"] = stated
    report = assembly_of(request)
    (step,) = (one for one in report.steps if one.action == "set" and one.joint is None)
    (value,) = step.values
    assert (value.value, value.tolerance, value.source) == (report_of(request).geometry.tip_mm, *told)
    (blank,) = (one for one in report.record.blanks if one.name == value.name)
    assert (blank.target, blank.tolerance, blank.source) == (value.value, *told)
    assert [one.action for one in report.steps].index("seat") < step.number - 1 < measured(report).number - 1
    request["stack"]["components"][4] = {
        **{name: request["stack"]["components"][4][name] for name in ("id", "machine_side", "overall_length_mm")},
        "kind": "gauge_pin",
    }
    assert not any(one.action == "set" and one.joint is None for one in assembly_of(request).steps)


def test_test_bar_comes_first_and_the_indicator_is_preloaded_before_zero() -> None:
    """Bench practice: the bar before any other reading; zero after the preload, so the stylus follows both ways."""
    report = assembly_of(base_request("press_in"))
    (bar,) = (step for step in report.steps if "test bar" in step.text)
    readings = [step for step in report.steps if step.action == "measure"]
    assert bar.number < min(step.number for step in readings)
    for step in readings:
        assert 0 <= step.text.lower().index("preload the indicator by 0.2 mm") < step.text.index("set it to zero")
    assert not any("zero" in step.text for step in report.steps if step not in readings)


def test_inches_stand_beside_millimetres_where_they_were_stated() -> None:
    """The same stack in mm has none; inches follow exactly from the stated text (25.4 mm)."""
    for stated, told in (("1 1/2 in", 1.5), (38.1, None)):
        request = base_request("nut_collet")
        joint = next(one for one in request["stack"]["joints"] if one["lower"] == "end-mill")
        joint.pop("projection_mm", None)
        joint["grip_length_mm"] = stated
        report = assembly_of(request)
        (step,) = (one for one in report.steps if one.action == "set" and one.joint)
        value = next(one for one in step.values if one.name == "grip length")
        assert (value.value, value.inches) == (38.1, told)
        assert (" mm (1.5 in)" in step.text) == (told is not None)
        blank = next(one for one in report.record.blanks if one.name == "grip length")
        assert blank.inches == told
        length = next(one for one in report.steps if one.action == "set" and one.joint is None).values[0]
        assert (length.inches is None) == (told is None)


def test_revision_changes_with_the_instruction_alone() -> None:
    """The digest is that of what people read: another tolerance changes it, the places in the request do not."""
    request = base_request("press_in")
    first = assembly_of(request).record.instruction_sha256
    assert assembly_of(request).record.instruction_sha256 == first
    moved = copy.deepcopy(request)
    moved["components"] = {"mill": moved["stack"]["components"][4]}
    moved["stack"]["components"][4] = {
        "kind": "reference",
        "id": "end-mill",
        "of": {"from": "request", "key": "mill"},
    }
    assert assembly_of(moved).record.instruction_sha256 == first
    request["stack"]["length_tolerance_mm"] = 0.1
    assert assembly_of(request).record.instruction_sha256 != first


def test_record_names_what_it_is_of() -> None:
    """The digests are those of the report's provenance."""
    report = report_of(base_request("press_in") | {"include": ["assembly"]})
    record = known(report.assembly).record
    assert record.request_sha256 == report.provenance.request_sha256
    assert record.judgement_sha256 == report.provenance.judgement_sha256


def test_no_instruction_without_cautions() -> None:
    """Who asks for the work instruction alone gets its cautions with it."""
    request = parse_request(base_request("press_in") | {"include": ["assembly"]})
    assert request.sections == {"assembly", "cautions"}


def test_reference_that_leads_nowhere_leaves_nothing_to_assemble() -> None:
    """Of a stack with a part that is not defined nothing is known, and nothing is invented."""
    request = base_request("press_in")
    request["stack"]["components"][1] = {
        "kind": "reference",
        "of": {"from": "request", "key": "nowhere"},
        "id": "collet-1",
    }
    report = assembly_of(request)
    assert {step.action for step in report.steps} == {"stop"}
    assert not report.disassembly


_DEMO = Path(__file__).parents[3] / "demo_data/stacks/01-deep-rib-shrink-extension.json"


def _between(*changes: tuple[str, Any]) -> dict[str, float | None]:
    """Return what the reading before the end mill of the demo stack is expected to be, and its limit there."""
    request = json.loads(_DEMO.read_text("utf-8"))
    for pointer, value in changes:
        *way, last = pointer.split("/")[1:]
        holder = request
        for one in way:
            holder = holder[int(one)] if isinstance(holder, list) else holder[one]
        holder[last] = value
    report = assembly_of(request)
    (step,) = [one for one in report.steps if one.action == "measure" and named(one.joint) == "holder/extension"]
    told = {one.name: one.value if one.value is not None else one.at_most for one in step.values}
    return {name: told.get(name) for name in ("95th percentile of the expected reading", "reading")}


def _tir(place: int) -> str:
    return f"/stack/components/{place}/runout/statements/0/tir_um"


def test_a_reading_between_joints_has_its_own_expectation() -> None:
    """What is not mounted yet does not count, what is mounted does; a limit is shared as the runout is."""
    as_it_is, other_mill, other_holder = _between(), _between((_tir(2), 10)), _between((_tir(0), 9))
    expected, limit = as_it_is.values()
    assert expected is not None
    assert limit is not None
    mill_expected, mill_limit = other_mill.values()
    assert mill_expected == expected
    assert mill_limit is not None
    assert mill_limit < limit  # a worse end mill leaves less to the rest
    holder_expected, _ = other_holder.values()
    assert holder_expected is not None
    assert holder_expected > expected
    _, doubled = _between(("/operations/0/limits/runout/tir_um", 30)).values()
    assert doubled == pytest.approx(2 * limit, abs=0.11)


def test_without_every_contributor_a_reading_between_has_no_expectation() -> None:
    """A partial sum would call a good joint bad."""
    assert set(_between(("/stack/components/2/runout", None)).values()) == {None}


def test_a_blank_has_what_its_step_says_of_the_reading() -> None:
    """Between joints and at the end: median, 95th percentile and limit there; other blanks have none."""
    report = assembly_of(json.loads(_DEMO.read_text("utf-8")))
    blanks = [one for one in report.record.blanks if one.expected_median is not None]
    assert [one.name.partition(" ")[0] for one in blanks] == ["reading", "reading"]
    for blank in blanks:
        (step,) = [one for one in report.steps if one.action == "measure" and one.joint == blank.joint]
        told = {one.name: one for one in step.values}
        assert blank.expected_median == told["median of the expected reading"].value
        assert blank.expected_p95 == told["95th percentile of the expected reading"].value
        assert blank.at_most == told["reading"].at_most is not None
