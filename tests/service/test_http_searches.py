"""``POST /v1/searches`` over HTTP, and the same on the command line."""

from __future__ import annotations

import copy
import io
import json
import sys
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from rules.assessor import Assessor
from rules.schema.parsing import parse
from rules.schema.search import SearchReport, SearchRequest
from rules.search.search import digest_of, search, token_of
from service.cli.files import BAD_INPUT
from service.cli.main import main
from service.cli.questions import NOTHING_FOUND
from service.examples import SEARCH_EXAMPLES
from service.sheets.orders import print_search
from tests.support.inventories import shelf
from tests.support.operations import change, operation_of
from tests.support.toolroom_parts import SPINDLES


@pytest.fixture
def wanted() -> dict[str, Any]:
    """Two holders, collets and mills for one machine: four stacks go together."""
    return {
        "components": shelf(
            "KB-HT63-press-12-075",
            "KB-HT63-press-12-100",
            "KB-press-12-8",
            "KB-press-12-6",
            "KB-EM8-4",
            "KB-EM8L-4",
            "KB-HT63-L08-065",
        ),
        "operations": [operation_of({"spindle_speed_rpm": 13000, "runout_limit_um": 40, "balance_grade": "G16"})],
        "machine": SPINDLES["HT63"].machine,
    }


def _post(client: Any, request: object, content_type: str = "application/json") -> Any:
    body = request if isinstance(request, bytes) else json.dumps(request).encode()
    return client.request("POST", "/v1/searches", content=body, headers={"content-type": content_type})


@pytest.mark.parametrize("name", SEARCH_EXAMPLES)
def test_an_example_is_answered_with_a_report(client: Any, assessor: Assessor, name: str) -> None:
    """The answer is the report of the rules, nothing added and nothing lost; the names of the examples are true."""
    request = SEARCH_EXAMPLES[name].request
    response = _post(client, request)
    assert (response.status_code, response.headers["cache-control"]) == (200, "no-store")
    report = SearchReport.model_validate_json(response.content)
    assert report == search(parse(SearchRequest, request), assessor)
    assert bool(report.items) is not bool(report.nearest)
    assert (name == "nothing-found") is not bool(report.items)


def test_a_result_can_be_sent_to_the_checks(client: Any, wanted: dict[str, Any]) -> None:
    """The request beside a result is taken as it is, and gets the verdict that the result tells."""
    results = _post(client, wanted).json()["items"]
    assert len(results) == 4
    for one in results:
        answer = client.check(json.dumps(one["check"]).encode())
        assert answer.status_code == 200
        assert answer.json()["verdict"] == one["verdict"]


def test_the_same_request_gives_the_same_bytes(client: Any, wanted: dict[str, Any]) -> None:
    """Nothing in the answer depends on when it was asked."""
    assert _post(client, wanted).content == _post(client, wanted).content


def test_pages_are_gone_through_with_their_tokens(client: Any, wanted: dict[str, Any]) -> None:
    """The size of a page may change on the way; the token goes into the body and stands for itself in a URL."""
    whole = _post(client, wanted).json()
    found, request = [], {**wanted, "page": {"results_at_most": 1}}
    while True:
        page = _post(client, request).json()
        found += page["items"]
        assert page["complete"] is (page["next"] is None)
        if page["complete"]:
            break
        assert set(page["next"]) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_")
        request = {**wanted, "page": {"results_at_most": 2}, "continuation": page["next"]}
    merged = sorted(found, key=lambda one: (one["rank_key"], one["components"]))
    assert [one["components"] for one in merged] == [one["components"] for one in whole["items"]]


def _other_mass(request: dict[str, Any]) -> None:
    request["components"]["KB-press-12-8"]["mass_kg"] *= 2


@pytest.mark.parametrize(
    "change",
    [
        _other_mass,
        lambda it: it.update(accept="pass"),
        lambda it: change(it["operations"][0], {"spindle_speed_rpm": 12000}),
        lambda it: it.update(stock={"KB-press-12-8": 2}),
        lambda it: it.update(continuation=it["continuation"][:-1]),
        lambda it: it.update(continuation="A" + it["continuation"]),
        lambda it: it.update(continuation="x"),
        lambda it: it.update(continuation="-" * 40),
    ],
    ids=["mass", "accept", "speed", "stock", "cut off", "longer", "short", "garbled"],
)
def test_a_token_of_another_request_is_refused(client: Any, wanted: dict[str, Any], change: Any) -> None:
    """409 with the place of the token: nobody gets half of one search and half of another."""
    token = _post(client, {**wanted, "page": {"judged_at_most": 1}}).json()["next"]
    request = {**wanted, "continuation": token}
    assert _post(client, request).status_code == 200
    change(request)
    response = _post(client, request)
    assert (response.status_code, response.headers["content-type"]) == (409, "application/problem+json")
    told = response.json()
    assert told["code"] == "stale-continuation"
    assert [error["at"] for error in told["errors"]] == [["/continuation"]]


