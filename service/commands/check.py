"""``check``: judge the requests in files."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Final

from rich.console import Console
from rich.text import Text

from rules.assess import Assessor
from rules.model.report import Report
from rules.requests import BadRequestError, parse_request
from service.commands.exit_codes import BAD_INPUT, VERDICT_CODES
from service.report.text import print_report
from service.settings import Settings
from service.strict_json import NotJSONError, parse_json
from service.text_position import position_of

__all__ = ["add_parser"]

_WIDTH: Final = 100
"""Width of a report that goes to a file or another program, whatever the terminal."""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "check",
        help="judge the requests in files",
        description="Judge the requests in files. The exit code is that of the worst:"
        " 0 pass, 1 review, 2 fail, 3 input that is no request, 4 a fault of the program.",
    )
    parser.add_argument("files", nargs="+", metavar="FILE", help="a request as JSON; - is standard input")
    parser.add_argument("--json", action="store_true", help="print each report as one line of JSON")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    assessor = Assessor.load(Settings().extra_rulebooks)
    console = _console()
    worst = 0
    for number, name in enumerate(arguments.files):
        report = _judge(assessor, name)
        worst = max(worst, BAD_INPUT if report is None else VERDICT_CODES[report.verdict])
        if report is None:
            continue
        if arguments.json:
            print(report.model_dump_json())
            continue
        if len(arguments.files) > 1:
            console.print(Text(("\n" if number else "") + name, style="dim"))
        print_report(report, console)
    return worst


def _judge(assessor: Assessor, name: str) -> Report | None:
    """The report, or nothing after saying on standard error why there is none."""
    shown = "standard input" if name == "-" else name
    try:
        data = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
    except OSError as error:
        print(f"{shown}: {error.strerror}", file=sys.stderr)
        return None
    try:
        return assessor.assess(parse_request(parse_json(data)))
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
    print(f"{where}: {pointer + ': ' if pointer else ''}{detail}", file=sys.stderr)


def _console() -> Console:
    if sys.stdout.isatty():
        return Console(highlight=False)
    return Console(width=_WIDTH, highlight=False, color_system=None, force_terminal=False)
