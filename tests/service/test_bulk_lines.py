"""Each line of a batch gets the same result as a single check, whatever the other lines hold."""

from __future__ import annotations

import json
import logging
import pickle
import random
from collections.abc import Sequence
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic_core import to_json

from rules.assessor import Assessor
from rules.rulebook.loader import base_names, base_request
from rules.schema.components import MAX_DEFINITIONS
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.strict_json import parse_json
from service.batch import lines as shared_module
from service.batch.lines import CHUNK_BYTES, CHUNK_LINES, Chunk, LineAnswer, Shared, after, answer_lines, chunks_of
from tests.support.operations import operation_of
from tests.support.random_stacks import random_stack
from tests.support.stacks import quantile


def _line(value: Any) -> bytes:
    return json.dumps(value).encode()


def _answers(assessor: Any, *lines: bytes, include: Any = "reports", shared: Shared | None = None) -> list[LineAnswer]:
    return answer_lines(assessor, 1, lines, shared or Shared(), include)


def _told(answer: LineAnswer) -> Any:
    return json.loads(answer.text)


def _single(assessor: Assessor, number: int, request: Any) -> bytes:
    """What a line must be answered with if a single check of this request says so."""
    report = assessor.assess(parse_request(parse_json(_line(request))))
    return b'{"type":"report","line":%d,"id":%b,"report":%b}' % (number, to_json(report.stack_id), to_json(report))


def _faults(request: Any) -> list[list[str]] | None:
    """Where a single check finds fault with a request."""
    try:
        parse_request(parse_json(_line(request)))
    except BadRequestError as error:
        return [[fault.pointer] for fault in error.faults]
    return None


@pytest.fixture(scope="module")
def parts() -> dict[str, Any]:
    """The parts of a stack by key, as definitions."""
    return {part["id"]: part for part in base_request("press_in")["stack"]["components"]}


def _of_references(keys: Sequence[str], **fields: Any) -> dict[str, Any]:
    joints = base_request("press_in")["stack"]["joints"]
    components = [{"kind": "reference", "of": {"from": "request", "key": key}} for key in keys]
    return {"stack": {"id": "T-1", "components": components, "joints": joints}, **fields}


@pytest.mark.parametrize("name", base_names())
def test_a_line_is_answered_with_the_report_of_a_single_check(assessor: Assessor, name: str) -> None:
    """To the byte, digest of the request included."""
    request = base_request(name)
    (answer,) = _answers(assessor, _line(request))
    report = assessor.assess(parse_request(request))
    assert answer.text == _single(assessor, 1, request)
    assert (answer.number, answer.verdict, answer.stack) == (1, report.verdict, report.stack_id)
    assert set(answer.codes) == {one.code for one in report.findings}
    assert set(answer.undecided) == {one.code for one in report.undecided}


def test_random_stacks_are_answered_as_single_checks(assessor: Assessor) -> None:
    """Sensible or not, in any mixture: a report where a check gives one, its faults where it gives none."""
    rng = random.Random(20)
    requests = [random_stack(rng) for _ in range(150)]
    answers = _answers(assessor, *map(_line, requests))
    assert [answer.number for answer in answers] == list(range(1, 151))
    refused = 0
    for answer, request in zip(answers, requests, strict=True):
        if (pointers := _faults(request)) is None:
            assert answer.text == _single(assessor, answer.number, request)
        else:
            refused += 1
            assert [part["at"] for part in _told(answer)["problem"]["errors"]] == pointers
    assert 0 < refused < 150


