"""Judging of JSON lines: each line gets its own report, verdict or problem.

A line is one of

- a check request, as in ``POST /v1/checks``: ``{"stack": {…}, "operations": [{…}], …}``;
- a stack: ``{"id": "T-1", "components": […], "joints": […]}``;
- definitions, an object without ``stack``: ``{"components": {"LK-40": {…}}, "machine": {…}}``. They apply to the lines
  that follow, see :class:`~service.batch.lines.Shared`, and give a result only if invalid. An invalid component leaves
  the others in force; a stack that refers to it is not judged;
- the report of an import, whose components are definitions by their ids;
- blank: counted only.

Lines are grouped into chunks, each with the shared fields before it, so that chunks can be judged in parallel.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from typing import Any, Final, Literal, NamedTuple, TypeAlias

from pydantic import TypeAdapter, ValidationError
from pydantic_core import to_json

from rules.assessor import Assessor
from rules.audit_items import VERDICTS, AuditItem, StackPart, items_of, parts_of_stack
from rules.gaps import FieldGap, gaps_of
from rules.quantities.models import Identifier
from rules.quantities.work_limit import TooMuchWorkError
from rules.schema.components import MAX_DEFINITIONS, ComponentReference, InvalidPart, StackEntry
from rules.schema.parsing import BadRequestError, Fault, parse, parse_request, pointer, sayable
from rules.schema.report import Report, Verdict
from rules.schema.request import (
    AxialPosition,
    CheckRequest,
    MachineEntry,
    MachineReference,
    Operations,
    Policy,
    Section,
    Stack,
)
from rules.schema.strict_json import NotJSONError, parse_json
from rules.stack.chain import INVALID_PART, UNREAD, Mounted, resolve
from service.contract import Defaults, InvalidPartCount
from service.operations.problems import ProblemError, invalid_request, not_json

__all__ = [
    "CHUNK_BYTES",
    "CHUNK_LINES",
    "MAX_SHARED_BYTES",
    "NOTHING",
    "Chunk",
    "Chunker",
    "Extract",
    "Followed",
    "Include",
    "InvalidUse",
    "LineAnswer",
    "Shared",
    "SharedDefinitions",
    "after",
    "answer_lines",
    "chunks_of",
    "invalid_part_counts",
    "is_blank",
    "is_import",
    "problem_answer",
    "read_lines",
]


MAX_SHARED_BYTES: Final = 16 * 1024 * 1024
"""Most bytes of shared definitions as compact JSON, some ten thousand components."""

_ENTRY: Final[TypeAdapter[StackEntry]] = TypeAdapter(StackEntry)
_TOKENS: Final = count(1)


class SharedDefinitions:
    """Immutable component definitions by key, each validated once per process, on first use.

    Pickled as plain values, which is cheaper than pickling models.
    """

    __slots__ = ("_models", "_sizes", "_values", "size", "token")

    def __init__(
        self,
        values: Mapping[str, Any] | None = None,
        models: Mapping[str, StackEntry | InvalidPart] | None = None,
        sizes: Mapping[str, int] | None = None,
    ) -> None:
        self._values: dict[str, Any] = dict(values or {})
        self._models: dict[str, StackEntry | InvalidPart] = dict(models or {})
        self._sizes: dict[str, int] = dict(sizes or {})
        self.size = sum(self._sizes.values())
        """Bytes as compact JSON."""
        self.token = next(_TOKENS)
        """Identifier, unique in this process."""

    def __reduce__(self) -> tuple[type[SharedDefinitions], tuple[dict[str, Any], None, dict[str, int]]]:
        return type(self), (self._values, None, self._sizes)

    def __len__(self) -> int:
        return len(self._values)

    def get(self, key: str) -> StackEntry | InvalidPart | None:
        """The component with this key."""
        model = self._models.get(key)
        if model is None and key in self._values:
            value = self._values[key]
            is_invalid = isinstance(value, dict) and value.get("kind") == _INVALID
            made = InvalidPart.model_validate(value) if is_invalid else _ENTRY.validate_python(value)
            model = self._models[key] = made
        return model

    def joined(self, values: Mapping[str, Any], models: Mapping[str, StackEntry]) -> SharedDefinitions:
        """These definitions with more added; newer ones win."""
        sizes = {key: len(to_json(value)) for key, value in values.items()}
        kept = {key: model for key, model in self._models.items() if key not in values}
        return SharedDefinitions({**self._values, **values}, {**kept, **models}, {**self._sizes, **sizes})

    def with_invalid(self, reasons: Mapping[str, str]) -> SharedDefinitions:
        """These definitions with others that are invalid, for these reasons."""
        return self.joined({key: {"kind": _INVALID, "reason": reason} for key, reason in reasons.items()}, {})

    def reached(
        self, entries: Sequence[StackEntry], own: Mapping[str, StackEntry]
    ) -> dict[str, StackEntry | InvalidPart]:
        """The shared definitions that these entries refer to, directly or not, in order.

        Raises :class:`~rules.schema.parsing.BadRequestError` beyond the number of definitions of a request.
        """
        found: dict[str, StackEntry | InvalidPart] = {}
        for start in entries:
            entry: StackEntry | InvalidPart | None = start
            seen: set[str] = set()
            while isinstance(entry, ComponentReference) and entry.of.source == "request" and entry.of.key not in seen:
                key = entry.of.key
                seen.add(key)
                entry = own.get(key)
                if entry is None and (entry := self.get(key)) is not None:
                    found[key] = entry
                    if len(own) + len(found) > MAX_DEFINITIONS:
                        detail = f"the stack needs more than {MAX_DEFINITIONS} definitions, shared ones included"
                        raise BadRequestError(
                            [Fault(pointer(("components",)) if own else "", detail, "too_many_entries")]
                        )
        return found


Include: TypeAlias = Literal["stated", "reports", "verdicts"]
"""Results: as each request states, or all whole reports, or all short verdicts."""

_MOST_REASON: Final = 300

_INVALID: Final = "invalid"
"""Kind of an invalid definition; no definition that is taken as stated can have it."""

NOTHING: Final = SharedDefinitions()

_OTHERS: Final = ("machine", "gauge_plane", "operations", "policy", "include")
"""Shared fields beside the definitions."""


class InvalidUse(NamedTuple):
    """Part with invalid data, to which stacks refer or may."""

    source: Literal["request", "catalogue"]
    """Where it is defined."""
    key: str
    """Its key, with the revision that the stack states; empty where no message may repeat it."""
    reason: str


@dataclass(frozen=True, slots=True)
class Shared:
    """Immutable shared fields for the stacks that follow."""

    definitions: SharedDefinitions = field(default=NOTHING)
    machine: MachineEntry | None = None
    gauge_plane: AxialPosition | None = None
    operations: Operations | None = None
    policy: Policy | None = None
    include: list[Section] | None = None

    def joined(self, defaults: Defaults, value: object) -> Shared:
        """The shared fields after definitions: components merge by key, other fields are replaced, null clears.

        ``defaults`` is the value, validated. Raises :class:`~rules.schema.parsing.BadRequestError` for too many.
        """
        stated = defaults.model_fields_set
        definitions = self.definitions
        if "components" in stated:
            models = defaults.components
            values = value["components"] if isinstance(value, Mapping) else None
            definitions = NOTHING if not models else definitions.joined(values or {}, models)
            if definitions.size > MAX_SHARED_BYTES:
                detail = f"the definitions of the batch exceed {MAX_SHARED_BYTES} bytes"
                raise BadRequestError([Fault(pointer(("components",)), detail, "too_many_entries")])
        own = {name: getattr(defaults, name) for name in _OTHERS if name in stated}
        return replace(self, definitions=definitions, **own)

    def following(self, value: object) -> Followed:
        """The shared fields after a definitions line or the report of an import, and the faults in it.

        Invalid components leave the rest in force; any other fault leaves everything as it was.
        """
        shared, faults, invalid = self, list[Fault](), list[InvalidUse]()
        for one in _as_definitions(value):
            try:
                shared, refused, found = shared.judged_apart(Defaults, one)
            except BadRequestError as error:
                return Followed(self, error, ())
            faults += () if refused is None else refused.faults
            invalid += found
        return Followed(shared, BadRequestError(faults) if faults else None, tuple(invalid))

    def judged_apart(self, model: type[Defaults], value: Any) -> Followed:
        """The shared fields after a value of this model, each invalid component of it set aside.

        Raises :class:`~rules.schema.parsing.BadRequestError` for any other fault.
        """
        try:
            return Followed(self.joined(parse(model, value), value), None, ())
        except BadRequestError as error:
            reasons = _invalid_components(value)
            if not reasons:
                raise
            rest = {name: member for name, member in value.items() if name != "components"}
            if valid := {key: part for key, part in value["components"].items() if key not in reasons}:
                rest["components"] = valid  # an empty object would clear the definitions before
            try:
                shared = self.joined(parse(model, rest), rest)
            except BadRequestError:  # another fault besides
                raise error from None
            shared = replace(shared, definitions=shared.definitions.with_invalid(reasons))
            uses = (InvalidUse("request", key if sayable(key) else "", reason) for key, reason in reasons.items())
            return Followed(shared, error, tuple(uses))

    def filled(self, request: CheckRequest) -> CheckRequest:
        """The request with shared fields added; its own fields win, even null.

        It gets only the shared definitions it refers to, so that the report equals that of a single check. Raises
        :class:`~rules.schema.parsing.BadRequestError`.
        """
        stated = request.model_fields_set
        update: dict[str, Any] = {
            name: value for name in _OTHERS if name not in stated and (value := getattr(self, name)) is not None
        }
        own = request.components or {}
        if len(self.definitions) and (found := self.definitions.reached(request.stack.components, own)):
            update["components"] = {**own, **found}
        return request.model_copy(update=update) if update else request


class Followed(NamedTuple):
    """Shared fields after more of them, and what was wrong with those."""

    shared: Shared
    refused: BadRequestError | None
    invalid: tuple[InvalidUse, ...]
    """The components set aside."""


_LOG = logging.getLogger("stackgauge")

_SHARED_FIELDS: Final = ("components", *_OTHERS)
_BOM: Final = b"\xef\xbb\xbf"
_WRONG_POLICY: Final = "The policy of an earlier line is invalid: {}."
_SURELY_A_REQUEST: Final = re.compile(rb'\s*\{\s*"stack"\s*:')


class LineAnswer(NamedTuple):
    """Result of one line, with the data for the summary."""

    number: int
    """Line number, from 1."""
    text: bytes
    """One JSON object, without a newline."""
    verdict: Verdict | None = None
    """Verdict; None for a problem."""
    codes: tuple[str, ...] = ()
    """Rule codes of the findings, without duplicates."""
    undecided: tuple[str, ...] = ()
    """Rule codes of undecided rules, without duplicates."""
    p95_um: float | None = None
    """95th percentile of the runout at the gauge plane, TIR in µm; None if a contributor is not known."""
    stack: str | None = None
    """Caller's name of the stack."""
    labels: str = ""
    """Labels of stack and components in one line."""
    gaps: tuple[FieldGap, ...] = ()
    """Fields that undecided rules lack."""
    items: tuple[AuditItem, ...] = ()
    """Findings and undecided rules; only where every line gets the same sections, as in an audit."""
    parts: tuple[StackPart, ...] = ()
    """Components from the spindle side; only with the items."""
    machine: str = ""
    """Id of the machine."""
    floor: Verdict = "pass"
    """Verdict that stays whatever is waived, since the report rests on assumptions."""
    runout_share: float | None = None
    """95th percentile of the runout over its limit, of the tightest operation."""
    speed_ratio: float | None = None
    """Lowest speed limit over the programmed speed, of the tightest operation."""
    invalid: tuple[InvalidUse, ...] = ()
    """Invalid parts for which the stack is not judged, or which the line defines."""
    extract: Any = None
    """What the chunk's :data:`Extract` made of the report; None without one, and for a problem."""


