"""Silence is not consent: no field whose absence opens a gate that its presence had closed."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from typing import Any, Final

import pytest

from rules.gate.gate import gate
from rules.rulebook.loader import base_request, example_request
from rules.schema.gate import GateReport, GateRequest
from rules.schema.parsing import BadRequestError, parse
from tests.support.orders import order_of_check
from tests.support.sizes import is_full_size
from tests.support.stacks import assessor

Steps = tuple[str | int, ...]

STACKS: Final = sorted((Path(__file__).parents[3] / "demo_data/stacks").glob("*.json"))
BASES: Final = ("long_reach", "nut_collet", "press_in", "shell_mill", "shrink", "side_lock", "threaded_head")

EXCEPTIONS: Final[dict[str, dict[str, str]]] = {
    "two statements contradict each other, and one of them is gone": {
        "DAT-030": "overall_length_mm",
        "DAT-040": "bore_mm",
        "DAT-050": "statements",
        "DAT-060": "angle_deg",
        "DAT-070": "mass_kg",
        "DAT-080": "statements max_tilt_um_per_m",
        "DAT-090": "tolerance",
        "GRIP-060": "projection_mm",
        "PLA-010": "overall_length_mm",
        "PLA-020": "overall_length_mm flute_length_mm",
        "PLA-030": "overall_length_mm flute_length_mm",
        "PLA-040": "overall_length_mm",
        "PLA-050": "overall_length_mm flute_length_mm",
        "PLA-060": "bore_mm",
        "PLA-090": "overall_length_mm",
        "PLA-100": "gauge_length_mm",
        "PLA-110": "gauge_length_mm",
        "PLA-120": "mass_kg",
        "SPD-070": "spindle_speed_rpm cutting_speed_m_per_min",
        "THR-030": "designation",
    },
    "what is stated of a part's state is gone; most shops state none": {"STA-010": "status"},
    "the value of the material takes the place of the stated one": {
        "PLA-320": "density_kg_m3",
        "PLA-330": "youngs_modulus_gpa",
    },
    "without a hole the drill cuts more, and that is judged": {"CUT-030": "existing_hole_mm"},
    "a part too many is gone": {"STK-060": "components"},
    "the plane of the policy takes the place of the stated one": {"RUN-050": "gauge_plane"},
    "the length of collet or standard shank takes the place of a stated minimum": {"GRIP-010": "minimum_grip_mm"},
    "the range of the standard collet takes the place of the stated one": {"PLA-370": "clamping_min_mm"},
    "the balance grade bounds the force that the bearings take": {"BAL-030": "bearings"},
    "a limit of tool life that most makers do not state": {"SPD-050": "max_cutting_speed_m_per_min"},
    "the range with an assumed spindle takes the place of the measured frequency": {"STF-030": "tap_test_hz"},
}
"""Why -> rule -> names of the fields whose deletion may open its gate."""

ALLOWED: Final = {
    (code, name) for rules in EXCEPTIONS.values() for code, names in rules.items() for name in names.split()
}


def _decided(order: dict[str, Any]) -> GateReport | None:
    try:
        return gate(parse(GateRequest, copy.deepcopy(order)), assessor())
    except BadRequestError:
        return None


def _places(value: Any, steps: Steps = ()) -> Iterator[Steps]:
    entries: Any = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, inner in entries:
        yield (*steps, step)
        yield from _places(inner, (*steps, step))


def _without(order: dict[str, Any], *places: Steps) -> dict[str, Any]:
    """The order without some places; those that lie in one already gone are gone with it."""
    left = copy.deepcopy(order)
    for place in places:
        inner: Any = left
        try:
            for step in place[:-1]:
                inner = inner[step]
            del inner[place[-1]]
        except (KeyError, IndexError):
            pass
    return left


def _opened(order: dict[str, Any], turn: int = 0, one_in: int = 1, read: str | None = None) -> list[Steps]:
    """The places without which an order may start that may not start with them.

    Only those of a turn, one in so many; of what is read also those outside the components, or of a name in it.
    """
    return [
        place
        for number, place in enumerate(_places(order))
        if number % one_in == turn % one_in
        or (read is not None and ("components" not in place or str(place[-1]) in read))
        if (told := _decided(_without(order, place))) is not None and told.may_start
    ]


@pytest.mark.parametrize("name", BASES)
def test_a_complete_order_is_released(name: str) -> None:
    """The gate can be met: what it asks for can be stated, and then it opens."""
    told = _decided(order_of_check(base_request(name)))
    assert told is not None
    assert told.may_start, [(it.code, it.at) for one in told.operations for it in one.reasons]


@pytest.mark.parametrize("one_in", [4, pytest.param(1, marks=pytest.mark.long)])
@pytest.mark.parametrize("file", STACKS, ids=lambda file: file.stem)
def test_no_deletion_in_a_demo_stack_opens_its_gate(file: Path, one_in: int) -> None:
    """Fields of every demo stack, one at a time: the stacks take turns, so that each kind of field is met."""
    order = order_of_check(json.loads(file.read_text(encoding="utf-8")))
    told = _decided(order)
    assert told is not None
    if told.may_start:
        return
    codes = {it.code for one in told.operations for it in one.reasons}
    opened = [
        place
        for place in _opened(order, STACKS.index(file), one_in)
        if not {(code, str(step)) for code in codes for step in place} & ALLOWED
    ]
    assert opened == []


@pytest.mark.long
def test_no_deletion_in_the_demo_order_opens_its_gate() -> None:
    """But that of its held operation, which is then not released either."""
    order = json.loads((STACKS[0].parents[1] / "orders/kb-wo-2107.json").read_text(encoding="utf-8"))
    told = _decided(order)
    assert told is not None
    held = [("operations", n) for n, one in enumerate(told.operations) if one.decision != "release"]
    assert len(held) == 1
    assert _opened(order) == held


FIRING: Final = [
    (rule, example)
    for rule in assessor().book.rules
    for example in rule.examples.fires
    if rule.severity != "advice" and rule.applies_to != "part" and not example.catalogue
]


def _firing() -> Iterator[Any]:
    """Examples of safety rules with a fifth of their fields, and what the rule reads; in the full size all of all."""
    for turn, (rule, example) in enumerate(FIRING):
        told = f"{rule.code} {example.name}"
        if rule.safety:
            yield pytest.param(rule.code, example, turn, 5, id=told)
        if is_full_size():
            yield pytest.param(rule.code, example, 0, 1, id=f"{told}, all", marks=pytest.mark.long)


def _closed(code: str, example: Any) -> dict[str, Any]:
    order = order_of_check(example_request(example, assessor().book.bases))
    told = _decided(order)
    assert told is not None
    assert not told.may_start, code
    return order


@pytest.mark.parametrize(("code", "example", "turn", "one_in"), list(_firing()))
def test_no_deletion_in_the_example_of_a_rule_opens_its_gate(code: str, example: Any, turn: int, one_in: int) -> None:
    """A complete order that one rule holds or stops, and its fields; exceptions have a reason."""
    allowed = {name for rule, name in ALLOWED if rule == code}
    rule = assessor().book.rule(code)
    opened = _opened(_closed(code, example), turn, one_in, " ".join(rule.needs))
    assert [place for place in opened if not allowed.intersection(map(str, place))] == []


@pytest.mark.long
def test_every_exception_is_one() -> None:
    """An entry that no deletion needs is gone from the list."""
    needed = set()
    for code in {one for one, _ in ALLOWED}:
        for example in assessor().book.rule(code).examples.fires:
            for place in _opened(_closed(code, example)):
                needed |= {(code, str(step)) for step in place} & ALLOWED
    assert needed == ALLOWED


@pytest.mark.long
@pytest.mark.parametrize(("code", "base"), [("MCH-030", "press_in"), ("GRIP-070", "nut_collet"), ("SPD-010", "shrink")])
def test_no_pair_of_deletions_opens_a_gate(code: str, base: str) -> None:
    """Two fields at a time, on three stacks that one safety rule closes."""
    order = order_of_check(base_request(base))
    if code == "MCH-030":
        order["machine"]["max_tool_diameter_mm"] = 30
    elif code == "GRIP-070":
        order["operations"][0].pop("cut", None)
        order["operations"][0]["load"] = {"torque_n_m": 5000, "axial_pull_n": 20}
    else:
        order["operations"][0]["spindle_speed_rpm"] = 59000
    told = _decided(order)
    assert told is not None
    assert code in {it.code for one in told.operations for it in one.reasons}
    leaves = [place for place in _places(order) if not isinstance(place[-1], int)]
    opened = [
        pair
        for pair in combinations(leaves, 2)
        if (told := _decided(_without(order, *pair))) is not None and told.may_start
    ]
    assert opened == []
