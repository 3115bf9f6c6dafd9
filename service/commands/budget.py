"""``budget``: the whole runout budget of the stack in a file."""

from __future__ import annotations

import argparse

from rules.budget import full_budget
from rules.schema.budget import BudgetReport, BudgetRequest
from rules.schema.parsing import parse
from service.commands.exit_codes import BAD_INPUT
from service.commands.request_files import judged, report_console
from service.operations.process import load_assessor
from service.sheets.questions import print_budget

__all__ = ["add_parser"]


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "budget",
        help="the whole runout budget of a stack",
        description="Tell every plane, every contributor's part, which seat to clean twice, what turning joints can"
        " reach and what each part must keep. A request of a check serves. The exit code is 0, or 1 where"
        " contributors are not stated; 3 for input that is no request, 4 for a fault of the program.",
    )
    parser.add_argument("file", metavar="FILE", help="a request as JSON; - is standard input")
    parser.add_argument("--json", action="store_true", help="print the budget as one line of JSON")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    assessor = load_assessor()

    def judge(data: object) -> BudgetReport:
        return full_budget(parse(BudgetRequest, data), assessor.book, assessor.catalogue)

    report = judged(arguments.file, judge)
    if report is None:
        return BAD_INPUT
    if arguments.json:
        print(report.model_dump_json())
    else:
        print_budget(report, report_console())
    return 0 if report.complete else 1