Extract: TypeAlias = Callable[[Report], object]
"""Makes of each report, where it is judged, what else the caller needs; picklable, so a function of a module."""


def answer_lines(
    assessor: Assessor,
    first: int,
    lines: Sequence[bytes],
    shared: Shared,
    include: Include,
    extract: Extract | None = None,
) -> list[LineAnswer]:
    """The results of consecutive lines in order; never raises for invalid lines."""
    requests: dict[int, CheckRequest] = {}
    borrowing: set[int] = set()
    answers: dict[int, LineAnswer] = {}
    for one in read_lines(first, lines, shared):
        if one.problem is not None:
            answers[one.number] = problem_answer(one.number, one.problem, one.name)._replace(invalid=one.invalid)
        elif one.request is not None:
            requests[one.number] = one.request
            if one.borrows_policy:
                borrowing.add(one.number)
    for number, judged in zip(requests, judge_all(assessor, list(requests.values())), strict=True):
        request = requests[number]
        if isinstance(judged, BadRequestError) and number in borrowing:
            # Its pointers refer to an earlier line.
            problem = ProblemError("invalid-request", _WRONG_POLICY.format(judged))
            answers[number] = problem_answer(number, problem, request.stack.id)
        else:
            told = _answer(number, judged, request, include, assessor.catalogue.definitions)
            if extract is not None and isinstance(judged, Report):
                told = told._replace(extract=extract(judged))
            answers[number] = told
    return [answers[number] for number in sorted(answers)]


