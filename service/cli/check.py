"""``check``: the report on each stack."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import get_args

from rules.assessor import Assessor
from rules.schema.parsing import parse, parse_request
from rules.schema.report import Report
from rules.schema.request import AssumptionSet, CheckRequest, Policy, Unstated
from service.cli import examples
from service.cli.files import (
    BAD_INPUT,
    VERDICT_CODES,
    add_rulebooks,
    add_unit,
    add_width,
    assessor_of,
    judged,
    print_name,
    report_console,
)
from service.sheets.check import print_brief, print_closing, print_report

__all__ = ["check_arguments"]


def check_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Check the stacks in request files. Exit code, worst case: 0 pass, 1 review, 2 fail, 3 invalid"
        " input, 4 program fault."
    )
    parser.epilog = examples(
        ("stackgauge check stack.json", "the whole report"),
        ("stackgauge check stack.yaml --brief --unit inch", "ten lines, in inches"),
        ("stackgauge check stack.json --unstated undecided", "assume nothing"),
        ("stackgauge check stack.json --html report.html --sheet sheet.html", "page, and instruction on A4"),
        ("stackgauge check library/*.json --json > reports.ndjson", "a line of JSON for each"),
    )
    parser.add_argument("files", nargs="+", metavar="FILE", help="request as JSON or YAML; - for standard input")
    parser.add_argument(
        "--unstated",
        choices=get_args(Unstated),
        default="typical",
        help="what counts for a value that is not stated, unless the request says so: undecided, its typical (default)"
        " or its cautious value",
    )
    parser.add_argument(
        "--assumption-set", type=Path, metavar="OWN.json", help="set of assumed values, as `calibrate --set` writes it"
    )
    parser.add_argument(
        "--assembly", action="store_true", help="include the assembly, measuring and disassembly instructions"
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print each report as one line of JSON")
    form.add_argument("--brief", action="store_true", help="print verdict, reason and main figures: ten lines at most")
    parser.add_argument("--html", type=Path, metavar="OUT", help="also write the report as an HTML page; one FILE only")
    parser.add_argument(
        "--details",
        action="store_true",
        help="print all details of the HTML page, with --assembly the work instruction, too; without, it is one sheet",
    )
    add_unit(parser, _run)
    add_width(parser)
    parser.add_argument(
        "--instruction",
        type=Path,
        metavar="OUT",
        help="also write the work instruction, step by step, as HTML; one FILE only",
    )
    parser.add_argument(
        "--sheet",
        type=Path,
        metavar="OUT",
        help="also write the work instruction as one A4 page in HTML; one FILE only",
    )
    add_rulebooks(parser)
    parser.set_defaults(usage_error=parser.error)


def _run(arguments: argparse.Namespace) -> int:
    outs: dict[str, Path] = {
        name: out for name in ("html", "instruction", "sheet") if (out := getattr(arguments, name)) is not None
    }
    if arguments.details and "html" not in outs:
        arguments.usage_error("--details concerns the page of --html")
    if outs and len(arguments.files) > 1:
        arguments.usage_error(f"--{next(iter(outs))} takes one FILE only")
    own = None
    if arguments.assumption_set is not None:
        own = judged(str(arguments.assumption_set), lambda data: parse(AssumptionSet, data))
        if own is None:
            return BAD_INPUT
    assessor = assessor_of(arguments)
    console = report_console(arguments.width)

    def judge(data: object) -> tuple[Report, frozenset[str], dict[Path, str]]:
        request = _with_unstated(_with_set(parse_request(data), own), arguments.unstated)
        if arguments.assembly:
            request = request.with_assembly()
        pages = {out: _page(assessor, request, name, details=arguments.details) for name, out in outs.items()}
        return assessor.assess(request), request.sections, pages

    worst = 0
    told: list[Report] = []
    for number, name in enumerate(arguments.files):
        report, sections, pages = judged(name, judge) or (None, frozenset(), {})
        worst = max(worst, BAD_INPUT if report is None else VERDICT_CODES[report.verdict])
        if report is None:
            continue
        for out, page in pages.items():
            if not _written(out, page):
                worst = BAD_INPUT
        if arguments.json:
            print(report.only(sections).model_dump_json())
            continue
        if len(arguments.files) > 1:
            print_name(name, console, first=number == 0)
        if arguments.brief:
            print_brief(report, console)
        else:
            print_report(report, console, closing=False)
            told.append(report)
    print_closing(told, console)
    return worst


def _with_set(request: CheckRequest, own: AssumptionSet | None) -> CheckRequest:
    """Return the request with this set of assumed values, unless it has its own."""
    policy = request.policy or Policy()
    if own is None or policy.assumption_set is not None:
        return request
    return request.model_copy(update={"policy": policy.model_copy(update={"assumption_set": own})})


def _with_unstated(request: CheckRequest, unstated: Unstated) -> CheckRequest:
    """Return the request with this policy for values not stated, unless it has its own."""
    policy = request.policy or Policy()
    if unstated == "undecided" or "unstated" in policy.model_fields_set:
        return request
    return request.model_copy(update={"policy": policy.model_copy(update={"unstated": unstated})})


def _page(assessor: Assessor, request: CheckRequest, name: str, *, details: bool) -> str:
    # Most checks need no page.
    from service.sheets.page import instruction_page, report_page
    from service.sheets.sheet import sheet_page

    report, derived = assessor.assess_instructed(request)
    if name == "sheet":
        return sheet_page(report, derived)
    if name == "instruction":
        return instruction_page(report)
    if not details:
        return report_page(report, derived)
    return report_page(report, derived, printed="instruction" if "assembly" in request.sections else "details")


def _written(out: Path, page: str) -> bool:
    try:
        out.write_bytes(page.encode())
    except OSError as error:
        print(f"{out}: {error.strerror}", file=sys.stderr)
        return False
    return True
