"""Gauge readings: every next step occurs, decisions hold at the limit, and every request gets an answer."""

from __future__ import annotations

import cmath
import math
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.reading.reading import read_gauge
from rules.rulebook.loader import base_request
from rules.runout.analysis import law_at
from rules.schema.parsing import BadRequestError, parse
from rules.schema.reading import ReadingReport, ReadingRequest
from rules.schema.request import CheckRequest
from tests.support.pin_stack import PIN_STACK
from tests.support.stacks import analysis_of, known, named

BOOK = Assessor.load().book


def _range(tir_um: float, distance_mm: float = 24) -> dict[str, Any]:
    return {"kind": "range", "distance_mm": distance_mm, "tir_um": tir_um}


def _steps(eccentricity: complex, distance_mm: float = 24, count: int = 4) -> dict[str, Any]:
    """Readings that this eccentricity gives at equal steps."""
    readings = [(eccentricity * cmath.exp(-2j * math.pi * k / count)).real for k in range(count)]
    return {"kind": "equal_steps", "distance_mm": distance_mm, "readings_um": readings}


def _points(*points: tuple[float, float], distance_mm: float = 24) -> dict[str, Any]:
    told = [{"angle_deg": angle, "reading_um": reading} for angle, reading in points]
    return {"kind": "dial", "distance_mm": distance_mm, "points": told}


def _trial(plane: dict[str, Any], turned: float = 180, upper: str = "collet-2", lower: str = "pin") -> dict[str, Any]:
    return {"upper": upper, "lower": lower, "turned_deg": turned, "plane": plane}


def _read(**request: Any) -> ReadingReport:
    return read_gauge(parse(ReadingRequest, request), BOOK)


def _without_runout(number: int) -> dict[str, Any]:
    parts = [dict(part) for part in PIN_STACK["components"]]
    del parts[number]["runout"]
    return {**PIN_STACK, "components": parts}


SURE = {"expanded_uncertainty_um": 1.5}

