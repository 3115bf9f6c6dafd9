"""What other processes answer: every route that may need a long computation."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from rules.assessor import Assessor
from rules.gate.profile import STRICT
from service.http.documents import DRAWINGS, EXPORTS, IMPORTS, REQUESTS, draw, export, read, rewrite
from service.http.posted import Judging, Made, Task
from service.http.problem_answers import ANSWERED, as_problem
from service.http.questions import POSTED
from service.operations.assessors import Snapshot
from service.operations.process import Exporter
from service.operations.signing import NO_KEYS, GateKeys

__all__ = ["answering"]


def answering(
    snapshot: Snapshot, assessor: Assessor, keys: GateKeys = NO_KEYS, day: date | None = None
) -> Callable[[Task], Made]:
    """The function that answers tasks; it raises :class:`~service.operations.problems.ProblemError`."""
    judging, exporter = Judging(assessor, snapshot.profile or STRICT, keys, day), Exporter(assessor)
    others: dict[str, Callable[[Task], Made]] = {
        IMPORTS: read,
        EXPORTS: lambda task: export(exporter, task),
        DRAWINGS: lambda task: draw(assessor, task),
        REQUESTS: rewrite,
    }

    def answer(task: Task) -> Made:
        try:
            if (other := others.get(task.path)) is not None:
                return other(task)
            return POSTED[task.path].made(judging, task)
        except ANSWERED as error:
            # of one kind, which can be sent
            raise as_problem(error) from None

    return answer
