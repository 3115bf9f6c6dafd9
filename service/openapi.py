"""The OpenAPI document: what the framework knows of the routes, and what only we know of the bodies."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, Final

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from rules.rulebook.book import Rule, Rulebook
from rules.schema.budget import BudgetRequest
from rules.schema.comparison import ComparisonRequest
from rules.schema.gate import GateRequest, GateVerification
from rules.schema.reading import ReadingRequest
from rules.schema.request import CheckRequest
from rules.schema.search import SearchRequest
from rules.version import VERSION
from service.batch.document import BatchRequest
from service.deprecation import describe_deprecation
from service.openapi_access import describe_access
from service.operations.problems import Problem

__all__ = ["as_text", "describe"]

_REF: Final = "#/components/schemas/{model}"

_REQUESTS: Final = (
    CheckRequest,
    BatchRequest,
    BudgetRequest,
    ComparisonRequest,
    GateRequest,
    GateVerification,
    ReadingRequest,
    SearchRequest,
)
"""Bodies that the routes read themselves."""

_ABOUT: Final = """\
Says whether a stack of spindle holder, extension, collet and cutter goes together, how true it will run
and how fast it may turn.

Lengths are mm or text with a unit, everything else carries its unit in its name.
Every evaluated stack is answered with 200, whatever the verdict; what the contract does not allow is a
problem of RFC 9457.
Nothing is kept between requests, and the same request gives the same bytes.
HEAD is answered wherever GET is.
"""

_TAGS: Final = [
    {"name": "checks", "description": "Stacks in, reports out."},
    {"name": "gates", "description": "Work orders in; release, hold or stop out, with a digest to verify later."},
    {"name": "searches", "description": "Inventories in; the stacks that go together and do a job out."},
    {"name": "imports", "description": "Documents in open formats in, components out."},
    {"name": "exports", "description": "Checked stacks as documents of an open standard."},
    {"name": "drawings", "description": "Checked stacks as pictures."},
    {"name": "readings", "description": "Dial readings in; what they tell and what to do next out."},
    {"name": "rules", "description": "What is checked, and why."},
    {
        "name": "couplings",
        "description": "Interfaces between components, and the standards' numbers behind them.",
    },
    {"name": "service", "description": "The service itself."},
]


def describe(app: FastAPI, book: Rulebook) -> dict[str, Any]:
    """The OpenAPI 3.1 document of this app with these rules in force."""
    document = get_openapi(
        title="stackgauge",
        version=VERSION,
        openapi_version="3.1.0",
        description=_ABOUT,
        routes=app.routes,
        tags=_TAGS,
    )
    schemas: dict[str, Any] = document["components"]["schemas"]
    for name, schema in _own_schemas(book):
        if schemas.setdefault(name, schema) != schema:
            raise ValueError(f"two different schemas are named {name}")
    for operation in _operations(document):
        _drop_framework_errors(operation)
        _unpack_examples(operation)
        describe_deprecation(operation)
    # a request that is turned away does not come as far as the route, and to what is said of it
    describe_access(document)
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    _spell_maps(schemas)
    return document


def as_text(document: dict[str, Any]) -> str:
    """The document as it is stored: sorted, so that a difference is a change."""
    return json.dumps(document, indent=2, sort_keys=True, ensure_ascii=False) + "\n"


def _own_schemas(book: Rulebook) -> Iterator[tuple[str, Any]]:
    """Schemas of bodies that the routes read and write themselves."""
    for model in _REQUESTS:
        request = model.model_json_schema(ref_template=_REF)
        definitions = request.pop("$defs")
        definitions["Policy"]["properties"]["thresholds"] |= {
            "anyOf": [{"$ref": _REF.format(model="Thresholds")}, {"type": "null"}],
            "examples": [_example(book)],
        }
        yield model.__name__, request
        yield from definitions.items()
    yield "Thresholds", _thresholds(book)
    problem = Problem.model_json_schema(ref_template=_REF)
    yield from problem.pop("$defs").items()
    yield "Problem", problem


def _thresholds(book: Rulebook) -> dict[str, Any]:
    return {
        "title": "Thresholds",
        "description": "Thresholds of rules to change, by rule code and threshold name.",
        "type": "object",
        "additionalProperties": False,
        "properties": {rule.code: _thresholds_of(rule) for rule in book.rules if rule.thresholds},
    }


def _thresholds_of(rule: Rule) -> dict[str, Any]:
    return {
        "title": rule.title,
        "type": "object",
        "additionalProperties": False,
        "properties": {
            name: {
                "type": "number",
                "minimum": threshold.minimum,
                "maximum": threshold.maximum,
                "default": threshold.value,
                "description": f"{threshold.meaning} [{threshold.unit}]",
            }
            for name, threshold in rule.thresholds.items()
        },
    }


def _example(book: Rulebook) -> dict[str, dict[str, float]]:
    for rule in book.rules:
        for name, threshold in rule.thresholds.items():
            return {rule.code: {name: threshold.value}}
    return {}


def _operations(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for path in document["paths"].values():
        yield from path.values()


def _drop_framework_errors(operation: dict[str, Any]) -> None:
    """The framework promises its own 422 on every path with a parameter; none of ours ever gives it."""
    if "HTTPValidationError" in json.dumps(operation["responses"].get("422", {})):
        del operation["responses"]["422"]


def _spell_maps(node: Any) -> None:
    """Write maps with one pattern of keys as ``propertyNames`` beside ``additionalProperties``.

    It says the same as ``patternProperties`` that are all there is. Generators of clients take an object of the latter
    form for one without fields and lose in silence what it holds.
    """
    inner = node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    for one in inner:
        _spell_maps(one)
    if isinstance(node, dict) and node.get("additionalProperties") is False:
        patterns = node.get("patternProperties")
        if isinstance(patterns, dict) and len(patterns) == 1 and "properties" not in node:
            ((pattern, value),) = node.pop("patternProperties").items()
            node |= {"propertyNames": {"pattern": pattern}, "additionalProperties": value}


def _unpack_examples(operation: dict[str, Any]) -> None:
    """See :func:`service.answers.shown`."""
    for response in operation["responses"].values():
        for content in response.get("content", {}).values():
            for example in content.get("examples", {}).values():
                if isinstance(example["value"], str):
                    example["value"] = json.loads(example["value"])