STEPS: list[tuple[str, str, dict[str, Any], str | None, float | None, tuple[str, ...]]] = [
    (
        "above the worst case",
        "clean_and_reseat",
        {"planes": [_range(27)], "stack": PIN_STACK, "limit_um": 20, **SURE},
        None,
        None,
        ("27 µm at 24 mm", "15.7 µm", "clean every taper"),
    ),
    (
        "above the worst case, cleaned twice",
        "replace",
        {"planes": [_range(27)], "stack": PIN_STACK, "limit_um": 20, "times_cleaned": 2, **SURE},
        None,
        None,
        ("27 µm at 24 mm", "2 cleanings", "worn or damaged taper"),
    ),
    (
        "above the worst case, and yet within the limit",
        "accept",
        {"planes": [_range(27)], "stack": PIN_STACK, "limit_um": 30, **SURE},
        None,
        None,
        ("within the limit of 30 µm", "more than the stack data explain"),
    ),
    (
        "beyond the pin",
        "measure_better",
        {"planes": [_range(3, 400)], "stack": PIN_STACK, "limit_um": 10, **SURE},
        None,
        None,
        ("pin ends before 400 mm",),
    ),
    (
        "the trial position is proven",
        "accept",
        {
            "planes": [_steps(5, count=16)],
            "trial": _trial(_steps(1, count=16), upper="a", lower="b"),
            "limit_um": 9,
            **SURE,
        },
        None,
        None,
        ("In the trial position of b in a", "2 µm", "Leave it there"),
    ),
    (
        "a shrink joint has to be heated",
        "turn_joint",
        {"planes": [_range(6)], "stack": base_request("shrink")["stack"], "limit_um": 3},
        "holder/end-mill",
        None,
        ("needs heating and cooling again",),
    ),
    (
        "above 99 of 100, at the second plane",
        "clean_and_reseat",
        {"planes": [_range(5), _range(18.5, 44)], "stack": PIN_STACK},
        None,
        None,
        ("18.5 µm at 44 mm", "99th percentile", "13.3"),
    ),
    (
        "proven",
        "accept",
        {"planes": [_range(8)], "limit_um": 10, "expanded_uncertainty_um": 2},
        None,
        None,
        ("8 µm", "2 µm", "10 µm"),
    ),
    (
        "trial turn leaves less",
        "turn_joint",
        {"planes": [_steps(5)], "trial": _trial(_steps(1j)), "stack": PIN_STACK, "limit_um": 9, **SURE},
        "collet-2/pin",
        22.62,
        ("Turn pin in collet-2 by 22.6°", "against the direction", "limit 9 µm"),
    ),
    (
        "trial turn was the best already",
        "turn_joint",
        {"planes": [_steps(5)], "trial": _trial(_steps(1), upper="a", lower="b"), "limit_um": 9, **SURE},
        "a/b",
        0.0,
        ("Leave b in a", "2 µm"),
    ),
    (
        "pin of the stack",
        "use_precision_pin",
        {"planes": [_range(10.5)], "stack": PIN_STACK, "limit_um": 10},
        None,
        None,
        ("10.5 µm is 0.5 µm above the limit of 10 µm", "itself may be 1 µm"),
    ),
    (
        "pin of the request, over the acceptance limit",
        "use_precision_pin",
        {"planes": [_range(9)], "limit_um": 10, "pin_tir_um": 3, **SURE},
        None,
        None,
        ("0.5 µm above the acceptance limit of 8.5 µm", "itself may be 3 µm"),
    ),
    (
        "within, not proven",
        "measure_better",
        {"planes": [_range(9)], "limit_um": 10, **SURE},
        None,
        None,
        ("9 µm", "10 µm", "at most 1 µm"),
    ),
    (
        "within, no uncertainty",
        "measure_better",
        {"planes": [_range(4)], "limit_um": 10},
        None,
        None,
        ("State the expanded uncertainty", "at most 6 µm"),
    ),
    (
        "not round a turn, no limit",
        "measure_better",
        {"planes": [_points((0, 1), (0, 1), (0, 1))]},
        None,
        None,
        ("does not cover a full turn",),
    ),
    (
        "nothing to hold it against",
        "accept",
        {"planes": [_range(9)]},
        None,
        None,
        ("9 µm", "no limit and no complete stack"),
    ),
    (
        "no limit, as predicted",
        "accept",
        {"planes": [_range(9)], "stack": PIN_STACK},
        None,
        None,
        ("9 µm", "median 4.6 µm", "99th percentile 10.7 µm", "No limit"),
    ),
    (
        "best clocking beyond the limit",
        "replace",
        {
            "planes": [_range(60)],
            "stack": {
                **PIN_STACK,
                "components": [
                    {**part, "runout": {"statements": [{"tir_um": 80, "at_mm": 24}]}}
                    if part["id"] == "collet-2"
                    else part
                    for part in PIN_STACK["components"]
                ],
            },
            "limit_um": 10,
        },
        None,
        None,
        ("best clocking", "limit is 10 µm", "runout of collet-2"),
    ),
    (
        "largest contributor first",
        "turn_joint",
        {"planes": [_range(10.6)], "stack": PIN_STACK, "limit_um": 9},
        "holder/collet-1",
        None,
        ("10.6 µm", "9 µm", "largest contributor is runout of collet-1", "Turn collet-1 in holder by 180°"),
    ),
    (
        "prediction incomplete: the clamp of the tool",
        "turn_joint",
        {"planes": [_range(13)], "stack": _without_runout(1), "limit_um": 10},
        "collet-2/pin",
        None,
        ("Turn pin in collet-2 by 180°",),
    ),
    (
        "no stack",
        "turn_joint",
        {"planes": [_range(13)], "limit_um": 10},
        None,
        None,
        ("13 µm", "10 µm", "Turn the cutting tool in its clamp by 180° and measure again"),
    ),
    (
        "trial leaves too much, no stack",
        "turn_joint",
        {"planes": [_steps(9)], "trial": _trial(_steps(8)), "limit_um": 10},
        None,
        None,
        ("Turning collet-2/pin leaves at least 16 µm", "next joint"),
    ),
]


