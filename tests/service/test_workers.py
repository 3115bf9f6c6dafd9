"""Several workers on one port use the same rules, are replaced when they die or on a reload, and share metrics."""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import socket
from datetime import date
from pathlib import Path
from typing import Any, ClassVar

import httpx
import psutil
import pytest
import uvicorn
from prometheus_client.parser import text_string_to_metric_families
from uvicorn.config import STARTUP_FAILURE

from rules.answer.provenance import judgement_sha256
from rules.assessor import Assessor
from service.cli import serve
from service.cli.files import BAD_INPUT, FAULT
from service.cli.main import main
from service.cli.serve import worker_app
from service.http.app import create_app
from service.http.metrics import SHARED_FOLDER
from service.operations.assessors import Snapshot
from service.operations.settings import Settings
from service.operations.signing import NO_KEYS
from tests.service.conftest import Client
from tests.support.costly_stacks import costly_stack
from tests.support.live_service import PATIENCE_S, LiveService, until
from tests.support.served import NO_TLS
from tests.support.signing import key_file

BOOK = """\
book: shop
version: "1"
title: Rules of the shop
revision: "1"
rules:
  - code: SHOP-001
    title: Many teeth
    severity: warning
    for: component
    where: kind == "cutter"
    require: teeth <= 2
    message: "{component} has {teeth} teeth."
adjust:
  - {code: OVH-010, disable: true, reason: trial, owner: toolroom, until: 2026-01-31}
"""

UNSAFE = BOOK.replace("OVH-010", "GRIP-010").replace("2026-01-31", "2999-12-31")


def _counted(url: str, name: str, **labels: str) -> float:
    """A sample of the metrics, 0 where there is none yet."""
    text = httpx.get(f"{url}/metrics", verify=NO_TLS).text
    samples = [one for family in text_string_to_metric_families(text) for one in family.samples]
    return sum(one.value for one in samples if one.name == name and labels.items() <= one.labels.items())


def _asked(service: LiveService, url: str) -> int:
    """Ask once over a new connection; the id of the process that answered."""
    name = os.urandom(8).hex()
    assert httpx.get(f"{url}/version", headers={"X-Request-ID": name}, verify=NO_TLS).status_code == 200
    return until(lambda: next((line["pid"] for line in service.log if line.get("request_id") == name), None))


def _version(url: str) -> dict[str, Any]:
    response = httpx.get(f"{url}/version", verify=NO_TLS)
    assert response.status_code == 200
    return dict(response.json())


def _decided(url: str) -> dict[str, Any]:
    """The answer to an order."""
    order = {"order": "KB-1", "operations": [{"id": "10", "stack": {"components": [{"kind": "cutter", "id": "c"}]}}]}
    response = httpx.post(f"{url}/v1/gates", json=order, verify=NO_TLS)
    assert response.status_code == 200
    return dict(response.json())


def _profile_in_force(url: str) -> dict[str, Any]:
    """Name and digest of the profile that decides an order."""
    return dict(_decided(url)["profile"])


def _allocated(folder: Path) -> dict[str, tuple[int, int]]:
    """Length of each file of the metrics, and how much of it is allocated (POSIX counts blocks of 512 bytes)."""
    found = {one.name: one.stat() for one in sorted(folder.glob("stackgauge-metrics-*/*.db"))}
    return {name: (one.st_size, one.st_blocks * 512) for name, one in found.items()}


@pytest.fixture
def books(tmp_path: Path) -> Path:
    """A shop's folder of rulebooks."""
    folder = tmp_path / "books"
    folder.mkdir()
    (folder / "shop.yaml").write_text(BOOK)
    return folder


@pytest.fixture
def profile(tmp_path: Path) -> Path:
    """The shop's profile of gates."""
    file = tmp_path / "profile.yaml"
    file.write_text("profile: shop\nrevision: '1'\n")
    return file


