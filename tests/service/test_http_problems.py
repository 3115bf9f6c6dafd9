"""Every unsuccessful answer is a problem of RFC 9457."""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute

from rules.assessor import Assessor
from rules.rulebook.engine import EngineFaultError
from service.operations.problems import KINDS, MAX_PARTS
from tests.service.conftest import every_route


def _problem(response: httpx.Response, name: str) -> dict[str, Any]:
    """The problem answered, after the checks that hold for all of them."""
    assert response.headers["content-type"] == "application/problem+json"
    assert response.headers["vary"] == "Accept, Accept-Encoding"
    told: dict[str, Any] = response.json()
    assert told["type"] == f"https://stackgauge.invalid/problems/{name}"
    assert told["code"] == name
    assert told["request_id"] == response.headers["x-request-id"]
    assert told["title"] == KINDS[name].title
    assert response.status_code == told["status"] == KINDS[name].status
    assert told["detail"]
    return told


@pytest.mark.parametrize(
    ("body", "where"),
    [
        pytest.param(b"", {"code": "empty"}, id="empty"),
        pytest.param(b'{"stack": NaN}', {"code": "not_finite", "at": ["/stack"]}, id="NaN"),
        pytest.param(
            b'{"stack": {"x": 1e400}}', {"code": "number_too_large", "at": ["/stack/x"]}, id="beyond a double"
        ),
        pytest.param(
            b'{"stack": ' + b"9" * 5000 + b"}", {"code": "number_too_large", "at": ["/stack"]}, id="huge whole number"
        ),
        pytest.param(b'{"stack": {"a b": 1, "a b": 2}}', {"code": "duplicate_key", "at": ["/stack"]}, id="equal keys"),
        pytest.param(b'{"a b": "\\ud800"}', {"code": "lone_surrogate", "at": ["/a b"]}, id="half of a surrogate pair"),
        pytest.param(b"[" * 5000 + b"]" * 5000, {"code": "too_deep"}, id="deep nesting"),
        pytest.param('{"stack": "é"}'.encode("latin-1"), {"code": "not_utf8", "line": 1, "column": 12}, id="latin-1"),
        pytest.param(b'{\n"stack": }', {"code": "syntax_error", "line": 2, "column": 10}, id="not JSON"),
    ],
)
def test_a_body_that_cannot_be_read_is_400(client: Any, body: bytes, where: dict[str, Any]) -> None:
    """Traps of JSON are answered with the place of the fault, where it has one."""
    told = _problem(client.check(body), "malformed-json")
    assert told["instance"] == "/v1/checks"
    places = [{name: part[name] for name in part if name != "detail"} for part in told.get("errors", [])]
    assert places == [{"at": [], **where}]


@pytest.mark.parametrize(
    ("body", "pointer", "code"),
    [
        pytest.param(b"[]", "", "wrong_type", id="top-level list"),
        pytest.param(b'"stack"', "", "wrong_type", id="top-level text"),
        pytest.param(
            b'{"stack": {"components": [{"kind": "cutter"}]}}', "/stack/components/0", "missing_field", id="missing"
        ),
        pytest.param(b'{"stack": {"components": []}}', "/stack/components", "too_few_entries", id="no components"),
        pytest.param(
            b'{"stack": {"components": [{"kind": "spanner", "id": "c"}]}}',
            "/stack/components/0/kind",
            "not_one_of",
            id="unknown kind",
        ),
        pytest.param(
            b'{"stack": {"components": [{"kind": "cutter", "id": "c", "mass_kg": -1}]}}',
            "/stack/components/0/mass_kg",
            "out_of_range",
            id="negative mass",
        ),
        pytest.param(
            b'{"stack": {"components": [{"kind": "cutter", "id": "c", "overall_length_mm": "3 ells"}]}}',
            "/stack/components/0/overall_length_mm",
            "wrong_format",
            id="unknown unit",
        ),
        pytest.param(
            b'{"stack": {"components": [{"kind": "collet", "id": "c", "machine_side":'
            b' {"coupling": "nut_collet", "size": 16}}]}}',
            "/stack/components/0/machine_side/size",
            "not_one_of",
            id="in a union in a union",
        ),
        pytest.param(
            b'{"stack": {"components": [{"kind": "cutter", "id": "c"}]}, "policy":'
            b' {"thresholds": [{"code": "NONE-999", "threshold": "x", "value": 1}]}}',
            "/policy/thresholds/0/code",
            "unknown_rule",
            id="threshold of no rule",
        ),
        pytest.param(
            b'{"stack": {"components": [{"kind": "cutter", "id": "c"}]}, "\xc3\xa4 %": 1}', "/ä %", "unknown_field"
        ),
    ],
)
def test_a_body_that_breaks_the_contract_is_422(client: Any, body: bytes, pointer: str, code: str) -> None:
    """The JSON Pointer leads into the body; the code names the kind of fault."""
    told = _problem(client.check(body), "invalid-request")
    assert [(part["at"], part["code"]) for part in told["errors"]] == [([pointer], code)]


