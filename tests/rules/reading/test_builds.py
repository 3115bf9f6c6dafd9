"""A build read stage by stage: parts told apart, joints turned, the finished stack predicted."""

from __future__ import annotations

import cmath
import copy
import math
import random
from pathlib import Path
from typing import Any, Final

import pytest

from rules.assessor import Assessor
from rules.exchange.documents import read_document
from rules.reading.build import read_build
from rules.reading.reading import read_gauge
from rules.rulebook.loader import base_request
from rules.runout.analysis import law_at
from rules.schema.build import BuildReport, BuildRequest
from rules.schema.parsing import BadRequestError, parse
from rules.schema.reading import ReadingRequest
from rules.schema.request import CheckRequest
from service.examples import BUILD_EXAMPLES
from service.sheets.page import build_page
from service.sheets.questions import build_text
from tests.support.pin_stack import PIN_STACK
from tests.support.stacks import analysis_of, known

BOOK = Assessor.load().book
SURE = {"expanded_uncertainty_um": 0.2, "positive": "outward"}
FACES = {"holder": 0.0, "collet-1": 70.0, "extension": 70.0, "collet-2": 137.0, "pin": 137.0}


def _plane(distance_mm: float, vector: complex, count: int = 16, **more: Any) -> dict[str, Any]:
    readings = [(vector * cmath.exp(-2j * math.pi * n / count)).real for n in range(count)]
    return {"kind": "equal_steps", "distance_mm": distance_mm, "readings_um": readings, **more}


def _build(**request: Any) -> BuildReport:
    return read_build(parse(BuildRequest, {"instrument": SURE, "stack": PIN_STACK, **request}), BOOK)


def _stage(part: str, *planes: dict[str, Any]) -> dict[str, Any]:
    return {"part": part, "planes": list(planes)}


def _vector(one: Any) -> complex:
    return cmath.rect(one.eccentricity_um, math.radians(one.direction_deg or 0.0))


def _faces() -> dict[str, float]:
    """Faces that clamp the parts of the pin stack, from the gauge line."""
    derived = analysis_of(CheckRequest.model_validate({"stack": PIN_STACK}))
    ids = [member.part.id for member in derived.chain.members]
    return {name: 0.0 if n == 0 else known(derived.geometry.places[n - 1].face) for n, name in enumerate(ids)}


def test_the_own_error_is_the_difference_of_the_axes() -> None:
    """First principles: V = E - E of the stage before, extrapolated to the planes of the new part."""
    at = _faces()["extension"]
    before = lambda z: 1.0 + 0.02 * z * 1j  # noqa: E731
    after = lambda z: before(z) + 2j + 0.01 * (z - at)  # noqa: E731
    report = _build(
        stages=[
            _stage("holder", _plane(30, before(30)), _plane(60, before(60))),
            _stage("extension", _plane(20, after(at + 20)), _plane(60, after(at + 60))),
        ]
    )
    own = report.stages[1].own
    assert [one.from_gauge_line_mm for one in own] == [at + 20, at + 60]
    for one, distance in zip(own, (20, 60), strict=True):
        assert _vector(one) == pytest.approx(2j + 0.01 * distance, abs=2e-3)


def test_its_uncertainty_is_that_of_both_axes() -> None:
    """Propagation of errors: u of a plane is 0.1·√(2/16); the holder's axis is extrapolated."""
    at = _faces()["extension"]
    report = _build(
        stages=[_stage("holder", _plane(30, 1), _plane(60, 1)), _stage("extension", _plane(20, 2), _plane(60, 2))]
    )
    u = 0.1 * math.sqrt(2 / 16)
    z = at + 20
    carried = math.hypot(u * (60 - z) / 30, u * (z - 30) / 30)
    assert report.stages[1].own[0].expanded_uncertainty_um == pytest.approx(2 * math.hypot(u, carried), abs=1e-3)


def test_best_turn_leaves_the_difference() -> None:
    """First principles: 3 along 0° and 2 along 90° at the plane of the limit: turned on by 90°, 1 µm is left."""
    at = _faces()["extension"]
    stages = [
        _stage("holder", _plane(30, 3), _plane(60, 3)),
        _stage("extension", _plane(20, 3 + 2j), _plane(60, 3 + 2j)),
    ]
    turn = _build(stages=stages, limit_um=12, limit_at_mm=10).stages[1].best_turn
    assert turn is not None
    assert str(turn.joint) == "collet-1/extension"
    assert turn.turn_deg == pytest.approx(90.0, abs=0.05)
    assert turn.leaves_tir_um == pytest.approx(2.0, abs=0.01)
    assert turn.p95_um is not None
    assert turn.tolerance_deg is not None
    assert at > 0