@pytest.mark.parametrize(
    ("action", "request_", "joint", "turn", "words"), [case[1:] for case in STEPS], ids=[case[0] for case in STEPS]
)
def test_next_step(action: str, request_: dict[str, Any], joint: str | None, turn: float | None, words: Any) -> None:
    """The first step that applies is told, with its numbers and units."""
    step = _read(**request_).next_step
    assert (step.action, named(step.joint), step.turn_deg) == (action, joint, turn), step.text
    for word in words:
        assert word in step.text


def test_every_next_step_is_reached() -> None:
    """The table above leaves no step out."""
    annotation = ReadingReport.model_fields["next_step"].annotation
    assert annotation is not None
    actions = annotation.model_json_schema()["properties"]["action"]["x-known-values"]  # type: ignore[attr-defined]
    assert {case[1] for case in STEPS} == set(actions)


def test_a_failed_trial_is_not_asked_for_again() -> None:
    """Where the joint tried leaves too much, another one is named."""
    planes, limit = [_steps(5)], 2
    first = _read(planes=planes, stack=PIN_STACK, limit_um=limit)
    assert named(first.next_step.joint) == "holder/collet-1"
    trial = _trial(_steps(4), upper="holder", lower="collet-1")
    second = _read(planes=planes, stack=PIN_STACK, limit_um=limit, trial=trial)
    assert second.trial is not None
    assert second.trial.leaves_tir_um > limit
    assert second.next_step.action == "turn_joint"
    assert second.next_step.joint not in (None, first.next_step.joint)


@pytest.mark.parametrize(
    ("tir", "uncertainty", "decision", "would_settle"),
    [
        (7.999, 2.0, "conforms", None),
        (8.0, 2.0, "conforms", None),
        (8.001, 2.0, "not_proven", "at most 1.999 µm"),
        (10.0, 2.0, "not_proven", "equals the limit"),
        (12.0, 2.0, "not_proven", "below 2 µm"),
        (12.001, 2.0, "does_not_conform", None),
        (3.0, None, "not_proven", "State the expanded uncertainty"),
        (30.0, None, "not_proven", "below 20 µm"),
        (10.0, 0.0, "conforms", None),
    ],
)
def test_decision_at_the_boundary(
    tir: float, uncertainty: float | None, decision: str, would_settle: str | None
) -> None:
    """Literature: ISO 14253-1 with guard band U at a limit of 10 µm; what would settle it is told."""
    told = _read(planes=[_range(tir)], limit_um=10, expanded_uncertainty_um=uncertainty).decision
    assert told is not None
    assert told.decision == decision
    assert (told.would_settle is None) is (would_settle is None)
    assert (would_settle or "") in (told.would_settle or "")


def test_what_would_settle_does_settle() -> None:
    """The uncertainty named decides when it is reached."""
    told = _read(planes=[_range(9.1234567)], limit_um=10, expanded_uncertainty_um=2).decision
    assert told is not None
    assert told.would_settle is not None
    assert "0.876 µm" in told.would_settle
    again = _read(planes=[_range(9.1234567)], limit_um=10, expanded_uncertainty_um=0.876).decision
    assert again is not None
    assert again.decision == "conforms"


def test_few_points_that_miss_the_high_one_are_told_the_circle_and_prove_only_what_they_saw() -> None:
    """First principles: e = 6 toward 60° read at 0°, 120°, 240° ranges over 1.5·e, a full turn over 2·e.

    Two lobes would read the same at three angles, so only the range is certain.
    """
    report = _read(planes=[_steps(6 * cmath.exp(1j * math.pi / 3), count=3)], limit_um=10, expanded_uncertainty_um=0.5)
    (plane,) = report.planes
    assert (plane.tir_um, plane.judged_tir_um, plane.at_least_um, plane.at_most_um) == (9.0, 12.0, 9.0, None)
    assert report.decision is not None
    assert report.decision.decision == "not_proven"


