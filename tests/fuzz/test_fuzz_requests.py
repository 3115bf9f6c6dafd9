"""Any bytes as a request give a valid request or a fault with its place, nothing else."""

from __future__ import annotations

import json
from typing import Any, Final

from rules.assessor import Assessor
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.strict_json import NotJSONError, parse_json
from service.batch.lines import Shared, answer_lines
from service.batch.stream import LineSplitter
from service.examples import EXAMPLES
from tests.fuzz.damage import damaged, fuzzed
from tests.support.stacks import assessor

_REQUESTS: Final = [json.dumps(one.request).encode() for one in EXAMPLES.values()]
_WORDS: Final = [
    b"{}", b"[]", b"{", b"}", b"[", b"]", b":", b",", b"null", b"true", b"NaN", b'"\\ud800"', b'"stack":', b'"kind":',
    b'"reference"', b'"of":', b'"machine_side":', b'"1/4 in"', b'"0.75 in"', b'"policy":{"thresholds":{}}',
]  # fmt: skip
_LINES: Final = [
    b"\n".join(
        [*_REQUESTS, b"", b'{"components": {}}', b'{"machine": {"kind": "stated", "id": "mill 3"}}', _REQUESTS[0]]
    ),
    b'{"components": {"a": {"kind": "reference", "of": {"from": "request", "key": "a"}}}}\r\n'
    b'{"id": "T", "components": ['
    b'{"kind": "reference", "of": {"from": "request", "key": "a"}}]}\n\n{"policy": null}\n{"stack": 1}',
]


@fuzzed(damaged(_REQUESTS, _WORDS), long=200_000)
def test_a_request_is_judged_or_refused(data: bytes) -> None:
    """What is refused is refused at a place of the input, and in words that can be shown."""
    try:
        value = parse_json(data)
    except NotJSONError as error:
        assert error.detail.isprintable()
        return
    try:
        request = parse_request(value)
        report = assessor().assess(request)
    except BadRequestError as error:
        assert error.faults
        for fault in error.faults:
            _resolve(value, fault.pointer)
        return
    assert report.verdict in ("pass", "review", "fail")


@fuzzed(damaged(_LINES, [*_WORDS, b"\r\n", b"\n\n"]), long=50_000)
def test_every_line_is_answered(data: bytes) -> None:
    """Once, in order, with a report or a problem in the 400s."""
    splitter = LineSplitter(1_000)
    lines = [line for piece in (data[:100], data[100:]) for line in splitter.feed(piece)]
    lines += splitter.end()
    assert all(line is None or len(line) <= 1_000 for line in lines)
    judge: Assessor = assessor()
    answers = answer_lines(judge, 1, [line or b"" for line in lines], Shared(), "verdicts")
    assert [answer.number for answer in answers] == sorted({answer.number for answer in answers})
    for answer in answers:
        told = json.loads(answer.text)
        assert told["line"] == answer.number
        assert b"\n" not in answer.text
        if answer.verdict is None:
            assert 400 <= told["problem"]["status"] < 500


def _resolve(value: Any, pointer: str) -> None:
    """The pointer must lead somewhere in the input (RFC 6901)."""
    for step in pointer.split("/")[1:]:
        step = step.replace("~1", "/").replace("~0", "~")
        value = value[int(step)] if isinstance(value, list) else value[step]
