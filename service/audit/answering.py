"""Execution of an audit's chunks: in this process, in worker processes or on a Dask cluster, with equal results.

Only Dask needs the package ``distributed`` (extra ``dask``), imported here on demand. Its workers need the same version
of stackgauge, the same rulebooks and the same catalogue.
"""

from __future__ import annotations

import logging
import signal
from collections import OrderedDict
from concurrent.futures import Future
from contextlib import ExitStack
from dataclasses import replace
from functools import lru_cache
from types import TracebackType
from typing import Any, Final, Protocol, Self

from rules.assessor import Assessor
from rules.version import VERSION
from service.audit.libraries import AuditInputError
from service.batch.lines import Chunk, LineAnswer, SharedDefinitions, answer_lines
from service.operations.assessors import load_assessor, rules_in_force
from service.operations.settings import Settings

__all__ = ["Answering", "DaskAnswering", "DifferentRulesError", "Here", "Promise", "answer_chunk"]


class Promise(Protocol):
    """Pending results of a chunk."""

    def result(self) -> list[LineAnswer]:
        """Wait for the results."""

    def cancel(self) -> object:
        """Cancel the chunk."""


class Answering(Protocol):
    """A context that judges several chunks at a time."""

    @property
    def window(self) -> int:
        """Number of pending chunks that keeps all workers busy."""

    def answer(self, chunk: Chunk) -> Promise:
        """Submit a chunk."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...


class Here:
    """Judges in this process; for libraries too small for worker processes."""

    window = 1

    def __init__(self, assessor: Assessor) -> None:
        self._assessor = assessor

    def answer(self, chunk: Chunk) -> Future[list[LineAnswer]]:
        """Judge a chunk."""
        future: Future[list[LineAnswer]] = Future()
        future.set_result(answer_lines(self._assessor, *chunk))
        return future

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        pass


LOCAL: Final = "local"
"""Address of a temporary cluster on this machine."""

_KEPT: Final = 4
"""Number of sets of shared definitions kept on the workers."""


class DifferentRulesError(RuntimeError):
    """A cluster worker has other rules than this process."""


class DaskAnswering:
    """Judges chunks on a Dask cluster; connects when entered.

    Raises :class:`~service.audit.libraries.AuditInputError` if ``distributed`` is missing or the cluster is not
    reachable. A pending result raises what its worker raised.
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
                raise AuditInputError(f"no response from a Dask cluster at {self._address}: {error}") from None
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
        """Submit a chunk; definitions are sent once to each worker."""
        shared = chunk.shared
        small = replace(shared, definitions=SharedDefinitions())
        definitions = self._definitions(shared.definitions) if len(shared.definitions) else None
        promise: Promise = self._client.submit(
            answer_chunk,
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
        # A keyboard interrupt reaches the whole process group; the workers inherit that it is ignored.
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


def answer_chunk(
    settings: Settings, rules: str, chunk: Chunk, definitions: SharedDefinitions | None
) -> list[LineAnswer]:
    """Judge a chunk in a worker; raises :class:`DifferentRulesError`."""
    assessor = _assessor(settings)
    own = f"{VERSION} {rules_in_force(assessor)}"
    if own != rules:
        raise DifferentRulesError("a worker has another version, rulebook or catalogue than this process")
    shared = chunk.shared
    if definitions is not None:
        shared = replace(shared, definitions=definitions)
    return answer_lines(assessor, *chunk._replace(shared=shared))


@lru_cache(maxsize=1)
def _assessor(settings: Settings) -> Assessor:
    """The assessor, loaded once per worker."""
    return load_assessor(settings)


def _distributed() -> Any:
    try:
        import distributed
    except ImportError:
        raise AuditInputError("--dask needs the package distributed: pip install 'stackgauge[dask]'") from None
    return distributed
