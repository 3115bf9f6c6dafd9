"""Many stacks in one request, as a document and as lines."""

from __future__ import annotations

import asyncio
import json
import logging
import random
from collections import Counter
from collections.abc import Callable, Coroutine, Iterable
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from rules.assessor import Assessor
from rules.rulebook.engine import EngineFaultError
from rules.rulebook.loader import base_request
from service.batch.document import MAX_STACKS
from service.batch.stream import INLINE_LINES
from service.examples import BATCH_EXAMPLES, BATCH_LINES
from service.http.app import create_app
from service.operations.settings import Settings
from tests.support.random_stacks import random_stack
from tests.support.stacks import quantile

PATH = "/v1/check-batches"
NDJSON = "application/x-ndjson"
STACK = json.dumps(base_request("nut_collet")).encode()
BAD = b"nonsense"
SHORT = f"{PATH}?brief=true"


@pytest.fixture(scope="module")
def batches(assessor: Assessor) -> FastAPI:
    """An application with limits that a test can reach."""
    settings = Settings(
        max_line_bytes=16 * 1024, max_batch_lines=900, max_batches=2, batch_workers=2, max_batch_body_bytes=100_000
    )
    return create_app(settings, assessor)


@pytest.fixture(scope="module")
def post(batches: FastAPI) -> Callable[..., httpx.Response]:
    """Sends one batch, in pieces if it is not one piece."""

    async def send(content: Any, path: str, headers: dict[str, str]) -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(batches), base_url="http://stackgauge") as client:
            return await client.post(path, content=content, headers=headers)

    def post(content: Any, content_type: str = NDJSON, path: str = PATH, **headers: str) -> httpx.Response:
        return asyncio.run(send(content, path, {"content-type": content_type, **headers}))

    return post


def _run(main: Coroutine[Any, Any, None]) -> None:
    # generous: it only keeps a test that fails from hanging
    asyncio.run(asyncio.wait_for(main, 120))


def _told(response: httpx.Response) -> tuple[list[Any], Any]:
    """The answers and the summary of a stream."""
    assert response.status_code == 200
    assert response.headers["content-type"] == NDJSON
    assert response.text.endswith("}\n")
    *answers, last = (json.loads(line) for line in response.text.split("\n")[:-1])
    return answers, last["summary"]


def _check_summary(answers: Iterable[Any], summary: Any) -> None:
    """The counts are those of the answers above them."""
    reports = [answer["report"] for answer in answers if "report" in answer]
    assert summary["stacks"] == len(reports)
    assert summary["problems"] == sum("problem" in answer for answer in answers)
    verdicts = Counter(report["verdict"] for report in reports)
    assert summary["verdicts"] == {name: verdicts[name] for name in ("pass", "review", "fail")}
    for name, part in (("codes", "findings"), ("undecided", "undecided")):
        counted = Counter(code for report in reports for code in {one["code"] for one in report[part]})
        assert summary[name] == counted
        assert list(summary[name]) == sorted(counted)


def _random_lines(count: int) -> list[bytes]:
    rng = random.Random(8)
    lines = [json.dumps(random_stack(rng)).encode() for _ in range(count)]
    for at in range(5, count, 9):
        lines[at] = rng.choice([BAD, b"", b'{"policy": {"on_warning": "fail"}}', b'{"policy": null}', b'{"policy": 1}'])
    return lines


def test_a_stream_is_answered_line_by_line_as_single_checks(client: Any, post: Callable[..., httpx.Response]) -> None:
    """In order, beyond what one process judges, each report the bytes of a single check; the summary counts them."""
    lines = [json.dumps(base_request(name)).encode() for name in ("nut_collet", "shrink", "side_lock")] * 20
    lines[7] = BAD
    response = post(b"\n".join(lines))
    answers, summary = _told(response)
    assert len(lines) > INLINE_LINES
    assert [answer["line"] for answer in answers] == list(range(1, len(lines) + 1))
    expected = {line: client.check(line).content for line in set(lines) - {BAD}}
    for number, (line, text) in enumerate(zip(lines, response.content.split(b"\n"), strict=False), 1):
        if line != BAD:
            name = json.loads(line)["stack"]["id"].encode()
            assert text == b'{"type":"report","line":%d,"id":"%b","report":%b}' % (number, name, expected[line])
    _check_summary(answers, summary)
    assert (summary["lines"], summary["blank"], summary["definitions"], summary["complete"]) == (60, 0, 0, True)


