"""``audit``: check whole tool libraries and summarise the findings."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from rules.assessor import Assessor
from service.audit.answering import Answering, DaskAnswering, DifferentRulesError, Here
from service.audit.libraries import AuditInputError, Library, find_libraries
from service.audit.outputs import CsvOutput, JunitOutput, NdjsonOutput, Output, summary_path
from service.audit.page import HtmlOutput
from service.audit.progress import progress_of
from service.audit.run import Audit, Interrupt, State
from service.audit.tally import AuditSummary, Tally, print_audit
from service.batch.pool import Pool, cores
from service.cli.files import BAD_INPUT, FAULT, VERDICT_CODES, add_rulebooks, report_console, settings_of
from service.operations.assessors import Snapshot, load_assessor, rules_in_force
from service.operations.settings import Settings

__all__ = ["INTERRUPTED", "audit_arguments"]

INTERRUPTED: Final = 130
"""Exit code after SIGINT or SIGTERM; ``--resume`` continues the audit."""

_ABOUT: Final = (
    "Check every stack of a tool library. Input: .ndjson files (one request, stack or definitions object per line),"
    ' .json files (one request, a list or {"stacks": […]}), folders of such files, or - for lines on standard input.'
    " Exit code, worst case: 0 pass, 1 review, 2 fail, 3 invalid input or part, or no stacks, 4 program fault, 130"
    " interrupted."
)

_FORMATS: Final[dict[str, Callable[[Path], Output]]] = {
    ".ndjson": NdjsonOutput,
    ".html": HtmlOutput,
    ".xml": JunitOutput,
    ".csv": CsvOutput,
}

_SMALL_BYTES: Final = 256 * 1024
"""Bytes below which starting worker processes takes longer than the audit."""


def audit_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = _ABOUT
    parser.epilog = "example: stackgauge audit library.ndjson --out report.html"
    parser.add_argument("libraries", nargs="+", metavar="LIBRARY", help="file, folder, or - for standard input")
    parser.add_argument(
        "--out",
        action="append",
        default=[],
        type=Path,
        metavar="FILE",
        help="output file: results (.ndjson), tables (.csv and .summary.csv), test results (.junit.xml) or page"
        " (.html); repeatable",
    )
    parser.add_argument("--workers", type=_count, metavar="N", help="worker processes (default: one per core)")
    parser.add_argument(
        "--dask", metavar="ADDRESS", help="run on a Dask cluster: tcp://host:port, or local to start one"
    )
    parser.add_argument(
        "--resume",
        type=Path,
        metavar="STATE",
        help="progress file: continue from it if it exists; deleted at the end",
    )
    parser.add_argument(
        "--fail-on",
        choices=("review", "fail"),
        default="review",
        help="lowest verdict with an exit code other than 0 (default: review)",
    )
    parser.add_argument("--json", action="store_true", help="print the summary as one line of JSON")
    parser.add_argument("--quiet", action="store_true", help="show no progress")
    add_rulebooks(parser)
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    settings = settings_of(arguments)
    assessor = load_assessor(settings)
    try:
        audit = _prepared(arguments, assessor)
        total = sum(size for library in audit.libraries if (size := library.size) is not None)
        endless = any(library.size is None for library in audit.libraries)
        whole = None if endless else total
        with Interrupt() as interrupt, _answering(arguments, assessor, settings, whole) as answering:
            # Opened last: an audit that cannot start must not overwrite earlier output.
            audit.begin()
            with progress_of(whole, quiet=arguments.quiet, done=(audit.answered, audit.byte)) as progress:
                complete = audit.run(answering, progress, interrupt)
    except (AuditInputError, DifferentRulesError) as error:
        print(f"audit: {error}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print("audit: interrupted", file=sys.stderr)
        return INTERRUPTED
    if not complete:
        further = "the output is incomplete"
        if arguments.resume is not None:
            further = f"repeat the command to continue from {arguments.resume}"
        print(f"audit: interrupted after {audit.answered} stacks; {further}", file=sys.stderr)
        return INTERRUPTED
    summary = audit.tally.summary()
    if arguments.json:
        print(summary.model_dump_json())
    else:
        print_audit(summary, report_console())
    if summary.stacks + summary.bad_lines == 0:
        print("audit: the input has no stacks", file=sys.stderr)
    return _code(summary, arguments.fail_on)


def _prepared(arguments: argparse.Namespace, assessor: Assessor) -> Audit:
    outputs = [_output(path) for path in arguments.out]
    written = [path for output in outputs for path in _written(output)]
    if arguments.resume is not None:
        written.append(arguments.resume)
    resolved = [path.resolve() for path in written]
    if len(set(resolved)) < len(resolved):
        raise AuditInputError("--out and --resume must name different files")
    libraries = find_libraries(arguments.libraries, written)
    if arguments.resume is not None and any(library.path is None for library in libraries):
        raise AuditInputError("--resume needs files; standard input cannot be read again")
    tally = Tally(assessor.book, assessor.catalogue.digest, [library.name for library in libraries])
    state = _state(arguments.resume, libraries, outputs, assessor)
    return Audit(libraries, outputs, tally, state, assessor=assessor)


def _state(
    path: Path | None, libraries: Sequence[Library], outputs: Sequence[Output], assessor: Assessor
) -> State | None:
    return None if path is None else State(path, libraries, outputs, rules_in_force(assessor))


def _output(path: Path) -> Output:
    made = _FORMATS.get(path.suffix.lower())
    if made is None:
        raise AuditInputError(f"{path}: the output file must end in {', '.join(_FORMATS)}")
    return made(path)


def _written(output: Output) -> list[Path]:
    return [output.path, summary_path(output.path)] if isinstance(output, CsvOutput) else [output.path]


def _answering(arguments: argparse.Namespace, assessor: Assessor, settings: Settings, total: int | None) -> Answering:
    if arguments.dask is not None:
        return DaskAnswering(arguments.dask, arguments.workers or cores(), settings, rules_in_force(assessor))
    if arguments.workers is None and total is not None and total < _SMALL_BYTES:
        return Here(assessor)
    return Pool(arguments.workers or cores(), Snapshot.of(assessor))


def _code(summary: AuditSummary, fail_on: str) -> int:
    if summary.faults:
        return FAULT
    if summary.bad_lines or summary.stacks_not_judged or not summary.stacks:
        return BAD_INPUT
    if summary.verdicts["fail"]:
        return VERDICT_CODES["fail"]
    return VERDICT_CODES["review"] if summary.verdicts["review"] and fail_on == "review" else VERDICT_CODES["pass"]


def _count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 1024:
        raise argparse.ArgumentTypeError("expected a whole number from 1 to 1024")
    return int(text)
