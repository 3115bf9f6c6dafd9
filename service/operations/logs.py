"""What happens, told to standard error as one JSON object a line.

The standard library's loggers everywhere, the server's included; structlog turns their records into JSON, which
escapes every line break and control character, so nothing that a client sends can look like a line of its own.
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
"""Bytes that a pipe takes whole, so that lines of several processes stay apart."""

_PATIENCE_MS: Final = 50
"""How long a sink that takes nothing may hold up an answer, once, until it takes something again."""


def configure_logs(settings: Settings) -> None:
    """Send every record of this process to standard error."""
    logging.config.dictConfig(log_config(settings))


def log_config(settings: Settings) -> dict[str, Any]:
    """The configuration in the form of :func:`logging.config.dictConfig`, for the server to apply in each process."""
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
    """Time, level, logger, process and message of a record, what is bound to the request, and the record's extras.

    A traceback is text without the values of variables, since those may hold what a client sent.
    """
    return structlog.stdlib.ProcessorFormatter(
        foreign_pre_chain=[
            _beginning,
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


def _beginning(logger: Any, name: str, event: MutableMapping[str, Any]) -> MutableMapping[str, Any]:
    """The fields that every line begins with."""
    record: logging.LogRecord = event["_record"]
    # The server's message once more, with the colours of a terminal.
    record.__dict__.pop("color_message", None)
    message = event.pop("event")
    told = {"level": name, "logger": record.name, "pid": record.process, "message": message}
    return {**_stamped(logger, name, {}), **told, **event}


class Sink(logging.Handler):
    """Writes each line at once, and never lets a sink that fails reach whoever logs.

    What can't be written, because the disk is full, the pipe is closed or its reader has stopped reading, is lost;
    the next line that can be written comes after one that says how many were.
    """

    def __init__(self, descriptor: int | None = None) -> None:
        """Take the descriptor to write to; standard error where there is none."""
        super().__init__()
        self.lost = 0
        self._torn = False
        self._descriptor = 2 if descriptor is None else descriptor
        self._patience_ms = _PATIENCE_MS

    def emit(self, record: logging.LogRecord) -> None:
        """Write a record, or count it as lost."""
        try:
            line = self._line(record)
            if self.lost:
                line = b"\n" * self._torn + self._line(_loss(self.lost)) + line
            self._write(line)
        except Exception:  # whatever it was, the answer goes out
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
        """Wait a moment for the sink to take something; not at all where it took nothing the last time."""
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