def test_every_line_is_accounted_for(post: Callable[..., httpx.Response]) -> None:
    """Each is a stack, a problem, definitions or blank; pieces of the body and ends of lines make no difference."""
    lines = _random_lines(200)
    whole = post(b"\n".join(lines))
    answers, summary = _told(whole)
    _check_summary(answers, summary)
    numbers = [answer["line"] for answer in answers]
    assert numbers == sorted(set(numbers))
    assert summary["blank"] == lines.count(b"")
    assert summary["definitions"] == sum(line.startswith(b'{"policy"') for line in lines) - lines.count(
        b'{"policy": 1}'
    )
    assert summary["lines"] == 200
    assert summary["lines"] == sum(summary[name] for name in ("stacks", "problems", "definitions", "blank"))

    async def pieces() -> Any:
        data = b"\xef\xbb\xbf" + b"\r\n".join(lines) + b"\r\n"
        for start in range(0, len(data), 777):
            yield data[start : start + 777]

    assert post(pieces()).content == whole.content
    assert post(b"\n".join(lines), content_type="application/jsonl").content == whole.content


@pytest.mark.parametrize(
    ("body", "lines", "blank"),
    [(b"", 0, 0), (b"\n", 1, 1), (b"\r\n\n \n\t", 4, 4), (b"\n" * 500, 500, 500), (b"\xef\xbb\xbf", 1, 1)],
)
def test_a_batch_of_nothing_is_a_summary(
    post: Callable[..., httpx.Response], body: bytes, lines: int, blank: int
) -> None:
    """No stack is no error; blank lines are counted."""
    answers, summary = _told(post(body))
    assert answers == []
    assert (summary["lines"], summary["blank"], summary["stacks"], summary["problems"]) == (lines, blank, 0, 0)


@pytest.mark.parametrize("before", [0, 3, INLINE_LINES + 3])
def test_a_line_that_is_too_long_is_passed_over(post: Callable[..., httpx.Response], before: int) -> None:
    """It is answered with a problem under its number, and the rest goes on."""
    lines = [*[BAD] * before, b"x" * 200_000, STACK, b" " * (16 * 1024 - len(STACK)) + STACK, b'"' * (16 * 1024 + 1)]
    answers, summary = _told(post(b"\n".join(lines)))
    told = answers[before:]
    assert [answer["line"] for answer in told] == [before + 1, before + 2, before + 3, before + 4]
    assert [answer.get("report", {}).get("verdict") for answer in told] == [None, "pass", "pass", None]
    assert told[0]["problem"] == told[3]["problem"]
    assert (told[0]["problem"]["code"], told[0]["problem"]["status"]) == ("line-too-long", 413)
    assert "16384" in told[0]["problem"]["detail"]
    assert (summary["problems"], summary["lines"]) == (before + 2, before + 4)


def test_a_batch_of_too_many_lines_ends_with_a_problem(post: Callable[..., httpx.Response]) -> None:
    """What was within the limit is answered, what follows is not read, and the summary says so."""
    answers, summary = _told(post(b"\n".join([BAD] * 900) + b"\n\n \n"))
    assert (len(answers), summary["lines"], summary["complete"]) == (900, 902, True)
    answers, summary = _told(post(b"\n".join([BAD] * 2000)))
    assert [answer["line"] for answer in answers] == list(range(1, 902))
    assert answers[-1]["problem"]["code"] == "too-many-lines"
    assert (summary["lines"], summary["problems"], summary["complete"]) == (901, 901, False)


def test_the_stream_is_not_held_to_the_limit_of_a_body(post: Callable[..., httpx.Response]) -> None:
    """Only its lines are."""
    answers, _ = _told(post(b"\n".join([b" " * 8000 + BAD] * 300)))
    assert len(answers) == 300


