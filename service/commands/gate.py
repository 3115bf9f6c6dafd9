"""``gate``: decide on the work order in a file, or verify a decision made before."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Final, TypeVar

from rich.console import Console

from rules.gate.gate import gate, verified
from rules.schema.gate import Decision, GateReport, GateRequest, GateVerification, GateVerificationReport
from rules.schema.parsing import parse
from service.commands.exit_codes import BAD_INPUT
from service.commands.request_files import judged, report_console
from service.operations.process import load_assessor
from service.sheets.orders import print_gate, print_verification

__all__ = ["DECISION_CODES", "NOT_REPRODUCED", "REPRODUCED", "add_parser"]

ReportT = TypeVar("ReportT", GateReport, GateVerificationReport)

DECISION_CODES: Final[Mapping[Decision, int]] = MappingProxyType({"release": 0, "hold": 1, "stop": 2})

REPRODUCED: Final = 0
"""The stored digest is that of the decision made now."""

NOT_REPRODUCED: Final = 2
"""The order, the program, its rules or its catalogue are not those of the stored decision."""

_ABOUT: Final = (
    "Decide on the work order in a file. The exit code is the decision: 0 release, 1 hold, 2 stop, 3 input that is no"
    " order, 4 a fault of the program. With --verify it is 0 where the stored digest is reproduced and 2 where not."
)


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser("gate", help="release, hold or stop the work order in a file", description=_ABOUT)
    parser.add_argument("file", metavar="FILE", help="a work order as JSON; - is standard input")
    parser.add_argument("--verify", metavar="DIGEST", type=_digest, help="digest of a decision made before")
    parser.add_argument("--rulebook", metavar="SHA256", type=_digest, help="with --verify: rulebooks that decided then")
    parser.add_argument("--json", action="store_true", help="print the report as one line of JSON")
    parser.set_defaults(run=_run)


def _digest(text: str) -> str:
    if len(text) != 64 or not set(text) <= set("0123456789abcdef"):
        raise argparse.ArgumentTypeError("64 lower-case hexadecimal digits are expected")
    return text


def _run(arguments: argparse.Namespace) -> int:
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
