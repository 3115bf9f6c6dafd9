"""Problem details of RFC 9457: the body of every error response."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

from rules.schema.parsing import BadRequestError, Fault, FaultCode, sayable
from rules.schema.short_form import NotYAMLError
from rules.schema.strict_json import NotJSONError
from service.contract import PROBLEM_BASE, PROBLEM_MEDIA_TYPE, Problem, ProblemPart

if TYPE_CHECKING:
    from fastapi import Request, Response
    from starlette.exceptions import HTTPException

    from rules.search.search import ContinuationError

__all__ = [
    "KINDS",
    "NOTES",
    "PROBLEM_MEDIA_TYPE",
    "REQUEST_ID",
    "Problem",
    "ProblemError",
    "ProblemKind",
    "ProblemPart",
    "allowed_methods",
    "answer",
    "from_http_error",
    "invalid_query",
    "invalid_request",
    "not_json",
    "not_yaml",
    "note",
    "stale_continuation",
]

MAX_PARTS: Final = 50
"""Most faults listed in one response."""

_MAX_INSTANCE: Final = 256
_FAULTS_IN_DETAIL: Final = 5

NOTES: Final = "stackgauge.notes"
"""Key in the request scope for notes to the log line."""

REQUEST_ID: Final = "stackgauge.request_id"
"""Key in the request scope for the request's identifier."""


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """A problem type: name in the ``type`` URI, HTTP status, title and remedy."""

    name: str
    status: int
    title: str
    remedy: str

    @property
    def type(self) -> str:
        """URI of the problem type, the same in every installation."""
        return PROBLEM_BASE + self.name


_ALL: Final = (
    ProblemKind(
        "malformed-document",
        400,
        "The document cannot be read",
        "Send well-formed XML, CSV or YAML in UTF-8, without document type declaration, anchors and tags.",
    ),
    ProblemKind(
        "malformed-gzip",
        400,
        "The body is not gzip",
        "Send complete gzip (RFC 1952), or send the body without Content-Encoding.",
    ),
    ProblemKind("malformed-json", 400, "The body is not JSON", "Send one JSON value (RFC 8259) in UTF-8."),
    ProblemKind(
        "token-needed",
        401,
        "Valid token required",
        "Send the header 'Authorization: Bearer TOKEN' with a token from the service operator.",
    ),
    ProblemKind("not-found", 404, "Not found", "See the OpenAPI document for valid paths."),
    ProblemKind("method-not-allowed", 405, "Method not allowed", "Use a method listed in the Allow header."),
    ProblemKind("not-acceptable", 406, "No acceptable media type", "Accept a media type named in the detail."),
    ProblemKind("slow-body", 408, "Timed out reading the request body", "Send the request again without pauses."),
    ProblemKind(
        "stale-continuation",
        409,
        "The continuation does not belong to the request",
        "Send the previous page's request with its token, or start over without a token.",
    ),
    ProblemKind(
        "line-too-long", 413, "The line is too long", "Shorten the line, or ask the operator to raise the limit."
    ),
    ProblemKind("too-many-lines", 413, "The batch has too many lines", "Send the remaining lines as another batch."),
    ProblemKind(
        "body-too-large", 413, "The body is too large", "Send a smaller body, or ask the operator to raise the limit."
    ),
    ProblemKind(
        "unsupported-media-type",
        415,
        "Unsupported media type",
        "Send a media type named in the detail, in UTF-8, plain or in gzip.",
    ),
    ProblemKind("unknown-host", 421, "Unknown host name", "Use an allowed host name."),
    ProblemKind(
        "too-much-work",
        422,
        "The request needs too much computation",
        "Send fewer stacks or planes. Leave out negligible contributors: values many powers of ten apart take the"
        " most computation.",
    ),
    ProblemKind("invalid-request", 422, "The request is invalid", "Fix the fields listed under errors."),
    ProblemKind(
        "internal-fault",
        500,
        "Internal error",
        "Report it to the operator with the X-Request-ID; the log has the details.",
    ),
    ProblemKind(
        "took-too-long", 503, "Computation timed out", "Try again later, or send less at once; send a batch as lines."
    ),
    ProblemKind("too-busy", 503, "Too many concurrent requests", "Try again later. Single checks are still accepted."),
    ProblemKind("not-ready", 503, "The service is not ready", "Try again later."),
)

KINDS: Final[Mapping[str, ProblemKind]] = MappingProxyType({kind.name: kind for kind in _ALL})
"""Problem types by name."""

# Of several types with one status, the last is the general one.
_BY_STATUS: Final = {kind.status: kind for kind in _ALL}


