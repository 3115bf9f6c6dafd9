"""Cleaning, retention knob, holds, measuring and record in the work instruction."""

from __future__ import annotations

from typing import Any

import pytest

from rules.rulebook.loader import base_request
from rules.runout.analysis import PlaneBudget
from tests.support.assemblies import assembly_of, not_stated, two_parts, values_of
from tests.support.operations import change, drop
from tests.support.stacks import derived_of, known, named, quantile, report_of

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
    assert any("retention knob can release the tool" in caution for caution in step.caution)
    (blank,) = (one for one in report.record if one.name == "tightening torque of the retention knob")
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
    (step,) = (one for one in assembly_of(request).steps if one.action == "check" and one.components == ["holder"])
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
    assert not report.buildable
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


def test_cut_too_heavy_for_the_joint_is_a_caution_not_a_stop() -> None:
    """The joint can be made although the cut would turn the shank in it; the finding stands where it is joined."""
    bore = {"coupling": "hydraulic", "diameter_mm": 20, "tolerance": "H6", "depth_mm": 58, "minimum_grip_mm": 40}
    bore |= {"rated_torque_n_m": 5, "rated_grip_mm": 50, "rated_axial_force_n": 10_000}
    shank = {"coupling": "cylindrical", "diameter_mm": 20, "tolerance": "h6", "form": "plain", "length_mm": 60}
    request = two_parts(bore, shank, grip_length_mm=50)
    change(request["operations"][0], {"torque_n_m": 50})
    report = assembly_of(request)
    assert report.buildable
    (step,) = (one for one in report.steps if one.action == "join")
    assert any("GRIP-070" in caution for caution in step.caution)


def test_stopped_cutter_leaves_its_collet_loose() -> None:
    """A collet that is to hold a shank of the wrong size is neither tightened nor pressed."""
    for base, part in (("nut_collet", 2), ("press_in", 4)):
        request = base_request(base)
        request["stack"]["components"][part]["machine_side"]["diameter_mm"] = 30
        report = assembly_of(request)
        stops = [step for step in report.steps if step.action == "stop"]
        (halt,) = (step for step in stops if step.joint and "end-mill" in step.components)
        assert "Do not tighten or press it empty" in halt.text
        seat = next(step.joint for step in report.steps if step.joint and step.joint.lower == halt.components[0])
        assert not any(step.action == "clamp" and step.joint == seat for step in report.steps)


def test_collet_without_a_shank_is_not_closed() -> None:
    """A stack that ends in a collet: the collet goes into its nut and stays open."""
    request = base_request("nut_collet")
    del request["stack"]["components"][2]
    report = assembly_of(request)
    assert not any(step.action == "clamp" for step in report.steps)
    assert any(step.action == "stop" and "nothing for it to hold" in step.text for step in report.steps)
    assert [step.action for step in report.disassembly] == ["open", "remove"]


def _plain_shank(request: dict[str, Any]) -> dict[str, Any]:
    """Return the press-in stack with short flutes, so that the gauge plane is on the plain shank."""
    request["stack"]["components"][4]["flute_length_mm"] = 4
    return request


def test_reading_where_the_limit_holds() -> None:
    """First principles: plane, distance, expectation and limit are those of the check; no number is new."""
    request = _plain_shank(base_request("press_in"))
    derived = derived_of(request)
    report = assembly_of(request)
    acceptance = report.acceptance
    assert (acceptance.plane, acceptance.face_of) == ("gauge_plane", "collet-2")
    assert (acceptance.from_gauge_line_mm, acceptance.from_last_clamping_face_mm) == (194.0, 24.0)
    assert (acceptance.limit_um, acceptance.reading_limit_um) == (60.0, 60.0)
    assert isinstance(derived.gauge_plane, PlaneBudget)
    expected = acceptance.predictions[0]
    assert expected.of == "assemblies"
    assert expected.quantiles_um["p50"] == pytest.approx(derived.gauge_plane.assemblies.p50_um, abs=5e-4)
    assert expected.quantiles_um["p95"] == pytest.approx(derived.gauge_plane.assemblies.p95_um, abs=5e-4)
    (step,) = (one for one in report.steps if one.action == "measure")
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
    acceptance = report.acceptance
    assert (acceptance.plane, acceptance.from_last_clamping_face_mm) == ("reading_plane", 9.0)
    runout = report_of(request).runout
    limited, read = known(quantile(runout, plane)), known(quantile(runout, "reading_plane"))
    assert acceptance.limit_um == 60.0
    assert acceptance.reading_limit_um == pytest.approx(60.0 * read / limited - 0.05, abs=0.051)
    assert acceptance.predictions[0].quantiles_um["p95"] == read
    assert f"{acceptance.reading_limit_um:g} µm at this plane" in acceptance.rule
    assert runout.plane("reading_plane").readable
    assert not runout.plane(plane).readable