@pytest.mark.parametrize(
    ("line", "kind", "where"),
    [
        pytest.param(b'{"stack": "\xff"}', "malformed-json", {"line": 2, "column": 12}, id="not UTF-8"),
        pytest.param(b'{"stack": NaN}', "malformed-json", {"line": 2, "at": ["/stack"]}, id="NaN"),
        pytest.param(b'{"stack": {"a": 1e999}}', "malformed-json", {"line": 2, "at": ["/stack/a"]}, id="infinite"),
        pytest.param(b'{"stack": 1, "stack": 2}', "malformed-json", {"line": 2, "at": [""]}, id="equal keys"),
        pytest.param(b"[" * 100_000, "malformed-json", {"line": 2}, id="deep nesting"),
        pytest.param(b'{"stack": ' + b"[" * 65 + b"]" * 65 + b"}", "malformed-json", {"line": 2}, id="one too deep"),
        pytest.param(b"\x00", "malformed-json", {"line": 2, "column": 1}, id="NUL"),
        pytest.param(b'{"stack": "\x00"}', "malformed-json", {"line": 2, "column": 12}, id="NUL in text"),
        pytest.param(b'{"stack": {"components": [', "malformed-json", {"line": 2, "column": 27}, id="cut off"),
        pytest.param(b"{} {}", "malformed-json", {"line": 2, "column": 4}, id="two values"),
        pytest.param(b"nonsense", "malformed-json", {"line": 2, "column": 1}, id="no JSON"),
        pytest.param(b"\xef\xbb\xbf[", "malformed-json", {"line": 2, "column": 2}, id="behind a byte order mark"),
        pytest.param(b"[]", "invalid-request", {"at": [""]}, id="list"),
        pytest.param(b"null", "invalid-request", {"at": [""]}, id="null"),
        pytest.param(b'"stack"', "invalid-request", {"at": [""]}, id="text"),
        pytest.param(b"{}", "invalid-request", {"at": [""]}, id="nothing stated"),
        pytest.param(b'{"stack": {}}', "invalid-request", {"at": ["/stack"]}, id="no components"),
        pytest.param(b'{"components": []}', "invalid-request", {"at": ["/components"]}, id="stack of nothing"),
        pytest.param(b'{"machine": 3}', "invalid-request", {"at": ["/machine"]}, id="wrong default"),
        pytest.param(b'{"components": 3}', "invalid-request", {"at": ["/components"]}, id="wrong definitions"),
        pytest.param(b'{"policy": {}, "stak": {}}', "invalid-request", {"at": ["/stak"]}, id="misspelt stack"),
    ],
)
def test_a_bad_line_is_answered_with_its_place_and_the_rest_goes_on(
    assessor: Assessor, line: bytes, kind: str, where: dict[str, Any]
) -> None:
    """A fault of the text counts lines of the batch; a fault of a value is told by pointer into its line."""
    good = _line(base_request("nut_collet"))
    first, bad, last = _answers(assessor, good, line, good)
    assert (first.verdict, last.verdict) == ("pass", "pass")
    assert (bad.number, bad.verdict, bad.codes, bad.stack) == (2, None, (), None)
    assert b"\n" not in bad.text
    told = _told(bad)
    assert told["line"] == 2
    assert told["problem"]["code"] == kind
    assert told["problem"]["detail"].startswith(
        "The line is not valid JSON" if kind == "malformed-json" else "The request has 1 fault"
    )
    (part,) = told["problem"]["errors"]
    assert {name: part[name] for name in part if name not in ("code", "detail")} == {"at": [], **where}


def test_blank_lines_are_counted_and_not_answered(assessor: Assessor) -> None:
    """White space of JSON, a carriage return, a lone byte order mark."""
    lines = [b"", b" \t", b"\r", b"\xef\xbb\xbf", _line(base_request("nut_collet"))]
    assert [answer.number for answer in _answers(assessor, *lines)] == [5]


def test_a_stack_may_stand_alone(assessor: Assessor) -> None:
    """Then it is the stack of a check; its faults are told by pointer into the line."""
    stack = base_request("nut_collet")["stack"]
    good, bad = _answers(assessor, _line(stack), _line({**stack, "idd": 1}))
    assert good.text == _single(assessor, 1, {"stack": stack})
    assert _told(bad)["problem"]["errors"][0]["at"] == ["/idd"]


def test_in_short_a_line_tells_what_a_summary_needs(assessor: Assessor) -> None:
    """Verdict, counts and codes are those of the report."""
    request = base_request("press_in")
    request["stack"]["joints"][-1]["grip_length_mm"] = 1
    report = assessor.assess(parse_request(request))
    (answer,) = _answers(assessor, _line(request), include="verdicts")
    assert report.runout.complete
    assert _told(answer) == {
        "type": "verdict",
        "line": 1,
        "id": report.stack_id,
        "verdict": "fail",
        "summary": report.summary.model_dump(),
        "codes": list(dict.fromkeys(one.code for one in report.findings)),
        "undecided": [],
        "gauge_plane_p95_um": quantile(report, "gauge_plane"),
    }
    assert answer.p95_um == quantile(report, "gauge_plane")


