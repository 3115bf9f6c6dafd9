"""``search``: find the stacks that an inventory in a file allows."""

from __future__ import annotations

import argparse
from typing import Final

from rules.schema.parsing import parse
from rules.schema.search import SearchReport, SearchRequest
from rules.search.search import search
from service.commands.exit_codes import BAD_INPUT, VERDICT_CODES
from service.commands.request_files import judged, report_console
from service.operations.process import load_assessor
from service.sheets.orders import print_search

__all__ = ["NOTHING_FOUND", "add_parser"]

NOTHING_FOUND: Final = VERDICT_CODES["fail"]
"""No stack of this page is kept."""

_ABOUT: Final = (
    "Find the stacks that the inventory in a file allows. The exit code is that of the best stack of the page: 0 one"
    " passes, 1 one asks for review, 2 none is kept, 3 input that is no request, 4 a fault of the program."
)


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "search", help="find the stacks that an inventory in a file allows", description=_ABOUT
    )
    parser.add_argument("file", metavar="FILE", help="a search as JSON; - is standard input")
    parser.add_argument("--continue", metavar="TOKEN", dest="token", help="token of the page before, for the next one")
    parser.add_argument("--json", action="store_true", help="print the report as one line of JSON")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    assessor = load_assessor()

    def judge(data: object) -> SearchReport:
        if arguments.token is not None and isinstance(data, dict):
            data = {**data, "continuation": arguments.token}
        return search(parse(SearchRequest, data), assessor)

    report = judged(arguments.file, judge)
    if report is None:
        return BAD_INPUT
    if arguments.json:
        print(report.model_dump_json())
    else:
        print_search(report, report_console())
    return min((VERDICT_CODES[one.verdict] for one in report.results), default=NOTHING_FOUND)
