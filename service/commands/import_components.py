"""``import``: read components from documents in open formats."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import get_args

from rich.text import Text

from rules.exchange.documents import format_of, read_document
from rules.exchange.untrusted import UnreadableError
from rules.schema.imports import ComponentKind, ImportReport
from service.commands.exit_codes import BAD_INPUT
from service.commands.request_files import report_console
from service.sheets.orders import print_import

__all__ = ["add_parser"]

_FAULTY = 1
"""Something in a document became no component."""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "import",
        help="read components from MTConnect assets or CSV",
        description="Read components from MTConnect assets (XML) or from CSV with symbols of ISO 13399, and tell what"
        " was left over and what is not stated. The exit code is that of the worst: 0 all became components, 1 some"
        " did not, 3 a document that cannot be read, 4 a fault of the program.",
    )
    parser.add_argument("files", nargs="+", metavar="FILE", help="an XML or CSV document; - is standard input")
    parser.add_argument(
        "--kind",
        choices=get_args(ComponentKind),
        help="what those pieces are of which the document does not say it",
    )
    parser.add_argument("--json", action="store_true", help="print each report as one line of JSON")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    console = report_console()
    worst = 0
    for number, name in enumerate(arguments.files):
        report = _read(name, arguments.kind)
        worst = max(worst, BAD_INPUT if report is None else _FAULTY if report.faults else 0)
        if report is None:
            continue
        if arguments.json:
            print(report.model_dump_json())
            continue
        if len(arguments.files) > 1:
            console.print(Text(("\n" if number else "") + name, style="dim"))
        print_import(report, console)
    return worst


def _read(name: str, kind: ComponentKind | None) -> ImportReport | None:
    shown = "standard input" if name == "-" else name
    try:
        data = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
        return read_document(data, format_of(data), kind).report()
    except OSError as error:
        print(f"{shown}: {error.strerror}", file=sys.stderr)
    except UnreadableError as error:
        where = shown if error.line is None else f"{shown}:{error.line}:{error.column or 1}"
        print(f"{where}: {error.detail}", file=sys.stderr)
    return None