class ReadLine(NamedTuple):
    """A line as read: a request with the shared fields, or why it is none."""

    number: int
    request: CheckRequest | None
    problem: ProblemError | None
    name: str | None
    borrows_policy: bool
    invalid: tuple[InvalidUse, ...] = ()
    """Invalid parts that the line defines."""


def read_lines(first: int, lines: Sequence[bytes], shared: Shared) -> Iterator[ReadLine]:
    """Yield the requests in consecutive lines, and the problems of lines that are none; others yield nothing."""
    value: Any = None
    for number, line in enumerate(lines, first):
        if is_blank(line):
            continue
        try:
            value = parse_json(line)
            if _sets_defaults(value):
                shared, refused, invalid = shared.following(value)
                if refused is not None:
                    yield ReadLine(number, None, invalid_request(refused), None, False, invalid)
                continue
            request = _request(value)
            filled = shared.filled(request)
        except NotJSONError as error:
            yield ReadLine(number, None, not_json(error, line=number), None, False)
        except BadRequestError as error:
            yield ReadLine(number, None, invalid_request(error), _id_of(value), False)
        else:
            yield ReadLine(number, filled, None, request.stack.id, "policy" not in request.model_fields_set)


def judge_all(assessor: Assessor, requests: Sequence[CheckRequest]) -> list[Report | Exception]:
    """A report or exception for each request."""
    judged: list[Report | Exception] = []
    for request in requests:
        try:
            judged.append(assessor.assess(request))
        except TooMuchWorkError:
            raise  # the batch was cancelled
        except Exception as error:  # a fault in one request must not affect the others
            judged.append(error)
    return judged


