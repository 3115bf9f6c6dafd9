"""Every answer that is no success, in the one shape of RFC 9457."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from http import HTTPStatus
from types import MappingProxyType
from typing import Final
from urllib.parse import quote

from fastapi import Request, Response
from starlette.exceptions import HTTPException

from rules.schema.parsing import BadRequestError, Fault
from rules.schema.strict_json import NotJSONError
from rules.search.search import ContinuationError
from service.contract import PROBLEM_MEDIA_TYPE, Problem, ProblemPart

__all__ = [
    "KINDS",
    "NOTES",
    "PROBLEM_MEDIA_TYPE",
    "Problem",
    "ProblemError",
    "ProblemKind",
    "ProblemPart",
    "answer",
    "from_http_error",
    "invalid_request",
    "not_json",
    "note",
    "stale_continuation",
]

MAX_PARTS: Final = 50
"""Faults listed in one answer; a request with more of them is better mended in rounds."""

_MAX_INSTANCE: Final = 256

NOTES: Final = "stackgauge.notes"
"""Key in the scope of a request under which its log line takes notes."""


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """A kind of problem: its name in the ``type``, HTTP status, title, and what to do about it."""

    name: str
    status: int
    title: str
    remedy: str

    @property
    def type(self) -> str:
        """URI reference; it is served and says what is said here."""
        return f"/problems/{self.name}"


_ALL: Final = (
    ProblemKind(
        "malformed-document",
        400,
        "The document cannot be read",
        "Send well-formed XML or CSV in UTF-8, without a document type declaration.",
    ),
    ProblemKind("malformed-json", 400, "The body is not JSON", "Send one JSON value (RFC 8259) in UTF-8."),
    ProblemKind(
        "token-needed",
        401,
        "A valid token is needed",
        "Send the header 'Authorization: Bearer TOKEN' with a token that the operator gave you.",
    ),
    ProblemKind("not-found", 404, "There is nothing here", "See the OpenAPI document for the paths."),
    ProblemKind("method-not-allowed", 405, "The method is not allowed here", "Use a method named in Allow."),
    ProblemKind("not-acceptable", 406, "No acceptable media type", "Accept a media type that the detail names."),
    ProblemKind("slow-body", 408, "The body came too slowly", "Send it again, in one go."),
    ProblemKind(
        "stale-continuation",
        409,
        "The continuation does not belong to the request",
        "Send the request of the page before with its token unchanged, or begin anew without a token.",
    ),
    ProblemKind(
        "line-too-long", 413, "The line is too long", "Shorten the line, or have the operator raise the limit."
    ),
    ProblemKind("too-many-lines", 413, "The batch has too many lines", "Send the rest as a batch of its own."),
    ProblemKind("body-too-large", 413, "The body is too large", "Send less, or have the operator raise the limit."),
    ProblemKind(
        "unsupported-media-type",
        415,
        "The media type is not supported",
        "Send application/json in UTF-8, without a content coding.",
    ),
    ProblemKind(
        "unknown-host", 421, "The service is not known by this name", "Ask under a name that the operator has allowed."
    ),
    ProblemKind(
        "too-much-work",
        422,
        "The request would take too long",
        "Ask for fewer stacks or planes at once. Contributors that differ by many powers of ten cost most: leave out"
        " those too small to matter.",
    ),
    ProblemKind("invalid-request", 422, "The request breaks the contract", "Mend the places named under errors."),
    ProblemKind("internal-fault", 500, "The service failed", "Report it with the request; the log has the details."),
    ProblemKind(
        "took-too-long", 503, "The answer took too long", "Ask again later, or for less at once; send a batch as lines."
    ),
    ProblemKind(
        "too-busy", 503, "Too many requests at once", "Ask again later; ordinary single checks are answered meanwhile."
    ),
    ProblemKind("not-ready", 503, "The service is not ready", "Ask again later."),
)

KINDS: Final[Mapping[str, ProblemKind]] = MappingProxyType({kind.name: kind for kind in _ALL})
"""Every kind of problem by name."""

# Of kinds with one status, the last is the general one.
_BY_STATUS: Final = {kind.status: kind for kind in _ALL}


class ProblemError(Exception):
    """Raised anywhere in a request to end it with a problem."""

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

    def problem(self, path: str | None = None) -> Problem:
        """The problem as answered, for a request of this path."""
        instance = quote(path, errors="replace") if path is not None else None
        return Problem(
            type=self.kind.type,
            title=self.kind.title,
            status=self.kind.status,
            detail=self.detail,
            instance=instance if instance is not None and len(instance) <= _MAX_INSTANCE else None,
            errors=list(self.parts[:MAX_PARTS]) or None,
        )


def invalid_request(error: BadRequestError) -> ProblemError:
    """A body that can be read and breaks the contract."""
    count = len(error.faults)
    detail = "One thing is wrong with the request." if count == 1 else f"{count} things are wrong with the request."
    if count > MAX_PARTS:
        detail += f" The first {MAX_PARTS} are listed."
    return ProblemError("invalid-request", detail, parts=map(_part, error.faults))


def stale_continuation(error: ContinuationError) -> ProblemError:
    """A token that is not of this request, these rules and this version."""
    (fault,) = error.faults
    return ProblemError(
        "stale-continuation", f"The continuation can't be used: {fault.detail}.", parts=map(_part, error.faults)
    )


def not_json(error: NotJSONError, *, line: int | None = None) -> ProblemError:
    """A body that can't be read; or one line of it, where each line is a JSON value of its own."""
    where = None if error.pointer is None else _fragment(error.pointer)
    what, place = ("body", error.line) if line is None else ("line", line)
    part = ProblemPart(detail=error.detail, pointer=where, line=place, column=error.column)
    known = place is not None or error.pointer is not None
    return ProblemError("malformed-json", f"The {what} can't be read: {error.detail}.", parts=[part] if known else [])


def from_http_error(error: HTTPException) -> ProblemError:
    """A problem for an error that the framework raised while looking for a route."""
    if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        allowed = {name.strip() for name in (error.headers or {}).get("Allow", "").split(",")}
        if "GET" in allowed:
            allowed.add("HEAD")
        listed = ", ".join(sorted(allowed))
        return ProblemError("method-not-allowed", f"This path answers {listed}.", headers={"Allow": listed})
    if error.status_code == HTTPStatus.NOT_FOUND:
        return ProblemError("not-found", "Nothing lies at this path.")
    kind = _BY_STATUS.get(error.status_code, KINDS["internal-fault"])
    return ProblemError(kind.name, f"{kind.title}.")


def note(error: ProblemError, request: Request) -> None:
    """Have the log line and the counts of this request name the problem."""
    request.scope.get(NOTES, {})["problem"] = error.kind.name


def answer(error: ProblemError, request: Request) -> Response:
    """The HTTP answer."""
    note(error, request)
    body = error.problem(request.url.path).model_dump_json(exclude_none=True)
    headers = {"Vary": "Accept", "Cache-Control": "no-store", **error.headers}
    return Response(body, error.kind.status, headers, media_type=PROBLEM_MEDIA_TYPE)


def _part(fault: Fault) -> ProblemPart:
    return ProblemPart(detail=fault.detail, pointer=_fragment(fault.pointer), line=None, column=None)


def _fragment(pointer: str) -> str:
    # The characters a fragment may hold as they are (RFC 3986, section 3.5).
    return "#" + quote(pointer, safe="/~!$&'()*+,;=:@?-._", errors="replace")