def test_readings_that_do_not_go_round_prove_nothing_kept() -> None:
    """Three readings at one angle range over nothing, yet keep no limit; they may break one."""
    request: dict[str, Any] = {"limit_um": 10, "expanded_uncertainty_um": 1}
    kept = _read(planes=[_points((0, 1), (0, 1), (360, 1))], **request)
    assert kept.planes[0].eccentricity_um is None
    assert kept.planes[0].tir_um == 0.0
    assert not kept.planes[0].whole_turn
    assert kept.notes
    assert kept.decision is not None
    assert kept.decision.decision == "not_proven"
    assert kept.next_step.action == "measure_better"
    broken = _read(planes=[_points((0, 1), (0, 30), (180, 1))], **request)
    assert broken.decision is not None
    assert broken.decision.decision == "does_not_conform"


def test_plane_by_hand() -> None:
    """First principles: 10, 12, 11, 7, 3, 1, 2, 6 at 45° steps, worked with a calculator."""
    (plane,) = _read(
        planes=[{"kind": "equal_steps", "distance_mm": 10, "readings_um": [10, 12, 11, 7, 3, 1, 2, 6]}]
    ).planes
    assert (plane.tir_um, plane.judged_tir_um) == (11.0, 11.222)
    assert (plane.eccentricity_um, plane.high_point_deg) == (5.611, 51.175)


def test_axis_by_hand() -> None:
    """First principles: 2 at 20 mm along 0° and 2 + 3j at 50 mm; at the face 2 − 2j, at the tip (50 mm) 2 + 3j."""
    axis = _read(planes=[_steps(2, 20), _steps(2 + 3j, 50)], stack=PIN_STACK).axis
    assert axis is not None
    assert (axis.offset_um, axis.offset_deg) == (round(math.sqrt(8), 3), 315.0)
    assert (axis.tilt_um_per_mm, axis.tilt_deg) == (0.1, 90.0)
    assert axis.tip_tir_um == round(2 * math.sqrt(13), 3)
    alone = _read(planes=[_steps(2, 20), _steps(2 + 3j, 50)]).axis
    assert alone is not None
    assert alone.tip_tir_um is None


def test_true_running_has_no_direction() -> None:
    """An eccentricity of nothing points nowhere."""
    report = _read(planes=[_steps(0), _steps(0, 50)])
    assert report.planes[0].high_point_deg is None
    assert report.axis is not None
    assert (report.axis.offset_deg, report.axis.tilt_deg) == (None, None)


def test_prediction_is_the_law_of_the_contributors() -> None:
    """The figures are those of the randomly clocked contributors at the plane, 137 mm from the gauge line and on."""
    derived = analysis_of(CheckRequest.model_validate({"stack": PIN_STACK}))
    report = _read(planes=[_range(9), _range(9, 40)], stack=PIN_STACK)
    for told, distance in zip(report.prediction, (24, 40), strict=True):
        law = law_at(137 + distance, derived.contributors.known)
        assert told is not None
        assert told.from_gauge_line_mm == 137 + distance
        assert told.from_last_clamping_face_mm == distance
        p50, p95, p99 = (2 * law.quantiles([0.5, 0.95, 0.99])).tolist()
        assert [told.quantile_um(name) for name in ("p50", "p95", "p99")] == pytest.approx([p50, p95, p99], abs=1e-3)
        assert told.share_below == pytest.approx(law.probability(4.5), abs=1e-6)
        assert not told.above_p99


@pytest.mark.parametrize(("off", "outside"), [(-0.01, False), (0.01, True)])
def test_outside_begins_at_the_99_percent(off: float, outside: bool) -> None:
    """A reading a hundredth of a micrometre above the 99 % is outside, one below is not."""
    (told,) = _read(planes=[_range(9)], stack=PIN_STACK).prediction
    assert told is not None
    (again,) = _read(planes=[_range(known(told.quantile_um("p99")) + off)], stack=PIN_STACK).prediction
    assert again is not None
    assert again.above_p99 is outside


