"""Faults of a request have their place in the input and the expected value."""

from __future__ import annotations

import json
from difflib import get_close_matches
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.schema import parsing
from rules.schema.parsing import BadRequestError, Fault, parse_request, pointer

CUTTER: dict[str, Any] = {"kind": "cutter", "id": "end-mill"}
TAPER: dict[str, Any] = {"coupling": "steep_taper"}


def _faults(data: object) -> tuple[Fault, ...]:
    with pytest.raises(BadRequestError) as caught:
        parse_request(data)
    return caught.value.faults


def _with(**fields: Any) -> dict[str, Any]:
    return {"stack": {"components": [{**CUTTER, **fields}]}}


FIRST = "/stack/components/0"


@pytest.mark.parametrize(
    ("data", "where", "words"),
    [
        pytest.param([], "", "an object is expected", id="top-level list"),
        pytest.param(None, "", "an object is expected", id="null"),
        pytest.param({}, "", "the field 'stack' is missing", id="empty object"),
        pytest.param({"stack": 3}, "/stack", "an object is expected", id="number for an object"),
        pytest.param({"stack": {"components": []}}, "/stack/components", "at least 1", id="no component"),
        pytest.param(
            {"stack": {"components": [CUTTER] * 21}},
            "/stack/components",
            "at most 20",
            id="too many components",
        ),
        pytest.param({"stack": {"components": [7]}}, FIRST, "an object is expected", id="number for a component"),
        pytest.param({"stack": {"components": [{"id": "x"}]}}, FIRST, "'kind' is missing", id="no kind"),
        pytest.param(_with(kind="saw"), FIRST + "/kind", "must be one of 'base_holder'", id="unknown kind"),
        pytest.param(_with(kind=[1]), FIRST + "/kind", "must be one of", id="kind of the wrong type"),
        pytest.param(_with(mas_kg=1), FIRST + "/mas_kg", "did you mean 'mass_kg'?", id="misspelt field"),
        pytest.param(_with(cutter=1), FIRST + "/cutter", "unknown field", id="field named like the kind"),
        pytest.param(_with(**{"a/b~c": 1}), FIRST + "/a~1b~0c", "known here: id,", id="escaped name"),
        pytest.param(_with(**{"x" * 900: 1}), FIRST, "900 characters", id="name too long to repeat"),
        pytest.param(_with(mass_kg=True), FIRST + "/mass_kg", "a number is expected", id="true for a number"),
        pytest.param(_with(mass_kg="1"), FIRST + "/mass_kg", "a number is expected", id="text for a number"),
        pytest.param(_with(mass_kg=0), FIRST + "/mass_kg", "1e-06 or more", id="zero mass"),
        pytest.param(_with(mass_kg=1001), FIRST + "/mass_kg", "1000 or less", id="mass too large"),
        pytest.param(_with(teeth=2.5), FIRST + "/teeth", "a whole number", id="half a tooth"),
        pytest.param(_with(coolant_through=1), FIRST + "/coolant_through", "true or false", id="1 for true"),
        pytest.param(_with(id="é"), FIRST + "/id", "matches ^", id="letter that is not allowed"),
        pytest.param(_with(description="x" * 201), FIRST + "/description", "at most 200", id="long text"),
        pytest.param(_with(overall_length_mm="3 ft"), FIRST + "/overall_length_mm", "'1 1/2 in'", id="feet"),
        pytest.param(_with(profile={}), FIRST + "/profile", "a list is expected", id="object for a list"),
        pytest.param(
            _with(profile=[{"length_mm": 1}]),
            FIRST + "/profile/0",
            "'outer_mm' is missing",
            id="missing inside",
        ),
        pytest.param(
            _with(machine_side={**TAPER, "size": "41"}),
            FIRST + "/machine_side/size",
            "must be one of '30'",
            id="union in a union",
        ),
        pytest.param(
            _with(machine_side={**TAPER, "steep_taper": 1}),
            FIRST + "/machine_side/steep_taper",
            "unknown field",
            id="field named like the coupling",
        ),
        pytest.param(
            _with(machine_side={"coupling": "cylindrical", "deviation": {"lower_um": 0}}),
            FIRST + "/machine_side/deviation",
            "'upper_um' is missing",
            id="below a union in a union",
        ),
        pytest.param(
            _with(machine_side={"coupling": "shrink_fit"}),
            FIRST + "/machine_side/coupling",
            "must be one of",
            id="coupling of the other side",
        ),
        pytest.param(
            {**_with(), "policy": {"thresholds": [{"code": "grip", "threshold": "x", "value": 1}]}},
            "/policy/thresholds/0/code",
            "text that matches",
            id="text that is no rule code",
        ),
        pytest.param(
            {**_with(), "policy": {"thresholds": [{"code": "GRIP-010", "threshold": "x", "value": "1"}]}},
            "/policy/thresholds/0/value",
            "a number is expected",
            id="text for a number",
        ),
    ],
)
def test_a_fault_is_located_and_explained(data: object, where: str, words: str) -> None:
    """Its pointer leads through the input, not through the models, and the words tell what to do."""
    (fault,) = _faults(data)
    assert fault.pointer == where
    assert words in fault.detail