def after(line: bytes, shared: Shared) -> Shared | None:
    """The shared fields after this line; None if it changes none."""
    if _SURELY_A_REQUEST.match(line):
        return None
    try:
        value = parse_json(line)
    except NotJSONError:
        return None
    changed = shared.following(value).shared if _sets_defaults(value) else shared
    return None if changed is shared else changed


def is_blank(line: bytes) -> bool:
    """Whether a line has only JSON white space or a byte order mark."""
    return not line.removeprefix(_BOM).strip(b" \t\r\n")


def problem_answer(number: int, problem: ProblemError, name: str | None = None) -> LineAnswer:
    """The result of an invalid line; ``name`` is the caller's of the stack, where it can be read."""
    body = b'"problem":' + problem.problem().model_dump_json(exclude_none=True).encode()
    return LineAnswer(number, _object("problem", number, name, body), stack=name)


_NAME: Final[TypeAdapter[str]] = TypeAdapter(Identifier)


def _id_of(value: Any) -> str | None:
    """The caller's name of the stack in a line that is otherwise invalid."""
    stack = value.get("stack", value) if isinstance(value, dict) else None
    try:
        return _NAME.validate_python(stack.get("id") if isinstance(stack, dict) else None)
    except ValidationError:
        return None


def _sets_defaults(value: Any) -> bool:
    return (
        isinstance(value, dict)
        and "stack" not in value
        and (not isinstance(value.get("components"), list) or is_import(value))
        and any(name in value for name in _SHARED_FIELDS)
    )