@pytest.mark.parametrize("victims", [1, pytest.param(2, marks=pytest.mark.long)])
def test_a_worker_that_is_killed_is_replaced(books: Path, profile: Path, tmp_path: Path, victims: int) -> None:
    """The other one answers meanwhile, nothing that was counted is lost, and no file of the metrics grows.

    A page of a mapped file that had no room when it is first used would kill the worker that uses it. The replacement
    judges, decides and signs by the files of the start, even if they are broken or gone since.
    """
    catalogue, kept = tmp_path / "parts", tmp_path / "kept"
    for folder in (catalogue, kept):
        folder.mkdir()
    part = catalogue / "parts.json"
    part.write_text("{}")
    files = {"extra_rulebooks": f'["{books}"]', "gate_profile": str(profile), "catalogue": str(catalogue)}
    files["gate_key_file"] = str(key_file(tmp_path))
    with LiveService("--workers", "2", tmpdir=str(kept), **files) as service:
        url = service.url
        first = until(lambda: found if len(found := service.workers()) == 2 else None)
        rules, decides = _version(url), _decided(url)
        assert rules["rulebook_folders"] == ["books"]
        assert rules["book_revisions"] == {"shop": "1"}
        assert decides["profile"]["name"] == "shop"
        assert decides["signature"]
        allocated = _allocated(kept)
        assert len(allocated) == 3 * 4
        if Path("/proc").exists():  # counts blocks as Linux does
            assert all(room >= length > 0 for length, room in allocated.values())

        (books / "shop.yaml").unlink()
        part.write_text("half a fi")
        profile.write_text("profile: [half a fi")
        key_file(tmp_path, b"half a key")
        for number in range(1, victims + 1):
            victim = until(lambda: one if (one := _asked(service, url)) in first else None)
            asked = _counted(url, "stackgauge_requests_total", route="/version")
            before = service.workers()
            os.kill(victim, signal.SIGKILL)
            until(lambda gone=victim: gone not in service.workers())  # type: ignore[misc]
            for _ in range(20):
                assert _asked(service, url) != victim
                asked += 1
            (new,) = until(lambda seen=before: service.workers() - seen)  # type: ignore[misc]
            until(lambda one=new: _asked(service, url) == one)  # type: ignore[misc]
            until(lambda count=number: sum("died" in line["message"] for line in service.log) == count)  # type: ignore[misc]

        def decided(pid: int) -> bool:
            assert _version(url) == rules
            assert _decided(url) == decides
            return any(line["pid"] == pid and line.get("route") == "/v1/gates" for line in service.log)

        until(lambda: decided(new))
        httpx.request("NONE", f"{url}/nowhere", verify=NO_TLS)
        seen = sum(line.get("route") == "/version" for line in service.log)
        assert seen >= asked + 1
        assert _counted(url, "stackgauge_requests_total", route="/version") == seen
        assert _counted(url, "stackgauge_requests_total", route="none", status="404") >= 1
        assert _counted(url, "stackgauge_requests_in_flight") == 1
        assert _allocated(kept) == allocated
        service.terminate()
        assert service.ended() == 0


BUDGET = json.dumps({"stack": costly_stack(), "target_um": 10}).encode()
HEAD = b"POST /v1/budgets HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n"
ENDLESS = dict.fromkeys(("max_request_steps", "max_steps_per_kib"), str(10**12))


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no signal that can't be caught")
@pytest.mark.parametrize(("workers", "others"), [pytest.param("1", 2, marks=pytest.mark.long), ("2", 4)])
def test_nothing_outlives_the_first_process(workers: str, others: int) -> None:
    """Killed, it tells nobody; the port is free again, and no process computes on for nobody."""
    with LiveService("--workers", workers, shutdown_timeout_s="1", **ENDLESS) as service:
        host, port = service.url.removeprefix("http://").split(":")
        with socket.create_connection((host, int(port)), PATIENCE_S) as hog:
            hog.sendall(HEAD % len(BUDGET) + BUDGET)
            first = psutil.Process(service.process.pid)
            family = until(lambda: found if len(found := first.children(recursive=True)) >= others else None)
            os.kill(service.process.pid, signal.SIGKILL)
            _, left = psutil.wait_procs(family, PATIENCE_S / 4)
            for one in left:
                one.kill()
            assert not left


