"""A check is answered in the client's preferred format, and problems in an acceptable one."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Callable
from typing import Any

import httpx
import pytest
from pydantic_core import to_json

from rules.assessor import Assessor
from rules.rulebook.engine import EngineFaultError
from rules.schema.parsing import parse_request
from service.operations.problems import KINDS
from service.sheets.check import report_text
from tests.support.pages import by_id, parsed, words

BROWSER = "text/html,application/xhtml+xml,application/xml;q=0.9,image/avif,image/webp,*/*;q=0.8"
PAGE, TEXT, JSON = "text/html; charset=utf-8", "text/plain; charset=utf-8", "application/json"
PROBLEM = "application/problem+json"


def _check(client: Any, data: object, accept: str) -> httpx.Response:
    response: httpx.Response = client.check(json.dumps(data).encode(), accept=accept)
    return response


@pytest.mark.parametrize(
    ("accept", "answered"),
    [
        ("*/*", JSON),
        ("application/json", JSON),
        ("application/*", JSON),
        ("application/json, text/html", JSON),
        ("text/html;q=0.9, application/json", JSON),
        ("image/png, application/json;q=0.1", JSON),
        (BROWSER, PAGE),
        ("text/html", PAGE),
        ("text/*", PAGE),
        ("text/html, text/plain", PAGE),
        ("application/json;q=0.5, text/html;q=0.6", PAGE),
        ("*/*, application/json;q=0", PAGE),
        ("text/plain", TEXT),
        ("text/*, text/html;q=0", TEXT),
        ("text/plain, text/html;q=0.9, */*;q=0.1", TEXT),
    ],
)
def test_accept_chooses_the_form(client: Any, request_data: dict[str, Any], accept: str, answered: str) -> None:
    """The heaviest form wins, JSON before the page before plain text; every answer says that Accept decided."""
    response = _check(client, request_data, accept)
    assert (response.status_code, response.headers["content-type"]) == (200, answered)
    assert response.headers["vary"] == "Accept, Accept-Encoding"
    assert response.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("accept", ["image/png", "application/xml", "text/csv", "text/html;q=0", "*/*;q=0", "html"])
def test_other_forms_are_406(client: Any, request_data: dict[str, Any], accept: str) -> None:
    """The problem names every form there is."""
    response = _check(client, request_data, accept)
    assert (response.status_code, response.headers["vary"]) == (406, "Accept, Accept-Encoding")
    assert response.headers["content-type"] == PROBLEM
    told = response.json()
    assert told["code"] == "not-acceptable"
    assert all(name in told["detail"] for name in ("application/json", "text/html", "text/plain"))


@pytest.mark.parametrize("with_assembly", [None, False, True])
def test_json_and_text_hold_the_instruction_when_asked(
    client: Any, assessor: Assessor, request_data: dict[str, Any], with_assembly: bool | None
) -> None:
    """JSON is byte for byte the report of the rules, plain text that of the command line."""
    if with_assembly is not None:
        request_data["include"] = ["assembly"] if with_assembly else []
    asked = parse_request(request_data)
    report = assessor.assess(asked)
    assert _check(client, request_data, "application/json").content == to_json(report.only(asked.sections))
    text = _check(client, request_data, "text/plain").text
    assert text == report_text(report)
    assert ("\nAssembly: " in text) == bool(with_assembly)
    assert "\x1b" not in text
    assert max(map(len, text.split("\n"))) <= 100


def test_colour_is_never_in_plain_text(
    client: Any, request_data: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The terminal that the service was started from makes no difference."""
    plain = _check(client, request_data, "text/plain").content
    for name, value in (("FORCE_COLOR", "1"), ("COLUMNS", "40"), ("TTY_COMPATIBLE", "1"), ("TERM", "xterm-256color")):
        monkeypatch.setenv(name, value)
    assert _check(client, request_data, "text/plain").content == plain


@pytest.mark.parametrize("with_assembly", [None, True])
def test_the_page_always_holds_the_instruction(
    client: Any, request_data: dict[str, Any], assessor: Assessor, with_assembly: bool | None
) -> None:
    """It is computed where the request did not ask, and the digest is still that of the request as it came."""
    if with_assembly is not None:
        request_data["include"] = ["assembly"] if with_assembly else []
    tree = parsed(_check(client, request_data, BROWSER).text)
    digest = _check(client, request_data, "application/json").json()["provenance"]["request_sha256"]
    instruction, provenance = by_id(tree, "instruction"), by_id(tree, "provenance")
    assert instruction is not None
    request = parse_request({**request_data, "include": ["assembly"]})
    assembly = assessor.assess(request).assembly
    assert assembly is not None
    assert all(" ".join(step.text.split()) in words(instruction) for step in assembly.steps)
    assert provenance is not None
    assert digest in words(provenance)


