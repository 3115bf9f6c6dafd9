"""Pool of worker processes that judge chunks of lines and answer costly requests, in parallel."""

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
from contextlib import AbstractAsyncContextManager, asynccontextmanager, suppress
from dataclasses import replace
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from types import TracebackType
from typing import TYPE_CHECKING, Any, Final, NamedTuple, TypeAlias

from rules.assessor import Assessor
from rules.quantities.work_limit import Allowance, TooMuchWorkError, allowing, charge
from service.batch.lines import (
    NOTHING,
    Chunk,
    Extract,
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
from service.operations.heavy_work import ProcessesClosedError
from service.operations.problems import ProblemError
from service.operations.process import end_with_parent, settle

if TYPE_CHECKING:
    # an audit does without it, and so do its workers
    from fastapi import FastAPI

__all__ = ["Errand", "Pool", "closing", "cores"]


_LOG = logging.getLogger("stackgauge")

_KEPT: Final = 4
"""Number of sets of shared definitions cached by a worker, one per concurrent batch."""


class Job(NamedTuple):
    """A chunk for a worker, without definitions that the worker has cached."""

    first: int
    lines: tuple[bytes, ...]
    include: Include
    extract: Extract | None
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
            chunk.extract,
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


class Task(NamedTuple):
    """A request for a worker, as the function of :class:`Pool` that answers takes it."""

    what: object
    steps: int | None
    """Most steps of work; None for no limit."""


class Stop(NamedTuple):
    """Word to a worker that nobody waits for a job any more."""

    number: int


Answering: TypeAlias = Callable[[Snapshot, Assessor], Callable[[Any], Any]]
"""Makes, in a worker, the function that answers its tasks; a problem is raised as :class:`ProblemError`."""


class _Inbox:
    """The jobs of a worker with their allowances, and the word that one is no longer wanted.

    A thread of its own listens, because the worker computes meanwhile.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._jobs: queue.SimpleQueue[tuple[Job | Task, Allowance] | None] = queue.SimpleQueue()
        threading.Thread(target=self._listen, daemon=True).start()

    def next(self) -> tuple[Job | Task, Allowance] | None:
        """The next job; None once the parent has closed the connection."""
        return self._jobs.get()

    def _listen(self) -> None:
        number, allowance = 0, Allowance()
        while True:
            try:
                message: tuple[int, Job | Task] | Stop = self._connection.recv()
            except (EOFError, OSError):
                allowance.stop()
                self._jobs.put(None)
                return
            if isinstance(message, Stop):
                if message.number == number:
                    allowance.stop()
                continue
            number, job = message
            allowance = Allowance(job.steps if isinstance(job, Task) else None)
            self._jobs.put((job, allowance))


def work(
    connection: Connection,
    snapshot: Snapshot,
    prepare: Callable[[], None] | None = None,
    answering: Answering | None = None,
    niceness: int = 0,
) -> None:
    """Run a worker: do each :class:`Job` and :class:`Task` by the snapshot until the parent closes the connection.

    Exits at once if the program differs from the parent's, since a batch must not be judged by two sets of rules, and
    when the parent has died.
    """
    end_with_parent()
    if prepare is not None:
        prepare()
    # A keyboard interrupt or hang-up reaches the whole process group; the parent handles it.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(signal, "SIGHUP"):
        signal.signal(signal.SIGHUP, signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(niceness)
    assessor = snapshot.assessor()
    if assessor is None:
        raise SystemExit("stackgauge: the program or its tables have changed since the start; start it anew")
    answer = None if answering is None else answering(snapshot, assessor)
    settle()
    mirror, inbox = Mirror(), _Inbox(connection)
    while (found := inbox.next()) is not None:
        job, allowance = found
        shared = mirror.shared(job) if isinstance(job, Job) else None
        try:
            with allowing(allowance):
                if isinstance(job, Task):
                    answers = None if answer is None else answer(job.what)
                else:
                    answers = answer_lines(assessor, job.first, job.lines, shared or Shared(), job.include, job.extract)
        except (TooMuchWorkError, ProblemError) as error:
            answers = error
        except Exception:
            _LOG.exception("a request failed in a worker")
            answers = ProblemError("internal-fault", FAULT)
        try:
            connection.send(answers)
        except OSError:
            return


# Not fork: a child could inherit locked locks of the parent's threads.
_CONTEXT: Final = multiprocessing.get_context("spawn")

_PATIENCE_S: Final = 2.0
"""Seconds for a worker to stop."""


def cores() -> int:
    """Number of cores available to this process."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


FAULT: Final = "The request failed; the log has the details."

_NICENESS: Final = 10
"""Of workers that anything may occupy: single checks and gates have priority."""

_STUBBORN_S: Final = 2.0
"""Seconds for a job to stop where it counts its steps; then its process is killed."""


class Errand:
    """A chunk or a task on its way through the pool."""

    def __init__(self, job: Chunk | Task) -> None:
        self.job = job
        self.future: Future[Any] = Future()
        self.unwanted = False
        self.worker: _Worker | None = None
        """The worker that is at it."""

    def give_up(self) -> None:
        """Take it out of the queue, or stop the work; its future ends in any case."""
        self.unwanted = True
        if not self.future.cancel() and (worker := self.worker) is not None:
            worker.stop_at(self)


class _Worker:
    """One process and the thread that sends it one job at a time.

    If the process dies, only its current job is lost, and the closed pipe shows it at once.
    """

    def __init__(self, pool: Pool, *, reserved: bool) -> None:
        self._pool = pool
        self._reserved = reserved
        self._process: BaseProcess | None = None
        self._connection: Connection | None = None
        self._mirror = Mirror()
        self._lock = threading.Lock()
        self._number = 0
        self._current: Errand | None = None
        self.thread = threading.Thread(target=self._run, name="bulk worker", daemon=True)
        self.thread.start()

    @property
    def pid(self) -> int | None:
        """Process id; None before the start."""
        return None if self._process is None else self._process.pid

    def _run(self) -> None:
        while (errand := self._pool.next_errand(reserved=self._reserved)) is not None:
            if self._pool.closed:
                errand.future.cancel()
            errand.worker = self
            if not errand.future.set_running_or_notify_cancel():
                continue
            try:
                answer = self._answered(errand)
            except Exception:
                _LOG.exception("no result from the worker for %s", _named(errand.job))
                answer = _fault(errand.job)
            if isinstance(answer, Exception):
                errand.future.set_exception(answer)
            else:
                errand.future.set_result(answer)
        self._drop()

    def _answered(self, errand: Errand) -> Any:
        connection = self._send(errand)
        try:
            answer = connection.recv()
        except (EOFError, OSError):
            with self._lock:
                self._current = None
            code = self._drop()
            if not self._pool.closed and not errand.unwanted:
                _LOG.error("a worker exited (%s) at %s; another one replaces it", code, _named(errand.job))
            return _fault(errand.job)
        with self._lock:
            self._current = None
        return answer

    def _send(self, errand: Errand) -> Connection:
        """Send the job, to a new process if this one has exited."""
        connection = self._connection
        if connection is not None:
            try:
                connection.send(self._message(errand.job))
            except OSError:
                self._drop()
                connection = None
        if connection is None:
            connection = self._start()
            connection.send(self._message(errand.job))
        with self._lock:
            self._current = errand
        if errand.unwanted:
            self.stop_at(errand)
        return connection

    def _message(self, job: Chunk | Task) -> tuple[int, Job | Task]:
        self._number += 1
        return self._number, job if isinstance(job, Task) else self._mirror.job(job)

    def _start(self) -> Connection:
        ours, theirs = _CONTEXT.Pipe()
        niceness = 0 if self._reserved else _NICENESS
        process = _CONTEXT.Process(
            target=work,
            args=(theirs, self._pool.snapshot, self._pool.prepare, self._pool.answering, niceness),
            name="stackgauge bulk",
            daemon=True,
        )
        process.start()
        theirs.close()
        self._process, self._connection, self._mirror = process, ours, Mirror()
        return ours

    def stop_at(self, errand: Errand) -> None:
        """Stop the job; what does not count its steps is ended with its process."""
        with self._lock:
            if self._current is not errand or self._connection is None:
                return
            with suppress(OSError):
                self._connection.send(Stop(self._number))
        timer = threading.Timer(_STUBBORN_S, self._end_at, (errand,))
        timer.daemon = True
        timer.start()

    def _end_at(self, errand: Errand) -> None:
        with self._lock:
            if self._current is errand and self._process is not None:
                self._process.kill()

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
    """Does chunks of batches and costly requests in worker processes, each started with its first job.

    The pool does not limit pending jobs; callers keep at most ``window`` chunks, and count their tasks. Workers judge
    by the ``snapshot``, whatever has become of the files. ``prepare`` is called first in each worker, ``answering``
    makes the function that answers tasks.

    What is urgent goes first, then other tasks, then chunks. One more worker does nothing but what is urgent, so that
    it never waits for the end of anything else.
    """

    def __init__(
        self,
        workers: int,
        snapshot: Snapshot,
        prepare: Callable[[], None] | None = None,
        answering: Answering | None = None,
    ) -> None:
        self.workers = workers or cores()
        self.window = 2 * self.workers + 2
        """Number of pending chunks that keeps all workers busy."""
        self.snapshot = snapshot
        self.prepare = prepare
        self.answering = answering
        self.closed = False
        self._changed = threading.Condition()
        self._urgent: deque[Errand] = deque()
        self._tasks: deque[Errand] = deque()
        self._chunks: deque[Errand] = deque()
        self._reserve_idle = False
        self._team: list[_Worker] = []
        self._reserve: list[_Worker] = []

    def __enter__(self) -> Pool:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def answer(self, chunk: Chunk) -> Future[list[LineAnswer]]:
        """Submit a chunk; if its worker dies, every line gets a problem. Raises RuntimeError once closed."""
        return self._put(Errand(chunk), self._chunks).future

    def ask(self, what: object, steps: int | None, *, urgent: bool = False) -> Errand:
        """Submit a task; its future raises :class:`ProblemError`, or :class:`TooMuchWorkError` beyond the steps.

        Raises RuntimeError once closed.
        """
        return self._put(Errand(Task(what, steps)), self._urgent if urgent else self._tasks)

    def _put(self, errand: Errand, waiting: deque[Errand]) -> Errand:
        with self._changed:
            if self.closed:
                raise ProcessesClosedError("the pool is closed")
            waiting.append(errand)
            if waiting is self._urgent and not self._reserve:
                self._reserve_idle = True
                self._reserve = [_Worker(self, reserved=True)]
            if waiting is not self._urgent and not self._team:
                self._team = [_Worker(self, reserved=False) for _ in range(self.workers)]
            self._changed.notify_all()
        return errand

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
        return [pid for worker in self._all() if (pid := worker.pid) is not None]

    def _all(self) -> list[_Worker]:
        return [*self._reserve, *self._team]

    def next_errand(self, *, reserved: bool) -> Errand | None:
        """The next job of a worker; None to exit."""
        with self._changed:
            while not self.closed:
                if reserved:
                    self._reserve_idle = not self._urgent
                if self._urgent and (reserved or not self._reserve_idle):
                    self._changed.notify_all()  # another one may be for the others
                    return self._urgent.popleft()
                if not reserved and (self._tasks or self._chunks):
                    return (self._tasks or self._chunks).popleft()
                self._changed.wait()
        return None

    def close(self) -> None:
        """Terminate the processes and cancel pending jobs."""
        with self._changed:
            if self.closed:
                return
            self.closed = True
            for waiting in (self._urgent, self._tasks, self._chunks):
                while waiting:
                    waiting.popleft().future.cancel()
            self._changed.notify_all()
        for worker in self._all():
            worker.stop()
        for worker in self._all():
            worker.thread.join()


def _named(job: Chunk | Task) -> str:
    return "a request" if isinstance(job, Task) else f"{len(job.lines)} lines from line {job.first}"


def _fault(job: Chunk | Task) -> list[LineAnswer] | ProblemError:
    return ProblemError("internal-fault", FAULT) if isinstance(job, Task) else _faults(job)


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
