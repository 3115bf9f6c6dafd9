"""The readings of the demo lead to the intended next steps."""

from __future__ import annotations

import cmath
import math
from pathlib import Path

import pytest

from rules.assessor import Assessor
from rules.reading.build import read_build
from rules.reading.reading import read_gauge
from rules.schema.build import BuildRequest
from rules.schema.parsing import parse
from rules.schema.reading import ReadingReport, ReadingRequest
from rules.schema.strict_json import parse_json
from tests.support.stacks import named

DEMO_DATA = Path(__file__).resolve().parents[2] / "demo_data"
READINGS = DEMO_DATA / "readings"
BOOK = Assessor.load().book

EXPECTED = {
    "01-gauge-pin-within-limit": ("accept", "conforms", None, False),
    "02-chip-in-a-seat": ("clean_and_reseat", "does_not_conform", None, True),
    "03-extension-turned-for-a-trial": ("turn_joint", "does_not_conform", "holder/extension", False),
}


def _report(name: str) -> ReadingReport:
    return read_gauge(parse(ReadingRequest, parse_json((READINGS / f"{name}.json").read_bytes())), BOOK)


def test_every_reading_is_expected() -> None:
    """No reading without an expectation, and none expected that is not there."""
    assert {file.stem for file in READINGS.glob("*.json")} == set(EXPECTED)


@pytest.mark.parametrize("name", EXPECTED)
def test_step_and_decision(name: str) -> None:
    """Step, decision, joint and place in the prediction are those the reading was made for."""
    report = _report(name)
    assert report.decision is not None
    outside = any(one is not None and one.above_p99 for one in report.prediction)
    step = report.next_step
    assert (step.action, report.decision.decision, named(step.joint), outside) == EXPECTED[name]


@pytest.mark.parametrize("name", EXPECTED)
def test_the_stack_read_is_the_pin_stack(name: str) -> None:
    """The readings carry the stack of stacks/02 as it is."""
    pin = parse_json((DEMO_DATA / "stacks" / "02-deep-rib-gauge-pin.json").read_bytes())
    reading = parse_json((READINGS / f"{name}.json").read_bytes())
    assert isinstance(pin, dict)
    assert isinstance(reading, dict)
    assert reading["stack"] == pin["stack"]


def test_the_trial_turn_would_keep_the_limit() -> None:
    """The turn that is told leaves less than the limit, and its uncertainty beside."""
    report = _report("03-extension-turned-for-a-trial")
    assert report.trial is not None
    assert report.decision is not None
    assert report.decision.expanded_uncertainty_um is not None
    assert report.trial.leaves_tir_um + report.decision.expanded_uncertainty_um < report.decision.limit_um


def _truth(part: str, z: float) -> complex:
    """Return the simulated error of a part and its seat at a distance from the gauge line, µm."""
    spindle = cmath.rect(0.2 + z / 500, math.radians(310))
    lines = {
        "spindle": spindle,
        # the holder was simulated as the axis in the spindle
        "holder": cmath.rect(0.8 + 0.004 * z, math.radians(30)) - spindle,
        "extension": cmath.rect(1.72 + 0.0062 * (z - 140), math.radians(80)),
        "end-mill": cmath.rect(0.7, math.radians(200)),
    }
    return lines[part]


def test_the_build_of_the_demo() -> None:
    """The simulated errors of four stages come out within their uncertainty, and the finished stack below its p95."""
    stack = parse_json((DEMO_DATA / "stacks" / "01-deep-rib-shrink-extension.json").read_bytes())
    build = parse_json((DEMO_DATA / "builds" / "01-deep-rib-stage-by-stage.json").read_bytes())
    assert isinstance(stack, dict)
    assert isinstance(build, dict)
    assert build["stack"] == stack["stack"]
    report = read_build(parse(BuildRequest, build), BOOK)
    assert [stage.action for stage in report.stages] == ["go_on", "go_on", "turn", "go_on"]
    for stage in report.stages:
        for one in stage.own:
            found = cmath.rect(one.eccentricity_um, math.radians(one.direction_deg or 0.0))
            assert one.expanded_uncertainty_um is not None
            assert abs(found - _truth(stage.part, one.from_gauge_line_mm)) < one.expanded_uncertainty_um
    (end,) = report.stages[-1].own
    finished = 2 * abs(sum(_truth(stage.part, end.from_gauge_line_mm) for stage in report.stages))
    assert report.stages[-1].planes[0].judged_tir_um == pytest.approx(finished, rel=0.02)
    predicted = [stage.p95_um for stage in report.stages]
    assert all(one is not None and one > finished for one in predicted)
    assert report.finished.decision is not None
    assert report.finished.decision.decision == "conforms"