def test_no_runout_is_told_where_a_contributor_is_unknown(assessor: Assessor) -> None:
    """A sum that lacks a part is no figure to compare."""
    request = base_request("press_in")
    del request["stack"]["components"][0]["runout"]
    report = assessor.assess(parse_request(request))
    (answer,) = _answers(assessor, _line(request))
    assert (report.runout.complete, len(report.runout.planes)) == (False, 3)
    assert answer.p95_um is None


def test_shared_definitions_and_defaults_make_the_same_report(assessor: Assessor, parts: dict[str, Any]) -> None:
    """A line of references says what a check says that holds the definitions itself, in the order they are reached."""
    base = base_request("press_in")
    defaults = {name: base[name] for name in ("operations", "machine") if name in base}
    keys = list(parts)[::-1]
    unused = {**parts[keys[0]], "id": "unused"}
    given_keys = _of_references(list(parts))
    answers = _answers(
        assessor,
        _line({"components": {key: parts[key] for key in keys[:2]}, "machine": None}),
        _line({"components": {**{key: parts[key] for key in keys[2:]}, "unused": unused}, **defaults}),
        _line(given_keys),
    )
    assert [answer.number for answer in answers] == [3]
    assert answers[0].text == _single(assessor, 3, {**given_keys, "components": parts, **defaults})


def test_definitions_of_the_line_itself_win(assessor: Assessor, parts: dict[str, Any]) -> None:
    """Key by key, and stand before the shared ones."""
    first, *others = parts
    own = {first: {**parts[first], "mass_kg": 2.5}}
    line = _of_references(list(parts), components=own)
    (answer,) = _answers(assessor, _line({"components": parts}), _line(line))
    together = {**own, **{key: parts[key] for key in others}}
    assert answer.text == _single(assessor, 2, {**line, "components": together})


def test_a_later_definition_replaces_an_earlier_one(assessor: Assessor, parts: dict[str, Any]) -> None:
    """Lines before keep the earlier one."""
    first = next(iter(parts))
    heavier = {first: {**parts[first], "mass_kg": 2.5}}
    line = _of_references(list(parts))
    before, behind = _answers(
        assessor, _line({"components": parts}), _line(line), _line({"components": heavier}), _line(line)
    )
    assert before.text == _single(assessor, 2, {**line, "components": parts})
    assert behind.text == _single(assessor, 4, {**line, "components": {**parts, **heavier}})


@pytest.mark.parametrize("name", ["operations", "machine", "policy"])
def test_a_field_of_the_line_wins_whole(assessor: Assessor, name: str) -> None:
    """Nothing of the shared one shines through, not even where the line says null; null takes a default back."""
    request = base_request("press_in")
    default = request.pop(name, None) or {"on_undecided": "fail"}
    own = {
        **request,
        name: {
            "operations": [{"id": "30", "spindle_speed_rpm": 4}],
            "machine": {"kind": "stated", "max_tool_mass_kg": 4},
            "policy": {"gauge_plane_diameters": 4},
        }[name],
    }
    nothing = {**request, name: None}
    written = [{name: default}, request, own, nothing, {name: None}, request]
    answers = _answers(assessor, *map(_line, written))
    expected = [(2, {**request, name: default}), (3, own), (4, nothing), (6, request)]
    assert [answer.text for answer in answers] == [_single(assessor, number, one) for number, one in expected]


def test_an_invalid_component_leaves_the_others_in_force(assessor: Assessor, parts: dict[str, Any]) -> None:
    """Every place is told; only a stack that refers to it is not judged, though an earlier line had the part right."""
    first, second, *rest = parts
    shared = {first: {**parts[first], "mass_kg": -1}, **{key: parts[key] for key in (second, *rest)}}
    own = _of_references(list(parts), components={first: parts[first]})
    bad, without, good, mended = _answers(
        assessor,
        _line({"components": {first: parts[first]}}),
        _line({"components": shared, "policy": {}}),
        _line(_of_references(list(parts))),
        _line(own),
        _line({"components": {first: parts[first]}}),
        _line(_of_references(list(parts))),
    )
    assert [part["at"] for part in _told(bad)["problem"]["errors"]] == [[f"/components/{first}/mass_kg"]]
    assert (without.verdict, without.codes) == ("review", ("REF-050",))
    assert [(one.source, one.key) for one in without.invalid] == [("request", first)]
    assert "mass_kg" in without.invalid[0].reason
    assert (good.verdict, mended.verdict) == ("pass", "pass")
    assert good.invalid == ()


