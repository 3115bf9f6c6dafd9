"""The web pages are served as files with media type, entity tag and a policy against external content."""

from __future__ import annotations

import re
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from rules.couplings.designation import understood
from rules.quantities.inch import imperial
from rules.schema.budget import BudgetRequest
from rules.schema.build import BuildRequest
from rules.schema.calibration import CalibrationRequest
from rules.schema.comparison import ComparisonRequest
from rules.schema.gate import GateRequest
from rules.schema.parsing import parse
from rules.schema.reading import ReadingRequest
from rules.schema.request import CheckRequest
from rules.schema.search import SearchRequest
from service.examples import BATCH_LINES
from service.http.pages import PAGE_POLICY
from service.sheets.page import PAGE_STYLE, STYLE_SOURCE

ROOT = Path(__file__).resolve().parents[2]
TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}
FILES = sorted(file.name for file in files("service.web").iterdir() if Path(file.name).suffix in TYPES)
EXAMPLES = "/static/examples.json"
PAGES = {"/": "index.html", "/docs": "docs.html", "/rules/try": "rules_try.html"}
SERVED = {**PAGES, **{f"/static/{name}": name for name in FILES if not name.endswith(".html")}}


def _source(name: str) -> str:
    return files("service.web").joinpath(name).read_text("utf-8")


@pytest.mark.parametrize("path", SERVED)
def test_files_are_served_as_they_stand(client: Any, path: str) -> None:
    """Content and type; kept by no one without asking, guessed by no one."""
    response = client.get(path)
    assert response.status_code == 200
    assert response.text == _source(SERVED[path])
    assert response.headers["content-type"] == TYPES[Path(SERVED[path]).suffix]
    assert response.headers["cache-control"] == "no-cache"
    assert response.headers["x-content-type-options"] == "nosniff"
    assert response.headers["referrer-policy"] == "no-referrer"
    assert response.headers["content-security-policy"] == PAGE_POLICY


def test_the_policy_lets_nothing_in() -> None:
    """Each directive by name; no word that opens it, and one style by digest: that of the report."""
    policy = dict(part.split(" ", 1) for part in PAGE_POLICY.split("; "))
    assert policy == {
        "default-src": "'none'",
        "script-src": "'self'",
        "style-src": f"'self' {STYLE_SOURCE}",
        "img-src": "'self' data: blob:",
        "connect-src": "'self'",
        "base-uri": "'none'",
        "form-action": "'none'",
        "frame-ancestors": "'none'",
    }
    assert "unsafe" not in PAGE_POLICY
    assert PAGE_STYLE


def _lasting(headers: Any) -> dict[str, str]:
    """All headers but the one that names the request."""
    return {name: value for name, value in headers.items() if name.lower() != "x-request-id"}


@pytest.mark.parametrize("path", [*SERVED, EXAMPLES])
def test_a_known_file_is_not_sent_again(client: Any, path: str) -> None:
    """304 keeps tag and policy; HEAD is GET without content."""
    first = client.get(path)
    again = client.get(path, if_none_match=first.headers["etag"])
    assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", first.headers["etag"])
    assert again.headers.get("content-security-policy") == first.headers.get("content-security-policy")
    assert client.get(path, if_none_match='"other"').content == first.content
    head = client.request("HEAD", path)
    assert (head.status_code, _lasting(head.headers), head.content) == (200, _lasting(first.headers), b"")


@pytest.mark.parametrize("name", FILES)
def test_nothing_refers_to_the_outside(name: str) -> None:
    """No address of a host, other than the name of SVG's namespace."""
    outside = re.findall(r"(?:https?:)?//[\w.-]+\.[a-z]{2,}[^\s\"'`)]*", _without_comments(_source(name)))
    assert set(outside) <= {"http://www.w3.org/2000/svg"}


def _without_comments(source: str) -> str:
    return re.sub(r"^ *//.*$", "", source, flags=re.MULTILINE)


@pytest.mark.parametrize("name", [name for name in FILES if name.endswith(".html")])
def test_pages_hold_no_code_and_no_style(name: str) -> None:
    """What the policy would block is not there: no inline script, handler or style."""
    source = _source(name)
    assert re.findall(r"<script(?![^>]*\bsrc=)", source) == []
    assert re.findall(r"<style|\sstyle=|\son[a-z]+=|javascript:", source) == []


@pytest.mark.parametrize("name", [name for name in FILES if name.endswith(".js")])
def test_modules_never_make_markup_or_code_of_text(name: str) -> None:
    """What an answer says is put in as text; nothing is evaluated; nothing is kept in the browser."""
    banned = r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function|localStorage|sessionStorage"
    assert re.findall(banned, _source(name)) == []


