"""An interrupt noted, not obeyed at once: the audit stops where it can go on later."""

from __future__ import annotations

import signal
import threading
from types import TracebackType
from typing import Any, Final, Self

__all__ = ["Interrupt"]

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
