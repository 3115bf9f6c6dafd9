"""Who answers portions of an audit: this process, processes beside it, or a cluster; the answers are the same.

Portions answered by the workers of a Dask cluster, one there already or one of this machine's own.

``distributed`` is needed for this alone (the extra ``dask``), and is loaded only here. Its workers run this very code:
stackgauge must be installed beside them in the same version, with the same rulebooks and catalogue.
"""

from __future__ import annotations

import logging
import signal
from collections import OrderedDict
from concurrent.futures import Future
from contextlib import ExitStack
from functools import lru_cache
from types import TracebackType
from typing import Any, Final, Protocol, Self

from rules.assessor import Assessor
from rules.version import VERSION
from service.audit.libraries import AuditInputError
from service.batch.lines import Chunk, Include, LineAnswer, Shared, SharedDefinitions, answer_lines
from service.batch.pool import rules_in_force
from service.operations.process import load_assessor
from service.operations.settings import Settings

__all__ = ["Answering", "DaskAnswering", "DifferentRulesError", "Here", "Promise", "answer_portion"]


class Promise(Protocol):
    """Answers on their way."""

    def result(self) -> list[LineAnswer]:
        """Wait for the answers."""

    def cancel(self) -> object:
        """Do without them."""


class Answering(Protocol):
    """Answers chunks, several at a time; a context that holds what it needs for that."""

    @property
    def window(self) -> int:
        """Chunks in flight that keep everyone busy."""

    def answer(self, chunk: Chunk) -> Promise:
        """Have a chunk answered."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...


class Here:
    """Answers in this process, at once: for libraries too small to start others for."""

    window = 1

    def __init__(self, assessor: Assessor) -> None:
        self._assessor = assessor

    def answer(self, chunk: Chunk) -> Future[list[LineAnswer]]:
        """Answer a chunk."""
        future: Future[list[LineAnswer]] = Future()
        future.set_result(answer_lines(self._assessor, chunk.first, chunk.lines, chunk.shared, chunk.include))
        return future

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        pass


LOCAL: Final = "local"
"""In place of an address: a cluster of processes on this machine, ended with the audit."""

_KEPT: Final = 4
"""Sets of shared definitions that stay with the workers."""


class DifferentRulesError(RuntimeError):
    """A worker of the cluster judges by other rules than this process."""


class DaskAnswering:
    """Hands chunks to a cluster; a context that connects when entered.

    Raises :class:`~service.audit.libraries.AuditInputError` where ``distributed`` is missing or the cluster can't be
    reached. What a worker raises, or its repeated death, is raised by the promise: there is no answer then.
    """

    def __init__(self, address: str, workers: int, settings: Settings, rules: str) -> None:
        self._distributed = _distributed()
        self._address = address
        self._workers = workers
        self._settings = settings
        self._rules = f"{VERSION} {rules}"
        self._closing = ExitStack()
        self._client: Any = None
        self._scattered: OrderedDict[int, Any] = OrderedDict()
        self.window = 2 * workers + 2

    def __enter__(self) -> Self:
        with ExitStack() as closing:
            target: Any = self._address
            if self._address == LOCAL:
                target = closing.enter_context(self._local_cluster())
            try:
                self._client = closing.enter_context(self._distributed.Client(target, timeout="30s"))
            except (OSError, ValueError) as error:
                raise AuditInputError(f"no Dask cluster answers at {self._address}: {error}") from None
            if self._address != LOCAL:
                self.window = 2 * max(len(self._client.ncores()), 1) + 2
            self._closing = closing.pop_all()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._scattered.clear()
        self._closing.__exit__(kind, error, trace)

    def answer(self, chunk: Chunk) -> Promise:
        """Have a chunk answered; definitions are sent once to each worker that needs them."""
        shared = chunk.shared
        small = Shared(operation=shared.operation, machine=shared.machine, policy=shared.policy)
        definitions = self._definitions(shared.definitions) if len(shared.definitions) else None
        promise: Promise = self._client.submit(
            answer_portion,
            self._settings,
            self._rules,
            chunk._replace(shared=small),
            definitions,
            pure=False,
        )
        return promise

    def _definitions(self, definitions: SharedDefinitions) -> Any:
        token = definitions.token
        if token not in self._scattered:
            self._scattered[token] = self._client.scatter(definitions, hash=False)
            if len(self._scattered) > _KEPT:
                self._scattered.popitem(last=False)
        return self._scattered[token]

    def _local_cluster(self) -> Any:
        # An interrupt from the keyboard reaches the whole group; the processes inherit that it is passed over.
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
        try:
            return self._distributed.LocalCluster(
                n_workers=self._workers,
                threads_per_worker=1,
                dashboard_address=None,
                silence_logs=logging.ERROR,
            )
        finally:
            signal.signal(signal.SIGINT, before)


def answer_portion(
    settings: Settings, rules: str, chunk: Chunk, definitions: SharedDefinitions | None
) -> list[LineAnswer]:
    """Answer a chunk in a worker; raises :class:`DifferentRulesError`."""
    assessor = _assessor(settings)
    own = f"{VERSION} {rules_in_force(assessor)}"
    if own != rules:
        raise DifferentRulesError("version, rulebooks or catalogue of a worker are not those of this process")
    shared = chunk.shared
    if definitions is not None:
        shared = Shared(definitions, shared.operation, shared.machine, shared.policy)
    include: Include = chunk.include
    return answer_lines(assessor, chunk.first, chunk.lines, shared, include)


@lru_cache(maxsize=1)
def _assessor(settings: Settings) -> Assessor:
    """Loaded once in each worker."""
    return load_assessor(settings)


def _distributed() -> Any:
    try:
        import distributed
    except ImportError:
        raise AuditInputError("--dask needs the package distributed: pip install 'stackgauge[dask]'") from None
    return distributed
