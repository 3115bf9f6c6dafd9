"""The readings of the demo lead to the intended next steps."""

from __future__ import annotations

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


def test_the_build_of_the_demo() -> None:
    """The simulated errors of holder, extension and end mill come out; the joint is turned once, the stack conforms."""
    stack = parse_json((DEMO_DATA / "stacks" / "01-deep-rib-shrink-extension.json").read_bytes())
    build = parse_json((DEMO_DATA / "builds" / "01-deep-rib-stage-by-stage.json").read_bytes())
    assert isinstance(stack, dict)
    assert isinstance(build, dict)
    assert build["stack"] == stack["stack"]
    report = read_build(parse(BuildRequest, build), BOOK)
    assert [stage.action for stage in report.stages] == ["go_on", "turn", "go_on"]
    own = [(stage.own[0].eccentricity_um, stage.own[0].direction_deg) for stage in report.stages]
    for found, truth in zip(own, [(0.96, 30), (1.72, 80), (0.7, 200)], strict=True):
        assert found == pytest.approx(truth, rel=0.03)
    assert report.finished.decision is not None
    assert report.finished.decision.decision == "conforms"
