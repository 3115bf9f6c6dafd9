"""``read``: say what the readings in files tell."""

from __future__ import annotations

import argparse

from rich.text import Text

from rules.reading.reading import read_gauge
from rules.schema.parsing import parse
from rules.schema.reading import ReadingReport, ReadingRequest
from service.commands.exit_codes import BAD_INPUT, READING_ACCEPTED, READING_OPEN, READING_REFUSED
from service.commands.request_files import judged, report_console
from service.operations.process import load_assessor
from service.sheets.questions import print_reading

__all__ = ["add_parser"]


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "read",
        help="say what the readings in files tell",
        description="Say what dial readings tell and what to do next. The exit code is that of the worst:"
        " 0 accepted, 1 not proven or another step needed, 2 beyond the limit or outside the prediction,"
        " 3 input that is no request, 4 a fault of the program.",
    )
    parser.add_argument("files", nargs="+", metavar="FILE", help="a reading as JSON; - is standard input")
    parser.add_argument("--json", action="store_true", help="print each report as one line of JSON")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    assessor = load_assessor()
    console = report_console()
    worst = READING_ACCEPTED

    def judge(data: object) -> ReadingReport:
        return read_gauge(parse(ReadingRequest, data), assessor.book, assessor.catalogue)

    for number, name in enumerate(arguments.files):
        report = judged(name, judge)
        worst = max(worst, BAD_INPUT if report is None else _code(report))
        if report is None:
            continue
        if arguments.json:
            print(report.model_dump_json())
            continue
        if len(arguments.files) > 1:
            console.print(Text(("\n" if number else "") + name, style="dim"))
        print_reading(report, console)
    return worst


def _code(report: ReadingReport) -> int:
    outside = any(one is not None and one.outside_99_percent for one in report.prediction)
    if outside or (report.decision is not None and report.decision.decision == "does_not_conform"):
        return READING_REFUSED
    return READING_ACCEPTED if report.next_step.action == "accept" else READING_OPEN
