"""The contract is compatible with the version released last."""

from __future__ import annotations

import copy
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from openapi_spec_validator import validate

from tests.support import compatibility
from tests.support.compatibility import CURRENT, RELEASED, breaks
from tests.support.contract import read, whole

DOCUMENT: dict[str, Any] = whole(read())

Edit = Callable[[dict[str, Any]], object]


def test_the_contract_breaks_nothing_that_was_released() -> None:
    """When this fails, take the change back, or offer it beside the old form, or under ``/v2``.

    Until a contract is released there is none to keep, and the command finds nothing.
    """
    assert compatibility.main([]) == 0
    if RELEASED.is_file():
        validate(json.loads(RELEASED.read_text(encoding="utf-8")))


def _at(path: str) -> Callable[[dict[str, Any]], Any]:
    """Leads to a place of the document; ``@`` stands for its schemas."""

    def lead(document: dict[str, Any]) -> Any:
        place: Any = document
        steps = path.replace("@", "components schemas ").split()
        for step in steps:
            place = place[int(step)] if isinstance(place, list) else place[step]
        return place

    return lead


def _drop(path: str, *names: str) -> Edit:
    return lambda document: [_at(path)(document).pop(name) for name in names]


def _take(path: str, value: object) -> Edit:
    return lambda document: _at(path)(document).remove(value)


def _add(path: str, value: object) -> Edit:
    return lambda document: _at(path)(document).append(value)


def _set(path: str, **values: object) -> Edit:
    return lambda document: _at(path)(document).update(values)


def _put(path: str, schema: dict[str, Any]) -> Edit:
    """Another schema in the place of one."""
    return lambda document: (_at(path)(document).clear(), _at(path)(document).update(schema))


def _all(*edits: Edit) -> Edit:
    return lambda document: [edit(document) for edit in edits]


def _drop_field(schema: str, name: str, *, required: bool) -> Edit:
    drop = _drop(f"@{schema} properties", name)
    return _all(drop, _take(f"@{schema} required", name)) if required else drop


SPEED = "@SpindleSpeedRpm"
CHECK = "paths /v1/checks post"
ORDER = "@GateRequest properties order"
EXPORT = "paths /v1/exports post"
NUMBER = {"type": "number"}
NULL = {"type": "null"}
FINDINGS = DOCUMENT["components"]["schemas"]["Report"]["properties"]["findings"]
NEW_PARAMETER = {"name": "lang", "in": "query", "schema": {"type": "string"}}
CREATED = {"description": "Created.", "content": {}}