def test_all_faults_are_told_at_once() -> None:
    """Two faults in different components are both reported."""
    data = {"stack": {"components": [{**CUTTER, "teeth": 0}, {"kind": "collet", "id": "c", "mass_kg": -1}]}}
    assert [fault.pointer for fault in _faults(data)] == [FIRST + "/teeth", "/stack/components/1/mass_kg"]


@pytest.mark.parametrize("field", ["id", "description", "mass_kg", "overall_length_mm", "teeth", "kind", "runout"])
def test_long_input_is_not_repeated(field: str) -> None:
    """However long a wrong value, the fault stays short."""
    for fault in _faults(_with(**{field: "\x00" * 5000})):
        assert len(fault.detail) < 400
        assert "\x00" not in fault.detail


def test_a_good_request_passes_with_lengths_in_millimetres() -> None:
    """Text with a unit becomes millimetres."""
    request = parse_request(_with(overall_length_mm="1 1/2 in"))
    assert request.stack.components[0].model_dump()["overall_length_mm"] == 38.1


scalars = st.none() | st.booleans() | st.integers(-5, 5) | st.floats(-1, 1) | st.sampled_from(["", "40", "a b"])
NAMES = """
kind id coupling size cutter steep_taper stack components machine_side profile length_mm outer_mm policy
thresholds machine spindle runout x/y GRIP-010
"""
names = st.sampled_from(NAMES.split())
kinds = st.sampled_from(["cutter", "collet", "steep_taper", "cylindrical", "declared"])
anything = st.recursive(
    scalars | kinds, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(names, inner, max_size=5)
)
components = st.dictionaries(names, anything, max_size=4).flatmap(
    lambda fields: kinds.map(lambda kind: {**fields, "kind": kind})
)


def _resolve(data: Any, where: str) -> None:
    for step in where.split("/")[1:]:
        name = step.replace("~1", "/").replace("~0", "~")
        data = data[int(name)] if isinstance(data, list) else data[name]


@settings(derandomize=True, deadline=None, max_examples=300)
@given(
    anything | st.fixed_dictionaries({"stack": st.fixed_dictionaries({"components": st.lists(components, max_size=3)})})
)
def test_every_pointer_leads_somewhere_in_the_input(data: object) -> None:
    """Whatever is wrong, each pointer resolves in the input, and the input is not changed."""
    before = json.dumps(data)
    try:
        parse_request(data)
    except BadRequestError as error:
        for fault in error.faults:
            _resolve(data, fault.pointer)
    assert json.dumps(data) == before


def test_pointers_escape_what_rfc_6901_escapes() -> None:
    """Literature: RFC 6901, section 5, 'a/b' is /a~1b and 'm~n' is /m~0n."""
    assert pointer(("a/b", "m~n", 0)) == "/a~1b/m~0n/0"


def test_suggestions_end_somewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of thousands of unknown fields the first hundred are compared with known names, and all are told."""
    compared = 0

    def counted(*arguments: Any, **options: Any) -> list[str]:
        nonlocal compared
        compared += 1
        return get_close_matches(*arguments, **options)

    monkeypatch.setattr(parsing, "get_close_matches", counted)
    part = {"kind": "cutter", "id": "c"} | {f"gauge_length_{n}": 1 for n in range(5000)}
    with pytest.raises(BadRequestError) as caught:
        parse_request({"stack": {"components": [part]}})
    assert compared == 100
    assert [fault.pointer for fault in caught.value.faults] == [
        f"/stack/components/0/gauge_length_{n}" for n in range(5000)
    ]
    assert "did you mean" in caught.value.faults[99].detail
    assert caught.value.faults[100].detail == "unknown field"
