"""Requests in files: read, judged, and faults told by file, line and column."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from rich.console import Console

from rules.schema.parsing import BadRequestError
from rules.schema.strict_json import NotJSONError, parse_json
from service.printable import printable
from service.sheets.text import PLAIN_WIDTH
from service.text_position import position_of

__all__ = ["judged", "report_console"]

ReportT = TypeVar("ReportT")


def judged(name: str, judge: Callable[[object], ReportT]) -> ReportT | None:
    """What ``judge`` says of a file's JSON, or nothing after saying on standard error why there is no answer."""
    shown = "standard input" if name == "-" else name
    try:
        data = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
    except OSError as error:
        print(f"{shown}: {error.strerror}", file=sys.stderr)
        return None
    try:
        return judge(parse_json(data))
    except NotJSONError as error:
        # A fault with a pointer stands in text that could be read.
        line, column = (error.line, error.column) if error.pointer is None else _place(data, error.pointer)
        _complain(shown, line, column, error.pointer, error.detail)
    except BadRequestError as error:
        for fault in error.faults:
            _complain(shown, *_place(data, fault.pointer), fault.pointer or None, fault.detail)
    return None


def _place(data: bytes, pointer: str) -> tuple[int, int]:
    return position_of(data.decode("utf-8-sig"), pointer)


def _complain(name: str, line: int | None, column: int | None, pointer: str | None, detail: str) -> None:
    where = name if line is None else f"{name}:{line}:{column}"
    print(printable(f"{where}: {pointer + ': ' if pointer else ''}{detail}"), file=sys.stderr)


def report_console() -> Console:
    """The console for reports: the terminal, or plain lines of a fixed width."""
    if sys.stdout.isatty():
        return Console(highlight=False)
    return Console(width=PLAIN_WIDTH, highlight=False, color_system=None, force_terminal=False)
