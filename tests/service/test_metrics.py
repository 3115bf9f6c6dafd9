"""``/metrics`` counts answers, decisions and findings, with labels that clients cannot multiply."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from fastapi import FastAPI
from hypothesis import given, settings
from hypothesis import strategies as st
from prometheus_client.parser import text_string_to_metric_families

from rules.assessor import Assessor
from rules.rulebook.loader import base_request
from rules.schema.parsing import parse_request
from rules.schema.report import Undecided
from service.batch.stream import INLINE_LINES
from service.http.app import create_app
from service.http.metrics import SHARED_FOLDER, SHARED_PLACE, Metrics, SharedFiles
from service.http.request_log import METHODS
from service.operations.assessors import Judged, load_assessor
from service.operations.settings import Settings
from tests.service.conftest import Client
from tests.support.orders import order_of

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "demo_data" / "stacks"
STACK = base_request("nut_collet")

Samples = dict[tuple[str, frozenset[tuple[str, str]]], float]


def _read(text: str) -> Samples:
    families = text_string_to_metric_families(text)
    return {(one.name, frozenset(one.labels.items())): one.value for family in families for one in family.samples}


def _samples(client: Client) -> Samples:
    response = client.get("/metrics")
    assert response.status_code == 200
    return _read(response.text)


def _value(samples: Samples, name: str, **labels: str) -> float:
    return samples.get((f"stackgauge_{name}", frozenset(labels.items())), 0)


def _by_label(samples: Samples, name: str) -> dict[str, float]:
    """Values of a metric with one label, by that."""
    return {value: told for (one, labels), told in samples.items() if one == name for _, value in labels}


@pytest.fixture
def client(assessor: Assessor) -> Client:
    """Of an application that has answered nothing yet."""
    return Client(create_app(Settings(batch_workers=1), assessor))


def test_nothing_is_counted_before_anybody_asks(client: Client) -> None:
    """The examples that the contract shows were judged, too."""
    samples = _samples(client)
    assert {name for (name, _), value in samples.items() if value} == {
        "stackgauge_requests_in_flight",
        "stackgauge_build_info",
        "stackgauge_rulebook_info",
    }
    assert _value(samples, "requests_in_flight") == 1


def test_the_answer_is_what_prometheus_reads(client: Client) -> None:
    """Text with its version, whatever scrapers commonly accept; nothing that accepts only JSON."""
    response = client.get("/metrics", Accept="application/openmetrics-text;version=1.0.0,text/plain;q=0.5,*/*;q=0.1")
    assert response.headers["content-type"].startswith("text/plain; version=")
    assert response.headers["cache-control"] == "no-store"
    assert client.get("/metrics", Accept="application/json").status_code == 406
    assert client.request("HEAD", "/metrics").status_code == 200


def test_build_info_names_version_and_rules(client: Client, assessor: Assessor) -> None:
    """Which rules a process judges by can be seen from outside."""
    told = client.get("/version").json()
    assert told["rulebook_sha256"] == assessor.book.digest
    labels = {name: told[name] for name in ("version", "rulebook_sha256", "judgement_sha256")}
    samples = _samples(client)
    assert _value(samples, "build_info", **labels) == 1
    for book in told["rulebooks"]:
        assert _value(samples, "rulebook_info", book=book, revision="") == 1
    assert _value(samples, "expired_adjustments") == 0


def test_requests_are_counted_by_what_became_of_them(client: Client) -> None:
    """Routes are templates; problems are counted by their kind."""
    client.get("/v1/rules/GRIP-010")
    client.get("/v1/rules/RUN-010")
    client.get("/v1/rules/RUN-000")
    client.check(b"{")
    client.request("BREW", "/v1/checks")
    client.get("/a")
    client.get("/b", Accept="text/html")
    samples = _samples(client)
    for route, method, status, count in (
        ("/v1/rules/{code}", "GET", "200", 2),
        ("/v1/rules/{code}", "GET", "404", 1),
        ("/v1/checks", "POST", "400", 1),
        ("/v1/checks", "other", "405", 1),
        ("none", "GET", "404", 2),
    ):
        assert _value(samples, "requests_total", route=route, method=method, status=status) == count
    assert _by_label(samples, "stackgauge_problems_total") == {
        "not-found": 3,
        "malformed-json": 1,
        "method-not-allowed": 1,
    }
    assert _value(samples, "request_duration_seconds_count", route="/v1/rules/{code}") == 3
    assert _value(samples, "request_duration_seconds_bucket", route="/v1/rules/{code}", le="+Inf") == 3


@settings(max_examples=50)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["GET", "HEAD", "POST", "DELETE"]) | st.text("ABCGET", min_size=1, max_size=8),
            st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
        ),
        max_size=5,
    )
)
def test_labels_are_bounded_whatever_is_asked(app: FastAPI, requests: list[tuple[str, str]]) -> None:
    """Methods and paths without end give no series without end."""
    client = Client(app)
    for method, path in requests:
        client.request(method, "/" + quote(path, safe="/"))
    labels = [dict(labels) for (name, labels) in _samples(client) if name == "stackgauge_requests_total"]
    templates = {getattr(route, "path_format", None) for router in _routers(app) for route in router}
    assert {one["route"] for one in labels} <= templates | {"none"}
    assert {one["method"] for one in labels} <= {*METHODS, "other"}


def _routers(app: FastAPI) -> Iterable[Any]:
    yield app.routes
    for route in app.routes:
        if router := getattr(route, "original_router", None):
            yield router.routes


def _expected(reports: Iterable[dict[str, Any]]) -> dict[str, dict[str, float]]:
    """What the metrics must say of these reports."""
    counts: dict[str, dict[str, float]] = {"verdicts": {}, "findings": {}, "undecided": {}}
    for report in reports:
        told = {
            "verdicts": {report["verdict"]},
            "findings": {one["code"] for one in report["findings"]},
            "undecided": {one["code"] for one in report["undecided"]},
        }
        for name, labels in told.items():
            for label in labels:
                counts[name][label] = counts[name].get(label, 0) + 1
    return counts


def _decided(samples: Samples) -> dict[str, dict[str, float]]:
    return {name: _by_label(samples, f"stackgauge_{name}_total") for name in ("verdicts", "findings", "undecided")}


def test_decisions_are_counted_and_timed() -> None:
    """Verdicts, findings and gaps once a stack; the time of the engine is a share of the time to judge."""
    client = Client(create_app(Settings()))
    files = sorted(DEMO.glob("*.json"))
    reports = [client.check(file.read_bytes()).json() for file in files]
    samples = _samples(client)
    assert _decided(samples) == _expected(reports)
    assert len(_decided(samples)["verdicts"]) == 3
    judged, engine = (
        _value(samples, "judgement_seconds_sum"),
        _value(samples, "engine_seconds_sum"),
    )
    assert _value(samples, "judgement_seconds_count") == _value(samples, "engine_seconds_count") == len(files)
    assert 0 < engine < judged


def test_a_rule_counts_once_a_stack(assessor: Assessor) -> None:
    """However many of its parts break it."""
    report = assessor.assess(parse_request(json.loads((DEMO / "14-short-grip.json").read_bytes())))
    gap = {"code": "GRIP-010", "severity": "error", "title": "", "operation": None, "at": [], "lacks": []}
    gaps = [Undecided.model_validate(gap)] * 2
    metrics = Metrics()
    twice = report.model_copy(update={"findings": report.findings * 2, "undecided": gaps})
    metrics.judged(Judged.of(twice, 0.001, None))
    told = _decided(_read(metrics.text().decode()))
    assert told["findings"] == dict.fromkeys({one.code for one in report.findings}, 1)
    assert told["undecided"] == {"GRIP-010": 1}


def test_readiness_counts_no_stack(client: Client) -> None:
    """The known stack was asked by nobody."""
    assert client.get("/readyz").status_code == 200
    assert _decided(_samples(client))["verdicts"] == {}


@pytest.mark.parametrize("count", [3, INLINE_LINES + 40], ids=["here", "in a worker"])
@pytest.mark.parametrize("media_type", ["application/json", "application/x-ndjson"])
def test_batches_count_as_checks_do(assessor: Assessor, client: Client, count: int, media_type: str) -> None:
    """Whoever judged the stacks, and a line that can't be judged is one, too."""
    stacks = [json.loads((DEMO / "14-short-grip.json").read_bytes()), STACK, {"stack": {"components": []}}]
    stacks = (stacks * count)[:count]
    single = Client(create_app(Settings(), assessor))
    answers = [single.check(json.dumps(stack).encode()) for stack in stacks]
    bad = sum(answer.status_code != 200 for answer in answers)
    if media_type == "application/json":
        stacks = [stack for stack, answer in zip(stacks, answers, strict=True) if answer.status_code == 200]
        body, bad = json.dumps({"stacks": stacks}), 0
    else:
        body = "\n".join(map(json.dumps, stacks))
    response = client.request("POST", "/v1/check-batches", content=body, headers={"content-type": media_type})
    assert response.status_code == 200
    told = _samples(client)
    assert _decided(told) == _decided(_samples(single))
    lines = {"report": float(len(stacks) - bad), "problem": float(bad)}
    counted = _by_label(told, "stackgauge_batch_lines_total")
    assert counted == {name: value for name, value in lines.items() if value}


