"""What the OpenAPI document says of problems, each shown as it is really answered."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType
from typing import Any, Final

from rules.schema.parsing import BadRequestError, Fault
from rules.schema.strict_json import NotJSONError
from rules.search.search import ContinuationError
from service.operations.problems import (
    KINDS,
    PROBLEM_MEDIA_TYPE,
    ProblemError,
    invalid_request,
    not_json,
    stale_continuation,
)

__all__ = ["responses"]

_FAULTS: Final = (
    Fault("/operation/runout_limit", "unknown field; did you mean 'runout_limit_um'?"),
    Fault("/stack/components/2/machine_side/diameter_mm", "must be greater than 0"),
)

_OCCURRENCES: Final = MappingProxyType(
    {
        "malformed-json": not_json(NotJSONError("expecting ':' delimiter", line=3, column=12)),
        "malformed-document": ProblemError(
            "malformed-document", "The document can't be read: a document type declaration is not allowed."
        ),
        "not-found": ProblemError("not-found", "No rule has this code; GET /v1/rules lists them."),
        "not-acceptable": ProblemError("not-acceptable", "Only application/json can be given here."),
        "body-too-large": ProblemError("body-too-large", "A body may hold 524288 bytes."),
        "unsupported-media-type": ProblemError(
            "unsupported-media-type", "The body must be declared as application/json in UTF-8."
        ),
        "invalid-request": invalid_request(BadRequestError(_FAULTS)),
        "stale-continuation": stale_continuation(ContinuationError("this is no token of a search")),
        "internal-fault": ProblemError("internal-fault", "The request could not be answered; the log has the details."),
        "too-much-work": ProblemError(
            "too-much-work",
            "The request asks for more than 500000000 steps of computation; it was given up, and nothing of it is"
            " answered.",
        ),
        "took-too-long": ProblemError(
            "took-too-long", "No answer was found within 30 s; it was given up, and nothing of it is answered."
        ),
        "token-needed": ProblemError("token-needed", "The request carries no bearer token."),
        "slow-body": ProblemError("slow-body", "The body was not there within 30 s."),
        "too-busy": ProblemError("too-busy", "8 batches are being answered at the moment."),
        "not-ready": ProblemError("not-ready", "The service can't judge at the moment."),
    }
)


def responses(*names: str) -> dict[int | str, dict[str, Any]]:
    """The OpenAPI answers for these kinds of problem; kinds of one status share an answer."""
    by_status: dict[int, list[str]] = {}
    for name in names:
        by_status.setdefault(KINDS[name].status, []).append(name)
    return {status: _response(alike) for status, alike in by_status.items()}


def _response(names: Sequence[str]) -> dict[str, Any]:
    examples = {name: {"value": _OCCURRENCES[name].problem().model_dump(exclude_none=True)} for name in names}
    return {
        "description": " Or: ".join(f"{KINDS[name].title}. {KINDS[name].remedy}" for name in names),
        "content": {
            PROBLEM_MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}, "examples": examples},
        },
    }