def test_a_limit_is_not_converted_without_a_prediction() -> None:
    """With a contributor missing nothing says what the limit is elsewhere."""
    request = base_request("press_in")
    del request["stack"]["components"][1]["runout"]
    acceptance = assembly_of(request).acceptance
    assert (acceptance.plane, acceptance.limit_um, acceptance.reading_limit_um) == ("reading_plane", 60.0, None)
    assert "cannot be converted" in acceptance.rule


def test_limit_at_the_tip_is_read_at_the_tip() -> None:
    """Where the limit holds at the tip of a pin, that is where to read: 29 mm out of the last collet."""
    request = base_request("press_in")
    change(request["operations"][0], {"runout_limit_at": "tip"})
    request["stack"]["components"][4].pop("flute_length_mm")
    acceptance = assembly_of(request).acceptance
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
    (step,) = (one for one in assembly_of(request).steps if one.action == "measure")
    for words in ("ever sweep an indicator over the flutes", "beyond the tip"):
        assert (words in step.text) == (words in said)


def test_nothing_is_promised_while_a_contributor_is_missing() -> None:
    """A partial sum would promise too little: no expectation, the missing field named."""
    request = base_request("press_in")
    del request["stack"]["components"][1]["runout"]
    report = assembly_of(request)
    assert report.acceptance.predictions == []
    (step,) = (one for one in report.steps if one.action == "measure")
    assert "no expected reading" in step.text
    assert not_stated(step) == ["/stack/components/1/runout"]


def test_no_limit_no_judgement() -> None:
    """Without a limit the reading is recorded and the field named."""
    request = base_request("press_in")
    drop(request["operations"][0], "runout_limit_um")
    report = assembly_of(request)
    assert report.acceptance.limit_um is None
    assert "Record the reading" in report.acceptance.rule
    (step,) = (one for one in report.steps if one.action == "measure")
    assert not_stated(step) == ["/operations/0/limits/runout"]


def test_record_has_a_blank_for_everything_that_was_set() -> None:
    """Golden: reading, grips with their bounds, torques of the makers, who and when."""
    report = assembly_of(base_request("press_in"))
    blanks = [(one.name, named(one.joint), one.target, one.at_least, one.at_most) for one in report.record]
    assert blanks == [
        ("reading at the plain shank", None, None, None, 55.8),
        ("expanded uncertainty of the reading", None, None, None, None),
        ("grip length", "collet-1/extension", 55.0, 40.0, 60.0),
        ("projection", "collet-1/extension", 100.0, None, None),
        ("grip length", "collet-2/end-mill", 34.0, 18.0, 36.0),
        ("projection", "collet-2/end-mill", 29.0, None, None),
        ("tightening torque of the retention knob", None, None, None, None),
        ("press time", "holder/collet-1", None, None, None),
        ("press time", "extension/collet-2", None, None, None),
        ("operator", None, None, None, None),
        ("date", None, None, None, None),
        ("signature", None, None, None, None),
    ]


def test_heavy_stack_is_supported() -> None:
    """From 8 kg on (the caution's own threshold) the part that hangs out is supported, extension or not."""
    request = base_request("nut_collet")
    assert not any("upport the free end" in step.text for step in assembly_of(request).steps)
    request["stack"]["components"][0]["mass_kg"] = 9
    for part in request["stack"]["components"]:
        part.setdefault("mass_kg", 0.1)
    report = assembly_of(request)
    (clamp,) = (step for step in report.steps if step.action == "clamp")
    assert "support the free end of end-mill" in clamp.text
    assert any("free end of a heavy" in caution for caution in clamp.caution)


def test_errors_of_no_joint_stand_at_the_beginning() -> None:
    """Whoever starts to build sees first that the tool turns faster than a part allows."""
    request = base_request("press_in")
    request["stack"]["components"][4]["max_speed_rpm"] = 5000
    report = assembly_of(request)
    assert any("SPD-010" in caution for caution in report.steps[0].caution)


def test_spindle_that_does_not_take_the_holder_is_said_at_seating() -> None:
    """The gauge may take what the machine does not: the objection stands where the holder goes into a spindle."""
    request = base_request("nut_collet")
    request["machine"]["spindle"]["size"] = "100"
    report = assembly_of(request)
    (seat,) = (step for step in report.steps if step.action == "seat")
    assert any("TAP-010" in caution for caution in seat.caution)


def test_reference_that_leads_nowhere_leaves_nothing_to_assemble() -> None:
    """Of a stack with a part that is not defined nothing is known, and nothing is invented."""
    request = base_request("press_in")
    request["stack"]["components"][1] = {
        "kind": "reference",
        "of": {"from": "request", "key": "nowhere"},
        "id": "collet-1",
    }
    report = assembly_of(request)
    assert [step.action for step in report.steps] == ["stop"]
    assert not report.disassembly