REFUSED = [
    ("1", {"books/bad.yaml": "rules: 17\n"}, {}, "books/bad.yaml"),
    ("2", {"books/shop.yaml": BOOK}, {"expect_judgement_sha256": "0" * 64}, f"expected {'0' * 64}, found "),
    ("2", {"books/bad.yaml": "rules: 17\n"}, {}, "books/bad.yaml"),
    ("1", {"books/notes.txt": ""}, {}, "books:0: no rulebook in this folder"),
    ("2", {}, {}, "books:0: this folder of rulebooks"),
    ("2", {"books/shop.yaml": BOOK}, {"weakened_safety_rules": '["SHOP-009"]'}, "SHOP-009: there is no such rule"),
    ("1", {"books/shop.yaml": BOOK}, {"expect_judgement_sha256": "0" * 64}, f"expected {'0' * 64}, found "),
    ("1", {"books/shop.yaml": UNSAFE}, {}, "GRIP-010: switches off a safety rule"),
]


def _written(folder: Path, files: dict[str, str], settings: dict[str, str]) -> dict[str, str]:
    """Write the files; the settings that name them."""
    for name, text in files.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(text)
    return {"extra_rulebooks": f'["{folder}/books"]', **settings}


@pytest.mark.parametrize(("workers", "files", "settings", "told"), REFUSED)
def test_what_does_not_judge_as_meant_is_not_served(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    workers: str,
    files: dict[str, str],
    settings: dict[str, str],
    told: str,
) -> None:
    """With the reason and the exit code for bad input."""
    for name, value in _written(tmp_path, files, settings).items():
        monkeypatch.setenv(f"STACKGAUGE_{name.upper()}", value)
    monkeypatch.setattr(serve, "configure_logs", lambda _: None)
    for starts in ("Supervisor", "serve"):
        monkeypatch.setattr(serve, starts, lambda *_: pytest.fail("it was served"))
    assert main(["serve", "--workers", workers, "--port", "0"]) == BAD_INPUT
    assert told in capsys.readouterr().err


@pytest.mark.parametrize(("workers", "files", "settings", "told"), REFUSED[:2])
def test_it_stops_the_start(
    tmp_path: Path, workers: str, files: dict[str, str], settings: dict[str, str], told: str
) -> None:
    """Before there is any worker."""
    with LiveService("--workers", workers, **_written(tmp_path, files, settings)) as service:
        assert service.ended() == BAD_INPUT
        assert told in "".join(service.text)
        assert "process [" not in "".join(service.text)


def _reloaded(service: LiveService, message: str) -> set[int]:
    """Send the signal, ask until the log has another line of this message; the workers then."""
    said = sum(message in line["message"] for line in service.log)
    url = service.url
    service.reload()

    def done() -> bool:
        assert httpx.get(f"{url}/readyz", verify=NO_TLS).status_code == 200
        return sum(message in line["message"] for line in service.log) > said

    until(done)
    return service.workers()


