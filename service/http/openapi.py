"""The OpenAPI document, and deprecation of routes (RFC 9745, RFC 8594).

No route is deprecated now. To deprecate one, in the function that builds its router::

    deprecate(router, "/v1/old", since=date(2027, 3, 1), sunset=date(2028, 3, 1), link="/v1/new")
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from email.utils import format_datetime
from typing import Any, Final

from fastapi import APIRouter, FastAPI
from fastapi.openapi.utils import get_openapi
from fastapi.routing import APIRoute
from pydantic import TypeAdapter
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from rules.couplings.definition import ToleranceClass
from rules.couplings.sides import COUPLINGS, MachineSide, SpindleSide, WorkpieceSide, joint_classes
from rules.couplings.steep_taper import SteepTaperForm
from rules.couplings.straight_shank import ShankForm
from rules.quantities.inch import UnitSystem
from rules.quantities.models import (
    KNOWN_VALUES,
    Identifier,
    Length,
    PositiveLength,
    Reading,
    SignedReading,
    Text,
    Token,
)
from rules.quantities.tables import Confidence
from rules.schema.budget import BudgetRequest
from rules.schema.build import BuildRequest
from rules.schema.calibration import CalibrationRequest
from rules.schema.comparison import ComparisonRequest
from rules.schema.components import (
    Labels,
    Material,
    PartSource,
    Profile,
    RunoutCharacter,
    RunoutLaw,
    StackEntry,
    Status,
)
from rules.schema.explanation import ExplanationRequest
from rules.schema.gate import Decision, GateRequest, RequirementName
from rules.schema.imports import ComponentKind, Standard
from rules.schema.reading import Conformity, ReadingRequest
from rules.schema.report import Verdict
from rules.schema.request import (
    BalanceGrade,
    CheckRequest,
    Consequence,
    Coolant,
    Cut,
    Datum,
    MachineEntry,
    Operations,
    RunoutPlane,
    Section,
    Sha256,
    WorkMaterial,
)
from rules.schema.search import GripSetting, RankCriterion, SearchRequest
from rules.version import CONTRACT
from service.batch.document import BatchRequest
from service.contract import PictureName
from service.http.access import is_open
from service.http.answers import JSON, described_headers, made_now
from service.http.components import (
    describe_fields,
    drop_titles_and_nulls,
    lead_with_the_kind,
    prune,
    route_name,
    share,
    share_fields,
)
from service.http.problem_answers import responses
from service.operations.problems import Problem

__all__ = ["Deprecation", "DeprecationHeaders", "as_text", "deprecate", "describe"]


_SCHEME: Final = "bearer"


def describe_access(document: dict[str, Any]) -> None:
    """Add the security scheme, and to each operation the problems of the middleware.

    The token is optional, since the operator may run without one.
    """
    document["components"]["securitySchemes"] = {
        _SCHEME: {
            "type": "http",
            "scheme": "bearer",
            "description": "Required if the operator has set tokens (RFC 6750).",
        }
    }
    document["security"] = [{}, {_SCHEME: []}]
    for path, item in document["paths"].items():
        for method, operation in item.items():
            if is_open(path):
                operation["security"] = []
            else:
                _add(operation, "token-needed")
            if method == "post":
                _add(operation, "slow-body")


def _add(operation: dict[str, Any], kind: str) -> None:
    for status, response in responses(kind).items():
        if status == 401:
            response["headers"] |= {
                "WWW-Authenticate": {
                    "description": 'Challenge of RFC 6750; error="invalid_token" if a token was sent.',
                    "schema": {"type": "string"},
                }
            }
        operation["responses"][str(status)] = response


_SENT: Final = (
    (
        "X-Request-ID",
        "The caller's identifier of the request for the log: 1 to 128 printable ASCII characters, else it is replaced.",
        "KB-4711",
    ),
    (
        "traceparent",
        "The caller's trace for the log (W3C Trace Context); an invalid one is ignored.",
        "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01",
    ),
)
_IF_NONE_MATCH: Final = ("If-None-Match", "ETags of the client's copies (RFC 9110, section 13.1.2).", '"0"')


def describe_headers(operation: dict[str, Any]) -> None:
    """Add the headers of every request, and of every response that is no problem."""
    sent = (*_SENT, _IF_NONE_MATCH) if "304" in operation["responses"] else _SENT
    operation.setdefault("parameters", []).extend(
        {"name": name, "in": "header", "description": text, "schema": {"type": "string", "examples": [example]}}
        for name, text, example in sent
    )
    for status, response in operation["responses"].items():
        if int(status) < 400:
            common = described_headers("X-Request-ID", "Cache-Control", "Vary")
            response["headers"] = {**common, **response.get("headers", {})}


_MARK: Final = "__deprecation__"

_HEADERS: Final = {
    "Deprecation": "Date of deprecation: @ and the seconds since 1970 (RFC 9745).",
    "Link": "Documentation of the replacement (rel=deprecation).",
    "Sunset": "Earliest date of removal; absent if not decided (RFC 8594).",
}


@dataclass(frozen=True, slots=True)
class Deprecation:
    """Deprecation of a route: its date, the date of removal and the replacement."""

    since: date
    """Date of deprecation, 00:00 UTC."""
    link: str
    """URI reference of the replacement's documentation."""
    sunset: date | None = None
    """Date of removal, 00:00 UTC, not before ``since``; None if not decided."""

    def __post_init__(self) -> None:
        if self.sunset is not None and self.sunset < self.since:
            raise ValueError("the sunset date must not be before the deprecation date")
        if not self.link.isascii() or any(sign in self.link for sign in '<> "\r\n'):
            raise ValueError(f"{self.link!r} is not a URI reference")

    def headers(self) -> list[tuple[bytes, bytes]]:
        """The response headers."""
        told = {
            "deprecation": f"@{int(_midnight(self.since).timestamp())}",
            "link": f'<{self.link}>; rel="deprecation"',
        }
        if self.sunset is not None:
            told["sunset"] = format_datetime(_midnight(self.sunset), usegmt=True)
        return [(name.encode("ascii"), value.encode("ascii")) for name, value in told.items()]