def test_answers_in_short(post: Callable[..., httpx.Response]) -> None:
    """The lines and the summary of the example are those that the contract shows."""
    response = post(BATCH_LINES.encode(), path=SHORT)
    answers, summary = _told(response)
    assert [answer.get("verdict") for answer in answers] == ["pass", "fail", None]
    assert summary["codes"] == Counter(code for answer in answers for code in answer.get("codes", []))
    lines = [json.loads(line) for line in BATCH_LINES.splitlines()]
    assert lines[0].pop("include") == []
    long, whole = _told(post("\n".join(map(json.dumps, lines)).encode()))
    assert whole == summary
    for short, answer in zip(answers[:2], long, strict=False):
        report = answer["report"]
        assert (short["id"], short["summary"]) == (report["stack_id"], report["summary"])
        assert short["gauge_plane_p95_um"] == quantile(report, "gauge_plane")


@pytest.mark.parametrize("count", [2, INLINE_LINES + 40])
def test_a_document_is_answered_as_single_checks(client: Any, post: Callable[..., httpx.Response], count: int) -> None:
    """Few stacks or many: reports to the byte, in order, and the counts of a stream."""
    requests = [base_request(name) for name in ("nut_collet", "shrink", "side_lock")]
    chosen = [{"stack": requests[n % 3]["stack"]} for n in range(count)]
    shared = {"operations": requests[0]["operations"], "policy": {"on_undecided": "fail"}}
    response = post(json.dumps({"stacks": chosen, **shared}).encode(), content_type="application/json")
    assert (response.status_code, response.headers["content-type"]) == (200, "application/json")
    told = response.json()
    single = [client.check(json.dumps({**one, **shared}).encode()).content for one in chosen[:3]]
    names = [json.loads(one)["stack_id"].encode() for one in single]
    expected = b",".join(
        b'{"type":"report","line":%d,"id":"%b","report":%b}' % (n + 1, names[n % 3], single[n % 3])
        for n in range(count)
    )
    assert response.content.startswith(b'{"results":[%b],' % expected)
    _check_summary(told["results"], told["summary"])


def test_a_document_in_short(post: Callable[..., httpx.Response]) -> None:
    """As the body says, or else the query."""
    request = dict(BATCH_EXAMPLES["extended-twice"].request)
    as_stated = post(json.dumps(request).encode(), content_type="application/json").json()
    assert [result["verdict"] for result in as_stated["results"]] == ["pass", "fail"]
    in_full = post(json.dumps({**request, "include": ["findings"]}).encode(), "application/json", SHORT).json()
    assert [result["report"]["verdict"] for result in in_full["results"]] == ["pass", "fail"]
    assert in_full["summary"] == as_stated["summary"]
    del request["include"]
    assert post(json.dumps(request).encode(), "application/json", SHORT).json() == as_stated


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"stacks": []}, "/stacks"),
        ({"stacks": [{}] * (MAX_STACKS + 1)}, "/stacks"),
        ({"include": "all"}, "/include"),
        ({"stack": {}}, "/stack"),
        ({"components": {"a": {"kind": "cutter"}}, "include": "all"}, "/components/a /include"),
        ({"components": []}, "/components"),
        (
            {"policy": {"thresholds": [{"code": "NONE-999", "threshold": "x", "value": 1}]}},
            "/policy/thresholds/0/code",
        ),
    ],
)
def test_a_document_that_breaks_the_contract_is_422(
    post: Callable[..., httpx.Response], change: dict[str, Any], pointer: str
) -> None:
    """It is refused whole, with the place."""
    body = {"stacks": [{"stack": base_request("nut_collet")["stack"]}], **change}
    response = post(json.dumps(body).encode(), content_type="application/json")
    assert response.status_code == 422
    assert [part["at"] for part in response.json()["errors"]] == [[one] for one in pointer.split()]


