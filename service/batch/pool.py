"""Processes that judge portions of lines side by side.

The process that judges portions of lines, one after the other, as long as somebody sends them.

What an application holds for its batches, and lets go of when it stops.
"""

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
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from types import TracebackType
from typing import Final, NamedTuple

from fastapi import FastAPI

from rules.assessor import Assessor
from rules.quantities.work_limit import charge
from rules.schema.request import Machine, Operation, Policy
from service.batch.lines import (
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
from service.operations.problems import ProblemError
from service.operations.process import load_assessor, settle
from service.operations.settings import Settings

__all__ = ["Pool", "closing", "cores", "rules_in_force"]


_KEPT: Final = 4
"""Sets of shared definitions that a worker remembers; as many batches at once cost it nothing."""


class Job(NamedTuple):
    """A chunk on its way to a worker, without the definitions that this worker has already."""

    first: int
    lines: tuple[bytes, ...]
    include: Include
    operation: Operation | None
    machine: Machine | None
    policy: Policy | None
    token: int
    definitions: SharedDefinitions | None


class Mirror:
    """What a worker remembers, known on both sides since both do the same in the same order."""

    def __init__(self) -> None:
        self._kept: OrderedDict[int, SharedDefinitions | None] = OrderedDict()

    def job(self, chunk: Chunk) -> Job:
        """What the worker needs to be told of this chunk."""
        token = chunk.shared.definitions.token
        known = token in self._kept
        self._keep(token, None)
        shared = chunk.shared
        return Job(
            chunk.first,
            chunk.lines,
            chunk.include,
            shared.operation,
            shared.machine,
            shared.policy,
            token,
            None if known else shared.definitions,
        )

    def shared(self, job: Job) -> Shared:
        """The defaults that a job was sent with."""
        definitions = self._kept[job.token] if job.definitions is None else job.definitions
        if definitions is None:
            raise LookupError("a worker was not sent the definitions of its job")
        self._keep(job.token, definitions)
        return Shared(definitions, job.operation, job.machine, job.policy)

    def _keep(self, token: int, definitions: SharedDefinitions | None) -> None:
        self._kept[token] = definitions
        self._kept.move_to_end(token)
        if len(self._kept) > _KEPT:
            self._kept.popitem(last=False)


def rules_in_force(assessor: Assessor) -> str:
    """Fingerprint of all that two processes must have in common to judge alike."""
    return f"{assessor.book.digest} {assessor.catalogue.digest}"


def work(
    connection: Connection,
    settings: Settings,
    rules: str | None,
    prepare: Callable[[Settings], None] | None = None,
) -> None:
    """Load once, then answer each :class:`Job` with a list of :class:`~service.batch.lines.LineAnswer`.

    Ends when the other side closes, so that no worker outlives the process it works for. Leaves at once where the
    rulebooks or the catalogue are no longer those of that process: two halves of a batch must not be judged by
    different rules.
    """
    if prepare is not None:
        prepare(settings)
    # An interrupt from the keyboard reaches the whole group; the parent says what becomes of it.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(5)  # a single check that somebody waits for comes first
    assessor = load_assessor(settings)
    if rules is not None and rules_in_force(assessor) != rules:
        raise SystemExit("stackgauge: rulebooks or catalogue have changed since the service started; restart it")
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

# Not fork: the parent has threads, whose locks a child would inherit locked.
_CONTEXT: Final = multiprocessing.get_context("spawn")

_PATIENCE_S: Final = 2.0
"""How long a worker that was told to stop may take."""


def cores() -> int:
    """Cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class _Errand(NamedTuple):
    chunk: Chunk
    future: Future[list[LineAnswer]]


class _Worker:
    """One process, and the thread that hands it one chunk at a time.

    So the death of a process costs the chunk it was at and no other, and is seen at once: its end of the pipe closes.
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
        """Process id, once it is started."""
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
                _LOG.exception("no answer from the worker for the %d lines from %d", *_place(errand.chunk))
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
                _LOG.error("a worker ended (%s) at the %d lines from %d; another takes over", code, *_place(chunk))
            return _faults(chunk)
        return answers

    def _send(self, chunk: Chunk) -> Connection:
        """Hand the chunk over, to another process where this one has ended in the meantime."""
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
            args=(theirs, self._pool.settings, self._pool.rules, self._pool.prepare),
            name="stackgauge bulk",
            daemon=True,
        )
        process.start()
        theirs.close()
        self._process, self._connection, self._mirror = process, ours, Mirror()
        return ours

    def _drop(self) -> int | None:
        """Let go of the process and return its exit code."""
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
        """End the process in the middle of what it does."""
        if (process := self._process) is not None:
            process.terminate()


class Pool:
    """Judges chunks in processes of their own, which are started with the first chunk.

    Takes as many chunks as it is given, so whoever gives them keeps no more than ``window`` of them in flight.
    ``rules`` is the fingerprint of the rules the workers must have, see :func:`service.batch.pool.rules_in_force`;
    ``prepare`` is called in each of them before it does anything else.
    """

    def __init__(
        self,
        workers: int,
        settings: Settings,
        rules: str | None = None,
        prepare: Callable[[Settings], None] | None = None,
    ) -> None:
        self.workers = workers or cores()
        self.window = 2 * self.workers + 2
        """Chunks in flight that keep every worker busy."""
        self.settings = settings
        self.rules = rules
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
        """Have a chunk answered; a chunk whose worker dies is answered with a problem for every line.

        A future that is cancelled before its turn costs nothing. Raises RuntimeError once closed.
        """
        future: Future[list[LineAnswer]] = Future()
        with self._lock:
            if self.closed:
                raise RuntimeError("the pool is closed")
            if not self._team:
                self._team = [_Worker(self) for _ in range(self.workers)]
            self._errands.put(_Errand(chunk, future))
        return future

    def answers(self, chunks: Iterable[Chunk]) -> Iterator[LineAnswer]:
        """The answers of all chunks, in order, taking chunks no faster than they are answered."""
        flying: deque[Future[list[LineAnswer]]] = deque()
        try:
            for chunk in chunks:
                flying.append(self.answer(chunk))
                if len(flying) >= self.window:
                    charge(0)  # where it is given up, what is not begun is called back
                    yield from flying.popleft().result()
            while flying:
                charge(0)
                yield from flying.popleft().result()
        finally:
            for future in flying:
                future.cancel()

    def pids(self) -> list[int]:
        """Process ids of the workers that are started."""
        return [pid for worker in self._team if (pid := worker.pid) is not None]

    def next_errand(self) -> _Errand | None:
        """What a worker does next; None when it shall end."""
        return self._errands.get()

    def close(self) -> None:
        """Stop the processes, whatever they do; what was not answered is cancelled."""
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
    """A problem for every line that would have been judged."""
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
    """The lifespan of an application that ends this pool."""

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        await asyncio.to_thread(pool.close)

    return lifespan