def deprecate(router: APIRouter, path: str, *, since: date, link: str, sunset: date | None = None) -> None:
    """Mark the routes of this path as deprecated; raises LookupError if the router has none."""
    told = Deprecation(since, link, sunset)
    found = [route for route in router.routes if isinstance(route, APIRoute) and route.path == path]
    if not found:
        raise LookupError(f"there is no route {path} to deprecate")
    for route in found:
        route.deprecated = True
        setattr(route.endpoint, _MARK, told)


def describe_deprecation(operation: dict[str, Any]) -> None:
    """Add the deprecation headers to every response of a deprecated operation in the OpenAPI document."""
    if not operation.get("deprecated", False):
        return
    for response in operation["responses"].values():
        for name, description in _HEADERS.items():
            shown = {"description": description, "required": name != "Sunset", "schema": {"type": "string"}}
            response.setdefault("headers", {})[name] = shown


class DeprecationHeaders:
    """Adds the deprecation headers to every response of a deprecated route, problems included."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def told(message: Message) -> None:
            if message["type"] == "http.response.start":
                # The route is known only after dispatch.
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
    BuildRequest,
    CalibrationRequest,
    ComparisonRequest,
    ExplanationRequest,
    GateRequest,
    ReadingRequest,
    SearchRequest,
)
"""Models of bodies that the routes parse themselves."""

_ABOUT: Final = """\
Checks whether a stack of spindle holder, extension, collet and cutting tool fits together. Predicts its runout and its
highest permissible speed.

Lengths are in mm, or text with a unit. All other fields have the unit in their name.

An evaluated stack gives status 200, whatever the verdict. An invalid request gives a problem (RFC 9457).

The service is stateless; identical requests return identical bytes. A problem repeats the X-Request-ID besides.

HEAD works wherever GET does, OPTIONS everywhere (204 with Allow). Unknown and repeated query parameters are refused.

A body may be sent in gzip (Content-Encoding); the limits apply to its content. Responses of 1 KiB or more are sent in
gzip if Accept-Encoding allows it.

A body in YAML has at most 64 KiB and may use the short form: a part is its standard key, an end its designation, a
quantity text with a unit. Editors find its JSON Schema at /v1/schemas/check-request.json.