def test_a_judge_with_a_stop_watch_judges_alike(assessor: Assessor) -> None:
    """The report is the same to the byte."""
    timed = Client(create_app(Settings(), load_assessor(Settings())))
    plain = Client(create_app(Settings(), assessor))
    body = (DEMO / "14-short-grip.json").read_bytes()
    assert timed.check(body).content == plain.check(body).content


_WORKER = """\
import os, signal, sys
from service.http.metrics import Metrics
from service.http.request_log import METHODS

metrics = Metrics()
metrics.in_flight.inc()
metrics.answered("/x", "GET", 200, 0.5)
if sys.argv[1] == "die":
    os.kill(os.getpid(), signal.SIGKILL)
if sys.argv[1] == "all":
    from service.operations.problems import KINDS
    for route in [f"/v1/a-route-of-usual-length/{n}" for n in range(40)]:
        for method in ("GET", "HEAD", "POST"):
            for status in (0, 200, 304, *{kind.status for kind in KINDS.values()}):
                metrics.answered(route, method, status, 0.5)
    for method in (*METHODS, "other"):
        for status in (0, 200, 204, *{kind.status for kind in KINDS.values()}):
            metrics.answered("none", method, status, 0.5)
    for kind in KINDS:
        metrics.problem(kind)
    codes = [f"RULE-{n:03}" for n in range(int(sys.argv[2]))]
    metrics._stack("pass", codes, codes)
print(metrics.text().decode())
"""


