"""A Dask cluster gives the same bytes as processes on this machine."""

from __future__ import annotations

import builtins
import importlib.util
import json
import os
import signal
import time
from pathlib import Path
from typing import Any

import pytest

from service.audit.answering import DifferentRulesError, answer_chunk
from service.batch.lines import Chunk, Shared
from service.cli.files import BAD_INPUT
from service.cli.main import main
from service.operations.settings import Settings
from tests.support.audits import mixed_lines, stacks, started, write
from tests.support.libraries import library_lines

missing = importlib.util.find_spec("distributed") is None


@pytest.mark.skipif(missing, reason="the package distributed (extra: dask) is not installed")
def test_a_local_cluster_gives_the_same_bytes(tmp_path: Path) -> None:
    """Every output, with definitions, bad lines and a second library, is the same as by a pool of processes.

    The cluster's own log is silenced: on a busy machine it warns of late heartbeats.
    """
    write(tmp_path / "a.ndjson", library_lines(80, 7, "references"))
    write(tmp_path / "b.ndjson", mixed_lines())
    kinds = ("ndjson", "csv", "html", "xml")
    processes = {}
    for name, way in (("pool", []), ("dask", ["--dask", "local"])):
        options = [word for kind in kinds for word in ("--out", f"{name}.{kind}")]
        arguments = ("a.ndjson", "b.ndjson", "--quiet", "--workers", "2", *way, *options)
        processes[name] = started(*arguments, cwd=tmp_path, DASK_LOGGING__DISTRIBUTED="critical")
    for process in processes.values():
        _, err = process.communicate(timeout=180)
        assert (process.returncode, err) == (BAD_INPUT, b"")
    for kind in kinds:
        assert (tmp_path / f"dask.{kind}").read_bytes() == (tmp_path / f"pool.{kind}").read_bytes()


@pytest.mark.long
@pytest.mark.skipif(missing, reason="the package distributed (extra: dask) is not installed")
def test_a_worker_that_dies_costs_no_byte(tmp_path: Path) -> None:
    """Three workers, one killed midway: its chunks are judged again, and the outputs are those of a pool, twice."""
    from distributed import LocalCluster

    write(tmp_path / "a.ndjson", library_lines(700, 7, "references"))
    names = ("ndjson", "csv", "html", "xml", "sarif")

    def options(of: str) -> list[str]:
        return [word for name in names for word in ("--out", f"{of}.{name}")]

    _, err = started("a.ndjson", "--quiet", "--workers", "2", *options("pool"), cwd=tmp_path).communicate(timeout=600)
    assert err == b""
    with LocalCluster(n_workers=3, threads_per_worker=1, dashboard_address=None, silence_logs=50) as cluster:
        for run, killed in (("one", True), ("two", False)):
            arguments = ("a.ndjson", "--quiet", "--dask", cluster.scheduler_address, "--resume", "state", *options(run))
            process = started(*arguments, cwd=tmp_path, DASK_LOGGING__DISTRIBUTED="critical")
            while killed and not _lines(tmp_path / "state") >= 128:
                assert process.poll() is None
                time.sleep(0.05)
            if killed:
                os.kill(next(iter(cluster.workers.values())).pid, signal.SIGKILL)
                assert _lines(tmp_path / "state") < 700
            _, err = process.communicate(timeout=600)
            assert process.returncode == 2
            assert killed or err == b""  # the cluster says that it judges the chunks of the lost worker again
    for name in names:
        expected = (tmp_path / f"pool.{name}").read_bytes()
        assert {(tmp_path / f"{run}.{name}").read_bytes() for run in ("one", "two")} == {expected}


def _lines(state: Path) -> int:
    try:
        return int(json.loads(state.read_text())["place"]["line"])
    except FileNotFoundError:
        return 0


@pytest.mark.skipif(missing, reason="the package distributed (extra: dask) is not installed")
def test_no_cluster_is_bad_input(tmp_path: Path) -> None:
    """An address that nobody could listen on is said, with the code for bad input."""
    write(tmp_path / "a.ndjson", stacks(60)[:1])
    process = started("a.ndjson", "--dask", "nonsense://nowhere", cwd=tmp_path)
    _, err = process.communicate(timeout=120)
    assert process.returncode == BAD_INPUT
    assert b"no response from a Dask cluster at nonsense://nowhere" in err


def test_without_the_package_it_is_said_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    """The package is looked for when it is needed and no sooner; the message names the extra."""
    original = builtins.__import__

    def without(name: str, *rest: Any) -> Any:
        if name.split(".")[0] in ("distributed", "dask"):
            raise ImportError(name)
        return original(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    write(tmp_path / "a.ndjson", stacks(60)[:1])
    assert main(["audit", str(tmp_path / "a.ndjson"), "--dask", "local"]) == BAD_INPUT
    assert "pip install 'stackgauge[dask]'" in capsys.readouterr().err


def test_a_worker_with_other_rules_gives_no_answer() -> None:
    """Halves judged by different rules would be no audit."""
    with pytest.raises(DifferentRulesError):
        answer_chunk(Settings(), "others", Chunk(1, stacks(60)[:1], Shared(), "verdicts"), None)