def test_many_faults_are_counted_and_the_first_are_listed(client: Any) -> None:
    """An answer stays short however much is wrong."""
    body = json.dumps({"stack": {"components": []}, **{f"x{n}": n for n in range(MAX_PARTS + 10)}})
    told = _problem(client.check(body.encode()), "invalid-request")
    assert len(told["errors"]) == MAX_PARTS
    assert str(MAX_PARTS + 11) in told["detail"]


@pytest.mark.parametrize(
    "content_type",
    [
        "",
        "nonsense",
        "text/plain",
        "text/json",
        "application/jsonx",
        "application/problem+json",
        "application/json; charset=latin-1",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
    ],
)
def test_other_media_types_are_415(client: Any, content_type: str, request_data: dict[str, Any]) -> None:
    """Only JSON and YAML in UTF-8 are read, and the answer says so."""
    response = client.check(json.dumps(request_data).encode(), content_type)
    _problem(response, "unsupported-media-type")
    assert response.headers["accept-post"] == "application/json, application/yaml"


@pytest.mark.parametrize(
    "content_type",
    [
        "application/json",
        "Application/JSON",
        "application/json;charset=UTF-8",
        'application/json; charset="utf-8"',
    ],
)
def test_spellings_of_json_are_read(client: Any, content_type: str, request_data: dict[str, Any]) -> None:
    """Case, quotes and the charset parameter make no difference."""
    assert client.check(json.dumps(request_data).encode(), content_type).status_code == 200


@pytest.mark.parametrize("accept", ["image/png", "image/*", "application/json;q=0", "application/xml, image/*"])
@pytest.mark.parametrize("path", ["/v1/rules", "/v1/rules/GRIP-010", "/v1/couplings", "/healthz", "/openapi.json"])
def test_an_accept_that_cannot_be_met_is_406(client: Any, path: str, accept: str) -> None:
    """What can't be given is refused, not ignored."""
    _problem(client.get(path, accept=accept), "not-acceptable")


def test_a_check_is_refused_before_the_work(client: Any) -> None:
    """An Accept that can't be met wins over a body that can't be read."""
    _problem(client.check(b"nonsense", accept="image/png"), "not-acceptable")


@pytest.mark.parametrize(
    ("size", "name"), [(0, "malformed-json"), (1, "body-too-large"), (10_000_000, "body-too-large")]
)
def test_a_declared_body_over_the_limit_is_413(client: Any, max_body_bytes: int, size: int, name: str) -> None:
    """The limit itself is allowed, one byte more is not."""
    _problem(client.check(b" " * (max_body_bytes + size)), name)


