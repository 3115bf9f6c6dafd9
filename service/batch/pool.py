"""Pool of worker processes that judge chunks of lines in parallel."""

from __future__ import annotations

import asyncio
import logging
import multiprocessing
import os
import queue
import signal
import threading
from collections import OrderedDict, deque
from collections.abc import AsyncIterator, Callable, Iterable, Iterator
from concurrent.futures import Future
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import replace
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from types import TracebackType
from typing import Final, NamedTuple

from fastapi import FastAPI

from rules.quantities.work_limit import charge
from service.batch.lines import (
    NOTHING,
    Chunk,
    Include,
    LineAnswer,
    Shared,
    SharedDefinitions,
    after,
    answer_lines,
    is_blank,
    problem_answer,
)
from service.operations.assessors import Snapshot
from service.operations.problems import ProblemError
from service.operations.process import settle

__all__ = ["Pool", "closing", "cores"]


_KEPT: Final = 4
"""Number of sets of shared definitions cached by a worker, one per concurrent batch."""


class Job(NamedTuple):
    """A chunk for a worker, without definitions that the worker has cached."""

    first: int
    lines: tuple[bytes, ...]
    include: Include
    others: Shared
    """The shared fields without the definitions."""
    token: int
    definitions: SharedDefinitions | None


class Mirror:
    """Cache of shared definitions, kept equal in parent and worker by the same operations."""

    def __init__(self) -> None:
        self._kept: OrderedDict[int, SharedDefinitions | None] = OrderedDict()

    def job(self, chunk: Chunk) -> Job:
        """The job for a chunk."""
        token = chunk.shared.definitions.token
        known = token in self._kept
        self._keep(token, None)
        shared = chunk.shared
        return Job(
            chunk.first,
            chunk.lines,
            chunk.include,
            replace(shared, definitions=NOTHING),
            token,
            None if known else shared.definitions,
        )

    def shared(self, job: Job) -> Shared:
        """The shared fields of a job."""
        definitions = self._kept[job.token] if job.definitions is None else job.definitions
        if definitions is None:
            raise LookupError("the definitions of a job were not sent to the worker")
        self._keep(job.token, definitions)
        return replace(job.others, definitions=definitions)

    def _keep(self, token: int, definitions: SharedDefinitions | None) -> None:
        self._kept[token] = definitions
        self._kept.move_to_end(token)
        if len(self._kept) > _KEPT:
            self._kept.popitem(last=False)