@pytest.mark.parametrize("back", [False, pytest.param(True, marks=pytest.mark.long)])
def test_a_reload_takes_good_rules_and_keeps_the_last_good_ones(books: Path, profile: Path, back: bool) -> None:
    """All workers are replaced, one by one, while every request is answered; a set with a fault changes nothing.

    The profile of gates comes and goes with the rules.
    """
    files = {"extra_rulebooks": f'["{books}"]', "gate_profile": str(profile)}
    with LiveService("--workers", "2", shutdown_grace_s="60", **files) as service:
        url = service.url
        first = until(lambda: found if len(found := service.workers()) == 2 else None)
        before, decided = _version(url), _profile_in_force(url)

        (books / "shop.yaml").write_text(BOOK.replace('revision: "1"', 'revision: "2"').replace("<= 2", "<= 3"))
        profile.write_text("profile: shop\nrevision: '2'\n")
        second = _reloaded(service, "reloaded")
        assert len(second) == 2
        assert not first & second
        good = _version(url)
        assert good["book_revisions"] == {"shop": "2"}
        assert good["rulebook_sha256"] != before["rulebook_sha256"]
        assert good["judgement_sha256"] != before["judgement_sha256"]
        for name, value in (("rulebook_sha256", before["rulebook_sha256"]), ("version", before["version"])):
            running = _counted(url, "stackgauge_build_info", **{name: value})
            assert running == (name == "version"), "only what is in force"
        assert _counted(url, "stackgauge_rulebook_info", book="shop", revision="2") == 1
        assert _counted(url, "stackgauge_rulebook_info", book="shop") == 1
        decides = [_profile_in_force(url) for _ in range(10)]
        assert {one["revision"] for one in decides} == {"2"}
        assert all(one["sha256"] != decided["sha256"] for one in decides)

        (books / "shop.yaml").write_text(BOOK.replace("<= 2", "<= many").replace("for: component", "for: drawer"))
        (books / "more.yaml").write_text("rules: 17\n")
        assert _reloaded(service, "nothing was reloaded") == second
        for reason in ("drawer", "more.yaml"):
            assert service.said(reason)
        assert _version(url) == good
        victim = second.pop()
        os.kill(victim, signal.SIGKILL)
        until(lambda: victim not in service.workers() and len(service.workers()) == 2)
        assert {_asked(service, url) for _ in range(20)} <= service.workers()
        assert _version(url) == good

        (books / "more.yaml").unlink()
        (books / "shop.yaml").write_text(BOOK)
        profile.write_text("profile: [half a fi")
        _reloaded(service, "nothing was reloaded")
        assert service.said("profile.yaml")
        assert _profile_in_force(url) == decides[0]
        if back:
            profile.write_text("profile: shop\nrevision: '1'\n")
            _reloaded(service, "reloaded")
            assert _version(url) == before
            assert _profile_in_force(url) == decided


def test_one_worker_outlives_the_signal_and_says_that_nothing_is_reloaded(books: Path) -> None:
    """A single process cannot replace itself. An adjustment that has ended is a warning of its start."""
    with LiveService(extra_rulebooks=f'["{books}"]', as_of="2026-02-01") as service:
        before = _version(service.url)
        assert service.said("adjustment of OVH-010 ended on 2026-01-31")
        (books / "shop.yaml").unlink()
        _reloaded(service, "nothing is reloaded")
        assert _version(service.url) == before
        service.terminate()
        assert service.ended() == 0


@pytest.mark.parametrize(("day", "ended"), [("2026-01-31", False), ("2026-02-01", True)])
def test_an_adjustment_that_has_ended_is_told(
    books: Path, caplog: pytest.LogCaptureFixture, day: str, ended: bool
) -> None:
    """As a warning, by the version and in the metrics; on its last day it is in force."""
    client = Client(create_app(Settings(extra_rulebooks=(books,), as_of=date.fromisoformat(day))))
    expected = [{"code": "OVH-010", "book": "books/shop.yaml", "until": "2026-01-31"}] if ended else []
    assert client.get("/version").json()["expired_adjustments"] == expected
    assert ("adjustment of OVH-010 ended on 2026-01-31" in caplog.text) == ended
    assert f"stackgauge_expired_adjustments {float(ended)}" in client.get("/metrics").text


def test_a_worker_of_another_program_does_not_serve(assessor: Assessor) -> None:
    """Two workers never judge by different programs: it exits so that the parent stops the service."""
    snapshot = Snapshot.of(assessor)._replace(in_force="the program of another day")
    process = multiprocessing.get_context("spawn").Process(target=worker_app, args=(Settings(), snapshot, NO_KEYS))
    process.start()
    process.join(PATIENCE_S)
    assert process.exitcode == STARTUP_FAILURE