@pytest.mark.parametrize("other", [{"policy": {"on_warning": "maybe"}}, {"machine": 3}, {"no_such_field": 1}])
def test_another_fault_of_definitions_changes_nothing(
    assessor: Assessor, parts: dict[str, Any], other: dict[str, Any]
) -> None:
    """All of the line is refused, with every place, and what held before goes on to hold."""
    first = next(iter(parts))
    wrong = {"components": {first: {**parts[first], "mass_kg": -1}}, **other}
    line = _of_references(list(parts))
    bad, good = _answers(assessor, _line({"components": parts}), _line(wrong), _line(line))
    assert len(_told(bad)["problem"]["errors"]) == 2
    assert good.text == _single(assessor, 3, {**line, "components": parts})


def test_the_report_of_an_import_is_a_definitions_line(assessor: Assessor, parts: dict[str, Any]) -> None:
    """What import prints as JSON, as it stands."""
    listed = [{"component": {**part, "id": key}, "source": "row", "line": 2} for key, part in parts.items()]
    report = {"format": "csv", "version": None, "components": listed, "unmapped": [], "faults": [], "not_listed": 0}
    (answer,) = _answers(assessor, _line(report), _line(_of_references(list(parts))))
    plain = {key: {**part, "id": key} for key, part in parts.items()}
    assert answer.text == _single(assessor, 2, {**_of_references(list(parts)), "components": plain})


def test_references_may_dangle_run_in_circles_and_lead_on(assessor: Assessor, parts: dict[str, Any]) -> None:
    """As in a single check: findings, not problems; a definition may itself be a reference."""
    first = next(iter(parts))
    shared = {
        **parts,
        "alias": {"kind": "reference", "of": {"from": "request", "key": first}},
        "a": {"kind": "reference", "of": {"from": "request", "key": "b"}},
        "b": {"kind": "reference", "of": {"from": "request", "key": "a"}},
    }
    rest = list(parts)[1:]
    dangling, circular, leading = (_of_references([key, *rest]) for key in ("nowhere", "a", "alias"))
    answers = _answers(assessor, _line({"components": shared}), *map(_line, (dangling, circular, leading)))
    others = {key: parts[key] for key in rest}
    needed = [others, {"a": shared["a"], "b": shared["b"], **others}, {"alias": shared["alias"], **parts}]
    for answer, line, own in zip(answers, (dangling, circular, leading), needed, strict=True):
        assert answer.text == _single(assessor, answer.number, {**line, "components": own})
    assert [answer.verdict for answer in answers] == ["fail", "fail", "pass"]


def test_a_line_that_needs_more_definitions_than_a_check_may_hold_is_refused(
    assessor: Assessor, parts: dict[str, Any]
) -> None:
    """So that every answer is that of some check."""
    first = next(iter(parts))
    own = {f"own{number}": parts[first] for number in range(MAX_DEFINITIONS - len(parts) + 1)}
    line = _of_references(list(parts), components=own)
    (refused,) = _answers(assessor, _line({"components": parts}), _line(line))
    (part,) = _told(refused)["problem"]["errors"]
    assert part["at"] == ["/components"]
    del own["own0"]
    (taken,) = _answers(assessor, _line({"components": parts}), _line(line))
    assert taken.verdict == "pass"


