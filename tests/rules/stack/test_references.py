"""A stack of references is judged like the stack with its components written out."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from rules.assessor import Assessor
from rules.budget import full_budget
from rules.comparison import compare
from rules.exchange.documents import Catalogue
from rules.reading.reading import read_gauge
from rules.rulebook.loader import base_names, base_request
from rules.schema.budget import BudgetRequest
from rules.schema.comparison import ComparisonRequest
from rules.schema.components import (
    BaseHolder,
    Collet,
    Cutter,
    Extension,
    GaugePin,
    Overlay,
    Reducer,
    RetentionKnob,
)
from rules.schema.parsing import BadRequestError, parse, parse_request
from rules.schema.reading import ReadingRequest
from rules.schema.report import Report
from rules.schema.request import CheckRequest
from rules.stack.chain import NOTHING_MOUNTED, Mounted, resolve
from tests.support.stacks import named

ASSESSOR = Assessor.load()


def _by_reference(request: dict[str, Any], places: set[int]) -> dict[str, Any]:
    """Move components out of the stack into the definitions."""
    components = request["stack"]["components"]
    request["components"] = {f"K{n}": components[n] for n in sorted(places)}
    for n in places:
        components[n] = {"kind": "reference", "of": {"from": "request", "key": f"K{n}"}}
    return request


def _without_provenance(report: Report) -> dict[str, Any]:
    return report.model_dump(exclude={"provenance", "understood", "undecided", "findings", "grip"})


@pytest.mark.parametrize("base", base_names())
@given(data=st.data())
@settings(max_examples=5, deadline=None, derandomize=True)
def test_a_reference_stands_for_its_definition(base: str, data: st.DataObject) -> None:
    """Whichever components are referred to, nothing changes but the pointers."""
    count = len(base_request(base)["stack"]["components"])
    places = data.draw(st.sets(st.integers(0, count - 1), min_size=1))
    plain = ASSESSOR.assess(parse_request(base_request(base)))
    referred = ASSESSOR.assess(parse_request(_by_reference(base_request(base), places)))
    assert _without_provenance(referred) == _without_provenance(plain)
    assert [one.code for one in referred.findings] == [one.code for one in plain.findings]


def test_pointers_lead_to_the_definition() -> None:
    """What is missing of a referenced component is asked for where it is defined; the reference keeps its own place."""
    request = _by_reference(base_request("press_in"), {0})
    del request["components"]["K0"]["mass_kg"]
    fields = {
        field for gap in ASSESSOR.assess(parse_request(request)).undecided for lack in gap.lacks for field in lack.at
    }
    assert fields == {"/components/K0/mass_kg"}


def test_a_mounted_definition_keeps_the_place_in_the_stack() -> None:
    """What the operator mounts is no part of the request: the field can be stated with the reference."""
    request = base_request("press_in")
    holder = parse_request(request).stack.components[0].model_copy(update={"mass_kg": None})
    request["stack"]["components"][0] = {"kind": "reference", "of": {"from": "catalogue", "key": "K0"}}
    catalogue = Catalogue(Mounted({"K0": [holder]}, {}), "d" * 64)
    report = Assessor(ASSESSOR.book, catalogue).assess(parse_request(request))
    fields = {field for gap in report.undecided for lack in gap.lacks for field in lack.at}
    assert fields == {"/stack/components/0/with/mass_kg"}
    assert report.provenance.catalogue_sha256 == "d" * 64


def test_a_name_of_its_own() -> None:
    """One definition may stand in a stack twice under two names; joints go by the names."""
    request = _by_reference(base_request("press_in"), {1})
    request["stack"]["components"][1]["id"] = "other"
    request["stack"]["joints"][0]["upper"] = "other"
    report = ASSESSOR.assess(parse_request(request))
    assert report.verdict == "pass"
    assert named(report.grip[0].joint) == "other/extension"


def test_chains_of_references_are_followed() -> None:
    """A definition may name another one, and the last is the component."""
    request = _by_reference(base_request("press_in"), {1})
    request["components"] |= {
        "A": {"kind": "reference", "of": {"from": "request", "key": "B"}},
        "B": {"kind": "reference", "of": {"from": "request", "key": "K1"}},
    }
    request["stack"]["components"][1]["of"]["key"] = "A"
    assert ASSESSOR.assess(parse_request(request)).verdict == "pass"


@pytest.mark.parametrize(
    ("definitions", "code"),
    [
        ({}, "REF-010"),
        ({"A": {"kind": "reference", "of": {"from": "request", "key": "gone"}}}, "REF-010"),
        ({"A": {"kind": "reference", "of": {"from": "request", "key": "A"}}}, "REF-020"),
        (
            {
                "A": {"kind": "reference", "of": {"from": "request", "key": "B"}},
                "B": {"kind": "reference", "of": {"from": "request", "key": "A"}},
            },
            "REF-020",
        ),
    ],
)
def test_a_broken_reference_is_the_only_finding(definitions: dict[str, Any], code: str) -> None:
    """Without the component there is no stack: nothing else is judged, and the verdict fails."""
    request = base_request("press_in")
    request["stack"]["components"][1] = {"kind": "reference", "of": {"from": "request", "key": "A"}}
    request["components"] = definitions
    report = ASSESSOR.assess(parse_request(request))
    assert (report.verdict, [one.code for one in report.findings]) == ("fail", [code])
    assert report.findings[0].at == ["/stack/components/1"]
    assert report.undecided == []
    assert report.mass.total_kg is None
    assert report.runout.planes == []


def test_other_answers_say_what_is_not_defined() -> None:
    """A budget or a reading without its stack is answered as far as that goes, and names the key."""
    request = base_request("press_in")
    request["stack"]["components"][1] = {"kind": "reference", "of": {"from": "request", "key": "A"}}
    budget = full_budget(parse(BudgetRequest, request), ASSESSOR.book)
    assert (budget.complete, budget.planes, budget.contributors) == (False, [], [])
    assert [one.at for one in budget.not_stated] == [["/stack/components/1/of"]]
    plane = {"kind": "equal_steps", "distance_mm": 24, "readings_um": [1, 2, 3]}
    reading = read_gauge(parse(ReadingRequest, {"planes": [plane], "stack": request["stack"]}), ASSESSOR.book)
    assert reading.prediction == [None]
    assert [one.at for one in reading.not_stated] == [["/stack/components/1/of"]]


def test_a_comparison_resolves_references() -> None:
    """Alternatives may share definitions."""
    request = _by_reference(base_request("press_in"), {0, 2})
    alternatives = [{"name": name, "stack": request["stack"]} for name in ("a", "b")]
    asked = {key: request[key] for key in ("components", "operations", "machine")} | {"alternatives": alternatives}
    report = compare(parse(ComparisonRequest, asked), ASSESSOR)
    assert [one.verdict for one in report.alternatives] == ["pass", "pass"]


def test_a_stack_without_references_is_passed_on_as_it_is() -> None:
    """The common case costs nothing."""
    written = base_request("press_in")
    # the thread of the knob is a designation
    written["stack"]["components"] = [one for one in written["stack"]["components"] if "thread" not in one]
    request = parse_request(written)
    assert resolve(request, NOTHING_MOUNTED).request is request


def test_stated_fields_are_laid_over_the_definition() -> None:
    """What is stated with the reference wins, also over what a definition on the way states; pointers follow."""
    request = _by_reference(base_request("press_in"), {0})
    plain = ASSESSOR.assess(parse_request(base_request("press_in")))
    reference = request["stack"]["components"][0]
    request["components"]["A"] = {
        "kind": "reference",
        "of": {"from": "request", "key": "K0"},
        "with": {"mass_kg": 2, "max_speed_rpm": 100},
    }
    reference |= {"of": {"from": "request", "key": "A"}, "with": {"mass_kg": 3.2}}
    report = ASSESSOR.assess(parse_request(request))
    assert report.mass.total_kg == pytest.approx(plain.mass.total_kg + 2, abs=1e-3)
    (found,) = [one for one in report.findings if one.code == "SPD-010"]
    assert found.at == ["/stack/components/0"]
    reference["with"] = {"mass_kg": None}
    lacking = {
        field for gap in ASSESSOR.assess(parse_request(request)).undecided for it in gap.lacks for field in it.at
    }
    assert "/stack/components/0/with/mass_kg" in lacking


def test_a_field_that_the_kind_does_not_have_is_refused_where_it_stands() -> None:
    """A collet has no teeth."""
    request = _by_reference(base_request("press_in"), {1})
    request["stack"]["components"][1]["with"] = {"teeth": 4}
    with pytest.raises(BadRequestError) as caught:
        ASSESSOR.assess(parse_request(request))
    (fault,) = caught.value.faults
    assert fault.pointer == "/stack/components/1/with/teeth"


@pytest.mark.parametrize(("machines", "code"), [(0, "REF-010"), (2, "REF-030"), (1, None)])
def test_a_machine_of_the_catalogue(machines: int, code: str | None) -> None:
    """A key that is not there, or twice, is an error; nothing else is judged then."""
    request = base_request("press_in")
    machine = parse(CheckRequest, request).machine
    request["machine"] = {"kind": "reference", "of": {"from": "catalogue", "key": "mill 3/B"}}
    mounted = Mounted({}, {"mill 3/B": [machine] * machines} if machines else {})
    report = Assessor(ASSESSOR.book, Catalogue(mounted, "d" * 64)).assess(parse_request(request))
    assert [one.code for one in report.findings] == ([] if code is None else [code])
    assert report.verdict == ("pass" if code is None else "fail")
    if code is not None:
        assert report.findings[0].at == ["/machine"]


def test_every_field_of_a_component_can_be_laid_over() -> None:
    """The overlay has the fields of all kinds but kind and id, with their own types."""
    kinds = (BaseHolder, Extension, Reducer, Collet, Cutter, GaugePin, RetentionKnob)
    fields = {name: field for kind in kinds for name, field in kind.model_fields.items() if name not in ("kind", "id")}
    assert Overlay.model_fields.keys() == fields.keys()
    for name in fields:
        told = {kind.model_fields[name].description for kind in kinds if name in kind.model_fields}
        # a thread is one thing of a knob and another of a tap
        assert told == {Overlay.model_fields[name].description} or len(told) > 1
    assert _checked(Overlay) == {name: limits for kind in kinds for name, limits in _checked(kind).items()}


def _checked(model: type[BaseModel]) -> dict[str, Any]:
    """Return the schema of each field without its words and examples."""
    schema = model.model_json_schema()["properties"]
    return {
        name: {k: v for k, v in one.items() if k not in ("title", "description", "examples")}
        for name, one in schema.items()
        if name not in ("kind", "id")
    }
