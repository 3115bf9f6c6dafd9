"""The OpenAPI document: what the framework knows of the routes, and what only we know of the bodies.

What the OpenAPI document says of tokens, and of bodies that come too slowly.

Routes that are to go: said in the contract, and in every answer of theirs (RFC 9745, RFC 8594).

None is deprecated now. To deprecate one, in the function that makes its router::

    deprecate(router, "/v1/old", since=date(2027, 3, 1), sunset=date(2028, 3, 1), link="/v1/new")
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from email.utils import format_datetime
from typing import Any, Final

from fastapi import APIRouter, FastAPI
from fastapi.openapi.utils import get_openapi
from fastapi.routing import APIRoute
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from rules.couplings.sides import COUPLINGS, joint_classes
from rules.quantities.models import KNOWN_VALUES
from rules.rulebook.book import Rule, Rulebook
from rules.schema.budget import BudgetRequest
from rules.schema.comparison import ComparisonRequest
from rules.schema.gate import GateRequest, GateVerification
from rules.schema.reading import ReadingRequest
from rules.schema.request import CheckRequest
from rules.schema.search import SearchRequest
from rules.version import VERSION
from service.batch.document import BatchRequest
from service.http.access import is_open
from service.http.problem_answers import responses
from service.operations.problems import Problem

__all__ = ["Deprecation", "DeprecationHeaders", "as_text", "deprecate", "describe"]


_SCHEME: Final = "bearer"


def describe_access(document: dict[str, Any]) -> None:
    """Add the scheme, and to each operation what the middlewares may answer in its place.

    The token is optional, since an operator need not ask for one.
    """
    document["components"]["securitySchemes"] = {
        _SCHEME: {
            "type": "http",
            "scheme": "bearer",
            "description": "Asked for where the operator has set tokens (RFC 6750).",
        }
    }
    for path, item in document["paths"].items():
        for method, operation in item.items():
            if not is_open(path):
                operation["security"] = [{}, {_SCHEME: []}]
                _add(operation, "token-needed")
            if method == "post":
                _add(operation, "slow-body")


def _add(operation: dict[str, Any], kind: str) -> None:
    for status, response in responses(kind).items():
        if status == 401:
            response["headers"] = {
                "WWW-Authenticate": {
                    "description": 'The challenge of RFC 6750, with error="invalid_token" where one was sent.',
                    "schema": {"type": "string"},
                }
            }
        operation["responses"][str(status)] = response


_MARK: Final = "__deprecation__"

_HEADERS: Final = {
    "Deprecation": "Since when the route is deprecated: @ and the seconds since 1970 (RFC 9745).",
    "Link": "Where to read what to use instead (rel=deprecation).",
    "Sunset": "When the route will go, at the earliest; left out where that is not settled (RFC 8594).",
}


@dataclass(frozen=True, slots=True)
class Deprecation:
    """Since when a route is deprecated, when it goes, and where to read what to use instead."""

    since: date
    """From the beginning of that day, UTC."""
    link: str
    """A URI reference."""
    sunset: date | None = None
    """At the beginning of that day, UTC; None where it is not settled. Not before ``since``."""

    def __post_init__(self) -> None:
        if self.sunset is not None and self.sunset < self.since:
            raise ValueError("a route can't go before it is deprecated")
        if not self.link.isascii() or any(sign in self.link for sign in '<> "\r\n'):
            raise ValueError(f"{self.link!r} is no URI reference")

    def headers(self) -> list[tuple[bytes, bytes]]:
        """The fields of an answer, as they are sent."""
        told = {
            "deprecation": f"@{int(_midnight(self.since).timestamp())}",
            "link": f'<{self.link}>; rel="deprecation"',
        }
        if self.sunset is not None:
            told["sunset"] = format_datetime(_midnight(self.sunset), usegmt=True)
        return [(name.encode("ascii"), value.encode("ascii")) for name, value in told.items()]


def deprecate(router: APIRouter, path: str, *, since: date, link: str, sunset: date | None = None) -> None:
    """Mark the routes of this path, which the router must have; see :class:`Deprecation`."""
    told = Deprecation(since, link, sunset)
    found = [route for route in router.routes if isinstance(route, APIRoute) and route.path == path]
    if not found:
        raise LookupError(f"there is no route {path} to deprecate")
    for route in found:
        route.deprecated = True
        setattr(route.endpoint, _MARK, told)


def describe_deprecation(operation: dict[str, Any]) -> None:
    """Tell of the fields with every answer of an operation that is marked in the OpenAPI document."""
    if not operation.get("deprecated", False):
        return
    for response in operation["responses"].values():
        for name, description in _HEADERS.items():
            shown = {"description": description, "required": name != "Sunset", "schema": {"type": "string"}}
            response.setdefault("headers", {})[name] = shown


class DeprecationHeaders:
    """Adds the fields to every answer of a marked route, problems too."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def told(message: Message) -> None:
            if message["type"] == "http.response.start":
                # Known only now: the route is found on the way in.
                mark = getattr(getattr(scope.get("route"), "endpoint", None), _MARK, None)
                if isinstance(mark, Deprecation):
                    message = {**message, "headers": [*message.get("headers", ()), *mark.headers()]}
            await send(message)

        await self._app(scope, receive, told)


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(), UTC)


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
    for model, field, known in (
        ("CouplingSummary", "name", COUPLINGS),
        ("CouplingAnswer", "name", COUPLINGS),
        ("CouplingAnswer", "joint_class", joint_classes()),
    ):
        schemas[model]["properties"][field][KNOWN_VALUES] = list(known)
    _tell_open_lists(schemas)
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


_MORE: Final = "Later releases may add values, so a client must accept one it does not know."


def _tell_open_lists(node: Any) -> None:
    """Say beside every list of known values that it is open, with the description of the field."""
    if isinstance(node, dict) and KNOWN_VALUES in node:
        node["description"] = f"{node['description']} {_MORE}" if "description" in node else _MORE
    inner = node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    for one in inner:
        _tell_open_lists(one)


def _unpack_examples(operation: dict[str, Any]) -> None:
    """See :func:`service.http.answers.shown`."""
    for response in operation["responses"].values():
        for content in response.get("content", {}).values():
            for example in content.get("examples", {}).values():
                if isinstance(example["value"], str):
                    example["value"] = json.loads(example["value"])