def test_what_a_prediction_lacks_is_named() -> None:
    """A contributor that is not stated leaves no prediction, only the field that would supply it."""
    report = _read(planes=[_range(9)], stack=_without_runout(1))
    assert report.prediction == [None]
    (lack,) = report.not_stated
    assert lack.at == ["/stack/components/1/runout"]


@pytest.mark.parametrize(
    ("request_", "expected"),
    [
        ({"planes": [_range(9)], "limit_um": 10}, None),
        ({"planes": [_range(9)], "pin_tir_um": 3}, None),
        ({"planes": [_range(9)], "limit_um": 10, "pin_tir_um": 3}, False),
        ({"planes": [_range(13)], "limit_um": 10, "pin_tir_um": 3}, True),
        ({"planes": [_range(13.01)], "limit_um": 10, "pin_tir_um": 3}, False),
        ({"planes": [_range(12)], "limit_um": 10, "pin_tir_um": 3, "expanded_uncertainty_um": 1}, True),
        ({"planes": [_range(12.01)], "limit_um": 10, "pin_tir_um": 3, "expanded_uncertainty_um": 1}, False),
        # the stack's own pin reads 1 µm at 24 mm, and its statement goes before the request's
        ({"planes": [_range(11)], "limit_um": 10, "pin_tir_um": 3, "stack": PIN_STACK}, True),
        ({"planes": [_range(11.01)], "limit_um": 10, "pin_tir_um": 3, "stack": PIN_STACK}, False),
        ({"planes": [_range(12)], "limit_um": 10, "pin_tir_um": 3, "stack": _without_runout(4)}, True),
    ],
)
def test_whether_the_pin_may_explain(request_: dict[str, Any], expected: bool | None) -> None:
    """The excess over the acceptance limit is held against what the pin alone may read."""
    assert _read(**request_).pin_may_explain is expected


def test_trial_by_hand() -> None:
    """First principles: A = 3, B = 2 along 90°; turned by 180° B stands along 270° and wants to 180°."""
    report = _read(planes=[_steps(3 + 2j)], trial=_trial(_steps(3 - 2j)), stack=PIN_STACK)
    assert report.trial is not None
    assert (named(report.trial.joint), report.trial.before_joint_um, report.trial.beyond_joint_um) == (
        "collet-2/pin",
        3.0,
        2.0,
    )
    assert (report.trial.turn_deg, report.trial.leaves_tir_um) == (270.0, 2.0)
    assert not any("trial" in note for note in report.notes)


@pytest.mark.parametrize(
    ("request_", "words"),
    [
        ({"planes": [_steps(3)], "trial": _trial(_steps(1), upper="holder"), "stack": PIN_STACK}, "not a joint of"),
        ({"planes": [_steps(3)], "trial": _trial(_steps(1), upper="spindle"), "stack": PIN_STACK}, "not a joint of"),
        ({"planes": [_steps(3)], "trial": _trial(_steps(3), turned=360)}, "is too small"),
        ({"planes": [_steps(3)], "trial": _trial(_steps(3), turned=0)}, "is too small"),
        ({"planes": [_steps(3)], "trial": _trial(_steps(3), turned=-1e-300)}, "is too small"),
        ({"planes": [_steps(3)], "trial": _trial(_range(6))}, "no direction"),
        ({"planes": [_range(6)], "trial": _trial(_steps(3))}, "no direction"),
        ({"planes": [_steps(3)], "trial": _trial(_points((0, 1), (0, 2), (0, 3)))}, "do not cover a full turn"),
        ({"planes": [_steps(3)], "trial": _trial(_steps(3, 25))}, "distance of the first plane"),
    ],
)  # fmt: skip
def test_a_trial_that_tells_nothing(request_: dict[str, Any], words: str) -> None:
    """It is answered with a note that says why."""
    report = _read(**request_)
    assert report.trial is None
    assert any(words in note for note in report.notes)


