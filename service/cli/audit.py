"""``audit``: judge whole libraries, and say what is wrong with them on the whole."""

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
from service.audit.progress import teller
from service.audit.run import Audit, Interrupt, State
from service.audit.tally import AuditSummary, Tally, print_audit
from service.batch.pool import Pool, cores, rules_in_force
from service.cli.files import BAD_INPUT, FAULT, VERDICT_CODES, report_console
from service.operations.process import load_assessor
from service.operations.settings import Settings

__all__ = ["INTERRUPTED", "add_parser"]

INTERRUPTED: Final = 130
"""Stopped by SIGINT or SIGTERM before the end; with ``--resume`` it can go on."""

_ABOUT: Final = (
    "Judge every stack of whole libraries: .ndjson files with a request, a stack or definitions a line, .json files"
    ' with one request, a list or {"stacks": […]}, folders of such files, or - for lines from standard input.'
    " The exit code is that of the gravest: 0 pass, 1 review, 2 fail, 3 a line that is no request, or no stack at all,"
    " 4 a fault of the program, 130 interrupted."
)

_FORMATS: Final[dict[str, Callable[[Path], Output]]] = {
    ".ndjson": NdjsonOutput,
    ".html": HtmlOutput,
    ".xml": JunitOutput,
    ".csv": CsvOutput,
}

_SMALL_BYTES: Final = 256 * 1024
"""Libraries of less are judged sooner than other processes are started."""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser("audit", help="judge whole libraries", description=_ABOUT)
    parser.add_argument("libraries", nargs="+", metavar="LIBRARY", help="a file, a folder, or -")
    parser.add_argument(
        "--out",
        action="append",
        default=[],
        type=Path,
        metavar="FILE",
        help="write answers (.ndjson), a table (.csv and .summary.csv), test results (.junit.xml) or a page (.html);"
        " may be given several times",
    )
    parser.add_argument("--workers", type=_count, metavar="N", help="processes that judge (as many as cores)")
    parser.add_argument(
        "--dask", metavar="ADDRESS", help="judge on a Dask cluster: tcp://host:port, or local for one of this machine"
    )
    parser.add_argument(
        "--resume",
        type=Path,
        metavar="STATE",
        help="note in this file how far the audit is, and go on from there if it exists; gone at the end",
    )
    parser.add_argument(
        "--fail-on",
        choices=("review", "fail"),
        default="review",
        help="least verdict that makes the exit code other than 0 (review)",
    )
    parser.add_argument("--json", action="store_true", help="print the summary as one line of JSON")
    parser.add_argument("--quiet", action="store_true", help="say nothing of the progress")
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    settings = Settings()
    assessor = load_assessor(settings)
    try:
        audit = _prepared(arguments, assessor)
        total = sum(size for library in audit.libraries if (size := library.size) is not None)
        endless = any(library.size is None for library in audit.libraries)
        whole = None if endless else total
        with Interrupt() as interrupt, _answering(arguments, assessor, settings, whole) as answering:
            # Only now, so that no earlier output is lost to an audit that can't begin.
            audit.begin()
            with teller(whole, quiet=arguments.quiet, done=(audit.answered, audit.byte)) as progress:
                complete = audit.run(answering, progress, interrupt)
    except (AuditInputError, DifferentRulesError) as error:
        print(f"audit: {error}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print("audit: interrupted", file=sys.stderr)
        return INTERRUPTED
    if not complete:
        further = "nothing written is complete"
        if arguments.resume is not None:
            further = f"the same command goes on from {arguments.resume}"
        print(f"audit: interrupted after {audit.answered} stacks; {further}", file=sys.stderr)
        return INTERRUPTED
    summary = audit.tally.summary()
    if arguments.json:
        print(summary.model_dump_json())
    else:
        print_audit(summary, report_console())
    if summary.stacks + summary.bad_lines == 0:
        print("audit: there is no stack in these libraries", file=sys.stderr)
    return _code(summary, arguments.fail_on)


def _prepared(arguments: argparse.Namespace, assessor: Assessor) -> Audit:
    outputs = [_output(path) for path in arguments.out]
    written = [path for output in outputs for path in _written(output)]
    if arguments.resume is not None:
        written.append(arguments.resume)
    resolved = [path.resolve() for path in written]
    if len(set(resolved)) < len(resolved):
        raise AuditInputError("one file can't be written twice; --out and --resume need names of their own")
    libraries = find_libraries(arguments.libraries, written)
    if arguments.resume is not None and any(library.path is None for library in libraries):
        raise AuditInputError("--resume needs files; standard input can't be read again")
    tally = Tally(assessor.book, assessor.catalogue.digest, [library.name for library in libraries])
    return Audit(libraries, outputs, tally, _state(arguments.resume, libraries, outputs, assessor))


def _state(
    path: Path | None, libraries: Sequence[Library], outputs: Sequence[Output], assessor: Assessor
) -> State | None:
    return None if path is None else State(path, libraries, outputs, rules_in_force(assessor))


def _output(path: Path) -> Output:
    made = _FORMATS.get(path.suffix.lower())
    if made is None:
        raise AuditInputError(f"{path}: an output is an {', '.join(_FORMATS)} file by its name")
    return made(path)


def _written(output: Output) -> list[Path]:
    return [output.path, summary_path(output.path)] if isinstance(output, CsvOutput) else [output.path]


def _answering(arguments: argparse.Namespace, assessor: Assessor, settings: Settings, total: int | None) -> Answering:
    if arguments.dask is not None:
        return DaskAnswering(arguments.dask, arguments.workers or cores(), settings, rules_in_force(assessor))
    if arguments.workers is None and total is not None and total < _SMALL_BYTES:
        return Here(assessor)
    return Pool(arguments.workers or cores(), settings, rules_in_force(assessor))


def _code(summary: AuditSummary, fail_on: str) -> int:
    if summary.faults:
        return FAULT
    if summary.bad_lines or not summary.stacks:
        return BAD_INPUT
    if summary.verdicts["fail"]:
        return VERDICT_CODES["fail"]
    return VERDICT_CODES["review"] if summary.verdicts["review"] and fail_on == "review" else VERDICT_CODES["pass"]


def _count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 1024:
        raise argparse.ArgumentTypeError("a whole number from 1 to 1024 is expected")
    return int(text)
