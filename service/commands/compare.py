"""``compare``: set the alternatives in a file against each other."""

from __future__ import annotations

import argparse
from typing import Final

from rules.comparison import compare
from rules.schema.comparison import ComparisonReport, ComparisonRequest
from rules.schema.parsing import parse
from service.commands.exit_codes import BAD_INPUT, VERDICT_CODES
from service.commands.request_files import judged, report_console
from service.operations.process import load_assessor
from service.sheets.questions import print_comparison

__all__ = ["add_parser"]

_ABOUT: Final = (
    "Set the alternatives in a file against each other. The exit code is that of the best: 0 one passes,"
    " 1 one asks for review, 2 all fail, 3 input that is no request, 4 a fault of the program."
)


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "compare", help="set the alternatives in a file against each other", description=_ABOUT
    )
    parser.add_argument("file", metavar="FILE", help="a comparison as JSON; - is standard input")
    parser.add_argument("--json", action="store_true", help="print the report as one line of JSON")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    assessor = load_assessor()

    def judge(data: object) -> ComparisonReport:
        return compare(parse(ComparisonRequest, data), assessor)

    report = judged(arguments.file, judge)
    if report is None:
        return BAD_INPUT
    if arguments.json:
        print(report.model_dump_json())
    else:
        print_comparison(report, report_console())
    return min(VERDICT_CODES[one.verdict] for one in report.alternatives)