def is_import(value: Any) -> bool:
    """Whether a JSON value is the report of an import."""
    return (
        isinstance(value, dict)
        and isinstance(value.get("components"), list)
        and {"format", "faults"} <= value.keys()
        and all(isinstance(one, dict) and isinstance(one.get("component"), dict) for one in value["components"])
    )


def _as_definitions(value: Any) -> Iterator[dict[str, Any]]:
    """Yield definitions lines with the components of an import; any other value as it is."""
    if not is_import(value):
        yield value
        return
    named = [(str(part.get("id")), part) for one in value["components"] for part in (one["component"],)]
    for start in range(0, len(named), MAX_DEFINITIONS):
        yield {"components": dict(named[start : start + MAX_DEFINITIONS])}


def _invalid_components(value: Any) -> dict[str, str]:
    """Return what is wrong with each invalid component of a definitions line."""
    stated = value.get("components") if isinstance(value, dict) else None
    if not isinstance(stated, dict) or len(stated) > MAX_DEFINITIONS:
        return {}
    found = {}
    for key, part in stated.items():
        try:
            parse(Defaults, {"components": {key: part}})
        except BadRequestError as error:
            at = pointer(("components", key))
            words = [(one.pointer.removeprefix(at).strip("/"), one.detail) for one in error.faults]
            found[key] = "; ".join(f"{where}: {detail}" if where else detail for where, detail in words)[:_MOST_REASON]
    return found


def _request(value: Any) -> CheckRequest:
    if isinstance(value, dict) and "stack" not in value and isinstance(value.get("components"), list):
        return CheckRequest(stack=parse(Stack, value))
    return parse_request(value)


def _answer(
    number: int, judged: Report | Exception, request: CheckRequest, include: Include, mounted: Mounted
) -> LineAnswer:
    name = request.stack.id
    if isinstance(judged, BadRequestError):
        return problem_answer(number, invalid_request(judged), name)
    if isinstance(judged, Exception):
        _LOG.error("unhandled error in line %d of a batch", number, exc_info=judged)
        detail = "The stack could not be judged; the log has the details."
        return problem_answer(number, ProblemError("internal-fault", detail), name)
    plane = judged.runout.plane("gauge_plane")
    codes = tuple(dict.fromkeys(finding.code for finding in judged.findings))
    undecided = tuple(dict.fromkeys(gap.code for gap in judged.undecided))
    p95_um = None if plane is None else plane.quantile_um("p95")
    short = request.include == [] if include == "stated" else include == "verdicts"
    if short:
        brief = {
            "verdict": judged.verdict,
            "summary": judged.summary,
            "codes": codes,
            "undecided": undecided,
            "gauge_plane_p95_um": p95_um,
        }
        text = _object("verdict", number, name, to_json(brief)[1:-1])
    else:
        whole = judged if include == "reports" else judged.only(request.sections)
        text = _object("report", number, name, b'"report":' + to_json(whole))
    gaps = gaps_of(judged.undecided, request, mounted)
    told = LineAnswer(number, text, judged.verdict, codes, undecided, p95_um, name, judged.label_line, gaps)
    if INVALID_PART in codes:
        told = told._replace(invalid=_invalid_used(request, mounted))
    return told if include == "stated" else _for_an_audit(told, judged, request)