The service does not limit the rate of requests.
"""

_TAGS: Final = [
    {"name": "checks", "description": "Check, compare and budget stacks."},
    {"name": "gates", "description": "Release, hold or stop work orders on one field."},
    {"name": "searches", "description": "Search an inventory for stacks that do a job."},
    {"name": "imports", "description": "Import components from documents in open formats."},
    {"name": "exports", "description": "Export checked stacks in an open standard."},
    {"name": "drawings", "description": "Drawings and charts of checked stacks."},
    {"name": "readings", "description": "Judge runout readings, with the next step."},
    {"name": "rules", "description": "The rules in force, with reasons and sources."},
    {
        "name": "couplings",
        "description": "Couplings between components, with their standard dimensions.",
    },
    {"name": "parts", "description": "Standard parts by number and size."},
    {"name": "service", "description": "Health, version and problem types."},
]


_SERVERS: Final = [{"url": "/", "description": "The service that serves this document."}]

_NAMED: Final[Mapping[str, tuple[Any, str]]] = {
    "BalanceGrade": (BalanceGrade, "Balance quality grade of ISO 21940-11."),
    "ComponentKind": (ComponentKind, "Kind of a component."),
    "Confidence": (Confidence, "How sure a value is."),
    "Conformity": (Conformity, "Decision on a reading by ISO 14253-1."),
    "Consequence": (Consequence, "Verdict of a stack with a warning or an undecided rule."),
    "Coolant": (Coolant, "Coolant supply."),
    "Cut": (Cut, "Cut of any kind."),
    "Datum": (Datum, "Plane from which a position counts."),
    "Decision": (Decision, "Decision on an order or an operation."),
    "GripSetting": (GripSetting, "Grip length at which a search sets a joint."),
    "Identifier": (Identifier, "Name in a request."),
    "LabelTexts": (Labels, "Short texts by name."),
    "Length": (Length, "Length of zero or more, mm."),
    "MachineEntry": (MachineEntry, "Machine, or a reference to one."),
    "MachineSide": (MachineSide, "End turned to the spindle."),
    "Material": (Material, "Material of a component."),
    "Operations": (Operations, "Operations of a stack."),
    "Picture": (PictureName, "Picture of a stack."),
    "PartSource": (PartSource, "Where a reference finds its component."),
    "Reading": (Reading, "Reading of zero or more, µm."),
    "SignedReading": (SignedReading, "Reading of an indicator, µm."),
    "PositiveLength": (PositiveLength, "Length above zero, mm."),
    "Profile": (Profile, "Outline in pieces."),
    "RankCriterion": (RankCriterion, "Criterion of a ranking."),
    "RequirementName": (RequirementName, "What a gate requires to be stated."),
    "RunoutCharacter": (RunoutCharacter, "Meaning of a single runout statement."),
    "RunoutLaw": (RunoutLaw, "Meaning of runout values."),
    "RunoutPlane": (RunoutPlane, "Plane of a runout limit."),
    "Section": (Section, "Section of a report."),
    "Sha256": (Sha256, "SHA-256, 64 lower-case hexadecimal digits."),
    "ShankForm": (ShankForm, "Form of a straight shank."),
    "SpindleSide": (SpindleSide, "Taper of a spindle."),
    "Standard": (Standard, "Version of the MTConnect standard."),
    "StackEntry": (StackEntry, "Component of a stack, or a reference to one."),
    "States": (Status, "States of a part in tool management."),
    "SteepTaperForm": (SteepTaperForm, "Form of a steep taper by its standard."),
    "Text": (Text, "One line of text."),
    "Token": (Token, "Designation of a shop or a standard, compared letter by letter."),
    "ToleranceClass": (
        ToleranceClass,
        "ISO 286 class: lower-case letter for a shank, capital for a bore.",
    ),
    "UnitSystem": (UnitSystem, "Units of what people read."),
    "Verdict": (Verdict, "Verdict on a stack."),
    "WorkMaterial": (WorkMaterial, "Group of the table of work materials."),
    "WorkpieceSide": (WorkpieceSide, "End turned to the workpiece."),
}
"""Types of fields by the name of their component, with its description.

