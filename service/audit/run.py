"""An audit from the first line to the last: read, answered, counted and written in order, a window at a time."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from service.audit.answering import Answering, Promise
from service.audit.interrupt import Interrupt
from service.audit.libraries import Library
from service.audit.outputs import Output
from service.audit.portions import START, Place, Portion, portions
from service.audit.progress import ProgressTeller
from service.audit.state import State
from service.audit.tally import Tally
from service.batch.lines import Include

__all__ = ["Audit"]

_PORTIONS_BETWEEN_STATES: Final = 32
"""About a thousand stacks, seconds of work, are judged again at most after a crash."""


@dataclass
class Audit:
    """What is audited and where it goes."""

    libraries: Sequence[Library]
    outputs: Sequence[Output]
    tally: Tally
    state: State | None = None
    place: Place = START

    def begin(self) -> None:
        """Open the outputs anew, or take up where an interrupted audit stopped.

        Raises :class:`~service.audit.libraries.AuditInputError`.
        """
        try:
            place = None if self.state is None else self.state.restore(self.tally)
            if place is None:
                for output in self.outputs:
                    output.begin()
            else:
                self.place = place
            if self.state is not None:
                self.state.save(self.place, self.tally)
        except BaseException:
            self.close()
            raise

    @property
    def answered(self) -> int:
        """Stacks and bad lines so far."""
        return sum(self.tally.stacks) + sum(self.tally.bad)

    @property
    def byte(self) -> int:
        """Bytes of the libraries so far."""
        return self.place.byte + sum(library.size or 0 for library in self.libraries[: self.place.library])

    def run(self, answering: Answering, progress: ProgressTeller, interrupt: Interrupt) -> bool:
        """Audit until the end, or until interrupted and the chunk in hand is done; say whether it is the end.

        Outputs are complete, and the state is gone, only at the end. To be begun before; closes the outputs.
        """
        include: Include = "reports" if any(output.needs_reports for output in self.outputs) else "verdicts"
        coming = portions(self.libraries, include, self.place)
        flying: deque[tuple[Portion, Promise | None]] = deque()
        try:
            complete = self._work(coming, flying, answering, progress, interrupt)
            if not complete:
                if self.state is not None:
                    self.state.save(self.place, self.tally)
                return False
            summary = self.tally.summary()
            for output in self.outputs:
                output.finish(summary)
        finally:
            self.close()
        if self.state is not None:
            self.state.remove()
        return True

    def close(self) -> None:
        """Close what :meth:`begin` opened."""
        for output in self.outputs:
            output.close()

    def _work(
        self,
        coming: Iterator[Portion],
        flying: deque[tuple[Portion, Promise | None]],
        answering: Answering,
        progress: ProgressTeller,
        interrupt: Interrupt,
    ) -> bool:
        done = 0
        while True:
            while not interrupt.asked and len(flying) < answering.window:
                portion = next(coming, None)
                if portion is None:
                    break
                flying.append((portion, answering.answer(portion.chunk) if portion.chunk else None))
            if not flying:
                return not interrupt.asked
            self._take(*flying.popleft())
            progress.tell(self.answered, self.byte)
            if interrupt.asked:
                for _, promise in flying:
                    if promise is not None:
                        promise.cancel()
                return not flying and next(coming, None) is None
            done += 1
            if self.state is not None and done % _PORTIONS_BETWEEN_STATES == 0:
                self.state.save(self.place, self.tally)

    def _take(self, portion: Portion, promise: Promise | None) -> None:
        answers = portion.known if promise is None else promise.result()
        name = self.libraries[portion.library].name
        for answer in answers:
            self.tally.add(portion.library, answer)
            for output in self.outputs:
                output.add(name, answer)
        self.place = portion.end