def work(
    connection: Connection,
    snapshot: Snapshot,
    prepare: Callable[[], None] | None = None,
) -> None:
    """Run a worker: judge each :class:`Job` by the snapshot until the parent closes the connection.

    Exits at once if the program differs from the parent's: a batch must not be judged by two sets of rules.
    """
    if prepare is not None:
        prepare()
    # A keyboard interrupt or hang-up reaches the whole process group; the parent handles it.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(signal, "SIGHUP"):
        signal.signal(signal.SIGHUP, signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(5)  # single checks have priority
    assessor = snapshot.assessor()
    if assessor is None:
        raise SystemExit("stackgauge: the program or its tables have changed since the start; start it anew")
    settle()
    mirror = Mirror()
    while True:
        try:
            job: Job = connection.recv()
        except (EOFError, OSError):
            return
        answers: list[LineAnswer] = answer_lines(assessor, job.first, job.lines, mirror.shared(job), job.include)
        try:
            connection.send(answers)
        except OSError:
            return


_LOG = logging.getLogger("stackgauge")

# Not fork: a child could inherit locked locks of the parent's threads.
_CONTEXT: Final = multiprocessing.get_context("spawn")

_PATIENCE_S: Final = 2.0
"""Seconds for a worker to stop."""


def cores() -> int:
    """Number of cores available to this process."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class _Errand(NamedTuple):
    chunk: Chunk
    future: Future[list[LineAnswer]]


class _Worker:
    """One process and the thread that sends it one chunk at a time.

    If the process dies, only its current chunk is lost, and the closed pipe shows it at once.
    """

    def __init__(self, pool: Pool) -> None:
        self._pool = pool
        self._process: BaseProcess | None = None
        self._connection: Connection | None = None
        self._mirror = Mirror()
        self.thread = threading.Thread(target=self._run, name="bulk worker", daemon=True)
        self.thread.start()

    @property
    def pid(self) -> int | None:
        """Process id; None before the start."""
        return None if self._process is None else self._process.pid

    def _run(self) -> None:
        while (errand := self._pool.next_errand()) is not None:
            if self._pool.closed:
                errand.future.cancel()
            if not errand.future.set_running_or_notify_cancel():
                continue
            try:
                answers = self._answered(errand.chunk)
            except Exception:
                _LOG.exception("no result from the worker for %d lines from line %d", *_place(errand.chunk))
                answers = _faults(errand.chunk)
            errand.future.set_result(answers)
        self._drop()

    def _answered(self, chunk: Chunk) -> list[LineAnswer]:
        connection = self._send(chunk)
        try:
            answers: list[LineAnswer] = connection.recv()
        except (EOFError, OSError):
            code = self._drop()
            if not self._pool.closed:
                _LOG.error(
                    "a worker exited (%s) at %d lines from line %d; another one replaces it", code, *_place(chunk)
                )
            return _faults(chunk)
        return answers

    def _send(self, chunk: Chunk) -> Connection:
        """Send the chunk, to a new process if this one has exited."""
        if self._connection is not None:
            try:
                self._connection.send(self._mirror.job(chunk))
            except OSError:
                self._drop()
            else:
                return self._connection
        connection = self._start()
        connection.send(self._mirror.job(chunk))
        return connection

    def _start(self) -> Connection:
        ours, theirs = _CONTEXT.Pipe()
        process = _CONTEXT.Process(
            target=work,
            args=(theirs, self._pool.snapshot, self._pool.prepare),
            name="stackgauge bulk",
            daemon=True,
        )
        process.start()
        theirs.close()
        self._process, self._connection, self._mirror = process, ours, Mirror()
        return ours

    def _drop(self) -> int | None:
        """Release the process and return its exit code."""
        process, connection = self._process, self._connection
        self._process = self._connection = None
        if connection is not None:
            connection.close()
        if process is None:
            return None
        process.join(_PATIENCE_S)
        if process.exitcode is None:
            process.kill()
            process.join()
        return process.exitcode

    def stop(self) -> None:
        """Terminate the process."""
        if (process := self._process) is not None:
            process.terminate()


class Pool:
    """Judges chunks in worker processes, started with the first chunk.

    The pool does not limit pending chunks; callers keep at most ``window``. Workers judge by the ``snapshot``, whatever
    has become of the files. ``prepare`` is called first in each worker.
    """

    def __init__(
        self,
        workers: int,
        snapshot: Snapshot,
        prepare: Callable[[], None] | None = None,
    ) -> None:
        self.workers = workers or cores()
        self.window = 2 * self.workers + 2
        """Number of pending chunks that keeps all workers busy."""
        self.snapshot = snapshot
        self.prepare = prepare
        self.closed = False
        self._lock = threading.Lock()
        self._errands: queue.SimpleQueue[_Errand | None] = queue.SimpleQueue()
        self._team: list[_Worker] = []

    def __enter__(self) -> Pool:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def answer(self, chunk: Chunk) -> Future[list[LineAnswer]]:
        """Submit a chunk; if its worker dies, every line gets a problem. Raises RuntimeError once closed."""
        future: Future[list[LineAnswer]] = Future()
        with self._lock:
            if self.closed:
                raise RuntimeError("the pool is closed")
            if not self._team:
                self._team = [_Worker(self) for _ in range(self.workers)]
            self._errands.put(_Errand(chunk, future))
        return future

    def answers(self, chunks: Iterable[Chunk]) -> Iterator[LineAnswer]:
        """The results of all chunks in order, with at most ``window`` chunks pending."""
        flying: deque[Future[list[LineAnswer]]] = deque()
        try:
            for chunk in chunks:
                flying.append(self.answer(chunk))
                if len(flying) >= self.window:
                    charge(0)  # if cancelled here, pending chunks are cancelled, too
                    yield from flying.popleft().result()
            while flying:
                charge(0)
                yield from flying.popleft().result()
        finally:
            for future in flying:
                future.cancel()

    def pids(self) -> list[int]:
        """Process ids of the running workers."""
        return [pid for worker in self._team if (pid := worker.pid) is not None]

    def next_errand(self) -> _Errand | None:
        """The next job of a worker; None to exit."""
        return self._errands.get()

    def close(self) -> None:
        """Terminate the processes and cancel pending chunks."""
        with self._lock:
            if self.closed:
                return
            self.closed = True
        while True:
            try:
                errand = self._errands.get_nowait()
            except queue.Empty:
                break
            if errand is not None:
                errand.future.cancel()
        for worker in self._team:
            self._errands.put(None)
            worker.stop()
        for worker in self._team:
            worker.thread.join()


def _place(chunk: Chunk) -> tuple[int, int]:
    return len(chunk.lines), chunk.first


def _faults(chunk: Chunk) -> list[LineAnswer]:
    """A problem for every line of the chunk."""
    fault = ProblemError("internal-fault", "The line could not be judged; the log has the details.")
    shared, answers = chunk.shared, []
    for number, line in enumerate(chunk.lines, chunk.first):
        if is_blank(line):
            continue
        if (changed := after(line, shared)) is not None:
            shared = changed
        else:
            answers.append(problem_answer(number, fault))
    return answers


def closing(pool: Pool) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    """A lifespan that closes the pool."""

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        await asyncio.to_thread(pool.close)

    return lifespan
