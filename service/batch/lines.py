"""Lines of JSON judged: each answered with a report, a verdict or a problem, whatever the others are.

A line is one of

- the request of a check, as ``POST /v1/checks`` takes it: ``{"stack": {…}, "operation": {…}, …}``;
- a stack alone, as it stands under ``stack`` there: ``{"id": "T-1", "components": […], "joints": […]}``;
- definitions, an object without ``stack``: ``{"components": {"LK-40": {…}}, "machine": {…}}``. Their components,
  operation, machine and policy hold for the lines that follow, see :class:`~service.batch.lines.Shared`.
  They are not answered, unless something is wrong with them;
- blank: counted and not answered.

What the lines of a batch have in common: definitions of components, operation, machine and policy.

Lines grouped into portions that can be judged apart from each other, each knowing the defaults before it.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from typing import Any, Final, NamedTuple

from pydantic import TypeAdapter
from pydantic_core import to_json

from rules.assessor import Assessor
from rules.quantities.work_limit import TooMuchWorkError
from rules.schema.components import MAX_DEFINITIONS, ComponentReference, StackEntry
from rules.schema.parsing import BadRequestError, Fault, parse, parse_request, pointer
from rules.schema.report import Report, Verdict
from rules.schema.request import CheckRequest, Machine, Operation, Policy, Stack
from rules.schema.strict_json import NotJSONError, parse_json
from service.contract import Defaults, Include
from service.operations.problems import ProblemError, invalid_request, not_json

__all__ = [
    "CHUNK_BYTES",
    "CHUNK_LINES",
    "MAX_SHARED_BYTES",
    "Chunk",
    "Chunker",
    "Include",
    "LineAnswer",
    "Shared",
    "SharedDefinitions",
    "after",
    "answer_lines",
    "chunks_of",
    "is_blank",
    "problem_answer",
]


MAX_SHARED_BYTES: Final = 16 * 1024 * 1024
"""What the shared definitions of a batch may weigh as compact JSON: some ten thousand components."""

_ENTRY: Final[TypeAdapter[StackEntry]] = TypeAdapter(StackEntry)
_TOKENS: Final = count(1)


class SharedDefinitions:
    """Components by key, never changed once made; each validated once in a process, when first it is needed there.

    Travels between processes as plain values, which is cheaper than as models.
    """

    __slots__ = ("_models", "_sizes", "_values", "size", "token")

    def __init__(
        self,
        values: Mapping[str, Any] | None = None,
        models: Mapping[str, StackEntry] | None = None,
        sizes: Mapping[str, int] | None = None,
    ) -> None:
        self._values: dict[str, Any] = dict(values or {})
        self._models: dict[str, StackEntry] = dict(models or {})
        self._sizes: dict[str, int] = dict(sizes or {})
        self.size = sum(self._sizes.values())
        """What they weigh as compact JSON."""
        self.token = next(_TOKENS)
        """Tells these from all others of this process."""

    def __reduce__(self) -> tuple[type[SharedDefinitions], tuple[dict[str, Any], None, dict[str, int]]]:
        return type(self), (self._values, None, self._sizes)

    def __len__(self) -> int:
        return len(self._values)

    def get(self, key: str) -> StackEntry | None:
        """The component of this key."""
        model = self._models.get(key)
        if model is None and key in self._values:
            model = self._models[key] = _ENTRY.validate_python(self._values[key])
        return model

    def joined(self, values: Mapping[str, Any], models: Mapping[str, StackEntry]) -> SharedDefinitions:
        """These and some more, the newer winning."""
        sizes = {key: len(to_json(value)) for key, value in values.items()}
        return SharedDefinitions({**self._values, **values}, {**self._models, **models}, {**self._sizes, **sizes})

    def reached(self, entries: Sequence[StackEntry], own: Mapping[str, StackEntry]) -> dict[str, StackEntry]:
        """What references among these entries lead to, and is not the request's own, in the order of the way.

        Raises :class:`~rules.schema.parsing.BadRequestError` when it makes more definitions than a request may have.
        """
        found: dict[str, StackEntry] = {}
        for start in entries:
            entry: StackEntry | None = start
            seen: set[str] = set()
            while isinstance(entry, ComponentReference) and entry.of not in seen:
                key = entry.of
                seen.add(key)
                entry = own.get(key)
                if entry is None and (entry := self.get(key)) is not None:
                    found[key] = entry
                    if len(own) + len(found) > MAX_DEFINITIONS:
                        detail = f"with the shared ones it needs more than {MAX_DEFINITIONS} definitions"
                        raise BadRequestError([Fault(pointer(("components",)) if own else "", detail)])
        return found


NOTHING: Final = SharedDefinitions()


@dataclass(frozen=True, slots=True)
class Shared:
    """Defaults for the stacks that follow; never changed, each change makes another."""

    definitions: SharedDefinitions = field(default=NOTHING)
    operation: Operation | None = None
    machine: Machine | None = None
    policy: Policy | None = None

    def taking(self, value: object) -> Shared:
        """These defaults after a line that sets some of them; null takes one back.

        Definitions are joined to the earlier ones key by key, everything else is replaced whole. Raises
        :class:`~rules.schema.parsing.BadRequestError`.
        """
        return self.joined(parse(Defaults, value), value)

    def joined(self, defaults: Defaults, value: object) -> Shared:
        """As :meth:`taking`, for a value that was validated already."""
        stated = defaults.model_fields_set
        definitions = self.definitions
        if "components" in stated:
            models = defaults.components
            values = value["components"] if isinstance(value, Mapping) else None
            definitions = NOTHING if not models else definitions.joined(values or {}, models)
            if definitions.size > MAX_SHARED_BYTES:
                detail = f"the definitions of a batch may take {MAX_SHARED_BYTES} bytes together"
                raise BadRequestError([Fault(pointer(("components",)), detail)])
        own = {name: getattr(defaults, name) for name in ("operation", "machine", "policy") if name in stated}
        return replace(self, definitions=definitions, **own)

    def filled(self, request: CheckRequest) -> CheckRequest:
        """The request with what it does not state itself: a field of its own wins whole, even a null.

        Of the shared definitions it gets those its references lead to, behind its own, so that a report says the same
        as that of a request which holds them itself. Raises :class:`~rules.schema.parsing.BadRequestError`.
        """
        stated = request.model_fields_set
        update: dict[str, Any] = {
            name: value
            for name in ("operation", "machine", "policy")
            if name not in stated and (value := getattr(self, name)) is not None
        }
        own = request.components or {}
        if len(self.definitions) and (found := self.definitions.reached(request.stack.components, own)):
            update["components"] = {**own, **found}
        return request.model_copy(update=update) if update else request


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


CHUNK_LINES = 32
"""Lines of a portion: a tenth of a second or so of work, beside which handing over costs nothing."""

CHUNK_BYTES = 256 * 1024
"""A portion is closed once it weighs so much, so that few long lines cost no more memory than many short ones."""


class Chunk(NamedTuple):
    """Consecutive lines with the number of the first, and the defaults that hold before it."""

    first: int
    lines: tuple[bytes, ...]
    shared: Shared
    include: Include


class Chunker:
    """Numbers lines, follows the defaults they set, and groups them."""

    def __init__(self, shared: Shared, include: Include, size: int = CHUNK_LINES) -> None:
        self.lines = self.blank = self.definitions = 0
        """Lines seen, and those among them that are not answered."""
        self._include: Include = include
        self._size = size
        self._before = self._now = shared
        self._waiting: list[bytes] = []
        self._weight = 0

    def add(self, line: bytes) -> Chunk | None:
        """Take the next line; return the portion it completes."""
        self.lines += 1
        self._waiting.append(line)
        self._weight += len(line)
        if is_blank(line):
            self.blank += 1
        elif (changed := after(line, self._now)) is not None:
            self.definitions += 1
            self._now = changed
        return self.close() if len(self._waiting) >= self._size or self._weight >= CHUNK_BYTES else None

    def skip(self) -> int:
        """Count a line that is answered otherwise and return its number; nothing may be waiting."""
        self.lines += 1
        return self.lines

    def close(self) -> Chunk | None:
        """The portion of the lines that wait, if any do."""
        if not self._waiting:
            return None
        first = self.lines - len(self._waiting) + 1
        chunk = Chunk(first, tuple(self._waiting), self._before, self._include)
        self._waiting, self._weight, self._before = [], 0, self._now
        return chunk


def chunks_of(
    lines: Iterable[bytes], shared: Shared, size: int = CHUNK_LINES, include: Include = "reports"
) -> Iterator[Chunk]:
    """Group lines, numbered from 1, into chunks of at most this many."""
    chunker = Chunker(shared, include, size)
    for line in lines:
        if (chunk := chunker.add(line)) is not None:
            yield chunk
    if (chunk := chunker.close()) is not None:
        yield chunk
