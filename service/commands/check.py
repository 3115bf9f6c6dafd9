"""``check``: judge the requests in files."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from rich.text import Text

from rules.schema.parsing import parse_request
from rules.schema.report import Report
from service.commands.exit_codes import BAD_INPUT, VERDICT_CODES
from service.commands.request_files import judged, report_console
from service.http.posted import assess_instructed
from service.operations.process import load_assessor
from service.sheets.check import print_report
from service.sheets.page import report_page

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
    parser.add_argument("--html", type=Path, metavar="OUT", help="write the report as a page, too; for one FILE")
    parser.set_defaults(run=_run, usage_error=parser.error)


def _run(arguments: argparse.Namespace) -> int:
    out: Path | None = arguments.html
    if out is not None and len(arguments.files) > 1:
        arguments.usage_error("--html is for one FILE")
    assessor = load_assessor()
    console = report_console()

    def judge(data: object) -> tuple[Report, str | None]:
        request = parse_request(data)
        if arguments.assembly:
            request = request.model_copy(update={"with_assembly": True})
        page = None if out is None else report_page(*assess_instructed(assessor, request))
        return assessor.assess(request), page

    worst = 0
    for number, name in enumerate(arguments.files):
        report, page = judged(name, judge) or (None, None)
        worst = max(worst, BAD_INPUT if report is None else VERDICT_CODES[report.verdict])
        if report is None:
            continue
        if out is not None and page is not None and not _written(out, page):
            worst = BAD_INPUT
        if arguments.json:
            print(report.model_dump_json())
            continue
        if len(arguments.files) > 1:
            console.print(Text(("\n" if number else "") + name, style="dim"))
        print_report(report, console)
    return worst


def _written(out: Path, page: str) -> bool:
    try:
        out.write_bytes(page.encode())
    except OSError as error:
        print(f"{out}: {error.strerror}", file=sys.stderr)
        return False
    return True