def test_an_invalid_part_costs_the_stacks_that_refer_to_it(post: Callable[..., httpx.Response]) -> None:
    """One cause, counted once, in a document as in lines; the other stacks are judged as if it were not there."""
    good = base_request("nut_collet")["stack"]
    parts = {one["id"]: one for one in good["components"]}
    name = good["components"][0]["id"]
    bad = {**parts[name], "mass_kg": -1, "mas_kg": 1}

    def stack(*names: str) -> dict[str, Any]:
        listed = [{"kind": "reference", "of": {"from": "request", "key": key}} for key in names]
        return {"stack": {"id": "-".join(names), "components": [*listed, *good["components"][len(names) :]]}}

    stacks = [{"stack": good}, stack("bad"), stack(name), stack("bad", list(parts)[1])]
    shared = {"components": {**parts, "bad": bad, "unused": {"kind": "collet"}, "a b": parts[name]}}
    response = post(json.dumps({"stacks": stacks, **shared}).encode(), content_type="application/json")
    assert response.status_code == 200
    told = response.json()
    *answers, end = map(
        json.loads, post(b"\n".join(json.dumps(one).encode() for one in (shared, *stacks))).iter_lines()
    )
    assert [one["problem"]["code"] for one in answers[:1]] == ["invalid-request"]
    assert [{**one, "line": one["line"] + 1} for one in told["results"]] == answers[1:]
    codes = [[one["code"] for one in result["report"]["findings"]] for result in told["results"]]
    assert ["REF-050" in one for one in codes] == [False, True, False, True]
    assert [told["results"][n]["report"]["verdict"] for n in (1, 3)] == ["review", "review"]
    for summary in (told["summary"], end["summary"]):
        assert (summary["stacks"], summary["stacks_not_judged"]) == (4, 2)
        causes = {(one["part"], one["source"]): one for one in summary["invalid_parts"]}
        assert {part: one["stacks"] for (part, _), one in causes.items()} == {"bad": 2, "unused": 0, "a b": 0}
        assert all(field in causes["bad", "request"]["reason"] for field in ("mass_kg", "mas_kg"))
    assert told["summary"]["problems"] == 0


def test_a_line_of_invalid_parts_leaves_the_earlier_ones(post: Callable[..., httpx.Response]) -> None:
    """Even where none of its own is valid; a name that no message may repeat is left out."""
    good = base_request("nut_collet")["stack"]
    first, *rest = good["components"]
    listed = [{"kind": "reference", "of": {"from": "request", "key": "A"}}, *rest]
    lines = [{"components": {"A": first}}, {"components": {"\u202e": {}}}, {"stack": {"components": listed}}]
    _, answer, end = map(json.loads, post(b"\n".join(json.dumps(one).encode() for one in lines)).iter_lines())
    assert not [one for one in answer["report"]["findings"] if one["code"].startswith("REF")]
    assert [one["part"] for one in end["summary"]["invalid_parts"]] == [None]


def test_a_bad_stack_is_the_same_problem_in_a_document_and_in_lines(post: Callable[..., httpx.Response]) -> None:
    """The others are judged all the same."""
    good = base_request("nut_collet")
    wrong = {**good, "policy": {"thresholds": [{"code": "NONE-999", "threshold": "x", "value": 1}]}}
    empty = {"stack": {"id": "KB-empty", "components": []}}
    stacks = [wrong, good, empty, {"stack": {"id": "KB\u0000"}}]
    response = post(json.dumps({"stacks": stacks}).encode(), content_type="application/json")
    assert response.status_code == 200
    *lines, end = post(b"".join(json.dumps(one).encode() + b"\n" for one in stacks)).content.splitlines()
    told = response.json()
    assert told["results"] == [json.loads(line) for line in lines]
    assert json.loads(end)["type"] == "end"
    assert [one["type"] for one in told["results"]] == ["problem", "report", "problem", "problem"]
    assert [one["id"] for one in told["results"]] == ["base-nut-collet", "base-nut-collet", "KB-empty", None]
    assert told["results"][0]["problem"]["errors"][0]["at"] == ["/policy/thresholds/0/code"]
    assert (told["summary"]["stacks"], told["summary"]["problems"]) == (1, 3)


