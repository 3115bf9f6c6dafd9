"""The files an audit writes as it goes; each can be cut back to where the state says and goes on from there."""

from __future__ import annotations

import os
from abc import ABC, abstractmethod
from collections.abc import Mapping
from io import FileIO
from pathlib import Path
from typing import Any, ClassVar

from service.audit.libraries import AuditInputError
from service.audit.summary import AuditSummary
from service.batch.lines import LineAnswer

__all__ = ["Output"]

_BUFFER = 256 * 1024


class Output(ABC):
    """A file that grows answer by answer and is closed with the summary."""

    needs_reports: ClassVar[bool] = False
    """Whether the answers must hold whole reports."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file: FileIO | None = None
        self._waiting = bytearray()
        self._written = 0

    def begin(self) -> None:
        """Open the file and write what stands in front; what it held before is lost."""
        self._open("wb")
        self.write(self.head())

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Open the file as it was when :meth:`state` was told; raises AuditInputError where it is shorter."""
        length = int(state["bytes"])
        if not self.path.is_file() or self.path.stat().st_size < length:
            raise AuditInputError(f"{self.path}: what the interrupted audit wrote here is gone")
        file = self._open("r+b")
        file.truncate(length)
        file.seek(length)
        self._written = length

    def state(self) -> dict[str, Any]:
        """What :meth:`go_on` needs, once all that was added lies on the disk."""
        self.flush()
        if self._file is not None:
            os.fsync(self._file.fileno())
        return {"bytes": self._written}

    def head(self) -> bytes:
        """What stands before the first answer."""
        return b""

    @abstractmethod
    def add(self, library: str, answer: LineAnswer) -> None:
        """Write one answer."""

    @abstractmethod
    def finish(self, summary: AuditSummary) -> None:
        """Write what stands behind the last answer."""

    def write(self, data: bytes) -> None:
        """Append bytes."""
        self._waiting += data
        if len(self._waiting) >= _BUFFER:
            self.flush()

    def write_over(self, offset: int, data: bytes) -> None:
        """Replace bytes that were written earlier by as many others."""
        self.flush()
        if self._file is not None:
            self._file.seek(offset)
            _write_all(self._file, data)
            self._file.seek(0, os.SEEK_END)

    def flush(self) -> None:
        """Hand all that was added to the system."""
        if self._file is not None and self._waiting:
            _write_all(self._file, bytes(self._waiting))
            self._written += len(self._waiting)
            self._waiting.clear()

    def close(self) -> None:
        """Flush and close."""
        self.flush()
        if self._file is not None:
            self._file.close()
            self._file = None

    def _open(self, mode: str) -> FileIO:
        try:
            self._file = FileIO(self.path, mode)
        except OSError as error:
            raise AuditInputError(f"{self.path}: {error.strerror}") from None
        return self._file


def _write_all(file: FileIO, data: bytes) -> None:
    view = memoryview(data)
    while view:
        view = view[file.write(view) or 0 :]