class ProblemError(Exception):
    """Ends a request with a problem."""

    def __init__(
        self,
        name: str,
        detail: str,
        *,
        parts: Iterable[ProblemPart] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.kind = KINDS[name]
        self.detail = detail
        self.parts = tuple(parts)
        self.headers = dict(headers or {})

    def __reduce__(self) -> tuple[Callable[..., ProblemError], tuple[Any, ...]]:
        return _same_problem, (self.kind.name, self.detail, self.parts, self.headers)

    def problem(self, path: str | None = None, request_id: str | None = None) -> Problem:
        """The problem document for a request to this path with this identifier."""
        instance = quote(path, errors="replace") if path is not None else None
        return Problem(
            type=self.kind.type,
            code=self.kind.name,
            title=self.kind.title,
            status=self.kind.status,
            detail=self.detail,
            instance=instance if instance is not None and len(instance) <= _MAX_INSTANCE else None,
            request_id=request_id,
            errors=list(self.parts[:MAX_PARTS]) or None,
        )


def _same_problem(name: str, detail: str, parts: tuple[ProblemPart, ...], headers: Mapping[str, str]) -> ProblemError:
    """The problem that another process has raised."""
    return ProblemError(name, detail, parts=parts, headers=headers)


def invalid_request(error: BadRequestError) -> ProblemError:
    """The problem for a readable but invalid body."""
    count = len(error.faults)
    detail = "The request has 1 fault." if count == 1 else f"The request has {count} faults."
    if count > MAX_PARTS:
        detail += f" The first {MAX_PARTS} are listed."
    return ProblemError("invalid-request", detail, parts=map(_part, error.faults))


def stale_continuation(error: ContinuationError) -> ProblemError:
    """The problem for a token of another request, rulebook or version."""
    (fault,) = error.faults
    return ProblemError(
        "stale-continuation", f"The continuation cannot be used: {fault.detail}.", parts=map(_part, error.faults)
    )


def not_json(error: NotJSONError, *, line: int | None = None) -> ProblemError:
    """The problem for a body, or one line of a batch, that is not JSON."""
    what, place = ("body", error.line) if line is None else ("line", line)
    at = [] if error.pointer is None else [error.pointer]
    part = ProblemPart(code=error.code, detail=error.detail, at=at, line=place, column=error.column)
    return ProblemError("malformed-json", f"The {what} is not valid JSON: {error.detail}.", parts=[part])


def not_yaml(error: NotYAMLError) -> ProblemError:
    """The problem for a body that is not YAML of plain values."""
    part = ProblemPart(code=error.code, detail=error.detail, at=[], line=error.line, column=error.column)
    return ProblemError("malformed-document", f"The body is not plain YAML: {error.detail}.", parts=[part])


def from_http_error(error: HTTPException) -> ProblemError:
    """The problem for an error that the framework raised in routing."""
    if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        listed = allowed_methods(error)
        return ProblemError("method-not-allowed", f"Allowed methods: {listed}.", headers={"Allow": listed})
    if error.status_code == HTTPStatus.NOT_FOUND:
        return ProblemError("not-found", "No such path.")
    kind = _BY_STATUS.get(error.status_code, KINDS["internal-fault"])
    return ProblemError(kind.name, f"{kind.title}.")


def allowed_methods(error: HTTPException) -> str:
    """The Allow header for a path that the framework found without this method; every path has OPTIONS."""
    allowed = {name.strip() for name in (error.headers or {}).get("Allow", "").split(",")} | {"OPTIONS"}
    if "GET" in allowed:
        allowed.add("HEAD")
    return ", ".join(sorted(filter(None, allowed)))


def invalid_query(faults: Sequence[tuple[str, FaultCode, str]]) -> ProblemError:
    """The problem for an invalid query: parameter, code and message of each fault."""
    parts = [
        ProblemPart(code=code, detail=detail, at=[], parameter=name if sayable(name) else None)
        for name, code, detail in faults
    ]
    listed = "; ".join(f"{part.parameter or 'query'}: {part.detail}" for part in parts[:_FAULTS_IN_DETAIL])
    return ProblemError("invalid-request", f"Query parameters are invalid: {listed}.", parts=parts)


def note(error: ProblemError, request: Request) -> None:
    """Record the problem for the log line and the metrics of the request."""
    request.scope.get(NOTES, {})["problem"] = error.kind.name


def answer(error: ProblemError, request: Request) -> Response:
    """The HTTP response."""
    from starlette.responses import Response

    note(error, request)
    body = error.problem(request.url.path, request.scope.get(REQUEST_ID)).model_dump_json(exclude_none=True)
    headers = {"Vary": "Accept", "Cache-Control": "no-store", **error.headers}
    return Response(body, error.kind.status, headers, media_type=PROBLEM_MEDIA_TYPE)


def _part(fault: Fault) -> ProblemPart:
    return ProblemPart(code=fault.code, detail=fault.detail, at=[fault.pointer], line=fault.line, column=fault.column)
