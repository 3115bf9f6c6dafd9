"""Progress of an audit on standard error: a bar on a terminal, otherwise occasional lines, or none."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from types import TracebackType
from typing import Final, Protocol, Self

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TaskProgressColumn, TextColumn, TimeRemainingColumn

__all__ = ["Bar", "Lines", "Nothing", "ProgressDisplay", "progress_of"]

_SECONDS_BETWEEN_LINES: Final = 10.0


class ProgressDisplay(Protocol):
    """Display of the progress, in results and bytes of the libraries."""

    def update(self, answered: int, byte: int) -> None:
        """Set the progress so far."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...


class Nothing:
    """No display."""

    def update(self, answered: int, byte: int) -> None:
        """Do nothing."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        pass


class Lines(Nothing):
    """Prints occasional lines: results so far, rate, time left."""

    def __init__(
        self,
        total_bytes: int | None,
        say: Callable[[str], None],
        clock: Callable[[], float] = time.monotonic,
        done: tuple[int, int] = (0, 0),
    ) -> None:
        self._total = total_bytes
        self._say = say
        self._clock = clock
        self._start = self._told = clock()
        self._answered_before, self._bytes_before = done

    def update(self, answered: int, byte: int) -> None:
        """Print a line if the last one is old enough."""
        now = self._clock()
        if now - self._told < _SECONDS_BETWEEN_LINES:
            return
        self._told = now
        passed = now - self._start
        words = f"{answered} stacks, {(answered - self._answered_before) / passed:.0f}/s"
        if self._total and byte > self._bytes_before:
            left = passed * (self._total - byte) / (byte - self._bytes_before)
            words += f", {100 * byte / self._total:.0f} %, about {_duration(left)} left"
        self._say(words)


class Bar(Nothing):
    """Shows a bar."""

    def __init__(self, total_bytes: int | None, console: Console, done: tuple[int, int] = (0, 0)) -> None:
        self._progress = Progress(
            TextColumn("audit"),
            BarColumn(),
            TaskProgressColumn(),
            TextColumn("{task.fields[answered]} stacks, {task.fields[rate]:.0f}/s, left"),
            TimeRemainingColumn(),
            console=console,
            transient=True,
        )
        self._answered_before = done[0]
        self._task: TaskID = self._progress.add_task(
            "audit", total=total_bytes, completed=done[1], answered=done[0], rate=0.0
        )

    def update(self, answered: int, byte: int) -> None:
        """Move the bar."""
        passed = self._progress.tasks[0].elapsed or 0.0
        rate = (answered - self._answered_before) / passed if passed else 0.0
        self._progress.update(self._task, completed=byte, answered=answered, rate=rate)

    def __enter__(self) -> Self:
        self._progress.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._progress.stop()


def progress_of(total_bytes: int | None, *, quiet: bool, done: tuple[int, int] = (0, 0)) -> ProgressDisplay:
    """Return the display for standard error; ``done`` is the earlier progress in results and bytes."""
    if quiet:
        return Nothing()
    if sys.stderr.isatty():
        return Bar(total_bytes, Console(stderr=True, highlight=False), done)
    return Lines(total_bytes, lambda words: print(f"audit: {words}", file=sys.stderr, flush=True), done=done)


def _duration(seconds: float) -> str:
    """Return a duration as text.

    >>> _duration(8.2), _duration(200), _duration(7300)
    ('9 s', '4 min', '2 h 2 min')
    """
    if seconds < 90:
        return f"{int(seconds) + 1} s"
    minutes = int(seconds / 60) + 1
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60} min"