def _for_an_audit(told: LineAnswer, judged: Report, request: CheckRequest) -> LineAnswer:
    items = items_of(judged, request)
    weighed = max((VERDICTS.index(one.weight) for one in items), default=0)
    assumed = judged.if_assumptions_hold is not None
    return told._replace(
        items=items,
        parts=parts_of_stack(request),
        machine=_machine(request),
        floor=judged.verdict if weighed == 0 else "review" if assumed else "pass",
        runout_share=max(_runout_shares(judged), default=None),
        speed_ratio=min(_speed_ratios(judged), default=None),
    )


def _runout_shares(judged: Report) -> Iterator[float]:
    for one in judged.operations:
        plane = None if one.runout is None else judged.runout.plane(one.runout.plane)
        p95_um = None if plane is None else plane.quantile_um("p95")
        if one.runout is not None and p95_um is not None:
            yield p95_um / one.runout.limit_um


def _speed_ratios(judged: Report) -> Iterator[float]:
    return (1.0 + one.speed.relative_margin for one in judged.operations if one.speed.relative_margin is not None)


def _machine(request: CheckRequest) -> str:
    machine = request.machine
    return "" if machine is None else machine.of.key if isinstance(machine, MachineReference) else machine.id or ""


def _invalid_used(request: CheckRequest, mounted: Mounted) -> tuple[InvalidUse, ...]:
    cases = resolve(request, mounted).cases
    found = dict[InvalidUse, None]()
    for one in cases:
        if one.trouble == "invalid":
            # One file that cannot be read is one cause, however many keys may be in it.
            files = one.detail.removeprefix(UNREAD)
            key, reason = (files, "cannot be read") if files != one.detail else (one.key, one.detail)
            source: Literal["request", "catalogue"] = "request" if one.source == "request" else "catalogue"
            found[InvalidUse(source, key, reason)] = None
    return tuple(found)


def invalid_part_counts(counted: Mapping[InvalidUse, int]) -> list[tuple[InvalidUse, InvalidPartCount]]:
    """The invalid parts with their counts, the one with most stacks first."""
    return [
        (one, InvalidPartCount(part=one.key or None, source=one.source, reason=one.reason, stacks=many))
        for one, many in sorted(counted.items(), key=lambda found: (-found[1], found[0]))
    ]


def _object(kind: str, number: int, name: str | None, members: bytes) -> bytes:
    return b'{"type":"%b","line":%d,"id":%b,%b}' % (kind.encode(), number, to_json(name), members)


CHUNK_LINES = 32
"""Most lines of a chunk, about 0.1 s of work, against which the transfer is negligible."""

CHUNK_BYTES = 256 * 1024
"""Bytes at which a chunk is closed, to bound the memory of long lines."""


class Chunk(NamedTuple):
    """Consecutive lines, the number of the first, the shared fields before it, and what is wanted of each."""

    first: int
    lines: tuple[bytes, ...]
    shared: Shared
    include: Include
    extract: Extract | None = None


class Chunker:
    """Numbers lines, tracks shared fields and groups lines into chunks."""

    def __init__(self, shared: Shared, include: Include, size: int = CHUNK_LINES) -> None:
        self.lines = self.blank = self.definitions = 0
        """Start with no lines."""
        self._include: Include = include
        self._size = size
        self._before = self._now = shared
        self._waiting: list[bytes] = []
        self._weight = 0

    def add(self, line: bytes) -> Chunk | None:
        """Add a line; return the chunk it completes, if any."""
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
        """Count a line judged elsewhere and return its number; no line may be pending."""
        self.lines += 1
        return self.lines

    def close(self) -> Chunk | None:
        """The chunk of the pending lines, if any."""
        if not self._waiting:
            return None
        first = self.lines - len(self._waiting) + 1
        chunk = Chunk(first, tuple(self._waiting), self._before, self._include)
        self._waiting, self._weight, self._before = [], 0, self._now
        return chunk


def chunks_of(
    lines: Iterable[bytes], shared: Shared, size: int = CHUNK_LINES, include: Include = "stated"
) -> Iterator[Chunk]:
    """Group lines, numbered from 1, into chunks of at most this many."""
    chunker = Chunker(shared, include, size)
    for line in lines:
        if (chunk := chunker.add(line)) is not None:
            yield chunk
    if (chunk := chunker.close()) is not None:
        yield chunk
