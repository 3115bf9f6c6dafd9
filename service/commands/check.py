"""``check``: judge the requests in files."""

from __future__ import annotations

import argparse

from rich.text import Text

from rules.model.report import Report
from rules.requests import parse_request
from service.commands.exit_codes import BAD_INPUT, VERDICT_CODES
from service.commands.request_files import judged, report_console
from service.loading import load_assessor
from service.report.text import print_report

__all__ = ["add_parser"]


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "check",
        help="judge the requests in files",
        description="Judge the requests in files. The exit code is that of the worst:"
        " 0 pass, 1 review, 2 fail, 3 input that is no request, 4 a fault of the program.",
    )
    parser.add_argument("files", nargs="+", metavar="FILE", help="a request as JSON; - is standard input")
    parser.add_argument("--assembly", action="store_true", help="tell how to assemble, measure and take apart, too")
    parser.add_argument("--json", action="store_true", help="print each report as one line of JSON")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    assessor = load_assessor()
    console = report_console()

    def judge(data: object) -> Report:
        request = parse_request(data)
        if arguments.assembly:
            request = request.model_copy(update={"with_assembly": True})
        return assessor.assess(request)

    worst = 0
    for number, name in enumerate(arguments.files):
        report = judged(name, judge)
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
