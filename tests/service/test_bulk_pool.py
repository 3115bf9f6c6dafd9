"""Chunks judged in several processes give the same results in order, even if a process dies."""

from __future__ import annotations

import json
import logging
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import psutil
import pytest

from rules.assessor import Assessor
from rules.gate.profile import STRICT
from rules.quantities.work_limit import TooMuchWorkError
from rules.rulebook.loader import base_names, base_request
from service.batch.lines import Chunk, Shared, answer_lines, chunks_of
from service.batch.pool import Pool, cores
from service.operations.assessors import Snapshot
from service.operations.problems import ProblemError
from tests.support.pool_tasks import answering

SHOP_BOOK = """\
book: shop
version: "1"
title: Rules of the shop
rules:
  - code: SHOP-001
    title: Few teeth
    severity: warning
    for: component
    where: kind == "cutter"
    require: teeth <= 2
    message: "{component} has {teeth} teeth."
"""

PATIENCE_S = 60
"""Only keeps a test that fails from hanging."""


@pytest.fixture(scope="module")
def pool(assessor: Assessor) -> Iterator[Pool]:
    with Pool(2, Snapshot.of(assessor)) as made:
        yield made


@pytest.fixture(scope="module")
def lines() -> list[bytes]:
    """Stacks, definitions, bad lines and blank ones."""
    stacks = [json.dumps(base_request(name)).encode() for name in base_names()]
    parts = {part["id"]: part for part in base_request("press_in")["stack"]["components"]}
    references = {
        "stack": {"components": [{"kind": "reference", "of": {"from": "request", "key": key}} for key in parts]}
    }
    shared = [json.dumps({"components": parts}).encode(), json.dumps({"policy": {"on_warning": "fail"}}).encode()]
    return [*stacks, b"nonsense", *shared, b"", *[json.dumps(references).encode()] * 5, *stacks]


def _until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < end
        time.sleep(0.01)


@pytest.mark.parametrize("size", [1, 3, 1000])
@pytest.mark.parametrize("include", ["reports", "verdicts"])
def test_answers_are_those_of_one_process(
    pool: Pool, assessor: Assessor, lines: list[bytes], size: int, include: Any
) -> None:
    """To the byte, and in order, however the lines are grouped."""
    whole = answer_lines(assessor, 1, lines, Shared(), include)
    assert list(pool.answers(chunks_of(lines, Shared(), size, include))) == whole


def test_batches_side_by_side_keep_their_own_definitions(pool: Pool, assessor: Assessor) -> None:
    """More of them than a worker remembers, in turns."""
    parts = {part["id"]: part for part in base_request("press_in")["stack"]["components"]}
    mass = next(iter(parts))
    line = json.dumps(
        {"stack": {"components": [{"kind": "reference", "of": {"from": "request", "key": key}} for key in parts]}}
    ).encode()
    batches = [
        Shared().following({"components": {**parts, mass: {**parts[mass], "mass_kg": n + 1}}}).shared for n in range(7)
    ]
    chunks = [Chunk(n + 1, (line,), batches[n % 7], "reports") for n in range(40)]
    expected = [answer for chunk in chunks for answer in answer_lines(assessor, *chunk)]
    assert list(pool.answers(chunks)) == expected
    assert len({json.dumps(json.loads(answer.text)["report"]) for answer in expected}) == 7