def test_a_token_of_other_rules_is_refused(
    client: Any, client_with: Any, assessor: Assessor, wanted: dict[str, Any]
) -> None:
    """Rules that changed between two pages would make a whole that nobody judged."""
    token = _post(client, {**wanted, "page": {"judged_at_most": 1}}).json()["next"]
    book = assessor.book
    other = Assessor(type(book)(book.rules, book.vocabulary, book.overridden, "0" * 64), assessor.catalogue)
    response = _post(client_with(other), {**wanted, "continuation": token})
    assert response.status_code == 409
    assert "other rulebooks" in response.json()["detail"]


def test_a_place_that_no_walk_has_does_no_harm(client: Any, wanted: dict[str, Any], assessor: Assessor) -> None:
    """A token made up with the right digest leads to an end or into the walk, never to a fault."""
    digest = digest_of(parse(SearchRequest, copy.deepcopy(wanted)), assessor)
    for path in ((0,), (9999,), (0, 0, 0, 0, 0, 0, 0), (0, 3, 9), (1, 2, 4, 65535), (0, 2, 4, 0, 0, 0, 0)):
        assert _post(client, {**wanted, "continuation": token_of(path, digest)}).status_code == 200


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        (lambda it: it.update(component={}), "/component"),
        (lambda it: it["components"]["KB-press-12-8"].update(mass_kg=-1), "/components/KB-press-12-8/mass_kg"),
        (lambda it: it.update(components={f"K{n}": {"kind": "collet", "id": "c"} for n in range(2001)}), "/components"),
        (lambda it: it.update(stock={"KB-press-12-8": -1}), "/stock/KB-press-12-8"),
        (lambda it: it.update(requirement={"max_components": 7}), "/requirement/max_components"),
        (lambda it: it.update(requirement={"clearance": [{"to_mm": 5}]}), "/requirement/clearance/0"),
        (lambda it: it.update(requirement={"cutters": []}), "/requirement/cutters"),
        (lambda it: it.update(page={"judged_at_most": 1001}), "/page/judged_at_most"),
        (lambda it: it.update(page={"results_at_most": 0}), "/page/results_at_most"),
        (lambda it: it.update(rank_by=["price"]), "/rank_by/0"),
        (lambda it: it.update(continuation="a b"), "/continuation"),
        (
            lambda it: it.update(policy={"thresholds": [{"code": "OVH-999", "threshold": "a", "value": 1}]}),
            "/policy/thresholds/0/code",
        ),
    ],
    ids=[
        "field",
        "mass",
        "many",
        "stock",
        "long",
        "zone",
        "cutters",
        "judged",
        "items",
        "rank",
        "token",
        "threshold",
    ],
)
def test_wrong_input_is_pointed_at(client: Any, wanted: dict[str, Any], change: Any, pointer: str) -> None:
    """A problem with the place of the fault, 422."""
    change(wanted)
    response = _post(client, wanted)
    assert (response.status_code, response.headers["content-type"]) == (422, "application/problem+json")
    assert [error["at"] for error in response.json()["errors"]] == [[pointer]]


@pytest.mark.parametrize(
    ("body", "content_type", "status"),
    [
        (b"{", "application/json", 400),
        (b"{}", "text/plain", 415),
        (b" " * (4 * 2**20 + 1), "application/json", 413),
    ],
)
def test_other_problems_are_those_of_a_check(client: Any, body: bytes, content_type: str, status: int) -> None:
    """Not JSON, not declared as JSON, too much of it."""
    response = _post(client, body, content_type)
    assert (response.status_code, response.headers["content-type"]) == (status, "application/problem+json")


def test_an_inventory_may_be_longer_than_a_check(client: Any, wanted: dict[str, Any], max_body_bytes: int) -> None:
    """Thousands of parts are more than the largest stack."""
    response = _post(client, json.dumps(wanted).encode() + b" " * max_body_bytes)
    assert (response.status_code, response.json()["counts"]["kept"]) == (200, 4)


def test_an_empty_request_is_answered(client: Any) -> None:
    """The schema allows it, so it is told that there is nothing to search."""
    answer = _post(client, {}).json()
    assert (answer["items"], answer["complete"], answer["counts"]["parts"]) == ([], True, 0)


