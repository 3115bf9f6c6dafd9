"""``POST /v1/gates`` over HTTP."""

from __future__ import annotations

import copy
import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from rules.assessor import Assessor
from rules.gate.gate import gate
from rules.schema.gate import REQUIREMENTS, GateReport, GateRequest
from rules.schema.parsing import parse
from service.examples import GATE_EXAMPLES
from service.http import posted
from service.http.app import create_app
from service.http.posted import Task
from service.http.questions import gates_router
from service.http.tasks import answering
from service.operations.assessors import Snapshot, profile_of
from service.operations.settings import Settings
from tests.service.conftest import Client
from tests.support.operations import change
from tests.support.orders import order_of


@pytest.fixture(scope="module")
def client(assessor: Assessor, max_body_bytes: int) -> Client:
    """An application with the gate."""
    app = create_app(Settings(max_body_bytes=max_body_bytes), assessor)
    app.include_router(gates_router(assessor))
    return Client(app)


@pytest.fixture
def order() -> dict[str, Any]:
    """The example; a test may change its copy."""
    return copy.deepcopy(dict(GATE_EXAMPLES["one-operation-held"].request))


def _post(client: Client, path: str, request: object, content_type: str = "application/json") -> Any:
    body = request if isinstance(request, bytes) else json.dumps(request).encode()
    return client.request("POST", path, content=body, headers={"content-type": content_type})


@pytest.mark.parametrize("name", GATE_EXAMPLES)
def test_an_order_is_answered_with_a_decision(client: Client, assessor: Assessor, name: str) -> None:
    """The answer is the report of the rules, nothing added and nothing lost, and nobody keeps it."""
    request = GATE_EXAMPLES[name].request
    response = _post(client, "/v1/gates", request)
    assert (response.status_code, response.headers["cache-control"]) == (200, "no-store")
    report = GateReport.model_validate_json(response.content)
    assert report == gate(parse(GateRequest, request), assessor)
    assert (report.decision, report.evaluation) == ("hold", 3)
    assert [one.decision for one in report.operations] == ["release", "hold"]


def test_an_order_is_sent_again_before_it_starts(client: Client, order: dict[str, Any]) -> None:
    """The round a scheduler makes: ask, store, expect; and a lower speed after that is told."""
    answer = _post(client, "/v1/gates", order).json()
    order["expect"] = {
        "digest": answer["digest"],
        "input_sha256": answer["input_sha256"],
        "version": answer["provenance"]["version"],
        "judgement_sha256": client.get("/version").json()["judgement_sha256"],
        "rulebook_sha256": answer["provenance"]["rulebook_sha256"],
    }
    told = _post(client, "/v1/gates", order).json()
    assert (told["digest"], told["unmet"]) == (answer["digest"], [])
    order["operations"][0]["spindle_speed_rpm"] -= 1
    told = _post(client, "/v1/gates", order).json()
    assert {one["name"] for one in told["unmet"]} == {"digest", "input_sha256"}
    assert told["may_start"] is False


def test_the_same_order_gives_the_same_bytes(client: Client, order: dict[str, Any]) -> None:
    """Nothing in the answer depends on when it was asked."""
    assert _post(client, "/v1/gates", order).content == _post(client, "/v1/gates", order).content


@pytest.mark.parametrize(
    "context",
    [
        "{}",
        '{"z":1,"a":[true,false,null,{"b":{},"a":[]}],"":""}',
        '{"job":"KB/12 \\"x\\" µ – 工","n":-0.25,"big":123456789012345678901234567890}',
        '{"decision":"release","operations":[{"id":"10"}],"at":["/stack"],"fields":["/machine"]}',
    ],
)
def test_the_context_comes_back_byte_for_byte(client: Client, order: dict[str, Any], context: str) -> None:
    """Compact JSON comes back as the very bytes that were sent, whatever the words mean to the gate."""
    del order["context"]
    body = json.dumps(order)[:-1].encode() + b',"context":' + context.encode() + b"}"
    response = _post(client, "/v1/gates", body)
    assert response.status_code == 200
    assert b'"context":' + context.encode() + b"}" in response.content


def test_no_context_is_null(client: Client, order: dict[str, Any]) -> None:
    """Every field of the answer is there."""
    del order["context"]
    answer = _post(client, "/v1/gates", order).json()
    assert (answer["context"], answer["context_sha256"], answer["operations"][0]["report"]) == (None, None, None)
    assert (answer["required"], answer["not_required"]) == (list(REQUIREMENTS), [])


def test_an_order_that_is_stopped_is_a_good_answer(client: Client, order: dict[str, Any]) -> None:
    """200 with the decision, as in a check."""
    change(order["operations"][0], {"spindle_speed_rpm": 90000})
    response = _post(client, "/v1/gates", order)
    assert response.status_code == 200
    assert (response.json()["decision"], response.json()["evaluation"]) == ("stop", 2)


def test_ids_used_twice_are_a_good_answer(client: Client, order: dict[str, Any]) -> None:
    """The schema allows them, so the operations are held and not refused."""
    order["operations"][1]["id"] = "10"
    answer = _post(client, "/v1/gates", order).json()
    assert [one["decision"] for one in answer["operations"]] == ["hold", "hold"]
    assert all("GATE-100" in {it["code"] for it in one["reasons"]} for one in answer["operations"])


