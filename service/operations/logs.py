"""Logs on standard error, one JSON object per line.

structlog renders the records of the standard loggers, the server's included. JSON escapes line breaks and control
characters, so client data cannot forge a log line.
"""

from __future__ import annotations

import logging
import logging.config
import os
import select
import sys
from collections.abc import MutableMapping
from typing import Any, Final

import structlog

from service.operations.settings import Settings

__all__ = ["Sink", "configure_logs", "json_formatter", "log_config"]

_PIECE: Final = getattr(select, "PIPE_BUF", 512)
"""Bytes that a pipe writes atomically, so that lines of several processes do not mix."""

_PATIENCE_MS: Final = 50
"""Longest wait for a blocked pipe, in ms; applied once until it accepts data again."""


def configure_logs(settings: Settings) -> None:
    """Send every record of this process to standard error."""
    logging.config.dictConfig(log_config(settings))


def log_config(settings: Settings) -> dict[str, Any]:
    """The logging configuration for :func:`logging.config.dictConfig`, applied in each process."""
    through = {"handlers": [], "propagate": True}
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"json": {"()": "service.operations.logs.json_formatter"}},
        "handlers": {"sink": {"()": "service.operations.logs.Sink", "formatter": "json"}},
        "root": {"handlers": ["sink"], "level": settings.log_level.upper()},
        "loggers": {"uvicorn": through, "uvicorn.error": through},
    }


def json_formatter() -> logging.Formatter:
    """A formatter for time, level, logger, process, message, request context and extras of a record.

    Tracebacks leave out values of variables, which may hold client data.
    """
    return structlog.stdlib.ProcessorFormatter(
        foreign_pre_chain=[
            _first_fields,
            structlog.stdlib.ExtraAdder(),
            structlog.contextvars.merge_contextvars,
            structlog.processors.format_exc_info,
        ],
        processors=[
            structlog.stdlib.ProcessorFormatter.remove_processors_meta,
            structlog.processors.JSONRenderer(),
        ],
    )


_stamped = structlog.processors.TimeStamper(fmt="iso", utc=True, key="time")


def _first_fields(logger: Any, name: str, event: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
    """The first fields of every line."""
    record: logging.LogRecord = event["_record"]
    # A copy of the server's message with terminal colours.
    record.__dict__.pop("color_message", None)
    message = event.pop("event")
    told = {"level": name, "logger": record.name, "pid": record.process, "message": message}
    return {**_stamped(logger, name, {}), **told, **event}


class Sink(logging.Handler):
    """Writes each line immediately and never raises into the calling code.

    Lines are dropped if the disk is full, the pipe is closed or its reader has stopped. The next line written is
    preceded by a count of the dropped lines.
    """

    def __init__(self, descriptor: int | None = None) -> None:
        """Set the file descriptor to write to; standard error by default."""
        super().__init__()
        self.lost = 0
        self._torn = False
        self._descriptor = 2 if descriptor is None else descriptor
        self._patience_ms = _PATIENCE_MS

    def emit(self, record: logging.LogRecord) -> None:
        """Write a record, or count it as dropped."""
        try:
            line = self._line(record)
            if self.lost:
                line = b"\n" * self._torn + self._line(_loss(self.lost)) + line
            self._write(line)
        except Exception:  # a logging fault must not stop the response
            self.lost += 1
        else:
            self.lost, self._torn = 0, False

    def _line(self, record: logging.LogRecord) -> bytes:
        return self.format(record).encode("utf-8", "backslashreplace") + b"\n"

    def _write(self, data: bytes) -> None:
        for start in range(0, len(data), _PIECE):
            self._wait()
            piece = data[start : start + _PIECE]
            while piece:
                piece = piece[os.write(self._descriptor, piece) :]
                self._torn = True

    def _wait(self) -> None:
        """Wait briefly until the descriptor is writable; skip the wait if the last one timed out."""
        if sys.platform == "win32":
            return
        poll = select.poll()
        poll.register(self._descriptor, select.POLLOUT)
        ready = poll.poll(self._patience_ms)
        self._patience_ms = _PATIENCE_MS if ready else 0
        if not ready:
            raise TimeoutError


def _loss(count: int) -> logging.LogRecord:
    told = logging.LogRecord("stackgauge", logging.WARNING, "", 0, "log lines were lost", None, None)
    told.lines = count
    return told