BREAKING: dict[str, tuple[Edit, str]] = {
    "a path removed": (_drop("paths", "/v1/rules"), "GET /v1/rules: is gone"),
    "a path renamed": (lambda doc: doc["paths"].update({"/v1/rulez": doc["paths"].pop("/v1/rules")}), "is gone"),
    "a method removed": (_drop("paths /v1/checks", "post"), "POST /v1/checks: is gone"),
    "an operation renamed": (_set(CHECK, operationId="check"), "another operationId"),
    "credentials demanded": (_set(CHECK, security=[{"bearer": []}]), "needs credentials"),
    "credentials demanded of all": (lambda doc: doc.update(security=[{"bearer": []}]), "needs credentials"),
    "an answer removed": (_drop(f"{CHECK} responses", "422"), "422: is gone"),
    "a success of another status": (_set(f"{CHECK} responses", **{"201": CREATED}), "201: is new"),
    "a redirect": (_set(f"{CHECK} responses", **{"307": CREATED}), "307: is new"),
    "a media type no longer taken": (
        _drop("paths /v1/imports post requestBody content", "text/csv"),
        "text/csv is gone",
    ),
    "a media type no longer given": (
        _drop("paths /v1/check-batches post responses 200 content", "application/jsonl"),
        "application/jsonl: is gone",
    ),
    "a header removed": (_drop("paths /v1/rules get responses 200 headers", "ETag"), "ETag: is gone"),
    "a header no longer sure": (_set("paths /v1/rules get responses 200 headers ETag", required=False), "ETag: may be"),
    "the body removed": (_drop(CHECK, "requestBody"), "body: is gone"),
    "a body demanded": (
        _set("paths /v1/rules get", requestBody={"required": True, "content": {}}),
        "body: is required",
    ),
    "a parameter removed": (lambda doc: _at(f"{EXPORT} parameters")(doc).pop(1), "?standard: is gone"),
    "a parameter demanded": (_set(f"{EXPORT} parameters 1", required=True), "?standard: is required"),
    "a new parameter demanded": (
        _add(f"{EXPORT} parameters", {**NEW_PARAMETER, "required": True}),
        "?lang: is required",
    ),
    "a parameter moved": (_set(f"{EXPORT} parameters 1", **{"in": "header"}), "?standard: is gone"),
    "a value of a parameter removed": (_take("@Standard enum", "1.4"), "'1.4' is not taken"),
    "the default of a parameter": (_set(f"{EXPORT} parameters 1 schema", default="2.4"), "another default"),
    "a parameter's pattern": (_set(f"{EXPORT} parameters 0 schema", pattern="^2"), "another pattern"),
    "a field of a request removed": (_drop_field("Operation", "coolant", required=False), "/coolant: is gone"),
    "a field renamed": (
        lambda doc: doc["components"]["schemas"]["Machine"]["properties"].update(
            {"top_speed_rpm": doc["components"]["schemas"]["Machine"]["properties"].pop("max_speed_rpm")}
        ),
        "/max_speed_rpm: is gone",
    ),
    "a field of a request demanded": (_set("@CheckRequest", required=["stack", "machine"]), "/machine: is required"),
    "a new field demanded": (
        _all(_set("@Stack properties", shop=NUMBER), _add("@Stack required", "shop")),
        "/shop: is required",
    ),
    "null no longer taken": (
        _set("@PolicyField", anyOf=[{"$ref": "#/components/schemas/Policy"}]),
        "null is not",
    ),
    "a form no longer taken": (
        lambda doc: _at("@PositiveLength anyOf")(doc).pop(),
        "string is not taken",
    ),
    "a type of a request narrowed": (_set(f"{SPEED} anyOf 0", type="integer"), "number is not taken"),
    "a type of a request changed": (_put(ORDER, NUMBER), "string is not taken"),
    "a value of a request removed": (
        _take("@BalanceGrade enum", "G40"),
        "'G40' is not taken",
    ),
    "a kind of component removed": (
        lambda doc: [one["oneOf"].pop() for one in _ones_of_kinds(doc)],
        "is not taken",
    ),
    "a text tied to values": (_put(ORDER, {"type": "string", "enum": ["A", "B"]}), "only 'A' is taken"),
    "a lower bound raised": (_set(f"{SPEED} anyOf 0", minimum=1), "minimum 1 is not kept by minimum 0.1"),
    "a lower bound made exclusive": (
        _all(_drop(f"{SPEED} anyOf 0", "minimum"), _set(f"{SPEED} anyOf 0", exclusiveMinimum=0.1)),
        "exclusiveMinimum 0.1",
    ),
    "an upper bound lowered": (_set(f"{SPEED} anyOf 0", maximum=999_999), "maximum 999999 is not kept"),
    "an upper bound added": (
        _set("@GateRequest properties order", maxLength=32),
        "maxLength 32 is not kept by no bound",
    ),
    "a bound of one kind of component": (
        _set("@Cutter properties teeth anyOf 0", maximum=100),
        "/stack/components/*/teeth: maximum 100 is not kept by maximum 200",
    ),
    "a list shortened": (_set("@GateRequest properties operations", maxItems=99), "maxItems 99"),
    "a list made to hold more": (_set("@GateRequest properties operations", minItems=2), "minItems 2"),
    "a pattern changed": (_put(ORDER, {"type": "string", "pattern": "^[A-Z]+$"}), "another pattern"),
    "a pattern added": (_set("paths /v1/rules/{code} get parameters 0 schema", pattern="^[A-Z]"), "another pattern"),
    "the default of a field": (_set("@Policy properties on_undecided", default="fail"), "another default"),
    "names of definitions": (
        _set("@Components anyOf 0 propertyNames", pattern="^[a-z]+$"),
        "another pattern",
    ),
    "definitions no longer named freely": (
        _set("@Components anyOf 0", additionalProperties=False),
        "takes no other",
    ),
    "a field of an answer removed": (_drop_field("Report", "summary", required=True), "/summary: is gone"),
    "a field of a part removed": (_drop_field("Finding", "remedy", required=True), "/findings/*/remedy: is gone"),
    "a field of an answer no longer sure": (_take("@Finding required", "limit"), "/limit: may be missing"),
    "an answer that may be null": (
        _set("@Report properties", findings={"anyOf": [FINDINGS, NULL]}),
        "null is not taken",
    ),
    "a value more in an answer": (_add("@Decision enum", "wait"), "'wait' is not taken"),
    "an answer of any text": (_drop("@Decision", "enum"), "only"),
    "a type of an answer widened": (_set("@Summary properties errors", type="number"), "number is not taken"),
    "a type of an answer changed": (_set("@Provenance properties version", type="integer"), "integer is not taken"),
    "a form more in an answer": (_add("@Finding properties observed anyOf", {"type": "boolean"}), "is not taken"),
    "a bound of an answer lifted": (_drop("@Problem properties status", "maximum"), "maximum 599 is not kept"),
    "a pattern of an answer lifted": (_drop("@Sha256", "pattern"), "another pattern"),
    "a field of a problem removed": (_drop_field("Problem", "detail", required=True), "/detail: is gone"),
}


