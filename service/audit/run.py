"""An audit from the first line to the last: read, answered, counted and written in order, a window at a time.

What an interrupted audit needs to go on: a small JSON file, always whole, replaced now and then.

An interrupt noted, not obeyed at once: the audit stops where it can go on later.
"""

from __future__ import annotations

import json
import os
import signal
import threading
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from rules.schema.strict_json import NotJSONError, parse_json
from rules.version import VERSION
from service.audit.answering import Answering, Promise
from service.audit.libraries import START, AuditInputError, Library, Place, Portion, portions
from service.audit.outputs import Output
from service.audit.progress import ProgressTeller
from service.audit.tally import Tally
from service.batch.lines import Include

__all__ = ["Audit", "Interrupt", "State"]


_FORMAT: Final = 1


class State:
    """The file of ``--resume``: written while the audit runs, gone once it is done."""

    def __init__(self, path: Path, libraries: Sequence[Library], outputs: Sequence[Output], rules: str) -> None:
        self.path = path
        self._outputs = outputs
        self._same: dict[str, Any] = {
            "format": _FORMAT,
            "version": VERSION,
            "rules": rules,
            "outputs": [str(output.path) for output in outputs],
            "libraries": [
                {"name": library.name, "bytes": library.size, "sha256": library.sha256()} for library in libraries
            ],
        }
        """What must be the same when the audit goes on: else its second half would not fit its first."""

    def save(self, place: Place, tally: Tally) -> None:
        """Note that everything before this place is counted and written."""
        held = {
            **self._same,
            "place": place._asdict(),
            "files": [output.state() for output in self._outputs],
            "tally": tally.dump(),
        }
        beside = self.path.with_name(f"{self.path.name}.new")
        with beside.open("w", encoding="utf-8") as file:
            json.dump(held, file)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(self.path)

    def restore(self, tally: Tally) -> Place | None:
        """Take up tally and outputs where the file says; None where there is no file.

        Raises :class:`~service.audit.libraries.AuditInputError` where the audit is not the one that was interrupted.
        """
        try:
            held = parse_json(self.path.read_bytes())
        except FileNotFoundError:
            return None
        except (OSError, NotJSONError) as error:
            raise AuditInputError(f"{self.path}: {error}") from None
        if not isinstance(held, dict) or held.get("format") != _FORMAT:
            raise AuditInputError(f"{self.path}: this is not the state of an audit")
        for name, now in self._same.items():
            if held.get(name) != now:
                raise AuditInputError(
                    f"{self.path}: {_WORDS[name]} not those of the interrupted audit; delete the file to begin anew"
                )
        for output, state in zip(self._outputs, held["files"], strict=True):
            output.go_on(state)
        tally.load(held["tally"])
        return Place(**held["place"])

    def remove(self) -> None:
        """The audit is done."""
        self.path.unlink(missing_ok=True)


_WORDS: Final = {
    "version": "the version of stackgauge is",
    "rules": "rulebooks or catalogue are",
    "outputs": "the outputs are",
    "libraries": "the libraries are",
}


_SIGNALS: Final = (signal.SIGINT, signal.SIGTERM)


class Interrupt:
    """Notes the first interrupt (SIGINT, SIGTERM) while it is entered; the second one raises KeyboardInterrupt."""

    def __init__(self) -> None:
        self.asked = False
        self._before: dict[signal.Signals, Any] = {}

    def __enter__(self) -> Self:
        # Elsewhere than in the main thread nobody can be interrupted.
        if threading.current_thread() is threading.main_thread():
            self._before = {one: signal.signal(one, self._note) for one in _SIGNALS}
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for one, before in self._before.items():
            signal.signal(one, before)

    def _note(self, *_: object) -> None:
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True


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
