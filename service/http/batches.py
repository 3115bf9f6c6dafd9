"""``POST /v1/check-batches``: checks of many stacks."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Query, Request, Response

from rules.assessor import Assessor
from rules.schema.request import Section
from rules.schema.strict_json import parse_json
from service.batch.document import MAX_STACKS, PATH, STREAMS, BatchReport, BatchRequest, answer_document
from service.batch.lines import LineAnswer, Shared
from service.batch.pool import Pool
from service.batch.stream import INLINE_LINES, LineStream, answered
from service.examples import BATCH_EXAMPLES, BATCH_LINES
from service.http.answers import JSON, Later, require_acceptable, require_body
from service.http.problem_answers import responses
from service.operations.heavy_work import Admission, HeavyWork
from service.operations.process import Shutdown
from service.operations.settings import Settings

__all__ = ["check_batches_router"]

_ABOUT: Final = f"""\
Check many stacks. Each report is identical to that of a single check.

As `application/json`: up to {MAX_STACKS} stacks in one document, with shared definitions.

As `application/x-ndjson` or `application/jsonl`: any number of lines, answered in order as they arrive. A line is a
check request, a stack (the object under `stack`) or definitions. Definitions are an object without `stack`; its
`components`, `machine`, `gauge_plane`, `operations`, `policy` and `include` apply to the lines that follow. A line's
own fields replace the shared ones; components merge by key. An empty list in `include` gives short verdicts. The answer
of an import is definitions, too.

In both forms an invalid component is set aside: only stacks that refer to it are not judged (REF-050, never a pass).
`invalid_parts` of the summary has it once, with its reason. In lines it is also the problem of its line.

Each result has `type` (`report`, `verdict` or `problem`), `line` and the caller's `id` of the stack. An invalid stack
is a problem among the results and does not affect the others. Definitions and blank lines are counted only. The last
line has the type `end` and the `summary`; if it is missing, the response is incomplete.

Stateless and safe to retry; identical requests return identical bytes.
"""

# No type: any bytes are valid here, since each line has its own result.
_LINES_IN: Final[dict[str, Any]] = {"description": "JSON objects, one per line."}
_NO_SECTIONS: Final[Mapping[str, list[Section] | None]] = MappingProxyType({"true": [], "false": None})

_LINES_OUT: Final[dict[str, Any]] = {"type": "string", "description": "JSON objects, one per line."}


def check_batches_router(
    assessor: Assessor,
    pool: Pool,
    settings: Settings,
    told: Callable[[Sequence[LineAnswer]], None] | None = None,
    shutdown: Shutdown | None = None,
) -> APIRouter:
    """The router; the pool judges large batches, and at a shutdown batches of lines end early."""
    router = APIRouter(tags=["checks"])
    admission = Admission(settings.max_batches)
    requests = {name: {"summary": one.summary, "value": one.request} for name, one in BATCH_EXAMPLES.items()}
    lines = {"lines": {"summary": "The same as lines, with one invalid line", "value": BATCH_LINES}}

    def document(data: Any, brief: bool = False, asked: bool = False) -> bytes:
        judging = assessor if asked else assessor.for_examples()
        return answer_document(data, judging, pool, INLINE_LINES, told if asked else None, brief=brief)

    def answer_of(request: Any) -> Later:
        return Later(lambda: document(request).decode())

    answers = {name: {"summary": one.summary, "value": answer_of(one.request)} for name, one in BATCH_EXAMPLES.items()}
    few = Later(lambda: json.dumps(answered(assessor.for_examples(), BATCH_LINES.encode()).decode()))
    answer_lines = {"lines": {"summary": "Short verdicts, a problem and the end", "value": few}}
    known: dict[int | str, dict[str, Any]] = {
        200: {
            "content": {
                JSON: {"examples": answers},
                **{name: {"schema": _LINES_OUT, "examples": answer_lines} for name in STREAMS},
            }
        },
        **responses(
            "malformed-json",
            "malformed-gzip",
            "not-acceptable",
            "body-too-large",
            "unsupported-media-type",
            "invalid-request",
            "internal-fault",
            "too-busy",
            "took-too-long",
        ),
    }
    schema = {"$ref": f"#/components/schemas/{BatchRequest.__name__}"}
    bodies = {
        JSON: {"schema": schema, "examples": requests},
        **{name: {"schema": _LINES_IN, "examples": lines} for name in STREAMS},
    }

    @router.post(
        PATH,
        operation_id="check_stacks",
        summary="Check many stacks",
        description=_ABOUT,
        response_model=BatchReport,
        response_description="All stacks were evaluated; see each verdict.",
        responses=known,
        openapi_extra={"requestBody": {"required": True, "content": bodies}},
    )
    async def check_stacks(
        request: Request,
        brief: Annotated[
            Literal["true", "false"],
            Query(description="'true' for short verdicts of stacks without an `include`.", examples=["true"]),
        ] = "false",
    ) -> Response:
        require_acceptable(request, (JSON, *STREAMS))
        sent = require_body(request, (JSON, *STREAMS))
        if sent in STREAMS:
            chosen = require_acceptable(request, (sent, *(name for name in STREAMS if name != sent)))
            return LineStream(
                assessor, pool, settings, admission, Shared(include=_NO_SECTIONS[brief]), chosen, told, shutdown
            )
        require_acceptable(request)
        body = await request.body()
        admission.enter()
        content = await HeavyWork.of(request).in_thread(
            request, lambda: document(parse_json(body), brief == "true", asked=True), admission.leave
        )
        headers = {"Cache-Control": "no-store", "Vary": "Accept"}
        return Response(content, headers=headers, media_type=JSON)

    return router
