"""``export``: check the stack in a file and write it as one CuttingTool."""

from __future__ import annotations

import argparse
import sys
from typing import get_args

from rules.exchange.tool_asset_export import EPOCH, Standard, is_timestamp
from rules.schema.parsing import parse_request
from rules.schema.report import Report
from service.commands.exit_codes import BAD_INPUT, VERDICT_CODES
from service.commands.request_files import judged
from service.operations.process import Exporter, load_assessor

__all__ = ["add_parser"]


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "export",
        help="write a checked stack as an MTConnect CuttingTool",
        description="Check the stack in a file and print it as one CuttingTool of MTConnect, whatever the verdict."
        " The exit code is that of the check: 0 pass, 1 review, 2 fail, 3 input that is no request, 4 a fault of the"
        " program.",
    )
    parser.add_argument("file", metavar="FILE", help="a request as JSON; - is standard input")
    parser.add_argument(
        "--timestamp",
        type=_timestamp,
        default=EPOCH,
        metavar="TIME",
        help=f"time of the document in UTC, as 2031-05-04T12:00:00Z ({EPOCH}, so that equal requests give equal bytes)",
    )
    parser.add_argument(
        "--standard", choices=get_args(Standard), default="1.4", help="version of the standard to write (1.4)"
    )
    parser.set_defaults(run=_run)


def _timestamp(text: str) -> str:
    if not is_timestamp(text):
        raise argparse.ArgumentTypeError("a time in UTC is expected, as 2031-05-04T12:00:00Z")
    return text


def _run(arguments: argparse.Namespace) -> int:
    exporter = Exporter(load_assessor())

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