def test_a_document_has_a_limit_of_its_own(post: Callable[..., httpx.Response]) -> None:
    """It may weigh more than a single check, and not everything."""
    body = json.dumps({"stacks": [base_request("nut_collet")]}).encode()
    assert post(b" " * (100_000 - len(body)) + body, content_type="application/json").status_code == 200
    response = post(b" " * (100_001 - len(body)) + body, content_type="application/json")
    assert (response.status_code, response.json()["code"]) == (413, "body-too-large")


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        pytest.param({}, 200, id="anything"),
        pytest.param({"accept": "application/x-ndjson"}, 200, id="the same"),
        pytest.param({"accept": "application/*"}, 200, id="a range"),
        pytest.param({"accept": "application/json"}, 406, id="a document for a stream"),
        pytest.param({"accept": "image/png"}, 406, id="something else"),
        pytest.param({"content-type": "text/plain"}, 415, id="text"),
        pytest.param({"content-type": "application/x-ndjson; charset=latin-1"}, 415, id="another charset"),
        pytest.param({"content-type": "application/x-ndjson;charset=utf-8"}, 200, id="the charset stated"),
        pytest.param({"content-encoding": "br"}, 415, id="a content coding"),
    ],
)
def test_media_types_are_negotiated(post: Callable[..., httpx.Response], headers: dict[str, str], status: int) -> None:
    """Before anything is judged: problems have their status as long as nothing is answered."""
    named = {"content-type": NDJSON, **headers}
    response = post(BAD, named.pop("content-type"), **named)
    assert response.status_code == status
    assert response.headers["vary"] == "Accept, Accept-Encoding"
    if status != 200:
        assert response.headers["content-type"] == "application/problem+json"
    if status == 415:
        assert NDJSON in response.headers["accept-post"]


def test_a_stream_is_given_under_the_name_that_is_wanted(post: Callable[..., httpx.Response]) -> None:
    """As it was sent, unless the other name is asked for."""
    assert post(BAD, accept="application/jsonl").headers["content-type"] == "application/jsonl"
    assert post(BAD, "application/jsonl").headers["content-type"] == "application/jsonl"
    response = post(b'{"stacks": []}', "application/json", accept=NDJSON)
    assert response.status_code == 406


def test_brief_is_true_or_false(post: Callable[..., httpx.Response]) -> None:
    """Anything else is refused before the first line."""
    response = post(BAD, path=f"{PATH}?brief=all")
    assert (response.status_code, response.json()["code"]) == (422, "invalid-request")


class _Failing:
    """Judges the stacks of the contract's examples and no others."""

    def __init__(self, assessor: Assessor) -> None:
        self.book, self.catalogue, self.engine = assessor.book, assessor.catalogue, assessor.engine
        self._assessor = assessor

    def assess_derived(self, request: Any) -> Any:
        return self._assessor.assess_derived(request)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._assessor, name)

    def assess(self, request: Any) -> Any:
        if request.stack.id == "broken":
            raise EngineFaultError("secret lever")
        return self._assessor.assess(request)


def test_a_fault_inside_costs_one_result(assessor: Assessor, caplog: pytest.LogCaptureFixture) -> None:
    """The others have their reports; the log has the cause."""
    app: Any = create_app(Settings(), _Failing(assessor))  # type: ignore[arg-type]
    stack = base_request("nut_collet")["stack"]
    body = {"stacks": [{"stack": stack}, {"stack": {**stack, "id": "broken"}}, {"stack": stack}]}

    async def main() -> None:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://stackgauge") as client:
            told = (await client.post(PATH, json=body)).json()
        assert [result["type"] for result in told["results"]] == ["report", "problem", "report"]
        assert told["results"][1]["problem"]["status"] == 500
        assert (told["summary"]["stacks"], told["summary"]["problems"]) == (2, 1)
        assert "secret" not in json.dumps(told)

    with caplog.at_level(logging.ERROR, logger="stackgauge"):
        _run(main())
    assert len(caplog.records) == 1