def test_shared_definitions_have_a_limit(
    assessor: Assessor, parts: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A line that passes it is refused; one that redefines what is there is not counted twice."""
    size = sum(len(to_json(part)) for part in parts.values())
    monkeypatch.setattr(shared_module, "MAX_SHARED_BYTES", size)
    (refused,) = _answers(
        assessor,
        _line({"components": parts}),
        _line({"components": parts}),
        _line({"components": {"another": next(iter(parts.values()))}}),
    )
    assert refused.number == 3
    assert str(size) in _told(refused)["problem"]["errors"][0]["detail"]


def test_a_policy_that_cannot_be_applied_is_told_where_it_applies(assessor: Assessor) -> None:
    """By pointer where the line states it; in words where it comes from an earlier line."""
    policy = {"thresholds": [{"code": "NONE-999", "threshold": "x", "value": 1}]}
    request = base_request("nut_collet")
    own, borrowed = _answers(assessor, _line({**request, "policy": policy}), _line({"policy": policy}), _line(request))
    assert _told(own)["problem"]["errors"][0]["at"] == ["/policy/thresholds/0/code"]
    assert "errors" not in _told(borrowed)["problem"]
    assert "/policy/thresholds/0/code" in _told(borrowed)["problem"]["detail"]
    assert "earlier line" in _told(borrowed)["problem"]["detail"]


class _FailsOn:
    """Judges every stack but one."""

    def __init__(self, assessor: Assessor, stack: str) -> None:
        self._assessor, self._stack = assessor, stack
        self.catalogue = assessor.catalogue

    def assess(self, request: Any) -> Any:
        if request.stack.id == self._stack:
            raise ZeroDivisionError("secret lever")
        return self._assessor.assess(request)


def test_a_fault_inside_costs_one_line(assessor: Assessor, caplog: pytest.LogCaptureFixture) -> None:
    """Its answer tells nothing of the cause, the log everything, and the others have their reports."""
    request = base_request("nut_collet")
    wanted = [{**request, "stack": {**request["stack"], "id": name}} for name in ("one", "two", "three")]
    with caplog.at_level(logging.ERROR, logger="stackgauge"):
        answers = _answers(_FailsOn(assessor, "two"), *map(_line, wanted))
    assert [answer.verdict for answer in answers] == ["pass", None, "pass"]
    assert _told(answers[1])["problem"]["status"] == 500
    assert b"secret" not in answers[1].text
    (record,) = caplog.records
    assert record.exc_info is not None
    assert "line 2" in record.getMessage()


_KINDS = st.sampled_from(["defines", "sets", "takes back", "refers", "alone", "bad", "wrong definitions", "blank"])


def _written(kind: str, number: int, parts: dict[str, Any]) -> bytes:
    keys = list(parts)
    key = keys[number % len(keys)]
    if kind == "defines":
        return _line({"components": {key: {**parts[key], "mass_kg": 0.1 * (number % 7 + 1)}}})
    if kind == "sets":
        operation = {"spindle_speed_rpm": 1000 + number}
        return _line({"policy": {"gauge_plane_diameters": number % 5}, "operations": [operation_of(operation)]})
    if kind == "refers":
        return _line(_of_references(keys))
    values = {
        "takes back": {"policy": None, "components": None},
        "alone": {
            "description": '"stack"',
            "components": [{"kind": "reference", "of": {"from": "request", "key": key}}],
        },
        "wrong definitions": {"components": {key: {}}},
        "bad": {"stack": number},
    }
    return b" " if kind == "blank" else _line(values[kind])


@given(kinds=st.lists(_KINDS, max_size=12), size=st.integers(1, 13))
def test_portions_are_answered_as_the_whole(
    assessor: Assessor, parts: dict[str, Any], kinds: list[str], size: int
) -> None:
    """However lines are grouped, each portion knows what the lines before it have set."""
    lines = [_written(kind, number, parts) for number, kind in enumerate(kinds)]
    whole = answer_lines(assessor, 1, lines, Shared(), "verdicts")
    chunks = list(chunks_of(lines, Shared(), size, "verdicts"))
    # as they come to another process
    travelled: list[Chunk] = pickle.loads(pickle.dumps(chunks))  # noqa: S301
    pieces = [answer for chunk in travelled for answer in answer_lines(assessor, *chunk)]
    assert pieces == whole
    assert [line for chunk in chunks for line in chunk.lines] == lines
    assert all(len(chunk.lines) <= size for chunk in chunks)


def test_a_portion_of_long_lines_is_closed_early() -> None:
    """So that it takes no more memory than one of many short lines."""
    long = b" " * (CHUNK_BYTES // 4)
    assert [len(chunk.lines) for chunk in chunks_of([long] * 9, Shared())] == [4, 4, 1]
    assert [len(chunk.lines) for chunk in chunks_of([b""] * (CHUNK_LINES + 1), Shared())] == [CHUNK_LINES, 1]


def test_a_definition_is_validated_once(parts: dict[str, Any]) -> None:
    """In a process it is one and the same component, for whatever line needs it; also where it came from another."""
    first = next(iter(parts))
    shared = after(_line({"components": parts}), Shared())
    assert shared is not None
    for one in (shared, pickle.loads(pickle.dumps(shared))):  # noqa: S301
        found = one.definitions.get(first)
        assert found is not None
        assert found.model_dump(exclude_unset=True)["id"] == first
        assert one.definitions.get(first) is found
        assert one.definitions.get("nowhere") is None
    later = after(_line({"policy": {}}), shared)
    assert later is not None
    assert later.definitions is shared.definitions