class _FakeWorker:
    """A worker without a process: ready if its rules are, and it notes what is done to it."""

    made: ClassVar[list[_FakeWorker]]
    refused: ClassVar[int]

    def __init__(self, config: uvicorn.Config, _: object) -> None:
        self.rules = config.app
        self.alive, self.pid = True, None
        self.process = self
        self.made.append(self)

    def start(self) -> None:
        self.alive = self.rules == "old" or sum(one.rules != "old" for one in self.made) != self.refused

    def wait_until_ready(self, _: float) -> bool:
        return self.alive

    def is_alive(self) -> bool:
        return self.alive

    def kill(self) -> None:
        self.alive = False

    def join(self, _: float = 0) -> None:
        self.alive = False


def _supervisor(monkeypatch: pytest.MonkeyPatch, settings: Settings, refused: int = -1) -> serve.Supervisor:
    """A supervisor of three such workers; so many of those with new rules start before one does not."""
    monkeypatch.setattr(serve, "Worker", _FakeWorker)
    monkeypatch.setattr(_FakeWorker, "made", [], raising=False)
    monkeypatch.setattr(_FakeWorker, "refused", refused, raising=False)
    monkeypatch.setattr(signal, "signal", lambda *_: None)
    supervisor = serve.Supervisor(uvicorn.Config("old", workers=3, log_config=None), [], settings, None)
    supervisor.init_processes()
    return supervisor


@pytest.mark.parametrize(("refused", "left"), [(0, "new"), (1, "old"), (2, "old"), (3, "old")])
def test_all_workers_get_the_new_rules_or_none(
    monkeypatch: pytest.MonkeyPatch, assessor: Assessor, refused: int, left: str
) -> None:
    """If one cannot start with them, those that could go back to the old ones."""
    snapshot = Snapshot.of(assessor)
    monkeypatch.setattr(serve, "_read_anew", lambda _: (snapshot, NO_KEYS))
    supervisor = _supervisor(monkeypatch, Settings(), refused)
    supervisor.handle_hup()
    rules = ["old" if one.rules == "old" else "new" for one in supervisor.processes]  # type: ignore[attr-defined]
    assert rules == [left] * 3
    assert all(one.alive for one in supervisor.processes)  # type: ignore[attr-defined]
    assert ("old" if supervisor.config.app == "old" else "new") == left
    assert sum(one.alive for one in _FakeWorker.made) == 3


def test_a_reload_that_must_not_change_the_judgement_does_not(
    monkeypatch: pytest.MonkeyPatch, books: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """The digest expected at the start is expected of every reload."""
    caplog.set_level("INFO")
    settings = Settings(extra_rulebooks=(books,))
    found = judgement_sha256(Snapshot.read(settings).book)
    supervisor = _supervisor(monkeypatch, settings.model_copy(update={"expect_judgement_sha256": found}))
    supervisor.handle_hup()
    assert [one.rules == "old" for one in _FakeWorker.made] == [True] * 3 + [False] * 3
    assert "nothing was reloaded" not in caplog.text
    serving = list(supervisor.processes)
    (books / "shop.yaml").write_text(BOOK.replace("<= 2", "<= 3"))
    supervisor.handle_hup()
    assert f"expected {found}, found " in caplog.text
    assert "nothing was reloaded" in caplog.text
    assert supervisor.processes == serving


def test_without_room_for_metrics_the_service_works_all_the_same(
    monkeypatch: pytest.MonkeyPatch, assessor: Assessor, caplog: pytest.LogCaptureFixture
) -> None:
    """Each worker counts for itself, and the log tells it."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    monkeypatch.delenv(SHARED_FOLDER, raising=False)
    with serve._shared_files(Settings(), Snapshot.of(assessor)) as shared:
        assert shared is None
        assert SHARED_FOLDER not in os.environ
    (record,) = caplog.records
    assert "No space left on device" in record.getMessage()


def test_a_port_that_is_taken_is_no_start(monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture) -> None:
    """The exit code is none of a verdict."""
    monkeypatch.setattr(serve, "configure_logs", lambda _: None)
    monkeypatch.setattr(uvicorn.Config, "configure_logging", lambda _: None)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        assert main(["serve", "--port", port]) == FAULT
        assert "in use" in caplog.text
        with LiveService("--workers", "2", "--port", port) as service:
            assert service.ended() == FAULT
            assert service.said("in use")