def test_the_policy_of_a_page_names_its_style(client: Any, request_data: dict[str, Any]) -> None:
    """The digest in the header is that of the style as served, and nothing else is allowed."""
    response = _check(client, request_data, "text/html")
    style = response.text.partition("<style>")[2].partition("</style>")[0]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    directives = dict(one.split(" ", 1) for one in response.headers["content-security-policy"].split("; "))
    assert directives == {
        "default-src": "'none'",
        "style-src": f"'sha256-{digest}'",
        "base-uri": "'none'",
        "form-action": "'none'",
        "frame-ancestors": "'none'",
    }
    assert response.headers["x-content-type-options"] == "nosniff"
    assert response.headers["referrer-policy"] == "no-referrer"


@pytest.mark.parametrize("accept", [BROWSER, "text/plain", "application/json"])
def test_every_form_is_the_same_each_time(client: Any, request_data: dict[str, Any], accept: str) -> None:
    """The same request gives the same bytes, whatever the order of its keys."""
    turned = dict(reversed(request_data.items()))
    first = _check(client, request_data, accept)
    assert first.content == _check(client, request_data, accept).content == _check(client, turned, accept).content


FAULTS = [
    pytest.param(b'{"stack":\n  oops}', "malformed-json", "line 2, column 3: expecting value", id="not JSON"),
    pytest.param(b'{"stack": {"x": NaN}}', "malformed-json", "/stack/x", id="not a number"),
    pytest.param(b"[]", "invalid-request", "the whole body:", id="a list"),
    pytest.param(b'{"stack": {"components": []}, "y<b>": 1}', "invalid-request", "/y<b>: ", id="markup"),
]


@pytest.mark.parametrize(("body", "name", "place"), FAULTS)
def test_a_browser_gets_a_problem_as_a_page(client: Any, body: bytes, name: str, place: str) -> None:
    """Title, detail, every part with its place, and what to do; status, policy and Vary as for any answer."""
    told = client.check(body, accept="application/json").json()
    response = client.check(body, accept=BROWSER)
    assert response.headers["content-type"] == PAGE
    assert (response.status_code, response.headers["vary"]) == (KINDS[name].status, "Accept, Accept-Encoding")
    assert "default-src 'none'" in response.headers["content-security-policy"]
    tree = parsed(response.text)
    assert words(next(tree.iter("h1"))) == told["title"]
    shown = words(tree)
    for text in (told["detail"], place, KINDS[name].remedy, told["code"], str(told["status"])):
        assert text in shown
    for part in told["errors"]:
        assert part["detail"] in shown
        assert all(pointer in shown for pointer in part["at"])


@pytest.mark.parametrize(("body", "name", "place"), FAULTS)
def test_who_likes_plain_text_gets_a_problem_in_lines(client: Any, body: bytes, name: str, place: str) -> None:
    """The same in plain text."""
    told = client.check(body, accept="application/json").json()
    response = client.check(body, accept="text/plain")
    assert (response.status_code, response.headers["content-type"]) == (KINDS[name].status, TEXT)
    first, second, *_ = response.text.split("\n")
    assert (first, second) == (f"{told['status']}  {told['title']}", told["detail"])
    shown = " ".join(response.text.split())
    for text in (place, KINDS[name].remedy, *(part["detail"] for part in told["errors"])):
        assert " ".join(text.split()) in shown


@pytest.mark.parametrize(
    ("accept", "answered"),
    [
        ("", PROBLEM),
        ("*/*", PROBLEM),
        ("application/json", PROBLEM),
        ("application/problem+json, text/html", PROBLEM),
        ("text/html;q=0.9, application/json", PROBLEM),
        ("application/*, text/html;q=0.9", PROBLEM),
        ("image/png", PROBLEM),
        ("image/png, text/html;q=0.1", PAGE),
        (BROWSER, PAGE),
        ("text/plain", TEXT),
        ("text/plain, */*;q=0.5", TEXT),
    ],
)
@pytest.mark.parametrize("path", ["/nothing", "/v1/rules/NONE-999", "/v1/checks"])
def test_a_problem_is_told_as_the_client_likes_it(client: Any, path: str, accept: str, answered: str) -> None:
    """Only who likes HTML or plain text better than JSON gets it, on every path."""
    response = client.get(path, accept=accept)
    assert response.headers["content-type"] == answered
    assert response.headers["vary"] == "Accept, Accept-Encoding"
    if path == "/v1/checks":
        assert (response.status_code, response.headers["allow"]) == (405, "OPTIONS, POST")


@pytest.mark.parametrize(("accept", "answered"), [(BROWSER, PAGE), ("text/plain", TEXT), ("*/*", PROBLEM)])
def test_a_fault_inside_is_told_without_internals(
    client_with: Callable[[Any], Any],
    assessor: Assessor,
    request_data: dict[str, Any],
    accept: str,
    answered: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The last resort, too, answers in a form the client can read."""
    client = client_with(Assessor(assessor.book))

    def broken(*_: object) -> None:
        raise EngineFaultError("secret lever")

    monkeypatch.setattr(Assessor, "assess_derived", broken)
    response = _check(client, request_data, accept)
    assert (response.status_code, response.headers["content-type"]) == (500, answered)
    assert KINDS["internal-fault"].title in response.text
    assert "secret" not in response.text
