"""A threaded milling head: mating, random clocking and work instruction."""

from __future__ import annotations

from typing import Any

import pytest

from rules.rulebook.loader import base_request
from rules.runout.contributors import positions_of
from rules.schema.parsing import parse_request
from tests.support.assemblies import assembly_of, not_stated, words_of
from tests.support.stacks import assessor, derived_of, named

EXTENSION, HEAD = "/stack/components/1/workpiece_side", "/stack/components/2/machine_side"


def _with(upper: dict[str, Any], lower: dict[str, Any]) -> dict[str, Any]:
    request = base_request("threaded_head")
    request["stack"]["components"][1]["workpiece_side"].update(upper)
    request["stack"]["components"][2]["machine_side"].update(lower)
    return request


@pytest.mark.parametrize(
    ("upper", "lower", "codes"),
    [
        ({}, {}, set()),
        ({"thread": "M12"}, {}, {"THR-010"}),
        ({}, {"pilot_diameter_mm": 10.5}, {"THR-020"}),
        ({"thread": "M10", "pilot_diameter_mm": 10.5}, {}, {"THR-010", "THR-020"}),
        ({"thread": "M10", "pilot_diameter_mm": 10.5}, {"thread": "M10", "pilot_diameter_mm": 10.5}, set()),
    ],
)
def test_only_equal_threads_and_pilots_join(upper: dict[str, Any], lower: dict[str, Any], codes: set[str]) -> None:
    """First principles: an M10 does not screw into an M8, and a pilot does not enter a smaller bore."""
    report = assessor().assess(parse_request(_with(upper, lower)))
    found = {one.code: one for one in report.findings if one.code.startswith("THR")}
    assert set(found) == codes
    assert all(one.severity == "error" and set(one.at) == {EXTENSION, HEAD} for one in found.values())
    assert (report.verdict == "fail") is bool(codes)


@pytest.mark.parametrize(("field", "code"), [("thread", "THR-010"), ("pilot_diameter_mm", "THR-020")])
def test_what_is_not_stated_is_asked_for_at_its_end(field: str, code: str) -> None:
    """Silence never passes: the rule is undecided and names the field."""
    request = base_request("threaded_head")
    del request["stack"]["components"][1]["workpiece_side"][field]
    (one,) = (one for one in assessor().assess(parse_request(request)).undecided if one.code == code)
    assert [lack.at for lack in one.lacks] == [[f"{EXTENSION}/{field}"]]


def test_a_head_does_not_screw_into_an_interface_of_another_kind() -> None:
    """A thread that the shop declares in its own words is no threaded head: JNT-010 says so."""
    request = base_request("threaded_head")
    request["stack"]["components"][1]["workpiece_side"] = {"coupling": "declared", "designation": "own"}
    assert "JNT-010" in {one.code for one in assessor().assess(parse_request(request)).findings}


def test_the_head_cannot_be_turned() -> None:
    """Common practice: it stops where the thread ends, so no angle may be chosen to improve the runout."""
    assert positions_of(derived_of(base_request("threaded_head")).chain)[-1] == 1


def test_the_pilot_is_the_seat() -> None:
    """The head lies on the face and tilts about it; its pilot reaches 5.5 mm behind."""
    geometry = derived_of(base_request("threaded_head")).geometry
    assert geometry.places[2].start == geometry.places[1].face
    assert geometry.places[2].seat_length == 5.5
    assert geometry.places[2].pivot == geometry.places[1].face


@pytest.mark.parametrize(("torque", "said"), [(45, "to 45 N m with"), (None, "to the maker's torque")])
def test_the_torque_is_the_shops(torque: float | None, said: str) -> None:
    """Where the shop states none, none is invented, and the field is named."""
    report = assembly_of(_with({}, {"tightening_torque_n_m": torque}))
    assert said in words_of(report, "extension/head", "clamp")
    (step,) = (one for one in report.steps if named(one.joint) == "extension/head" and one.action == "clamp")
    assert (f"{HEAD}/tightening_torque_n_m" in not_stated(step)) is (torque is None)


def test_two_series_with_one_thread_are_doubted() -> None:
    """The seats may differ; a series that one part alone states is compared with nothing."""
    (one,) = assessor().assess(parse_request(_with({"designation": "a"}, {"designation": "b"}))).findings
    assert (one.code, one.severity) == ("THR-030", "warning")
    assert set(one.at) == {EXTENSION, HEAD}
    assert not assessor().assess(parse_request(_with({"designation": "a"}, {}))).findings
