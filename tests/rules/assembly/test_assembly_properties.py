"""Properties of every work instruction, also for unrealistic stacks."""

from __future__ import annotations

import json
import math
import random
from collections import Counter
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from rules.rulebook.loader import base_names, base_request
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.report import STATES, AssemblyReport
from tests.support.assemblies import assembly_of
from tests.support.extreme_requests import extreme_request
from tests.support.random_stacks import random_stack
from tests.support.stacks import figures_in, named, report_of

DEMO_STACKS = sorted((Path(__file__).resolve().parents[3] / "demo_data" / "stacks").glob("*.json"))


def _parts(request: dict[str, Any]) -> list[str]:
    """Return the ids along the axis, the knobs left out."""
    return [part["id"] for part in request["stack"]["components"] if part["kind"] != "retention_knob"]


def _joints(request: dict[str, Any]) -> list[str]:
    ids = _parts(request)
    return [f"{upper}/{lower}" for upper, lower in pairwise(ids)]


def _holds(request: dict[str, Any]) -> AssemblyReport:
    """Check everything that holds of every instruction."""
    report = assembly_of(request)
    steps, ids = report.steps, {part["id"] for part in request["stack"]["components"]}
    for listed in (steps, report.disassembly):
        assert [step.number for step in listed] == list(range(1, len(listed) + 1))
        assert all(step.text.strip() and "{" not in step.text and "  " not in step.text for step in listed)
        assert all(set(step.components) <= ids for step in listed), "a component that is not in the stack"
        assert all(step.at for step in listed)
    assert all(math.isfinite(figure) for figure in figures_in(report.model_dump()))

    told = [(one.kind, one.code, one.operation, one.text) for one in report.reasons]
    assert len(told) == len(set(told)), "a reason once"
    assert report.record.state == report.state
    if report.state == "do_not_build":
        assert {step.action for step in steps} == {"stop"}, "nothing else is to be done"
        assert report.reasons
        assert report.acceptance is None
        assert not report.disassembly
        return report
    made = [named(step.joint) for step in steps if step.joint and step.action == "join"]
    assert sorted(made) == sorted(_joints(request)), "every joint once"
    assert "stop" not in {step.action for step in steps}

    cleaned = [part for step in steps if step.action == "clean" for part in step.components]
    assert set(cleaned) >= set(_parts(request))
    last_cleaning = max((step.number for step in steps if step.action == "clean"), default=0)
    first_joining = min((step.number for step in steps if step.action in ("join", "set", "heat")), default=1_000)
    assert last_cleaning < first_joining, "clean before joining"

    opened = [step.joint for step in report.disassembly if step.action == "open" and step.joint]
    joined = [step.joint for step in steps if step.action == "join"]
    assert not Counter(opened) - Counter(joined), "only what was joined is opened, and once"
    assert Counter(opened) == Counter(joined)
    seated = [step.action for step in steps].index("seat")
    closing = [step.action for step in steps[seated:] if step.action != "set"]
    assert closing in (["seat", "measure", "record"], ["seat", "measure", "measure", "record"])
    return report


@pytest.mark.parametrize("name", base_names())
def test_base_stacks_can_be_built(name: str) -> None:
    """First principles: every rule is silent on them, so nothing is stopped."""
    assert _holds(base_request(name)).state == "build"


@pytest.mark.parametrize("file", DEMO_STACKS, ids=lambda file: file.stem)
def test_demo_stacks(file: Path) -> None:
    """What holds of every instruction holds of the shop's stacks; only what passes is released, advice or not."""
    request = json.loads(file.read_text(encoding="utf-8"))
    assert (_holds(request).state == "build") == (report_of(request).verdict == "pass")


def _random_stacks(seeds: range) -> dict[str, int]:
    counts = dict.fromkeys(STATES, 0)
    for seed in seeds:
        request = random_stack(random.Random(seed))
        try:
            parse_request(json.loads(json.dumps(request)))
        except BadRequestError:
            continue
        counts[_holds(request).state] += 1
    return counts


def test_random_stacks() -> None:
    """Parts exchanged, values moved, fields lost: the instruction holds together; the states are met often."""
    counts = _random_stacks(range(300))
    assert all(counts[state] >= 50 for state in ("build_do_not_release", "do_not_build")), counts


@pytest.mark.long
def test_five_thousand_random_stacks() -> None:
    """The full-size form."""
    _random_stacks(range(1_000, 6_000))


def test_extreme_requests() -> None:
    """Numbers at the ends of their range never raise and never give a figure that is not finite."""
    for seed in range(150):
        _holds(extreme_request(random.Random(seed)))


@pytest.mark.parametrize("name", base_names())
def test_same_stack_same_bytes(name: str) -> None:
    """No clock and no chance: the same request gives the same bytes."""
    first, second = (assembly_of(base_request(name)).model_dump_json() for _ in range(2))
    assert first == second


@pytest.mark.parametrize("name", base_names())
def test_every_field_may_be_missing(name: str) -> None:
    """A base with one optional field taken out of a part still gets an instruction."""
    for index, part in enumerate(base_request(name)["stack"]["components"]):
        for field in part:
            if field in ("id", "kind"):
                continue
            request = base_request(name)
            del request["stack"]["components"][index][field]
            _holds(request)
