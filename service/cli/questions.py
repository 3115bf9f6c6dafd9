"""``check``: judge the requests in files.

``budget``: the whole runout budget of the stack in a file.

``compare``: set the alternatives in a file against each other.

``search``: find the stacks that an inventory in a file allows.

``gate``: decide on the work order in a file, or verify a decision made before.

``read``: say what the readings in files tell.

``draw``: check the stack in a file and draw it.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Final, TypeVar, get_args

from rich.console import Console
from rich.text import Text

from rules.budget import full_budget
from rules.comparison import compare
from rules.gate.gate import gate, verified
from rules.reading.reading import read_gauge
from rules.schema.budget import BudgetReport, BudgetRequest
from rules.schema.comparison import ComparisonReport, ComparisonRequest
from rules.schema.gate import Decision, GateReport, GateRequest, GateVerification, GateVerificationReport
from rules.schema.parsing import parse, parse_request
from rules.schema.reading import ReadingReport, ReadingRequest
from rules.schema.report import Report
from rules.schema.search import SearchReport, SearchRequest
from rules.search.search import search
from service.cli.files import (
    BAD_INPUT,
    READING_ACCEPTED,
    READING_OPEN,
    READING_REFUSED,
    VERDICT_CODES,
    judged,
    report_console,
)
from service.drawing.pictures import PictureName, picture_or_words
from service.http.posted import assess_instructed
from service.operations.process import load_assessor
from service.sheets.check import print_report
from service.sheets.orders import print_gate, print_search, print_verification
from service.sheets.page import report_page
from service.sheets.questions import print_budget, print_comparison, print_reading

__all__ = [
    "DECISION_CODES",
    "NOTHING_FOUND",
    "NOT_REPRODUCED",
    "REPRODUCED",
    "add_budget_parser",
    "add_check_parser",
    "add_compare_parser",
    "add_draw_parser",
    "add_gate_parser",
    "add_read_parser",
    "add_search_parser",
]


def add_check_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
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
    parser.set_defaults(run=_run_check, usage_error=parser.error)


def _run_check(arguments: argparse.Namespace) -> int:
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


def add_budget_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
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
    parser.set_defaults(run=_run_budget)


def _run_budget(arguments: argparse.Namespace) -> int:
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


_ABOUT_COMPARE: Final = (
    "Set the alternatives in a file against each other. The exit code is that of the best: 0 one passes,"
    " 1 one asks for review, 2 all fail, 3 input that is no request, 4 a fault of the program."
)


def add_compare_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "compare", help="set the alternatives in a file against each other", description=_ABOUT_COMPARE
    )
    parser.add_argument("file", metavar="FILE", help="a comparison as JSON; - is standard input")
    parser.add_argument("--json", action="store_true", help="print the report as one line of JSON")
    parser.set_defaults(run=_run_compare)


def _run_compare(arguments: argparse.Namespace) -> int:
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


NOTHING_FOUND: Final = VERDICT_CODES["fail"]
"""No stack of this page is kept."""

_ABOUT_SEARCH: Final = (
    "Find the stacks that the inventory in a file allows. The exit code is that of the best stack of the page: 0 one"
    " passes, 1 one asks for review, 2 none is kept, 3 input that is no request, 4 a fault of the program."
)


def add_search_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "search", help="find the stacks that an inventory in a file allows", description=_ABOUT_SEARCH
    )
    parser.add_argument("file", metavar="FILE", help="a search as JSON; - is standard input")
    parser.add_argument("--continue", metavar="TOKEN", dest="token", help="token of the page before, for the next one")
    parser.add_argument("--json", action="store_true", help="print the report as one line of JSON")
    parser.set_defaults(run=_run_search)


def _run_search(arguments: argparse.Namespace) -> int:
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


ReportT = TypeVar("ReportT", GateReport, GateVerificationReport)

DECISION_CODES: Final[Mapping[Decision, int]] = MappingProxyType({"release": 0, "hold": 1, "stop": 2})

REPRODUCED: Final = 0
"""The stored digest is that of the decision made now."""

NOT_REPRODUCED: Final = 2
"""The order, the program, its rules or its catalogue are not those of the stored decision."""

_ABOUT_GATE: Final = (
    "Decide on the work order in a file. The exit code is the decision: 0 release, 1 hold, 2 stop, 3 input that is no"
    " order, 4 a fault of the program. With --verify it is 0 where the stored digest is reproduced and 2 where not."
)


def add_gate_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser("gate", help="release, hold or stop the work order in a file", description=_ABOUT_GATE)
    parser.add_argument("file", metavar="FILE", help="a work order as JSON; - is standard input")
    parser.add_argument("--verify", metavar="DIGEST", type=_digest, help="digest of a decision made before")
    parser.add_argument("--rulebook", metavar="SHA256", type=_digest, help="with --verify: rulebooks that decided then")
    parser.add_argument("--json", action="store_true", help="print the report as one line of JSON")
    parser.set_defaults(run=_run_gate)


def _digest(text: str) -> str:
    if len(text) != 64 or not set(text) <= set("0123456789abcdef"):
        raise argparse.ArgumentTypeError("64 lower-case hexadecimal digits are expected")
    return text


def _run_gate(arguments: argparse.Namespace) -> int:
    if arguments.rulebook is not None and arguments.verify is None:
        print("--rulebook goes with --verify", file=sys.stderr)
        return BAD_INPUT
    assessor = load_assessor()

    def judge(data: object) -> tuple[GateRequest, GateReport]:
        request = parse(GateRequest, data)
        return request, gate(request, assessor)

    found = judged(arguments.file, judge)
    if found is None:
        return BAD_INPUT
    request, report = found
    if arguments.verify is None:
        _print(report, print_gate, as_json=arguments.json)
        return DECISION_CODES[report.decision]
    stored = GateVerification(gate=request, digest=arguments.verify, rulebook_sha256=arguments.rulebook)
    verification = verified(stored, report)
    _print(verification, print_verification, as_json=arguments.json)
    return REPRODUCED if verification.reproduced else NOT_REPRODUCED


def _print(report: ReportT, print_text: Callable[[ReportT, Console], None], *, as_json: bool) -> None:
    if as_json:
        print(report.model_dump_json())
    else:
        print_text(report, report_console())


def add_read_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
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
    parser.set_defaults(run=_run_read)


def _run_read(arguments: argparse.Namespace) -> int:
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


def add_draw_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "draw",
        help="draw a stack to scale, or plot its budget",
        description="Check the stack in a file and write a picture of it as SVG, whatever the verdict. The exit code is"
        " that of the check: 0 pass, 1 review, 2 fail, 3 input that is no request, 4 a fault of the program.",
    )
    parser.add_argument("file", metavar="FILE", help="a request as JSON; - is standard input")
    parser.add_argument(
        "--picture", choices=get_args(PictureName), default="stack", help="which picture (stack, the side view)"
    )
    parser.add_argument("--straight", action="store_true", help="leave out how the contributors bend the axis")
    parser.add_argument("--out", type=Path, metavar="FILE.svg", help="where to write it (standard output)")
    parser.set_defaults(run=_run_draw)


def _run_draw(arguments: argparse.Namespace) -> int:
    assessor = load_assessor()

    def draw(data: object) -> tuple[str, Report]:
        report, derived = assessor.assess_derived(parse_request(data))
        return picture_or_words(arguments.picture, report, derived, bent=not arguments.straight), report

    made = judged(arguments.file, draw)
    if made is None:
        return BAD_INPUT
    picture, report = made
    if arguments.out is None:
        sys.stdout.buffer.write(picture.encode())
        sys.stdout.buffer.flush()
        return VERDICT_CODES[report.verdict]
    try:
        arguments.out.write_bytes(picture.encode())
    except OSError as error:
        print(f"{arguments.out}: {error.strerror}", file=sys.stderr)
        return BAD_INPUT
    return VERDICT_CODES[report.verdict]
