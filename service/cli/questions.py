"""Commands with one JSON request per file: budget, calibrate, compare, search, gate, read, draw."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Final, get_args

from pydantic import ValidationError

from rules.budget import full_budget
from rules.calibration.calibrating import calibrate
from rules.comparison import compare
from rules.gate.digest import canonical, judgement_record
from rules.gate.gate import gate
from rules.reading.build import read_build
from rules.reading.reading import read_gauge
from rules.schema.budget import BudgetReport, BudgetRequest
from rules.schema.build import BuildReport, BuildRequest
from rules.schema.calibration import CalibrationReport, CalibrationRequest
from rules.schema.comparison import ComparisonReport, ComparisonRequest
from rules.schema.gate import Decision, Expectation, GateReport, GateRequest
from rules.schema.parsing import BadRequestError, Fault, parse, parse_request
from rules.schema.reading import ReadingReport, ReadingRequest
from rules.schema.report import Report
from rules.schema.search import SearchReport, SearchRequest
from rules.search.search import search
from service.cli import examples
from service.cli.files import (
    BAD_INPUT,
    READING_ACCEPTED,
    READING_OPEN,
    READING_REFUSED,
    VERDICT_CODES,
    add_rulebooks,
    add_unit,
    add_width,
    assessor_of,
    judged,
    print_name,
    report_console,
    settings_of,
)
from service.drawing.dimensions import RequestFields
from service.drawing.pictures import PictureName, picture_or_words
from service.operations.assessors import load_assessor, profile_of
from service.operations.signing import load_keys
from service.sheets.orders import print_gate, print_search, print_signed
from service.sheets.questions import (
    print_budget,
    print_build,
    print_calibration,
    print_comparison,
    print_reading,
)
from service.sheets.text import section

__all__ = [
    "DECISION_CODES",
    "MAY_NOT_START",
    "NOTHING_FOUND",
    "budget_arguments",
    "build_arguments",
    "calibrate_arguments",
    "compare_arguments",
    "draw_arguments",
    "gate_arguments",
    "read_arguments",
    "search_arguments",
]


def budget_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Print the runout at every plane, the share of each contributor, the effect of a particle in each"
        " seat, the best clocking and the tolerance of each part. A check request is valid input. Exit code: 0"
        " complete, 1 contributors missing, 3 invalid input, 4 program fault."
    )
    parser.epilog = examples(
        ("stackgauge budget stack.json", "contributors, totals, clocking"),
        ("stackgauge budget stack.json --json", "the same as JSON"),
    )
    parser.add_argument("file", metavar="FILE", help="request as JSON; - for standard input")
    parser.add_argument("--json", action="store_true", help="print the budget as one line of JSON")
    add_rulebooks(parser)
    add_width(parser)
    add_unit(parser, _run_budget)


def _run_budget(arguments: argparse.Namespace) -> int:
    assessor = assessor_of(arguments)

    def judge(data: object) -> BudgetReport:
        return full_budget(parse(BudgetRequest, data), assessor.book, assessor.catalogue)

    report = judged(arguments.file, judge)
    if report is None:
        return BAD_INPUT
    if arguments.json:
        print(report.model_dump_json())
    else:
        print_budget(report, report_console(arguments.width))
    return 0 if report.complete else 1


_ABOUT_COMPARE: Final = (
    "Compare alternative stacks for one operation. Exit code, best case: 0 pass, 1 review, 2 all fail, 3 invalid"
    " input, 4 program fault."
)


def compare_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = _ABOUT_COMPARE
    parser.epilog = examples(
        ("stackgauge compare comparison.json", "alternatives side by side"),
        ("stackgauge compare comparison.json --json | jq .non_dominated", "for programs"),
    )
    parser.add_argument("file", metavar="FILE", help="comparison as JSON; - for standard input")
    parser.add_argument("--json", action="store_true", help="print the report as one line of JSON")
    add_rulebooks(parser)
    add_width(parser)
    add_unit(parser, _run_compare)


def _run_compare(arguments: argparse.Namespace) -> int:
    assessor = assessor_of(arguments)

    def judge(data: object) -> ComparisonReport:
        return compare(parse(ComparisonRequest, data), assessor)

    report = judged(arguments.file, judge)
    if report is None:
        return BAD_INPUT
    if arguments.json:
        print(report.model_dump_json())
    else:
        print_comparison(report, report_console(arguments.width))
    return min(VERDICT_CODES[one.verdict] for one in report.alternatives)


NOTHING_FOUND: Final = VERDICT_CODES["fail"]
"""Exit code if the page has no stacks."""

_ABOUT_SEARCH: Final = (
    "Search an inventory for stacks that do the job. Exit code, best stack of the page: 0 pass, 1 review, 2 none"
    " found, 3 invalid input, 4 program fault."
)


def search_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = _ABOUT_SEARCH
    parser.epilog = examples(
        ("stackgauge search search.json", "stacks from an inventory, best first"),
        ("stackgauge search search.json --json", "the same as JSON"),
    )
    parser.add_argument("file", metavar="FILE", help="search as JSON; - for standard input")
    parser.add_argument(
        "--continue", metavar="TOKEN", dest="token", help="token of the previous page, to get the next one"
    )
    parser.add_argument("--json", action="store_true", help="print the report as one line of JSON")
    add_rulebooks(parser)
    add_width(parser)
    add_unit(parser, _run_search)


def _run_search(arguments: argparse.Namespace) -> int:
    assessor = assessor_of(arguments)

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
        print_search(report, report_console(arguments.width))
    return min((VERDICT_CODES[one.verdict] for one in report.items), default=NOTHING_FOUND)


DECISION_CODES: Final[Mapping[Decision, int]] = MappingProxyType({"release": 0, "hold": 1, "stop": 2})

MAY_NOT_START: Final = 1
"""Exit code of a release that rests on changed rules, waived requirements or an expectation that is not met."""

_ABOUT_GATE: Final = (
    "Release, hold or stop a work order, or verify the signature of a stored answer. Exit code: 0 may start, 1 hold or"
    " may not start, 2 stop, 3 invalid input or signature, 4 program fault."
)


def gate_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = _ABOUT_GATE
    parser.epilog = examples(
        ("stackgauge gate order.json", "may the order start?"),
        ("stackgauge gate order.json --json", "the decision as JSON"),
    )
    parser.add_argument(
        "file", metavar="FILE", help="work order as JSON, with --verify the answer of a gate; - for standard input"
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--verify",
        metavar="KEYS.json",
        type=Path,
        help="judge nothing: verify that a key of this JWK set signed the stored answer in FILE",
    )
    what.add_argument(
        "--expect",
        metavar="NAME=VALUE",
        action="append",
        type=_expectation,
        help="what the decision must rest on: digest, judgement_sha256, rulebook_sha256, catalogue_sha256,"
        " aliases_sha256, profile_sha256, input_sha256 or version; may be repeated",
    )
    parser.add_argument(
        "--json", action="store_true", help="print the report, with --verify the signed record, as one line of JSON"
    )
    add_rulebooks(parser)
    add_width(parser)
    add_unit(parser, _run_gate)


def _expectation(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals or name not in Expectation.model_fields:
        raise argparse.ArgumentTypeError(f"expected NAME=VALUE with a name of {', '.join(Expectation.model_fields)}")
    return name, value


def _run_gate(arguments: argparse.Namespace) -> int:
    if arguments.verify is not None:
        return _run_verify(arguments)
    settings = settings_of(arguments)
    assessor = load_assessor(settings)
    profile, keys = profile_of(settings, assessor.book), load_keys(settings)

    def judge(data: object) -> GateReport:
        if arguments.expect and isinstance(data, dict):
            data = {**data, "expect": {**(data.get("expect") or {}), **dict(arguments.expect)}}
        return keys.signed(gate(parse(GateRequest, data), assessor, profile))

    report = judged(arguments.file, judge)
    if report is None:
        return BAD_INPUT
    if arguments.json:
        print(report.model_dump_json())
    else:
        print_gate(report, report_console(arguments.width))
    return _gate_code(report)


def _gate_code(report: GateReport) -> int:
    return MAY_NOT_START if report.decision == "release" and not report.may_start else DECISION_CODES[report.decision]


def _run_verify(arguments: argparse.Namespace) -> int:
    # Only this needs the library of signatures.
    from service.signature import KeyDataError, SignatureError, verify_signature

    if arguments.rulebooks:
        print("--verify judges nothing, so it takes no --rulebooks", file=sys.stderr)
        return BAD_INPUT
    keys = judged(str(arguments.verify), lambda data: data)
    report = None if keys is None else judged(arguments.file, _stored)
    if report is None:
        return BAD_INPUT
    try:
        key = verify_signature(report, keys if isinstance(keys, Mapping) else {})
    except (SignatureError, KeyDataError) as error:
        print(f"{arguments.verify if isinstance(error, KeyDataError) else arguments.file}: {error}", file=sys.stderr)
        return BAD_INPUT
    # Only what is signed: the wording of the answer could be anyone's.
    if arguments.json:
        print(canonical(judgement_record(report)).decode())
    else:
        print_signed(report, key, report_console(arguments.width))
    return _gate_code(report)


def _stored(data: object) -> GateReport:
    """Return the answer of a gate from its JSON; fields of later versions are ignored."""
    try:
        return GateReport.model_validate_json(json.dumps(data), extra="ignore")
    except ValidationError as error:
        raise BadRequestError([Fault("", "this is not the answer of a gate", "wrong_type")]) from error


def read_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Judge runout readings and print the next step. Exit code, worst case: 0 accepted, 1 not proven or"
        " another step needed, 2 beyond the limit or outside the prediction, 3 invalid input, 4 program fault."
    )
    parser.epilog = examples(
        ("stackgauge read reading.json", "judge one reading"),
        ("stackgauge read *.json", "several, cautions once"),
    )
    parser.add_argument("files", nargs="+", metavar="FILE", help="reading as JSON; - for standard input")
    parser.add_argument("--json", action="store_true", help="print each report as one line of JSON")
    add_rulebooks(parser)
    add_width(parser)
    add_unit(parser, _run_read)


def _run_read(arguments: argparse.Namespace) -> int:
    assessor = assessor_of(arguments)
    console = report_console(arguments.width)
    worst = READING_ACCEPTED
    told: list[ReadingReport] = []

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
            print_name(name, console, first=number == 0)
        print_reading(report, console, closing=False)
        told.append(report)
    section("Cautions", list(dict.fromkeys(one for report in told for one in report.cautions)), console)
    return worst


def _code(report: ReadingReport) -> int:
    outside = any(one is not None and one.above_p99 for one in report.prediction)
    if outside or (report.decision is not None and report.decision.decision == "does_not_conform"):
        return READING_REFUSED
    return READING_ACCEPTED if report.next_step.action == "accept" else READING_OPEN


_BUILD_CODES: Final = {"go_on": 0, "compare": 1, "read_again": 1, "turn": 1, "reseat": 1, "replace": 2}


def build_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Follow a stack that is read after each part. Exit code, of the last stage: 0 go on or conforming, 1 another"
        " step needed or not proven, 2 a part to replace or beyond the limit, 3 invalid input, 4 program fault."
    )
    parser.epilog = examples(
        ("stackgauge build build.json", "stage by stage"),
        ("stackgauge build - < build.json", "from standard input"),
    )
    parser.add_argument("file", metavar="FILE", help="build as JSON; - for standard input")
    parser.add_argument("--json", action="store_true", help="print the report as one line of JSON")
    add_rulebooks(parser)
    add_width(parser)
    add_unit(parser, _run_build)


def _run_build(arguments: argparse.Namespace) -> int:
    assessor = assessor_of(arguments)

    def judge(data: object) -> BuildReport:
        return read_build(parse(BuildRequest, data), assessor.book, assessor.catalogue)

    report = judged(arguments.file, judge)
    if report is None:
        return BAD_INPUT
    if arguments.json:
        print(report.model_dump_json())
    else:
        print_build(report, report_console(arguments.width))
    if report.finished.decision is not None:
        return {"conforms": READING_ACCEPTED, "does_not_conform": READING_REFUSED}.get(
            report.finished.decision.decision, READING_OPEN
        )
    return _BUILD_CODES.get(report.stages[-1].action, READING_OPEN) if report.stages else READING_OPEN


def calibrate_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Turn a shop's readings into its own assumed values, for `policy.assumption_set` of a check. Exit code: 0 no"
        " warnings, 1 warnings, outliers or readings not used, 2 no reading usable, 3 invalid input, 4 program fault."
    )
    parser.epilog = examples(
        ("stackgauge calibrate readings.json", "what the readings say"),
        ("stackgauge calibrate readings.json --set own.json", "keep it as a set"),
        ("stackgauge check stack.json --assumption-set own.json", "use the set"),
    )
    parser.add_argument("file", metavar="FILE", help="calibration as JSON; - for standard input")
    parser.add_argument("--set", type=Path, metavar="OUT", help="write the set of assumed values as JSON")
    parser.add_argument("--json", action="store_true", help="print the report as one line of JSON")
    add_rulebooks(parser)
    add_width(parser)
    add_unit(parser, _run_calibrate)


def _run_calibrate(arguments: argparse.Namespace) -> int:
    assessor = assessor_of(arguments)

    def judge(data: object) -> CalibrationReport:
        return calibrate(parse(CalibrationRequest, data), assessor.book, assessor.catalogue)

    report = judged(arguments.file, judge)
    if report is None:
        return BAD_INPUT
    own = report.assumption_set
    if arguments.set is not None and own is not None:
        try:
            arguments.set.write_text(own.model_dump_json(indent=2) + "\n", encoding="utf-8")
        except OSError as error:
            print(f"{arguments.set}: {error.strerror}", file=sys.stderr)
            return BAD_INPUT
    if arguments.json:
        print(report.model_dump_json())
    else:
        print_calibration(report, report_console(arguments.width))
    if own is None:
        return 2
    return 1 if report.warnings or report.outliers or report.not_used else 0


def draw_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Check the stack in a file and write a drawing or chart as SVG, whatever the verdict. Exit code:"
        " 0 pass, 1 review, 2 fail, 3 invalid input, 4 program fault."
    )
    parser.epilog = examples(
        ("stackgauge draw stack.json --out stack.svg", "side view"),
        ("stackgauge draw stack.json --picture distribution --out runout.svg", "a chart"),
        ("stackgauge draw stack.json --unit inch > stack.svg", "in inches, to a file"),
    )
    parser.add_argument("file", metavar="FILE", help="request as JSON; - for standard input")
    parser.add_argument(
        "--picture",
        choices=get_args(PictureName),
        default="stack",
        help="drawing or chart (default: stack, the side view)",
    )
    parser.add_argument("--straight", action="store_true", help="draw the axis straight, without runout")
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE.svg",
        help="output file (default: standard output, if that is no terminal)",
    )
    add_unit(parser, _run_draw)
    add_rulebooks(parser)


def _run_draw(arguments: argparse.Namespace) -> int:
    if arguments.out is None and sys.stdout.isatty():
        print("SVG is no text to read: name a file with --out FILE.svg, or send it on with > or |", file=sys.stderr)
        return BAD_INPUT
    assessor = assessor_of(arguments)

    def draw(data: object) -> tuple[str, Report]:
        request = parse_request(data)
        report, derived = assessor.assess_derived(request)
        fields = RequestFields.of(data, request, assessor.catalogue.definitions)
        bent = not arguments.straight
        return picture_or_words(arguments.picture, report, derived, bent=bent, fields=fields), report

    made = judged(arguments.file, draw)
    if made is None:
        return BAD_INPUT
    picture, report = made
    if arguments.out in (None, Path("-")):
        sys.stdout.buffer.write(picture.encode())
        sys.stdout.buffer.flush()
        return VERDICT_CODES[report.verdict]
    try:
        arguments.out.write_bytes(picture.encode())
    except OSError as error:
        print(f"{arguments.out}: {error.strerror}", file=sys.stderr)
        return BAD_INPUT
    return VERDICT_CODES[report.verdict]
