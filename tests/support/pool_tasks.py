"""What a worker of a pool does in the tests of the pool: it is named there, because a function cannot be sent."""

from __future__ import annotations

import threading
from collections.abc import Callable

from rules.assessor import Assessor
from rules.quantities.work_limit import charge
from service.operations.assessors import Snapshot
from service.operations.problems import ProblemError

__all__ = ["answering"]


def answering(snapshot: Snapshot, _: Assessor) -> Callable[[str], object]:
    """Return a function that does what its word says."""

    def count() -> None:
        while True:
            charge(1000)

    def wait() -> None:
        threading.Event().wait()

    def refuse() -> None:
        raise ProblemError("not-found", "No such word.", headers={"Retry-After": "1"})

    def fail() -> None:
        raise ZeroDivisionError

    words: dict[str, Callable[[], object]] = {"count": count, "wait": wait, "refuse": refuse, "fail": fail}

    def answer(word: str) -> object:
        return words.get(word, lambda: (word, snapshot.profile))()

    return answer