def test_no_more_chunks_are_taken_than_are_answered(pool: Pool) -> None:
    """A long batch is never held whole."""
    taken = 0

    def chunks() -> Iterator[Chunk]:
        nonlocal taken
        for number in range(1, 200):
            taken += 1
            yield Chunk(number, (b"nonsense",), Shared(), "verdicts")

    for number, answer in enumerate(pool.answers(chunks()), 1):
        assert answer.number == number
        assert taken <= number + pool.window


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no signal that can't be caught")
def test_the_death_of_a_worker_costs_the_chunk_it_was_at(
    assessor: Assessor, lines: list[bytes], caplog: pytest.LogCaptureFixture
) -> None:
    """Its lines are answered with a problem, all others as ever, and another worker takes over."""
    stack, definitions = lines[0], next(line for line in lines if line.startswith(b'{"components"'))
    with Pool(1, Snapshot.of(assessor)) as pool, caplog.at_level(logging.ERROR, logger="stackgauge"):
        list(pool.answers([Chunk(1, (stack,), Shared(), "verdicts")]))
        (victim,) = pool.pids()
        os.kill(victim, signal.SIGSTOP)
        lost = pool.answer(Chunk(1, (b"nonsense", b"", definitions, stack), Shared(), "verdicts"))
        waiting = pool.answer(Chunk(5, (stack,), Shared(), "verdicts"))
        _until(lost.running)
        time.sleep(0.05)
        os.kill(victim, signal.SIGKILL)
        told = lost.result(PATIENCE_S)
        assert [answer.number for answer in told] == [1, 4]
        assert {json.loads(answer.text)["problem"]["status"] for answer in told} == {500}
        assert [answer.verdict for answer in waiting.result(PATIENCE_S)] == ["pass"]
        assert victim not in pool.pids()
    (record,) = caplog.records
    assert "4 lines from line 1" in record.getMessage()


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no signal that can't be caught")
def test_what_is_saved_meanwhile_changes_nothing(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A worker that replaces another judges by what was read at the start, in rulebooks and catalogue.

    The other one died idle, which costs nothing.
    """
    stack = base_request("nut_collet")["stack"]
    part = stack["components"][-1]
    stack["components"][-1] = {"kind": "reference", "of": {"from": "catalogue", "key": "mill"}}
    for folder, text in (("rules", SHOP_BOOK), ("parts", json.dumps({"mill": part}))):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "one.yaml").write_text(text)
    assessor = Assessor.load([tmp_path / "rules"], tmp_path / "parts")
    chunk = Chunk(1, (json.dumps({"stack": stack}).encode(),), Shared(), "reports")
    expected = answer_lines(assessor, *chunk)
    assert b"end-mill has 4 teeth." in expected[0].text
    with Pool(1, Snapshot.of(assessor)) as pool, caplog.at_level(logging.ERROR, logger="stackgauge"):
        assert pool.answer(chunk).result(PATIENCE_S) == expected
        for folder in ("rules", "parts"):
            (tmp_path / folder / "one.yaml").write_text("half a fi")
        (victim,) = pool.pids()
        os.kill(victim, signal.SIGKILL)
        _until(lambda: not _runs(victim))
        assert pool.answer(chunk).result(PATIENCE_S) == expected
        assert pool.pids() != [victim]
    assert not caplog.records


def _runs(pid: int) -> bool:
    """Whether a process of this id executes; one that nobody has asked for its end does not."""
    try:
        return os.waitid(os.P_PID, pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is None
    except ChildProcessError:
        return False


def test_a_worker_of_another_program_does_not_judge(
    assessor: Assessor, lines: list[bytes], caplog: pytest.LogCaptureFixture
) -> None:
    """Two halves of a batch are never judged by different rules: rather not at all."""
    other = Snapshot.of(assessor)._replace(in_force="the program of another day")
    with Pool(1, other) as pool, caplog.at_level(logging.ERROR, logger="stackgauge"):
        told = pool.answer(Chunk(1, (lines[0],) * 2, Shared(), "verdicts")).result(PATIENCE_S)
    assert [json.loads(answer.text)["problem"]["code"] for answer in told] == ["internal-fault"] * 2
    assert caplog.records


def test_a_pool_that_is_closed_takes_nothing_and_leaves_nothing(assessor: Assessor, lines: list[bytes]) -> None:
    """What waits is called back, what runs is cut off, and the processes are gone."""
    pool = Pool(1, Snapshot.of(assessor))
    pool.close()
    with pytest.raises(RuntimeError, match="closed"):
        pool.answer(Chunk(1, (), Shared(), "verdicts"))
    pool = Pool(1, Snapshot.of(assessor))
    pool.answer(Chunk(1, (lines[0],), Shared(), "verdicts")).result(PATIENCE_S)
    (worker,) = pool.pids()
    running = pool.answer(Chunk(1, (lines[0],) * 2000, Shared(), "verdicts"))
    waiting = pool.answer(Chunk(1, (lines[0],), Shared(), "verdicts"))
    _until(running.running)
    pool.close()
    pool.close()
    assert waiting.cancelled()
    assert {answer.verdict for answer in running.result(PATIENCE_S)} == {None}
    assert not _runs(worker)
    assert pool.pids() == []


def test_what_is_called_back_is_not_judged(pool: Pool, lines: list[bytes]) -> None:
    """A future that is cancelled before its turn is passed over."""
    futures = [pool.answer(Chunk(1, (lines[0],) * 20, Shared(), "verdicts")) for _ in range(6)]
    called_back = [future for future in futures if future.cancel()]
    assert called_back
    assert {len(future.result(PATIENCE_S)) for future in futures if future not in called_back} <= {20}
    assert [answer.verdict for answer in pool.answers([Chunk(1, (lines[0],), Shared(), "verdicts")])] == ["pass"]


def test_a_pool_takes_every_core_unless_told_otherwise(assessor: Assessor) -> None:
    """Nothing is started before it is needed."""
    pool = Pool(0, Snapshot.of(assessor))
    assert pool.workers == cores() >= 1
    assert pool.window > pool.workers
    assert pool.pids() == []
    pool.close()


@pytest.fixture(scope="module")
def asked(assessor: Assessor) -> Iterator[Pool]:
    """A pool of one worker, and the reserved one, that answers tasks."""
    with Pool(1, Snapshot.of(assessor, STRICT), answering=answering) as made:
        yield made


def test_a_task_is_answered_by_the_snapshot_or_with_its_problem(asked: Pool, caplog: pytest.LogCaptureFixture) -> None:
    """A fault is logged where it happens and is told without internals."""
    assert asked.ask("hello", None).future.result(PATIENCE_S) == ("hello", STRICT)
    refused = asked.ask("refuse", None).future.exception(PATIENCE_S)
    assert isinstance(refused, ProblemError)
    assert (refused.kind.name, refused.detail, refused.headers) == ("not-found", "No such word.", {"Retry-After": "1"})
    failed = asked.ask("fail", None).future.exception(PATIENCE_S)
    assert isinstance(failed, ProblemError)
    assert failed.kind.name == "internal-fault"
    assert not caplog.records


def test_work_is_counted_elsewhere_too(asked: Pool) -> None:
    """Beyond its steps a task ends; the next one has its own."""
    assert isinstance(asked.ask("count", 10_000).future.exception(PATIENCE_S), TooMuchWorkError)
    assert asked.ask("hello", 0).future.result(PATIENCE_S)[0] == "hello"


def test_what_is_urgent_waits_for_nothing_else(asked: Pool, lines: list[bytes]) -> None:
    """With the worker taken and others waiting: the reserved one takes the urgent, no other; tasks precede chunks."""
    endless = asked.ask("count", None)
    _until(endless.future.running)
    chunk = asked.answer(Chunk(1, (lines[0],), Shared(), "verdicts"))
    later = asked.ask("later", None)
    assert [asked.ask(f"gate {n}", None, urgent=True).future.result(PATIENCE_S)[0] for n in range(3)] == [
        "gate 0",
        "gate 1",
        "gate 2",
    ]
    assert endless.future.running()
    assert not later.future.running()
    order: list[str] = []
    later.future.add_done_callback(lambda _: order.append("task"))
    chunk.add_done_callback(lambda _: order.append("chunk"))
    endless.give_up()
    assert isinstance(endless.future.exception(PATIENCE_S), TooMuchWorkError)
    chunk.result(PATIENCE_S)
    assert order == ["task", "chunk"]


def test_the_others_help_when_much_is_urgent(asked: Pool) -> None:
    """The reserved worker is taken, so that the next urgent task goes to another one."""
    endless = asked.ask("count", None, urgent=True)
    _until(endless.future.running)
    assert asked.ask("second", None, urgent=True).future.result(PATIENCE_S)[0] == "second"
    endless.give_up()
    assert isinstance(endless.future.exception(PATIENCE_S), TooMuchWorkError)


def test_what_is_given_up_ends_wherever_it_is(asked: Pool, caplog: pytest.LogCaptureFixture) -> None:
    """In the queue, where it counts, and where it does not, which takes its process along; the next is answered."""
    running, waiting = asked.ask("wait", None), asked.ask("never", None)
    _until(running.future.running)
    waiting.give_up()
    assert waiting.future.cancelled()
    before = asked.pids()
    running.give_up()
    assert isinstance(running.future.exception(PATIENCE_S), ProblemError)
    assert asked.ask("hello", None).future.result(PATIENCE_S)[0] == "hello"
    assert asked.pids() != before
    assert not caplog.records


PARENT = """
import sys
from rules.assessor import Assessor
from service.batch.pool import Pool
from service.operations.assessors import Snapshot
from tests.support.pool_tasks import answering

if __name__ == "__main__":
    pool = Pool(1, Snapshot.of(Assessor.load()), answering=answering)
    pool.ask("hello", None).future.result()
    task = pool.ask(sys.argv[1], None).future
    print(*pool.pids(), flush=True)
    task.result()
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no signal that can't be caught")
@pytest.mark.parametrize("word", ["wait", pytest.param("count", marks=pytest.mark.long)])
def test_a_worker_ends_with_the_process_that_started_it(tmp_path: Path, word: str) -> None:
    """Whether it counts its steps or not: a service of one worker, an audit and their like leave nothing behind."""
    script = tmp_path / "parent.py"
    script.write_text(PARENT)
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    with subprocess.Popen([sys.executable, script, word], env=environment, stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout is not None
        worker = psutil.Process(int(parent.stdout.readline()))
        assert worker.is_running()
        parent.kill()
        _, left = psutil.wait_procs([worker], PATIENCE_S / 4)
        for one in left:
            one.kill()
        assert not left