def test_the_tolerance_is_where_the_limit_is_reached() -> None:
    """e² = (|A| - |V|)² + 2·|A|·|V|·(1 - cos δ): a turn that is off by more breaks the limit, one by less keeps it."""
    stages = [
        _stage("holder", _plane(30, 3), _plane(60, 3)),
        _stage("extension", _plane(20, 3 + 2j), _plane(60, 3 + 2j)),
    ]
    limit = 8.0
    turn = _build(stages=stages, limit_um=limit, limit_at_mm=10).stages[1].best_turn
    assert turn is not None
    assert turn.tolerance_deg is not None
    assert 0 < turn.tolerance_deg < 180

    def p95(off: float) -> float:
        vector = 3 + 2j * cmath.exp(1j * math.radians(90 + off))
        again = [stages[0], _stage("extension", _plane(20, vector), _plane(60, vector))]
        found = _build(stages=again, limit_um=limit, limit_at_mm=10).stages[1].p95_um
        assert found is not None
        return found

    assert p95(turn.tolerance_deg - 0.5) < limit < p95(turn.tolerance_deg + 0.5)


def test_after_the_last_stage_only_errors_are_left() -> None:
    """The whole stack read exactly: what it reads is what 95 % of such stacks read."""
    derived = analysis_of(CheckRequest.model_validate({"stack": PIN_STACK}))
    report = _build(stages=[_stage("pin", _plane(10, 2.5), _plane(40, 2.5))], limit_um=6, limit_at_mm=24)
    (stage,) = report.stages
    assert stage.p95_um == pytest.approx(5.0, abs=0.25)
    assert stage.action == "go_on"
    assert report.finished.decision is not None
    prior = float(2 * law_at(137 + 24, derived.contributors.known).quantiles([0.95])[0])
    assert stage.p95_um < prior


def test_before_anything_is_read_well_the_rest_is_the_prediction() -> None:
    """A holder that runs true leaves the law of the others, by the same sum of vectors."""
    derived = analysis_of(CheckRequest.model_validate({"stack": PIN_STACK}))
    (stage,) = _build(
        stages=[_stage("holder", _plane(30, 0), _plane(60, 0))], limit_um=20, limit_at_mm=24, instrument=SURE
    ).stages
    rest = [one for one in derived.contributors.known if one.displaces_from > 1]
    expected = float(2 * law_at(137 + 24, rest).quantiles([0.95])[0])
    assert stage.p95_um == pytest.approx(expected, abs=0.1)


def test_a_statement_is_read_back_as_the_part_was_measured() -> None:
    """The statement of the pin, put into the stack, predicts the reading from which it was made."""
    stages = [
        _stage("extension", _plane(20, 0), _plane(60, 0)),
        _stage("pin", _plane(10, 1.5j), _plane(40, 3j)),
    ]
    statement = _build(stages=stages).stages[1].statement
    assert statement is not None
    assert statement.law == "measured"
    told = {one.at_mm: (one.tir_um, one.angle_deg) for one in statement.statements}
    assert told == {10.0: (3.0, 90.0), 40.0: (6.0, 90.0)}


@pytest.mark.parametrize(("repeats", "cause"), [([2.0, 2.02, 1.98], "part"), ([2.0, -2.0, 1.0], "seat")])
def test_seat_and_part_are_told_apart(repeats: list[float], cause: str) -> None:
    """Common practice: what repeats is the part; what scatters is the seat or dirt."""
    first, *others = [_plane(20, one)["readings_um"] for one in repeats]
    plane = {"kind": "equal_steps", "distance_mm": 20, "readings_um": first, "repeats_um": others}
    assert _build(stages=[_stage("extension", plane)]).stages[0].cause == cause


@pytest.mark.parametrize(
    ("stages", "pointer"),
    [
        ([_stage("nut", _plane(10, 1))], "/stages/0/part"),
        ([_stage("pin", _plane(10, 1)), _stage("holder", _plane(10, 1))], "/stages/1/part"),
        ([_stage("pin", _plane(10, 1)), _stage("pin", _plane(10, 1))], "/stages/1/part"),
        ([_stage("pin", _plane(10, 1, repeats_um=[[1, 2, 3]]))], "/stages/0/planes/0/repeats_um/0"),
        ([_stage("holder", _plane(10, 1)), _stage("spindle", _plane(10, 1))], "/stages/1/part"),
    ],
)
def test_stages_that_are_not_those_of_the_stack(stages: list[dict[str, Any]], pointer: str) -> None:
    """Refused with their place."""
    with pytest.raises(BadRequestError) as caught:
        _build(stages=stages)
    assert [fault.pointer for fault in caught.value.faults] == [pointer]


def test_what_is_missing_is_named_and_nothing_is_predicted() -> None:
    """A contributor that is not stated leaves the stages without p95."""
    parts = [dict(part) for part in PIN_STACK["components"]]
    del parts[-1]["runout"]
    report = _build(
        stack={**PIN_STACK, "components": parts}, stages=[_stage("holder", _plane(30, 1), _plane(60, 1))], limit_um=9
    )
    assert report.stages[0].p95_um is None
    assert report.stages[0].action == "compare"
    assert report.not_stated