def _ones_of_kinds(document: dict[str, Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []

    def walk(node: Any) -> None:
        for one in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
            walk(one)
        if isinstance(node, dict) and {"$ref": "#/components/schemas/ComponentReference"} in node.get("oneOf", []):
            found.append(node)

    walk(document["components"]["schemas"])
    return found


HARMLESS: dict[str, Edit] = {
    "nothing": lambda _: None,
    "a path more": lambda doc: doc["paths"].update({"/v1/x": doc["paths"]["/v1/rules"]}),
    "a method more": lambda doc: doc["paths"]["/v1/rules"].update(delete=doc["paths"]["/v1/rules"]["get"]),
    "texts": _all(
        _set("@Report", description="Other words."),
        _set("@Report properties verdict", title="Judgement", examples=["pass"]),
        _set(CHECK, summary="Other words", description="Others again.", tags=["other"]),
        _set(f"{CHECK} responses 422", description="Others."),
        lambda doc: doc["info"].update(version="1.7.0"),
    ),
    "credentials taken": _set(CHECK, security=[{"bearer": []}, {}]),
    "a problem of another status": lambda doc: _at(f"{CHECK} responses")(doc).update(
        {"429": _at(f"{CHECK} responses 422")(doc)}
    ),
    "a media type more taken": lambda doc: _at(f"{CHECK} requestBody content")(doc).update({"application/cbor": {}}),
    "a media type more given": lambda doc: _at(f"{CHECK} responses 200 content")(doc).update({"image/png": {}}),
    "a header more": _set("paths /v1/rules get responses 200 headers", Age={"schema": {"type": "string"}}),
    "a body no longer demanded": _set(f"{CHECK} requestBody", required=False),
    "a parameter more": _add(f"{EXPORT} parameters", NEW_PARAMETER),
    "a value of a parameter more": _add("@Standard enum", "2.5"),
    "a field of a request more": _set("@Operation properties", note={"type": "string", "default": ""}),
    "a field no longer demanded": _drop("@Deviation", "required"),
    "a value of a request more": _add("@BalanceGrade enum", "G100"),
    "a form more": _add(f"{SPEED} anyOf", {"type": "string"}),
    "a bound wider": _set(f"{SPEED} anyOf 0", minimum=0, maximum=2_000_000),
    "a bound made exclusive and wider": _all(
        _drop(f"{SPEED} anyOf 0", "minimum"), _set(f"{SPEED} anyOf 0", exclusiveMinimum=0)
    ),
    "a bound lifted": _drop(f"{SPEED} anyOf 0", "maximum"),
    "a list longer": _set("@GateRequest properties operations", maxItems=1000, minItems=0),
    "a pattern lifted": _put(ORDER, {"type": "string"}),
    "a type of a request wider": _set("@Cutter properties teeth anyOf 0", type="number"),
    "alternatives in another order": lambda doc: _at(f"{SPEED} anyOf")(doc).reverse(),
    "a field of an answer more": _all(_set("@Report properties", extra=NUMBER), _add("@Report required", "extra")),
    "a field of a part more": _set("@Finding properties", extra=NUMBER),
    "an answer that is sure": lambda doc: _at("@Problem")(doc).update(required=list(_at("@Problem properties")(doc))),
    "an answer no longer null": _set("@Report properties stack_id", anyOf=[{"type": "string"}]),
    "a value less in an answer": _put(
        "@GateReport properties decision", {"type": "string", "enum": ["release", "stop"]}
    ),
    "a value more in an open list of an answer": _add("@AssemblyStep properties action x-known-values", "polish"),
    "an answer's open list closed": _drop("@AssemblyStep properties action", "x-known-values"),
    "a type of an answer narrower": _set("@Finding properties margin", anyOf=[{"type": "integer"}, {"type": "null"}]),
    "a bound in an answer": _set("@Summary properties errors", minimum=0),
    "a schema renamed": lambda doc: _rename(doc, "Milling", "MillingCut"),
}


def _rename(document: dict[str, Any], old: str, new: str) -> None:
    text = json.dumps(document).replace(f'#/components/schemas/{old}"', f'#/components/schemas/{new}"')
    document.clear()
    document.update(json.loads(text))
    document["components"]["schemas"][new] = document["components"]["schemas"].pop(old)


def _edited(edit: Edit) -> dict[str, Any]:
    document = copy.deepcopy(DOCUMENT)
    edit(document)
    return document


@pytest.mark.parametrize("name", BREAKING)
def test_a_break_is_found(name: str) -> None:
    """And told with its place."""
    edit, told = BREAKING[name]
    found = breaks(DOCUMENT, _edited(edit))
    assert any(told in one for one in found), found[:20]


@pytest.mark.parametrize("name", HARMLESS)
def test_what_harms_nobody_is_free(name: str) -> None:
    """So that the contract can grow within a version."""
    changed = _edited(HARMLESS[name])
    assert name == "nothing" or changed != DOCUMENT
    assert breaks(DOCUMENT, changed) == []


@pytest.mark.parametrize("keyword", ["not", "if", "prefixItems", "dependentRequired", "contains"])
def test_what_is_not_compared_is_an_error(keyword: str) -> None:
    """A keyword that comes into use later must not hide a break."""
    with pytest.raises(NotImplementedError, match=keyword):
        breaks(DOCUMENT, _edited(_set("@Operation", **{keyword: {}})))


def test_a_release_needs_an_unbroken_promise(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The released file is renewed by a command, which refuses to hide a break."""
    released, current = tmp_path / "released/v1.json", tmp_path / "v1.json"
    monkeypatch.setattr(compatibility, "RELEASED", released)
    monkeypatch.setattr(compatibility, "CURRENT", current)
    shutil.copy(CURRENT, current)
    assert compatibility.main(["--release"]) == 0
    assert released.read_bytes() == CURRENT.read_bytes()
    current.write_text(json.dumps(_edited(HARMLESS["a path more"])), encoding="utf-8")
    assert compatibility.main([]) == 0
    assert released.read_bytes() == CURRENT.read_bytes()
    assert compatibility.main(["--release"]) == 0
    assert released.read_bytes() == current.read_bytes()
    current.write_text(json.dumps(DOCUMENT), encoding="utf-8")
    assert compatibility.main(["--release"]) == 1
    assert released.read_bytes() != current.read_bytes()
    assert "GET /v1/x: is gone" in capsys.readouterr().out
