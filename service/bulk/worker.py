"""The process that judges portions of lines, one after the other, as long as somebody sends them."""

from __future__ import annotations

import os
import signal
from collections import OrderedDict
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Final, NamedTuple

from rules.assessor import Assessor
from rules.schema.request import Machine, Operation, Policy
from service.bulk.chunks import Chunk
from service.bulk.lines import Include, LineAnswer, answer_lines
from service.bulk.shared import Shared, SharedDefinitions
from service.operations.process import load_assessor, settle
from service.operations.settings import Settings

__all__ = ["Job", "Mirror", "rules_in_force", "work"]

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
    """Load once, then answer each :class:`Job` with a list of :class:`~service.bulk.lines.LineAnswer`.

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