@pytest.mark.parametrize(
    ("count", "instrument", "told"), [(16, SURE, False), (16, {"positive": "outward"}, True), (8, SURE, True)]
)
def test_readings_of_unknown_uncertainty_are_not_taken_as_exact_in_silence(
    count: int, instrument: dict[str, Any], told: bool
) -> None:
    """Neither an indicator without an uncertainty nor angles that may hide a form."""
    stages = [_stage("holder", _plane(30, 1, count), _plane(60, 1, count))]
    report = _build(stages=stages, instrument=instrument, limit_um=20)
    assert any("takes them as exact" in note for note in report.notes) is told
    assert (report.stages[0].built[0].expanded_uncertainty_um is None) is told


def test_length_grip_and_offsets() -> None:
    """First principles: 1 mm shorter is gripped 1 mm deeper; two edges that swing 10 µm more on one side."""
    request = base_request("press_in")
    report = _build(
        stack=request["stack"],
        stages=[_stage("holder", _plane(30, 1))],
        presetter={"length_mm": 198, "tir_um": 20, "high_point_deg": 120, "tooth_deg": 0},
    )
    done = report.finished
    assert (done.length_mm, done.planned_length_mm) == (198.0, 199.0)
    grip = request["stack"]["joints"][-1]["grip_length_mm"]
    assert done.implied_grip_mm == grip + 1
    # three teeth: one of them is at the high point
    assert done.swing_diameter_mm == pytest.approx(8.0 + 0.02, abs=1e-9)
    assert done.radius_offset_mm == pytest.approx(4.01, abs=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_a_simulated_build_is_found_again(seed: int) -> None:
    """Random true errors of every part, exact readings: own errors, best turn and the finished reading come out."""
    rng = random.Random(seed)
    faces = _faces()
    parts = ["holder", "collet-1", "extension", "pin"]
    lines = {
        part: (
            cmath.rect(rng.uniform(0.5, 3), rng.uniform(0, 6.3)),
            cmath.rect(rng.uniform(0, 0.02), rng.uniform(0, 6.3)),
        )
        for part in parts
    }

    def axis(upto: int, z: float, turn: complex = 1) -> complex:
        found = 0j
        for number, part in enumerate(parts[: upto + 1]):
            offset, slope = lines[part]
            own = offset + slope * (z - faces[part])
            found += own * (turn if number == upto else 1)
        return found

    stages = [
        _stage(part, *(_plane(at, axis(number, faces[part] + at)) for at in (15, 45)))
        for number, part in enumerate(parts)
    ]
    report = _build(stages=stages, limit_um=10, limit_at_mm=24)
    for number, part in enumerate(parts):
        for one in report.stages[number].own:
            z = one.from_gauge_line_mm
            offset, slope = lines[part]
            assert _vector(one) == pytest.approx(offset + slope * (z - faces[part]), abs=5e-3)
    limit_at = faces["pin"] + 24
    turn = report.stages[-1].best_turn
    assert turn is not None
    best = min(abs(axis(3, limit_at, cmath.exp(1j * math.radians(step / 10)))) for step in range(3600))
    assert turn.leaves_tir_um == pytest.approx(2 * best, abs=0.02)
    last = read_gauge(parse(ReadingRequest, {"planes": [stages[-1]["planes"][0]]}), BOOK).planes[0]
    assert report.stages[-1].planes[0].eccentricity_um == last.eccentricity_um


def test_the_example_says_each_step() -> None:
    """Every stage has a text, and the report survives the wire."""
    request = copy.deepcopy(BUILD_EXAMPLES["two-stages"].request)
    report = read_build(parse(BuildRequest, request), BOOK)
    assert [stage.action for stage in report.stages] == ["go_on", "turn"]
    assert BuildReport.model_validate_json(report.model_dump_json()) == report


_MEASURED: Final = {"id": "KB-T-1", "functional_length_mm": 140.96, "mass_kg": 1.12}


def _finished(tool: dict[str, Any], machine: dict[str, Any] | None = None) -> BuildReport:
    stack = base_request("nut_collet")["stack"]
    request = {"stack": stack, "assembled": tool, **({} if machine is None else {"machine": machine})}
    return read_build(parse(BuildRequest, request), BOOK)


def test_an_assembled_tool_stands_beside_the_stack() -> None:
    """First principles: difference is measured less predicted; the prediction is that of a check."""
    stack = base_request("nut_collet")["stack"]
    check = Assessor.load().assess(CheckRequest.model_validate({"stack": stack}))
    report = _finished(_MEASURED | {"cutting_diameter_mm": 9.99})
    found = {one.quantity: one for one in report.finished.reconciled}
    assert found.keys() == {"functional_length", "cutting_diameter", "mass"}
    length, mass = check.geometry.tip_mm, check.mass.total_kg
    assert length is not None
    assert mass is not None
    assert found["functional_length"].difference == pytest.approx(140.96 - length)
    assert found["mass"].difference == pytest.approx(1.12 - mass)
    nominal = stack["components"][-1]["cutting_diameter_mm"]
    assert found["cutting_diameter"].difference == pytest.approx(9.99 - nominal)
    assert report.finished.length_mm == 140.96
    assert report.finished.radius_offset_mm == 4.995
    assert report.stages == []


def test_what_the_stack_does_not_say_is_not_compared() -> None:
    """The measured figure stands alone, with the fields that would supply the other."""
    stack = copy.deepcopy(base_request("nut_collet")["stack"])
    for part in stack["components"]:
        for name in ("mass_kg", "profile"):
            part.pop(name, None)
    report = read_build(parse(BuildRequest, {"stack": stack, "assembled": _MEASURED}), BOOK)
    (mass,) = (one for one in report.finished.reconciled if one.quantity == "mass")
    assert (mass.predicted, mass.difference) == (None, None)
    assert "/stack/components/0/mass_kg" in mass.lacks


@pytest.mark.parametrize(("limit", "within"), [(1.11999, False), (1.12, True), (1.2, True)])
def test_an_assembled_tool_is_held_against_the_machine(limit: float, within: bool) -> None:
    """At the limit it is within; beyond it, a note names both figures."""
    report = _finished(_MEASURED, {"kind": "stated", "max_tool_mass_kg": limit})
    (mass,) = (one for one in report.finished.reconciled if one.quantity == "mass")
    assert (mass.machine_limit, mass.within_machine_limit) == (limit, within)
    assert any("1.12 kg" in note for note in report.notes) is not within


@pytest.mark.parametrize(
    ("side", "agrees"),
    [
        ({"coupling": "designated", "designation": "HSK-A63"}, True),
        ({"coupling": "designated", "designation": "HSK-A 50"}, False),
        ({"coupling": "designated", "designation": "SK 40"}, False),
        ({"coupling": "hollow_taper", "size": "63", "form": "A"}, True),
        ({"coupling": "hollow_taper", "size": "63"}, None),
        ({"coupling": "designated", "designation": "capsule 7"}, None),
        ({"coupling": "declared", "designation": "HSK-A63"}, None),
        (None, None),
    ],
)
def test_another_taper_is_another_tool(side: dict[str, Any] | None, agrees: bool | None) -> None:
    """Two ends agree if coupling, form and size are known and equal; what one lacks decides nothing."""
    stack = copy.deepcopy(base_request("nut_collet")["stack"])
    stack["components"][0]["machine_side"] = {"coupling": "hollow_taper", "size": "63", "form": "A"}
    tool = _MEASURED if side is None else _MEASURED | {"spindle_side": side}
    report = read_build(parse(BuildRequest, {"stack": stack, "assembled": tool}), BOOK)
    assert report.finished.spindle_side_agrees is agrees
    assert any("another coupling" in note for note in report.notes) is (agrees is False)


def test_a_withdrawn_tool_is_noted() -> None:
    """Whatever its figures."""
    assert any("tagged out" in note for note in _finished(_MEASURED | {"status": ["tagged_out"]}).notes)
    assert not any("marked" in note for note in _finished(_MEASURED | {"status": ["used"]}).notes)


def test_an_imported_tool_goes_into_a_build_as_it_is() -> None:
    """The demonstration document, from import to comparison."""
    data = (Path(__file__).parents[3] / "demo_data" / "imports" / "measured-tool.xml").read_bytes()
    tool = read_document(data, "mtconnect_assets").report().assembled[0].assembled
    found = {one.quantity: one.measured for one in _finished(tool).finished.reconciled}
    assert found == {"functional_length": 140.964, "cutting_diameter": 11.988, "largest_diameter": 63, "mass": 1.12}


def test_a_build_without_anything_read_is_refused() -> None:
    """There is nothing to answer."""
    with pytest.raises(BadRequestError) as caught:
        _build()
    assert [(fault.pointer, fault.code) for fault in caught.value.faults] == [("/stages", "missing_field")]


def test_text_and_page_show_the_assembled_tool() -> None:
    """Measured, predicted, difference and limit, and the note; there is no stage."""
    report = read_build(parse(BuildRequest, BUILD_EXAMPLES["assembled-tool"].request), BOOK)
    for face in (build_text(report), build_page(report)):
        assert "Finished stack" in face
        assert "Mass: measured 1.41 kg, stack 1.4061 kg" in face
        assert "machine limit 1.4 kg" in face
        assert "the machine takes 1.4 kg" in " ".join(face.split())
