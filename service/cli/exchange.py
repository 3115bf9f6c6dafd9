"""``import``: read components from documents in open formats; ``export``: write a checked stack as a CuttingTool."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import get_args

from rich.text import Text

from rules.exchange.documents import format_of, read_document
from rules.exchange.head_map import MAX_MAP_BYTES, NO_MAP, HeadMap, read_map
from rules.exchange.imported import ImportOptions
from rules.exchange.tool_asset_export import EPOCH, is_timestamp
from rules.exchange.untrusted import UnreadableError
from rules.schema.imports import ComponentKind, Decimals, ImportReport, ReadAs, Standard
from rules.schema.parsing import BadRequestError, parse_request
from rules.schema.report import Report
from rules.schema.strict_json import NotJSONError
from service.cli.files import BAD_INPUT, VERDICT_CODES, add_rulebooks, judged, report_console, settings_of
from service.operations.assessors import load_assessor
from service.operations.process import Exporter
from service.sheets.orders import print_import

__all__ = ["export_arguments", "import_arguments"]


_FAULTY = 1
"""Exit code if part of a document is not a component."""


def import_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Read components from MTConnect assets (XML), from CSV with ISO 13399 symbols or from XML with DIN 4000"
        " property names. The report lists unused and missing data. Exit code, worst case: 0 all read, 1 some not read,"
        " 3 invalid document, 4 program fault."
    )
    parser.epilog = "example: stackgauge import tools.csv --kind cutter"
    parser.add_argument("files", nargs="+", metavar="FILE", help="XML or CSV document; - for standard input")
    parser.add_argument(
        "--kind",
        choices=get_args(ComponentKind),
        help="kind of the parts whose kind the document does not state",
    )
    parser.add_argument(
        "--as",
        dest="read_as",
        choices=get_args(ReadAs),
        help="what a CuttingTool is that may be a cutting tool alone or an assembled tool",
    )
    parser.add_argument("--decimal", choices=get_args(Decimals), default="point", help="decimal sign of tables")
    parser.add_argument("--strict", action="store_true", help="a wrong cell of a table is a fault of its row")
    parser.add_argument(
        "--map",
        metavar="FILE",
        help="JSON with what column heads (heads), numbered lengths (outline) and DIN 4000 properties (din_4000) mean",
    )
    parser.add_argument("--json", action="store_true", help="print each report as one line of JSON")
    parser.set_defaults(run=_run_import)


def _run_import(arguments: argparse.Namespace) -> int:
    console = report_console()
    known = NO_MAP if arguments.map is None else _read_map(arguments.map)
    if known is None:
        return BAD_INPUT
    options = ImportOptions(arguments.kind, arguments.read_as, arguments.decimal, arguments.strict, known)
    worst = 0
    for number, name in enumerate(arguments.files):
        report = _read(name, options)
        worst = max(worst, BAD_INPUT if report is None else _FAULTY if _is_incomplete(report) else 0)
        if report is None:
            continue
        if arguments.json:
            print(report.model_dump_json())
            continue
        if len(arguments.files) > 1:
            console.print(Text(("\n" if number else "") + name, style="dim"), soft_wrap=True)
        print_import(report, console)
    return worst


def _is_incomplete(report: ImportReport) -> bool:
    return bool(report.faults) or any(one.rejected for one in report.components)


def _read_map(name: str) -> HeadMap | None:
    try:
        data = Path(name).read_bytes()
        if len(data) <= MAX_MAP_BYTES:
            return read_map(data)
        print(f"{name}: a map may hold {MAX_MAP_BYTES} bytes", file=sys.stderr)
    except OSError as error:
        print(f"{name}: {error.strerror}", file=sys.stderr)
    except NotJSONError as error:
        print(f"{name}: {error.detail}", file=sys.stderr)
    except BadRequestError as error:
        for fault in error.faults:
            print(f"{name}: {fault.pointer}: {fault.detail}", file=sys.stderr)
    return None


def _read(name: str, options: ImportOptions) -> ImportReport | None:
    shown = "standard input" if name == "-" else name
    try:
        data = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
        return read_document(data, format_of(data), options).report()
    except OSError as error:
        print(f"{shown}: {error.strerror}", file=sys.stderr)
    except UnreadableError as error:
        where = shown if error.line is None else f"{shown}:{error.line}:{error.column or 1}"
        print(f"{where}: {error.detail}", file=sys.stderr)
    return None


def export_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Check the stack in a file and print it as one MTConnect CuttingTool, whatever the verdict."
        " Exit code: 0 pass, 1 review, 2 fail, 3 invalid input, 4 program fault."
    )
    parser.epilog = "example: stackgauge export stack.json > tool.xml"
    parser.add_argument("file", metavar="FILE", help="request as JSON; - for standard input")
    parser.add_argument(
        "--timestamp",
        type=_timestamp,
        default=EPOCH,
        metavar="TIME",
        help=f"creation time in UTC, such as 2031-05-04T12:00:00Z (default: {EPOCH}, for identical output)",
    )
    parser.add_argument(
        "--standard", choices=get_args(Standard), default="1.4", help="MTConnect version to write (default: 1.4)"
    )
    add_rulebooks(parser)
    parser.set_defaults(run=_run_export)


def _timestamp(text: str) -> str:
    if not is_timestamp(text):
        raise argparse.ArgumentTypeError("expected a time in UTC, such as 2031-05-04T12:00:00Z")
    return text


def _run_export(arguments: argparse.Namespace) -> int:
    exporter = Exporter(load_assessor(settings_of(arguments)))

    def judge(data: object) -> tuple[bytes, Report]:
        request = parse_request(data)
        return exporter.export_with_report(request, timestamp=arguments.timestamp, standard=arguments.standard)

    made = judged(arguments.file, judge)
    if made is None:
        return BAD_INPUT
    document, report = made
    sys.stdout.buffer.write(document)
    sys.stdout.buffer.flush()
    return VERDICT_CODES[report.verdict]
