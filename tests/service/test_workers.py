"""Several workers on one port use the same rules, are replaced when they die, and share their metrics."""

from __future__ import annotations

import os
import signal
import socket
from pathlib import Path

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families

from service.cli.files import BAD_INPUT, FAULT
from tests.support.live_service import LiveService, until


def _counted(url: str, name: str, **labels: str) -> float:
    """A sample of the metrics, 0 where there is none yet."""
    text = httpx.get(f"{url}/metrics").text
    samples = [one for family in text_string_to_metric_families(text) for one in family.samples]
    return sum(one.value for one in samples if one.name == name and labels.items() <= one.labels.items())


def _asked(service: LiveService, url: str) -> int:
    """Ask once over a new connection; the id of the process that answered."""
    name = os.urandom(8).hex()
    assert httpx.get(f"{url}/version", headers={"X-Request-ID": name}).status_code == 200
    return until(lambda: next((line["pid"] for line in service.log if line.get("request_id") == name), None))


def test_a_worker_that_is_killed_is_replaced() -> None:
    """The other one answers meanwhile, and nothing that was counted is lost."""
    with LiveService("--workers", "2") as service:
        url = service.url
        first = until(lambda: found if len(found := service.workers()) == 2 else None)
        victim = _asked(service, url)
        assert victim in first
        asked = _counted(url, "stackgauge_requests_total", route="/version")
        os.kill(victim, signal.SIGKILL)
        until(lambda: victim not in service.workers())
        for _ in range(20):
            assert _asked(service, url) != victim
            asked += 1
        (new,) = until(lambda: service.workers() - first)
        until(lambda: (service.said("died"), _asked(service, url) == new)[1])
        seen = sum(line.get("route") == "/version" for line in service.log)
        assert seen >= asked + 1
        assert _counted(url, "stackgauge_requests_total", route="/version") == seen
        assert _counted(url, "stackgauge_requests_in_flight") == 1
        service.terminate()
        assert service.ended() == 0


@pytest.mark.parametrize("workers", ["1", "2"])
def test_a_wrong_rulebook_stops_the_start(tmp_path: Path, workers: str) -> None:
    """Before there is any worker, with the reason and the exit code for bad input."""
    (tmp_path / "bad.yaml").write_text("rules: 17\n")
    with LiveService("--workers", workers, extra_rulebooks=f'["{tmp_path}"]') as service:
        assert service.ended() == BAD_INPUT
        assert "bad.yaml" in "".join(service.text)
        assert "process [" not in "".join(service.text)


def test_a_worker_with_other_rules_does_not_serve(tmp_path: Path) -> None:
    """Two workers never judge by different rules: the service ends, so that it is started anew as a whole."""
    catalogue = tmp_path / "parts.json"
    catalogue.write_text("{}")
    with LiveService("--workers", "2", catalogue=str(tmp_path), shutdown_grace_s="0") as service:
        url = service.url
        victim = until(lambda: found if len(found := service.workers()) == 2 else None).pop()
        catalogue.write_text('{"A": {"kind": "cutter", "id": "a", "machine_side": {"coupling": "cylindrical"}}}')
        os.kill(victim, signal.SIGKILL)
        assert service.ended() == FAULT
        assert service.said("have changed since the service started")
        with pytest.raises(httpx.ConnectError):
            httpx.get(f"{url}/healthz")


def test_a_port_that_is_taken_is_no_start() -> None:
    """The exit code is none of a verdict."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        for workers in ("1", "2"):
            with LiveService("--workers", workers, "--port", port) as service:
                assert service.ended() == FAULT
                assert service.said("in use")