def _ran(folder: Path, place: int, *arguments: str) -> subprocess.CompletedProcess[str]:
    """A worker at this place."""
    environment = {**os.environ, SHARED_FOLDER: str(folder), SHARED_PLACE: str(place)}
    command = [sys.executable, "-c", _WORKER, *arguments]
    return subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)


def test_workers_count_together_and_the_dead_have_nothing_in_flight(tmp_path: Path) -> None:
    """What a killed worker counted stays; what it had in flight goes when its place is taken back."""
    shared = SharedFiles(tmp_path, 2, 10)
    for _ in range(2):
        place = shared.take()
        _ran(tmp_path, place, "die")
        shared.give_back(place)
    shared.take()
    done = _ran(tmp_path, shared.take(), "tell")
    assert done.returncode == 0, done.stderr
    samples = _read(done.stdout)
    assert _value(samples, "requests_total", route="/x", method="GET", status="200") == 3
    assert _value(samples, "request_duration_seconds_bucket", route="/x", le="0.5") == 3
    assert _value(samples, "requests_in_flight") == 1


@pytest.mark.parametrize("rules", [10, 1000])
def test_the_files_have_room_for_every_label(tmp_path: Path, rules: int) -> None:
    """More routes than there are, each method, status, problem and rule: most of each file stays free."""
    SharedFiles(tmp_path, 1, rules)
    before = {one.name: one.stat().st_size for one in tmp_path.iterdir()}
    done = _ran(tmp_path, 0, "all", str(rules))
    assert done.returncode == 0, done.stderr
    assert {one.name: one.stat().st_size for one in tmp_path.iterdir()} == before
    for one in tmp_path.iterdir():
        used = int.from_bytes(one.read_bytes()[:4], sys.byteorder)
        assert 8 < used <= 0.8 * before[one.name], (one.name, used)


def test_two_applications_of_one_process_count_apart() -> None:
    """Nothing is kept in the module."""
    one, other = Metrics(), Metrics()
    one.problem("not-found")
    assert "not-found" in one.text().decode()
    assert "not-found" not in other.text().decode()


def test_gates_are_counted_by_decision_and_deviation(client: Client) -> None:
    """A release that may start, one that may not for its policy, and a hold."""
    client.request("POST", "/v1/gates", json=order_of("good"))
    client.request("POST", "/v1/gates", json=order_of("good", policy={"slip_fit": "mean"}))
    client.request("POST", "/v1/gates", json=order_of("no feed"))
    samples = _samples(client)
    assert _value(samples, "gate_decisions_total", decision="release", may_start="true") == 1
    assert _value(samples, "gate_decisions_total", decision="release", may_start="false") == 1
    assert _value(samples, "gate_decisions_total", decision="hold", may_start="false") == 1
    assert _value(samples, "gate_deviations_total", kind="slip_fit") == 1