@pytest.mark.parametrize("name", FILES)
def test_what_files_refer_to_is_served(name: str) -> None:
    """Links of pages, imports of modules."""
    source = _source(name)
    if name.endswith(".html"):
        found = [*re.findall(r'(?:src|href)="(?:\.\./)?(static/[^"]+)"', source)]
        assert found
    else:
        found = [f"static/{other}" for other in re.findall(r'from "\./([^"]+)"', source)]
    assert [one for one in found if f"/{one}" not in SERVED] == []


def test_every_module_is_used() -> None:
    """No file is served that nothing asks for."""
    everything = "".join(map(_source, FILES))
    assert [name for name in FILES if not name.endswith(".html") and f"/{name}" not in everything] == []


@pytest.mark.parametrize(
    "path", ["/static/index.html", "/static/docs.html", "/static/__init__.py", "/static/__pycache__"]
)
def test_only_what_pages_need_is_served(client: Any, path: str) -> None:
    """A page has one address; other files of the folder have none."""
    assert client.get(path).status_code == 404


@pytest.mark.parametrize("path", ["/", "/docs", "/static/page.css"])
def test_pages_are_told_apart_by_accept(client: Any, path: str) -> None:
    """A browser's Accept is met; one that rules the type out is refused."""
    browser = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"
    assert client.get(path, accept=browser).status_code == 200
    assert client.get(path, accept="image/png").status_code == 406


def test_examples_are_requests_that_hold(client: Any) -> None:
    """Each of them is within the contract, has a summary, and a name of its own."""
    told = client.get(EXAMPLES).json()
    models = {
        "checks": CheckRequest,
        "readings": ReadingRequest,
        "builds": BuildRequest,
        "calibrations": CalibrationRequest,
        "comparisons": ComparisonRequest,
        "searches": SearchRequest,
        "budgets": BudgetRequest,
        "gates": GateRequest,
    }
    assert told.keys() == {*models, "audits"}
    assert [one["request"] for one in told.pop("audits")] == [BATCH_LINES]
    for kind, examples in told.items():
        assert examples
        assert len({one["name"] for one in examples}) == len(examples)
        for one in examples:
            assert one["summary"]
            parse(models[kind], one["request"])


def test_examples_show_every_verdict(client: Any) -> None:
    """Who tries them in turn sees a pass, a review and a fail."""
    checks = client.get(EXAMPLES).json()["checks"]
    answers = [client.request("POST", "/v1/checks", json=one["request"]).json()["verdict"] for one in checks]
    assert set(answers) == {"pass", "review", "fail"}
    assert answers[0] == "pass"


def test_forms_offer_designations_that_are_understood(client: Any) -> None:
    """Each at every end for which it is offered, in all sizes of its standard, and no two of one text."""
    offered = client.get("/static/choices.json").json()["designations"]
    for one in offered:
        for end in one["ends"]:
            meant = understood(one["text"], end)
            assert meant is not None, one
            assert (meant.words, dict(meant.fields)) == (one["words"], one["fields"])
    texts = [one["text"] for one in offered]
    assert len(set(texts)) == len(texts)
    assert {"HSK-A63", "HSK-F63", "ISO 7388-1 AD 40", "BT50", "CAT 30", "PSC 63", "MT3", "ISO 15488-32"} <= set(texts)


def test_forms_show_inches_as_answers_do(client: Any) -> None:
    """The page converts by the factors of the service."""
    units = client.get("/static/choices.json").json()["inch"]
    assert units["mm"] == {"sign": "in", "factor": 25.4, "step": 0.00005}
    for sign, one in units.items():
        shown = imperial(one["factor"], sign)
        assert shown == ("1", one["sign"])


def test_a_part_in_no_list_is_found_by_its_key(client: Any) -> None:
    """Every dimension that a form allows can be asked for; what is in the list is there once."""
    for key in ("generic:holder:BT40:iso15488-32:85", "iso15488:32:12"):
        found = client.get(f"/v1/parts?contains={key}").json()["items"]
        assert [one["key"] for one in found].count(key) == 1
    assert client.get("/v1/parts?contains=generic:holder:BT40:85").json()["items"] == []


def test_pages_are_no_part_of_the_contract(client: Any) -> None:
    """The OpenAPI document describes the API alone."""
    assert not {"/", "/docs", "/rules/try", "/static/{name}"} & client.get("/openapi.json").json()["paths"].keys()


def test_the_files_are_packaged() -> None:
    """An installed service has them: every suffix served is among the package's data."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    packaged = project["tool"]["setuptools"]["package-data"]["service"]
    assert {f"**/*{suffix}" for suffix in TYPES} <= set(packaged)