def _file(folder: Path, request: object) -> str:
    file = folder / "search.json"
    file.write_text(json.dumps(request, indent=2), encoding="utf-8")
    return str(file)


@pytest.mark.parametrize(("limit", "lost", "code"), [(40, None, 0), (40, "mass_kg", 1), (1, None, 2)])
def test_the_exit_code_is_that_of_the_best(
    tmp_path: Path, wanted: dict[str, Any], capsys: Any, limit: float, lost: str | None, code: int
) -> None:
    """0 one passes, 1 the best asks for review, 2 nothing is found."""
    change(wanted["operations"][0], {"runout_limit_um": limit})
    if lost is not None:
        wanted["machine"] = {**wanted["machine"], "max_tool_mass_kg": 5}
        del wanted["components"]["KB-press-12-8"][lost]
    assert main(["search", _file(tmp_path, wanted)]) == code
    assert NOTHING_FOUND == 2
    assert capsys.readouterr().err == ""


def test_bad_input_is_told_with_its_place(tmp_path: Path, wanted: dict[str, Any], capsys: Any) -> None:
    """File, line, column, pointer and reason; no table. A token that is none has no place in the file."""
    wanted["machin"] = {}
    file = _file(tmp_path, wanted)
    assert main(["search", file]) == BAD_INPUT
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith(f"{file}:")
    assert "/machin: unknown field; did you mean 'machi" in printed.err
    del wanted["machin"]
    file = _file(tmp_path, wanted)
    assert main(["search", file, "--continue", "none"]) == BAD_INPUT
    assert capsys.readouterr().err == f"{file}:1:1: /continuation: this is not a search token of this version\n"


def test_json_on_the_command_line_is_the_report(
    wanted: dict[str, Any], assessor: Assessor, capsys: Any, monkeypatch: Any
) -> None:
    """One line, read from standard input; what the service answers, page by page."""
    wanted["page"] = {"results_at_most": 3}
    token: list[str] = []
    for kept in (3, 1):
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(json.dumps(wanted).encode())))
        assert main(["search", "--json", "-", *token]) == 0
        (line,) = capsys.readouterr().out.splitlines()
        report = SearchReport.model_validate_json(line)
        asked = {**wanted, "continuation": token[1]} if token else wanted
        assert report == search(parse(SearchRequest, copy.deepcopy(asked)), assessor)
        assert report.counts.kept == kept
        token = ["--continue", report.next or ""]


@pytest.mark.parametrize("width", [60, 100])
@pytest.mark.parametrize("limit", [40, 1])
def test_the_text_leaves_nothing_out(wanted: dict[str, Any], assessor: Assessor, width: int, limit: float) -> None:
    """Results with grips and codes, reasons, misses, parts that can't be used, token, notes and cautions."""
    change(wanted["operations"][0], {"runout_limit_um": limit, "feed_per_tooth_mm": 0.05})
    wanted["requirement"] = {"projection": {"at_least_mm": 105}}
    del wanted["components"]["KB-HT63-press-12-100"]["max_speed_rpm"]
    pages = [{}, {"page": {"results_at_most": 1}}] if limit == 40 else [{}]
    for page in pages:
        report = search(parse(SearchRequest, copy.deepcopy({**wanted, **page})), assessor)
        out = io.StringIO()
        print_search(report, Console(file=out, width=width, highlight=False))
        assert max(map(len, out.getvalue().splitlines())) <= width
        words = " ".join(out.getvalue().split())
        assert f"{report.counts.judged} judged" in words
        for one in report.items:
            assert f"{one.place} {one.verdict} {' + '.join(one.components)}" in words
            assert all(
                f"{joint.joint.lower} in {joint.joint.upper}: grip {joint.grip_length_mm:g} mm" in words
                for joint in one.joints
            )
            assert all(code in words for code in one.codes)
            assert all(f"{code}?" in words for code in one.undecided_codes)
        for near in report.nearest:
            assert " + ".join(near.components) in words
            assert all(f"{it.code} {it.title}: {it.message}" in words for it in near.reasons)
        for stop in report.refused_by:
            assert f"{stop.code} {stop.title}: {stop.stacks} stack" in words
        for cut in report.cut:
            assert f"{cut.code} {cut.title}: {cut.orders} order" in words
        for left in report.left_out:
            assert f"{left.key}: {left.code} {left.reason}" in words
        for said in (*report.notes, *report.cautions, *([report.next] if report.next else [])):
            assert said in words
        assert report.left_out
        assert bool(report.items) is (limit == 40)
        assert bool(report.nearest) is (limit == 1)
