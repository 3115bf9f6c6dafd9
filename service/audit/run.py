"""The run of an audit: reading, judging, counting and writing in order, with saved state and interrupts."""

from __future__ import annotations

import json
import os
import signal
import threading
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from rules.assessor import Assessor
from rules.schema.strict_json import NotJSONError, parse_json
from rules.version import VERSION
from service.audit.answering import Answering, Promise
from service.audit.libraries import START, AuditInputError, Library, LibraryChunk, Place, library_chunks, parts_of
from service.audit.outputs import Output
from service.audit.progress import ProgressDisplay
from service.audit.tally import Tally
from service.batch.lines import Extract, Include

__all__ = ["Audit", "Interrupt", "State"]


_FORMAT: Final = 4


class State:
    """The file of ``--resume``: JSON, replaced atomically during the audit and deleted at the end."""

    def __init__(
        self,
        path: Path,
        libraries: Sequence[Library],
        outputs: Sequence[Output],
        rules: str,
        known: Mapping[str, str] | None = None,
    ) -> None:
        self.path = path
        self._outputs = outputs
        self._same: dict[str, Any] = {
            "format": _FORMAT,
            "version": VERSION,
            "rules": rules,
            "known": dict(known or {}),
            "outputs": [str(output.path) for output in outputs],
            "libraries": [
                {"name": library.name, "bytes": library.size, "sha256": library.sha256()} for library in libraries
            ],
        }
        """Set what must be equal for the audit to continue."""

    def save(self, place: Place, tally: Tally) -> None:
        """Save the state: all before this place is counted and written."""
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
        """Restore tally and outputs from the file; None if there is no file.

        Raises :class:`~service.audit.libraries.AuditInputError` if the file belongs to another audit.
        """
        try:
            held = parse_json(self.path.read_bytes())
        except FileNotFoundError:
            return None
        except (OSError, NotJSONError) as error:
            raise AuditInputError(f"{self.path}: {error}") from None
        if not isinstance(held, dict) or held.get("format") != _FORMAT:
            raise AuditInputError(f"{self.path}: not an audit state file")
        for name, now in self._same.items():
            if held.get(name) != now:
                raise AuditInputError(
                    f"{self.path}: {_WORDS[name]} not those of the interrupted audit; delete the file to start over"
                )
        for output, state in zip(self._outputs, held["files"], strict=True):
            output.go_on(state)
        tally.load(held["tally"])
        return Place(**held["place"])

    def remove(self) -> None:
        """Delete the file at the end of the audit."""
        self.path.unlink(missing_ok=True)


_WORDS: Final = {
    "version": "the version of stackgauge is",
    "rules": "rulebooks or catalogue are",
    "known": "earlier audit, baseline or waivers are",
    "outputs": "the outputs are",
    "libraries": "the libraries are",
}


_SIGNALS: Final = (signal.SIGINT, signal.SIGTERM)


class Interrupt:
    """Records the first SIGINT or SIGTERM, so that the audit stops cleanly; the second raises KeyboardInterrupt."""

    def __init__(self) -> None:
        self.asked = False
        self._before: dict[signal.Signals, Any] = {}

    def __enter__(self) -> Self:
        # Only the main thread receives signals.
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


_CHUNKS_BETWEEN_STATES: Final = 32
"""Chunks between saved states; a crash repeats at most this many, some seconds of work."""


@dataclass
class Audit:
    """An audit with its input and output."""

    libraries: Sequence[Library]
    outputs: Sequence[Output]
    tally: Tally
    state: State | None = None
    place: Place = START
    assessor: Assessor | None = None
    """Judges the parts of the libraries once every stack is judged; None to leave them out."""

    def begin(self) -> None:
        """Open the outputs, new or at the saved state; raises :class:`~service.audit.libraries.AuditInputError`."""
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
        """Number of stacks and invalid lines so far."""
        return sum(self.tally.stacks) + sum(self.tally.bad)

    @property
    def byte(self) -> int:
        """Number of bytes read so far."""
        return self.place.byte + sum(library.size or 0 for library in self.libraries[: self.place.library])

    def run(self, answering: Answering, progress: ProgressDisplay, interrupt: Interrupt) -> bool:
        """Run to the end, or to the end of the current chunk after an interrupt; return whether it is complete.

        Call :meth:`begin` first. Only a complete audit has complete outputs and deletes its state.
        """
        include: Include = "reports" if any(output.needs_reports for output in self.outputs) else "verdicts"
        extract = next((output.extract for output in self.outputs if output.extract is not None), None)
        coming = library_chunks(self.libraries, include, self.place)
        flying: deque[tuple[LibraryChunk, Promise | None]] = deque()
        try:
            complete = self._work(coming, extract, flying, answering, progress, interrupt)
            if not complete:
                if self.state is not None:
                    self.state.save(self.place, self.tally)
                return False
            parts = None if self.assessor is None else parts_of(self.libraries)
            listed = list(self.tally.invalid_findings())
            if self.assessor is not None and parts is not None:
                listed += parts.findings(self.assessor)
            for found, item, mark in self.tally.add_parts(parts, listed):
                for output in self.outputs:
                    output.add_part(found, item, mark)
            summary = self.tally.summary()
            for output in self.outputs:
                output.finish(summary, self.tally.standing)
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
        coming: Iterator[LibraryChunk],
        extract: Extract | None,
        flying: deque[tuple[LibraryChunk, Promise | None]],
        answering: Answering,
        progress: ProgressDisplay,
        interrupt: Interrupt,
    ) -> bool:
        done = 0
        while True:
            while not interrupt.asked and len(flying) < answering.window:
                item = next(coming, None)
                if item is None:
                    break
                chunk = item.chunk
                flying.append((item, answering.answer(chunk._replace(extract=extract)) if chunk else None))
            if not flying:
                return not interrupt.asked
            self._take(*flying.popleft())
            progress.update(self.answered, self.byte)
            if interrupt.asked:
                for _, promise in flying:
                    if promise is not None:
                        promise.cancel()
                return not flying and next(coming, None) is None
            done += 1
            if self.state is not None and done % _CHUNKS_BETWEEN_STATES == 0:
                self.state.save(self.place, self.tally)

    def _take(self, item: LibraryChunk, promise: Promise | None) -> None:
        answers = [*item.known, *(() if promise is None else promise.result())]
        name = self.libraries[item.library].name
        for answer in answers:
            marks = self.tally.standing.marks(answer)
            self.tally.add(item.library, answer, marks)
            for output in self.outputs:
                output.add(name, answer, marks)
        self.place = item.end