def _resolves(document: Any, pointer: str) -> bool:
    for step in pointer.split("/")[1:]:
        try:
            document = document[int(step) if isinstance(document, list) else step]
        except (KeyError, IndexError, ValueError):
            return False
    return True


def test_pointers_lead_into_what_was_sent(client: Client, order: dict[str, Any]) -> None:
    """Where something is, its pointer resolves in the order; of what is missing, the place that should hold it does."""
    order["include"] = ["findings", "undecided", "runout", "grip"]
    one = _post(client, "/v1/gates", order).json()["operations"][1]
    places = [place for gap in one["undecided"] for place in gap["at"]]
    missing = [field for gap in one["undecided"] for lack in gap["lacks"] for field in lack["at"]]
    missing += [place for reason in one["reasons"] for place in reason["at"]]
    assert places
    assert all(_resolves(order, place) for place in places)
    assert missing
    assert all(_resolves(order, place.rsplit("/", 1)[0]) and not _resolves(order, place) for place in missing)
    told = one["report"]["undecided"][0]
    assert told["at"] == one["undecided"][0]["at"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        (lambda it: it.update(operations=[]), "/operations"),
        (lambda it: it.update(operations=it["operations"][:1] * 101), "/operations"),
        (lambda it: it.pop("order"), ""),
        (lambda it: it["operations"][1].pop("id"), "/operations/1"),
        (lambda it: it["operations"][1].pop("stack"), "/operations/1"),
        (
            lambda it: it["operations"][1]["stack"]["components"][0].update(mass_kg=-1),
            "/operations/1/stack/components/0/mass_kg",
        ),
        (lambda it: it.update(machin={}), "/machin"),
        (lambda it: it.update(context=[]), "/context"),
        (lambda it: it.update(required=["speed"]), "/required/0"),
        (lambda it: it.update(include="all"), "/include"),
        (
            lambda it: it["operations"][1].update(
                policy={"thresholds": [{"code": "OVH-999", "threshold": "a", "value": 1}]}
            ),
            "/operations/1/policy/thresholds/0/code",
        ),
    ],
    ids=["none", "many", "order", "id", "stack", "mass", "field", "context", "required", "include", "threshold"],
)
def test_wrong_input_is_pointed_at(client: Client, order: dict[str, Any], change: Any, pointer: str) -> None:
    """A problem with the place of the fault, 422."""
    if pointer == "/operations":
        order["operations"][0] = {"id": "1", "stack": {"components": [{"kind": "collet", "id": "c"}]}}
    change(order)
    response = _post(client, "/v1/gates", order)
    assert (response.status_code, response.headers["content-type"]) == (422, "application/problem+json")
    assert [error["at"] for error in response.json()["errors"]] == [[pointer]]


@pytest.mark.parametrize(
    ("body", "content_type", "status"),
    [
        (b"{", "application/json", 400),
        (b'{"context":{"a":1,"a":2}}', "application/json", 400),
        (b'{"context":{"a":NaN}}', "application/json", 400),
        (b'{"context":' + b'{"a":' * 70 + b"1" + b"}" * 71, "application/json", 400),
        (b"{}", "text/plain", 415),
        (b" " * 70_000, "application/json", 413),
    ],
    ids=["cut off", "two equal keys", "no number", "too deep", "not declared", "too much"],
)
def test_other_problems_are_those_of_a_check(client: Client, body: bytes, content_type: str, status: int) -> None:
    """What is no JSON to rely on is refused before anything is decided, in the context too."""
    response = _post(client, "/v1/gates", body, content_type)
    assert (response.status_code, response.headers["content-type"]) == (status, "application/problem+json")


def test_a_fault_is_no_release(assessor: Assessor, order: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """An engine that fails answers 500, which holds no decision."""
    app = create_app(Settings(), assessor)
    app.include_router(gates_router(assessor))
    monkeypatch.setattr(assessor, "assess_derived", lambda _: 1 / 0)
    response = _post(Client(app), "/v1/gates", order)
    assert response.status_code == 500
    assert "decision" not in response.json()


LAST_DAY, AFTER = date(2031, 5, 1), date(2031, 5, 2)
PROFILE = """\
profile: shop
waivers:
  - {requirement: machine_moment, reason: no changer, owner: toolroom, until: 2031-05-01}
"""


def test_a_waiver_ends_while_the_service_runs(
    tmp_path: Path, assessor: Assessor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After its last day the order is held, here and in other processes; a day that the operator has set stays."""
    file = tmp_path / "profile.yaml"
    file.write_text(PROFILE)
    settings = Settings(gate_profile=file)
    profile = profile_of(Settings(gate_profile=file, as_of=LAST_DAY), assessor.book)
    order = order_of("no moment")
    running = Client(create_app(settings, assessor, profile))
    fixed = Client(create_app(settings.model_copy(update={"as_of": LAST_DAY}), assessor, profile))
    body = json.dumps(order).encode()
    for day, expected in ((LAST_DAY, "release"), (AFTER, "hold")):
        monkeypatch.setattr(posted, "today", lambda day=day: day)
        told = _post(running, "/v1/gates", body).json()
        assert (told["decision"], bool(told["profile"]["waivers"])) == (expected, expected == "release")
        assert _post(fixed, "/v1/gates", body).json()["decision"] == "release"
        answer = answering(Snapshot.of(assessor, profile), assessor)
        assert json.loads(answer(Task("/v1/gates", body, ("application/json", "mm"))).content) == told