Other lists of values are named after their field.
"""


def _named() -> Iterator[tuple[str, dict[str, Any]]]:
    for name, (kind, description) in _NAMED.items():
        schema = TypeAdapter(kind).json_schema(ref_template=_REF)
        schema.pop("$defs", None)
        _spell_maps(schema)
        yield name, {"description": description, **schema}


_ORDER: Final = ("openapi", "info", "servers", "security", "tags", "paths", "components")


_LONGEST_ANSWER: Final = 650
"""Characters of an answer that the document shows itself; a longer one it refers to."""


def describe(app: FastAPI) -> tuple[dict[str, Any], dict[str, str]]:
    """The OpenAPI 3.1 document of this app, and the long answers that it refers to, by their paths beside it."""
    for router in app.state.routers:
        for route in router.routes:
            made_now(route.responses if isinstance(route, APIRoute) else {})
    document = get_openapi(
        title="stackgauge",
        version=CONTRACT,
        openapi_version="3.1.0",
        description=_ABOUT,
        routes=app.routes,
        tags=_TAGS,
        servers=_SERVERS,
    )
    schemas: dict[str, Any] = document["components"]["schemas"]
    for name, schema in _own_schemas():
        if schemas.setdefault(name, schema) != schema:
            raise ValueError(f"two different schemas are named {name}")
    answers: dict[str, str] = {}
    for path, operation in _operations(document):
        _drop_framework_errors(operation)
        answers.update(_unpack_examples(path, operation))
        describe_headers(operation)
        describe_deprecation(operation)
    # access problems come before the route, so they are added last
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
    drop_titles_and_nulls(document)
    describe_fields(document)
    share(document, dict(_named()))
    share_fields(document)
    lead_with_the_kind(document)
    prune(document)
    return {name: document[name] for name in sorted(document, key=_ORDER.index)}, answers


def as_text(document: dict[str, Any]) -> str:
    """The document as stored: what is short on one line, so that a diff shows the fields that changed."""
    return _in_lines(document) + "\n"


_WIDTH: Final = 400


def _in_lines(node: Any, at: tuple[str, ...] = ()) -> str:
    line = json.dumps(node, ensure_ascii=False, separators=(",", ":"))
    # the examples are files too, indented there; elsewhere spaces would be a twentieth of the document
    if len(line) <= _WIDTH or not isinstance(node, (dict, list)) or (at[:2] == ("components", "examples") and at[2:]):
        return line
    if isinstance(node, dict):
        inner = [f"{json.dumps(key)}:{_in_lines(one, (*at, key))}" for key, one in node.items()]
    else:
        inner = [_in_lines(one, (*at, "")) for one in node]
    opening, closing = "{}" if isinstance(node, dict) else "[]"
    return f"{opening}\n" + ",\n".join(inner) + f"\n{closing}"


def _own_schemas() -> Iterator[tuple[str, Any]]:
    """Schemas of bodies that the routes parse and serialise themselves."""
    for model in _REQUESTS:
        request = model.model_json_schema(ref_template=_REF)
        definitions = request.pop("$defs")
        yield model.__name__, request
        yield from definitions.items()
    problem = Problem.model_json_schema(ref_template=_REF)
    yield from problem.pop("$defs").items()
    yield "Problem", problem


def _operations(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for path, item in document["paths"].items():
        for operation in item.values():
            yield path, operation


def _drop_framework_errors(operation: dict[str, Any]) -> None:
    """Remove the framework's own 422 response, which no route returns."""
    if "HTTPValidationError" in json.dumps(operation["responses"].get("422", {})):
        del operation["responses"]["422"]


def _spell_maps(node: Any) -> None:
    """Rewrite a single ``patternProperties`` as ``propertyNames`` with ``additionalProperties``.

    Both mean the same, but client generators treat the former as an object without fields and drop its content.
    """
    inner = node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    for one in inner:
        _spell_maps(one)
    if isinstance(node, dict) and node.get("additionalProperties") is False:
        patterns = node.get("patternProperties")
        if isinstance(patterns, dict) and len(patterns) == 1 and "properties" not in node:
            ((pattern, value),) = node.pop("patternProperties").items()
            node |= {"propertyNames": {"pattern": pattern}, "additionalProperties": value}


_MORE: Final = "Later releases may add values; accept any."


def _tell_open_lists(node: Any) -> None:
    """Say beside every list of known values that it is open, with the description of the field."""
    if isinstance(node, dict) and KNOWN_VALUES in node:
        node["description"] = f"{node['description']} {_MORE}" if "description" in node else _MORE
    inner = node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    for one in inner:
        _tell_open_lists(one)


def _unpack_examples(path: str, operation: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Parse the examples of :func:`service.http.answers.shown`, and take out those that are long."""
    for response in operation["responses"].values():
        for media_type, content in response.get("content", {}).items():
            for name, example in content.get("examples", {}).items():
                text = example["value"]
                if not isinstance(text, str):
                    continue
                if media_type == JSON and len(text) > _LONGEST_ANSWER:
                    del example["value"]
                    example["externalValue"] = f"examples/{route_name(path)}/{name}.answer.json"
                    yield example["externalValue"], text
                else:
                    example["value"] = json.loads(text)