@pytest.mark.parametrize(("extra", "name"), [(0, "malformed-json"), (1, "body-too-large")])
def test_a_body_in_pieces_over_the_limit_is_413(client: Any, max_body_bytes: int, extra: int, name: str) -> None:
    """The limit holds for what arrives when no length is declared."""
    pieces = [b" " * 1024] * (max_body_bytes // 1024) + [b" " * extra]
    _problem(client.check_in_pieces(pieces), name)


def test_an_endless_body_is_not_read_to_its_end(client: Any, max_body_bytes: int) -> None:
    """Reading stops where the limit is passed."""
    taken = 0

    def endless() -> Iterator[bytes]:
        nonlocal taken
        while taken < 100 * max_body_bytes:
            taken += 1024
            yield b" " * 1024

    _problem(client.check_in_pieces(endless()), "body-too-large")
    assert taken <= max_body_bytes + 2 * 1024


@pytest.mark.parametrize(
    ("method", "path", "allow"),
    [
        ("GET", "/v1/checks", "OPTIONS, POST"),
        ("HEAD", "/v1/checks", "OPTIONS, POST"),
        ("POST", "/v1/rules", "GET, HEAD, OPTIONS"),
        ("DELETE", "/v1/rules/GRIP-010", "GET, HEAD, OPTIONS"),
        ("TRACE", "/openapi.json", "GET, HEAD, OPTIONS"),
    ],
)
def test_other_methods_are_405_with_allow(client: Any, method: str, path: str, allow: str) -> None:
    """Allow names every method that the path answers."""
    response = client.request(method, path)
    if method != "HEAD":
        _problem(response, "method-not-allowed")
    assert (response.status_code, response.headers["allow"]) == (405, allow)


def _path_of(route: APIRoute) -> str:
    """A path that leads to the route."""
    if route.path.startswith("/examples/"):
        return "/examples/checks/extended.answer.json"
    examples = {"code": "GRIP-010", "name": "invalid-request", "key": "iso15488:32:12"}
    return re.sub(r"{(\w+)}", lambda found: examples[found[1]], route.path)


def test_every_path_names_its_methods(app: FastAPI, client: Any) -> None:
    """OPTIONS gives 204 with Allow and no content; HEAD is answered where GET is, and refused elsewhere."""
    routes = list(every_route(app))
    assert len(routes) > 20
    for route in routes:
        path = _path_of(route)
        methods = {*route.methods, "OPTIONS"} | ({"HEAD"} if "GET" in route.methods else set())
        options = client.request("OPTIONS", path)
        assert (options.status_code, options.content) == (204, b""), path
        assert options.headers["allow"] == ", ".join(sorted(methods))
        head = client.request("HEAD", path)
        if "GET" in route.methods:
            assert head.status_code == client.get(path).status_code, path
        else:
            assert (head.status_code, head.headers["allow"]) == (405, options.headers["allow"])


def test_every_route_refuses_a_parameter_it_does_not_have(app: FastAPI, client: Any) -> None:
    """A misspelt parameter is never ignored, whatever the route; GET, HEAD and POST alike."""
    routes = list(every_route(app))
    assert len(routes) > 20
    for route in routes:
        (method,) = route.methods
        told = _problem(client.request(method, _path_of(route) + "?picure=budget"), "invalid-request")
        assert [(part["code"], part["parameter"]) for part in told["errors"]] == [("unknown_parameter", "picure")]
    assert client.request("HEAD", "/v1/rules?x=1").status_code == 422


@pytest.mark.parametrize(
    ("query", "code", "parameter"),
    [
        ("brief=true&brief=false", "repeated_parameter", "brief"),
        ("brief=all", "not_one_of", "brief"),
        ("=1", "unknown_parameter", ""),
        ("%00=1", "unknown_parameter", None),
        (f"{'x' * 65}=1", "unknown_parameter", None),
    ],
)
def test_a_wrong_query_is_422(client: Any, query: str, code: str, parameter: str | None) -> None:
    """The fault names its parameter, unless the name is not fit to be repeated."""
    response = client.request(
        "POST", f"/v1/check-batches?{query}", content=b"{}", headers={"content-type": "application/json"}
    )
    (part,) = _problem(response, "invalid-request")["errors"]
    assert (part["code"], part.get("parameter"), part["at"]) == (code, parameter, [])


@pytest.mark.parametrize(
    "path",
    [
        "/v1",
        "/v1/checks/",
        "/v2/checks",
        "/v1/rules/",
        "/v1/rules/NONE-999",
        "/v1/rules/a/b",
        "/v1/couplings/none",
        "/problems/none",
        "/redoc",
        "/static",
        "/static/",
        "/static/none.js",
        "/static/__init__.py",
        "/%00",
        "/%F0%9F%98%80",
    ],
)
def test_unknown_paths_are_404(client: Any, path: str) -> None:
    """Neither a path nor a name that does not exist is answered in the framework's own shape."""
    assert _problem(client.get(path), "not-found")["instance"] == path


def test_a_very_long_path_is_not_echoed(client: Any) -> None:
    """The instance is left out where it would only repeat a long path."""
    assert "instance" not in _problem(client.get("/" + "x" * 5000), "not-found")


class _Broken:
    """Judges nothing: raises what it was given."""

    def __init__(self, working: Assessor, error: Exception) -> None:
        self._working, self._error, self.armed = working, error, False
        self.book, self.catalogue, self.engine = working.book, working.catalogue, working.engine

    def assess(self, request: Any) -> Any:
        return self.assess_derived(request)[0]

    def assess_derived(self, request: Any) -> Any:
        if self.armed:
            raise self._error
        return self._working.assess_derived(request)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._working, name)


@pytest.mark.parametrize("error", [EngineFaultError("secret lever"), ZeroDivisionError("secret lever"), KeyError("x")])
def test_a_fault_inside_is_500_without_internals(
    assessor: Assessor,
    client_with: Callable[[Any], Any],
    request_data: dict[str, Any],
    error: Exception,
    caplog: pytest.LogCaptureFixture,
) -> None:
    """The answer tells nothing of the cause; the log tells everything."""
    broken = _Broken(assessor, error)
    client = client_with(broken)
    broken.armed = True
    with caplog.at_level(logging.ERROR, logger="stackgauge"):
        response = client.check(json.dumps(request_data).encode())
    _problem(response, "internal-fault")
    for internal in ("secret", type(error).__name__, "Traceback", ".py"):
        assert internal not in response.text
    (record,) = caplog.records
    assert record.exc_info is not None
    assert record.exc_info[1] is error


def test_a_service_that_cannot_judge_is_alive_and_not_ready(
    assessor: Assessor, client_with: Callable[[Any], Any], caplog: pytest.LogCaptureFixture
) -> None:
    """Readiness judges a known stack; liveness does not."""
    broken = _Broken(assessor, EngineFaultError("secret"))
    client = client_with(broken)
    assert client.get("/readyz").status_code == 200
    broken.armed = True
    with caplog.at_level(logging.ERROR, logger="stackgauge"):
        _problem(client.get("/readyz"), "not-ready")
    assert caplog.records
    assert client.get("/healthz").status_code == 200


@pytest.mark.parametrize("name", KINDS)
def test_every_kind_of_problem_is_explained_under_its_name(client: Any, name: str) -> None:
    """A program finds it by the code, a person by the end of the type."""
    told = client.get(f"/problems/{name}").json()
    assert told == {
        "type": f"https://stackgauge.invalid/problems/{name}",
        "code": name,
        "status": KINDS[name].status,
        "title": KINDS[name].title,
        "remedy": KINDS[name].remedy,
    }
