"""Lines of JSON judged: each answered with a report, a verdict or a problem, whatever the others are.

A line is one of

- the request of a check, as ``POST /v1/checks`` takes it: ``{"stack": {…}, "operation": {…}, …}``;
- a stack alone, as it stands under ``stack`` there: ``{"id": "T-1", "components": […], "joints": […]}``;
- definitions, an object without ``stack``: ``{"components": {"LK-40": {…}}, "machine": {…}}``. Their components,
  operation, machine and policy hold for the lines that follow, see :class:`~service.bulk.shared.Shared`.
  They are not answered, unless something is wrong with them;
- blank: counted and not answered.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Sequence
from typing import Any, Final, NamedTuple

from pydantic_core import to_json

from rules.assessor import Assessor
from rules.quantities.work_limit import TooMuchWorkError
from rules.schema.parsing import BadRequestError, parse, parse_request
from rules.schema.report import Report, Verdict
from rules.schema.request import CheckRequest, Stack
from rules.schema.strict_json import NotJSONError, parse_json
from service.bulk.shared import Shared
from service.contract.batches import Include
from service.operations.problems import ProblemError, invalid_request, not_json

__all__ = ["Include", "LineAnswer", "Shared", "after", "answer_lines", "is_blank", "judge_all", "problem_answer"]

_LOG = logging.getLogger("stackgauge")

_SHARED_FIELDS: Final = ("components", "operation", "machine", "policy")
_BOM: Final = b"\xef\xbb\xbf"
_WRONG_POLICY: Final = "The policy that an earlier line set can't be applied: {}."
_SURELY_A_REQUEST: Final = re.compile(rb'\s*\{\s*"stack"\s*:')


class LineAnswer(NamedTuple):
    """The answer to one line, with what a summary counts."""

    number: int
    """Number of the line, from 1."""
    text: bytes
    """One JSON object, without a newline."""
    verdict: Verdict | None = None
    """None for a line that is answered with a problem."""
    codes: tuple[str, ...] = ()
    """Codes of the findings, each once."""
    undecided: tuple[str, ...] = ()
    """Codes of the rules that could not be decided, each once."""
    p95_um: float | None = None
    """Runout that 95 % of the assemblies stay below at the gauge plane; None unless every contributor is known."""
    stack: str | None = None
    """The caller's name for the stack."""


def answer_lines(
    assessor: Assessor, first: int, lines: Sequence[bytes], shared: Shared, include: Include
) -> list[LineAnswer]:
    """Answer consecutive lines, the first of which has this number, with these defaults before it.

    The answers stand in the order of the lines. Never raises for what a line holds.
    """
    requests: dict[int, CheckRequest] = {}
    borrowing: set[int] = set()
    answers: dict[int, LineAnswer] = {}
    for number, line in enumerate(lines, first):
        if is_blank(line):
            continue
        try:
            value = parse_json(line)
            if _sets_defaults(value):
                shared = shared.taking(value)
                continue
            request = _request(value)
            requests[number] = shared.filled(request)
            if "policy" not in request.model_fields_set:
                borrowing.add(number)
        except NotJSONError as error:
            answers[number] = problem_answer(number, not_json(error, line=number))
        except BadRequestError as error:
            answers[number] = problem_answer(number, invalid_request(error))
    for number, judged in zip(requests, judge_all(assessor, list(requests.values())), strict=True):
        if isinstance(judged, BadRequestError) and number in borrowing:
            # Its pointers lead into a line that was taken before.
            answers[number] = problem_answer(number, ProblemError("invalid-request", _WRONG_POLICY.format(judged)))
        else:
            answers[number] = _answer(number, judged, include)
    return [answers[number] for number in sorted(answers)]


def judge_all(assessor: Assessor, requests: Sequence[CheckRequest]) -> list[Report | Exception]:
    """Judge requests, none of them disturbing another: a report each, or what was raised instead."""
    judged: list[Report | Exception] = []
    for request in requests:
        try:
            judged.append(assessor.assess(request))
        except TooMuchWorkError:
            raise  # nobody waits for the others any more
        except Exception as error:  # the others shall have their reports
            judged.append(error)
    return judged


def after(line: bytes, shared: Shared) -> Shared | None:
    """The defaults behind this line; None unless it sets some. What is wrong with it is told by its answer alone."""
    if _SURELY_A_REQUEST.match(line):
        return None
    try:
        value = parse_json(line)
        return shared.taking(value) if _sets_defaults(value) else None
    except (NotJSONError, BadRequestError):
        return None


def is_blank(line: bytes) -> bool:
    """Whether a line holds nothing but white space of JSON, or a byte order mark."""
    return not line.removeprefix(_BOM).strip(b" \t\r\n")


def problem_answer(number: int, problem: ProblemError) -> LineAnswer:
    """The answer to a line that can't be judged."""
    return LineAnswer(
        number, _object(number, b'"problem":' + problem.problem().model_dump_json(exclude_none=True).encode())
    )


def _sets_defaults(value: Any) -> bool:
    return (
        isinstance(value, dict)
        and "stack" not in value
        and not isinstance(value.get("components"), list)
        and any(name in value for name in _SHARED_FIELDS)
    )


def _request(value: Any) -> CheckRequest:
    if isinstance(value, dict) and "stack" not in value and isinstance(value.get("components"), list):
        return CheckRequest(stack=parse(Stack, value))
    return parse_request(value)


def _answer(number: int, judged: Report | Exception, include: Include) -> LineAnswer:
    if isinstance(judged, BadRequestError):
        return problem_answer(number, invalid_request(judged))
    if isinstance(judged, Exception):
        _LOG.error("unhandled fault while judging line %d of a batch", number, exc_info=judged)
        detail = "The stack could not be judged; the log has the details."
        return problem_answer(number, ProblemError("internal-fault", detail))
    plane = judged.runout.gauge_plane if judged.runout.complete else None
    codes = tuple(dict.fromkeys(finding.code for finding in judged.findings))
    undecided = tuple(dict.fromkeys(gap.code for gap in judged.undecided))
    p95_um = None if plane is None else plane.p95_um
    if include == "reports":
        body = b'"report":' + to_json(judged)
    else:
        short = {
            "stack": judged.stack,
            "verdict": judged.verdict,
            "summary": judged.summary,
            "codes": codes,
            "undecided": undecided,
            "gauge_plane_p95_um": p95_um,
        }
        body = to_json(short)[1:-1]
    return LineAnswer(number, _object(number, body), judged.verdict, codes, undecided, p95_um, judged.stack)


def _object(number: int, members: bytes) -> bytes:
    return b'{"line":%d,%s}' % (number, members)