def test_the_spindle_is_a_joint_where_a_machine_is_given() -> None:
    """A holder turned in the spindle tells the spindle apart; two drive keys allow two positions."""
    request = base_request("press_in")
    margin = {"surface": "margin"}
    trial = _trial(_steps(2) | margin, upper="spindle", lower="holder")
    stack, machine = request["stack"], request["machine"]
    report = _read(planes=[_steps(3 + 1j) | margin], trial=trial, stack=stack, machine=machine)
    assert report.trial is not None
    assert named(report.trial.joint) == "spindle/holder"
    assert report.trial.turn_deg in (0.0, 180.0)


def test_a_joint_of_one_position_is_told_with_a_note() -> None:
    """A side-lock clamp holds one way only; a trial that claims otherwise is worked out, and the doubt is told."""
    stack = base_request("side_lock")["stack"]
    parts = [part["id"] for part in stack["components"] if part["kind"] != "retention_knob"]
    trial = _trial(_steps(2), upper=parts[-2], lower=parts[-1])
    report = _read(planes=[_steps(3 + 1j)], trial=trial, stack=stack)
    assert report.trial is not None
    assert any("other positions" in note for note in report.notes)


@pytest.mark.parametrize(
    "request_",
    [
        {"planes": [_steps(1), _steps(2)]},
        {"planes": [_steps(1, 0), _steps(2, 5e-324)]},
        {"planes": [_steps(1), _range(2, 60)]},
        {"planes": [_points((0, 1e4), (1e-300, -1e4), (180, 0))]},
        {"planes": [_points((0, 0), (1, 1e4), (2, -1e4))], "limit_um": 0, "expanded_uncertainty_um": 0},
        {"planes": [_range(0)], "limit_um": 0},
        {"planes": [_range(1e4)], "limit_um": 5e-324, "pin_tir_um": 0},
        {"planes": [_range(1)], "stack": {"components": [{"kind": "gauge_pin", "id": "p"}]}, "limit_um": 0},
        {"planes": [_range(1)], "stack": {"components": [{"kind": "retention_knob", "id": "k"}]}, "limit_um": 0},
        {
            "planes": [_steps(1)],
            "trial": _trial(_steps(2), upper="a", lower="a"),
            "stack": {"components": [{"kind": "collet", "id": "a"}, {"kind": "collet", "id": "a"}]},
            "limit_um": 1,
        },
    ],
)
def test_degenerate_requests_are_answered(request_: dict[str, Any]) -> None:
    """Every request that fits the contract has an answer, finite throughout."""
    report = _read(**request_)
    assert report.next_step.text
    assert ReadingReport.model_validate_json(report.model_dump_json()) == report


def test_planes_at_one_distance_have_no_axis() -> None:
    """A note says so."""
    report = _read(planes=[_steps(1), _steps(2)])
    assert report.axis is None
    assert "No axis: both planes are at the same distance." in report.notes


def test_thresholds_are_checked_as_in_a_check() -> None:
    """A rule that does not exist is refused with its place."""
    with pytest.raises(BadRequestError) as caught:
        _read(planes=[_range(1)], policy={"thresholds": [{"code": "NONE-999", "threshold": "x", "value": 1}]})
    assert [fault.pointer for fault in caught.value.faults] == ["/policy/thresholds/0/code"]


def test_cautions_and_provenance() -> None:
    """The stack's couplings bring their cautions, without one the general ones stand; digests tell requests apart."""
    plain, stacked = _read(planes=[_range(1)]), _read(planes=[_range(1)], stack=PIN_STACK)
    assert plain.cautions
    assert set(plain.cautions) < set(stacked.cautions)
    assert any("Press collets in and out" in one for one in stacked.cautions)
    assert plain.provenance.request_sha256 != stacked.provenance.request_sha256
    assert plain.provenance.rulebook_sha256 == BOOK.digest
