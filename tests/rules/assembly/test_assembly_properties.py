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
from rules.schema.report import AssemblyReport
from tests.support.assemblies import assembly_of
from tests.support.extreme_requests import extreme_request
from tests.support.random_stacks import random_stack
from tests.support.stacks import figures_in, named

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

    made = [named(step.joint) for step in steps if step.joint and step.action in ("join", "stop")]
    assert made == _joints(request), "every joint once, from the base outward"
    halted = {step.joint for step in steps if step.action == "stop"}
    assert report.buildable == (not halted)
    touched = [step.joint for step in (*steps, *report.disassembly) if step.action not in ("clean", "stop")]
    assert not halted.difference({None}).intersection(touched), "a stopped joint is nowhere made or opened"

    cleaned = [part for step in steps if step.action == "clean" for part in step.components]
    assert set(cleaned) >= set(_parts(request))
    last_cleaning = max((step.number for step in steps if step.action == "clean"), default=0)
    first_joining = min((step.number for step in steps if step.action in ("join", "set", "heat")), default=1_000)
    assert last_cleaning < first_joining, "clean before joining"

    opened = [step.joint for step in report.disassembly if step.action == "open" and step.joint]
    joined = [step.joint for step in steps if step.action == "join"]
    assert not Counter(opened) - Counter(joined), "only what was joined is opened, and once"
    if report.buildable:
        assert Counter(opened) == Counter(joined)
        assert [step.action for step in steps[-3:]] == ["seat", "measure", "record"]
    return report


@pytest.mark.parametrize("name", base_names())
def test_base_stacks_can_be_built(name: str) -> None:
    """First principles: every rule is silent on them, so nothing is stopped."""
    assert _holds(base_request(name)).buildable


@pytest.mark.parametrize("file", DEMO_STACKS, ids=lambda file: file.stem)
def test_demo_stacks(file: Path) -> None:
    """What holds of every instruction holds of the shop's stacks."""
    _holds(json.loads(file.read_text(encoding="utf-8")))


def _random_stacks(seeds: range) -> dict[str, int]:
    counts = {"buildable": 0, "stopped": 0}
    for seed in seeds:
        request = random_stack(random.Random(seed))
        try:
            parse_request(json.loads(json.dumps(request)))
        except BadRequestError:
            continue
        counts["buildable" if _holds(request).buildable else "stopped"] += 1
    return counts


def test_random_stacks() -> None:
    """Parts exchanged, values moved, fields lost: the instruction holds together; both kinds are met often."""
    counts = _random_stacks(range(300))
    assert all(count >= 50 for count in counts.values()), counts


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
