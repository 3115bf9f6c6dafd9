"""``audit``: check whole tool libraries and summarise the findings."""

from __future__ import annotations

import argparse
import sys
import textwrap
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Final

from rules.assessor import Assessor
from rules.audit_items import VERDICTS
from rules.schema.report import Verdict
from service.audit.answering import Answering, DaskAnswering, DifferentRulesError, Here
from service.audit.libraries import AuditInputError, find_libraries
from service.audit.outputs import (
    BaselineOutput,
    CsvOutput,
    FindingsOutput,
    JunitOutput,
    NdjsonOutput,
    Output,
    beside,
    summary_path,
)
from service.audit.page import HtmlOutput
from service.audit.progress import progress_of
from service.audit.run import Audit, Interrupt, State
from service.audit.sarif import SarifOutput
from service.audit.standing import Standing, baseline_bytes, digest_of, read_baseline, read_earlier, read_waivers
from service.audit.tally import AuditSummary, Tally, print_audit
from service.batch.pool import Pool, cores
from service.cli.files import BAD_INPUT, FAULT, VERDICT_CODES, add_rulebooks, add_width, report_console, settings_of
from service.operations.assessors import Snapshot, load_assessor, rules_in_force
from service.operations.settings import Settings
from service.sheets.text import count

__all__ = ["INTERRUPTED", "audit_arguments"]

INTERRUPTED: Final = 130
"""Exit code after SIGINT or SIGTERM; ``--resume`` continues the audit."""

_ABOUT: Final = (
    "Check every stack of a tool library. Input: .ndjson files (one request, stack or definitions object per line),"
    ' .json files (one request, a list or {"stacks": […]}), folders of such files, or - for lines on standard input.'
    " Exit code, worst case: 0 pass, 1 review, 2 fail, 3 invalid input or part, or no stacks, 4 program fault,"
    " 130 interrupted. Waived findings do not count. With --baseline or a budget only new findings do: 2 for more"
    " errors than permitted, 1 for more warnings or undecided rules."
)

_EXAMPLES: Final = """\
examples:
  stackgauge audit library.ndjson --out report.html
  stackgauge audit library.ndjson --write-baseline known.json             once: take today's findings as known
  stackgauge audit library.ndjson --baseline known.json --waivers waivers.yaml --against last.sarif \\
      --out tonight.sarif --out tonight.html --out tonight.junit.xml --max-new-warnings 20
                                        every night: exit code 2 for any new error, 1 beyond 20 new warnings
"""

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
    # The formatter keeps lines as they are, for the examples.
    parser.description = textwrap.fill(_ABOUT, 80)
    parser.epilog = _EXAMPLES
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("libraries", nargs="+", metavar="LIBRARY", help="file, folder, or - for standard input")
    parser.add_argument(
        "--out",
        action="append",
        default=[],
        type=Path,
        metavar="FILE",
        help="output file: results (.ndjson), tables (.csv, .findings.csv and .summary.csv), test results (.junit.xml),"
        " findings (.sarif) or page (.html); repeatable",
    )
    parser.add_argument(
        "--against",
        type=Path,
        metavar="LAST",
        help=".sarif file of an earlier audit: say what is new, changed and fixed",
    )
    parser.add_argument(
        "--baseline", type=Path, metavar="FILE", help="findings that are known: only others count for the exit code"
    )
    parser.add_argument("--write-baseline", type=Path, metavar="FILE", help="write the findings of this audit as known")
    parser.add_argument(
        "--prune-baseline", action="store_true", help="remove from the file of --baseline what is no longer found"
    )
    parser.add_argument(
        "--waivers",
        type=Path,
        metavar="FILE",
        help="YAML file of accepted findings: code, stack, reason, owner, expires; at and limit if wanted",
    )
    parser.add_argument(
        "--as-of",
        type=_day,
        metavar="DAY",
        help="day on which waivers and adjustments count, YYYY-MM-DD (default: STACKGAUGE_AS_OF, else today)",
    )
    for kind in _BUDGETS:
        parser.add_argument(
            f"--max-new-{kind}",
            type=_budget,
            metavar="N",
            help=f"most new {kind if kind != 'undecided' else 'undecided rules'} without an exit code (default: 0)",
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
    add_width(parser)
    parser.add_argument("--quiet", action="store_true", help="show no progress")
    add_rulebooks(parser)
    parser.set_defaults(run=_run)


def _run(arguments: argparse.Namespace) -> int:
    settings = settings_of(arguments)
    if arguments.as_of is not None:
        settings = settings.model_copy(update={"as_of": arguments.as_of})
    assessor = load_assessor(settings)
    try:
        audit = _prepared(arguments, assessor, settings)
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
        print_audit(summary, report_console(arguments.width))
    if summary.stacks + summary.bad_lines == 0:
        print("audit: the input has no stacks", file=sys.stderr)
    if arguments.prune_baseline:
        _prune(arguments.baseline, audit, summary)
    return _code(summary, arguments)


def _prune(path: Path, audit: Audit, summary: AuditSummary) -> None:
    if summary.bad_lines or summary.stacks_not_judged:
        # The findings of a stack that could not be judged are not gone.
        what = f"{count(summary.stacks_not_judged, 'stack')} and {count(summary.bad_lines, 'line')}"
        print(f"audit: {path} is not pruned, since {what} could not be judged", file=sys.stderr)
        return
    path.write_bytes(baseline_bytes(audit.tally.standing.remaining()))


def _prepared(arguments: argparse.Namespace, assessor: Assessor, settings: Settings) -> Audit:
    outputs = [output for path in arguments.out for output in _outputs(path, assessor)]
    written = [path for output in outputs for path in _written(output)]
    if arguments.write_baseline is not None:
        outputs.append(BaselineOutput(arguments.write_baseline))
        written += [arguments.write_baseline, outputs[-1].path]
    read = [one for one in (arguments.against, arguments.baseline, arguments.waivers) if one is not None]
    if any(one.resolve() == path.resolve() for one in read for path in written if path != arguments.write_baseline):
        raise AuditInputError("--out must not overwrite the file of --against, --baseline or --waivers")
    if arguments.resume is not None:
        written.append(arguments.resume)
    resolved = [path.resolve() for path in written]
    if len(set(resolved)) < len(resolved):
        raise AuditInputError("--out and --resume must name different files")
    standing = _standing(arguments, assessor, settings)
    libraries = find_libraries(arguments.libraries, [*written, *read])
    if arguments.resume is not None and any(library.path is None for library in libraries):
        raise AuditInputError("--resume needs files; standard input cannot be read again")
    tally = Tally(assessor.book, assessor.catalogue.digest, [library.name for library in libraries], standing)
    state = None
    if arguments.resume is not None:
        state = State(arguments.resume, libraries, outputs, rules_in_force(assessor), standing.digests)
    return Audit(libraries, outputs, tally, state, assessor=assessor)


def _standing(arguments: argparse.Namespace, assessor: Assessor, settings: Settings) -> Standing:
    if arguments.prune_baseline and arguments.baseline is None:
        raise AuditInputError("--prune-baseline needs --baseline")
    has_budget = any(one is not None for one in _budgets(arguments).values())
    if has_budget and arguments.baseline is None and arguments.against is None:
        raise AuditInputError("a budget of new findings needs --baseline or --against")
    files = {"against": arguments.against, "baseline": arguments.baseline, "waivers": arguments.waivers}
    digests = {name: digest_of(path) for name, path in files.items() if path is not None}
    if arguments.waivers is not None:
        digests["as_of"] = settings.as_of.isoformat()
    return Standing(
        earlier=None if arguments.against is None else read_earlier(arguments.against),
        baseline=None if arguments.baseline is None else read_baseline(arguments.baseline),
        waivers=() if arguments.waivers is None else read_waivers(arguments.waivers, assessor.book, settings.as_of),
        digests=digests,
    )


def _outputs(path: Path, assessor: Assessor) -> list[Output]:
    suffix = path.suffix.lower()
    if suffix == ".sarif":
        return [SarifOutput(path, assessor.book)]
    if suffix == ".html":
        return [HtmlOutput(path, assessor.book)]
    made = _FORMATS.get(suffix)
    if made is None:
        raise AuditInputError(f"{path}: the output file must end in {', '.join((*_FORMATS, '.sarif'))}")
    return [made(path), FindingsOutput(beside(path, "findings"))] if made is CsvOutput else [made(path)]


def _written(output: Output) -> list[Path]:
    return [output.path, summary_path(output.path)] if isinstance(output, CsvOutput) else [output.path]


def _answering(arguments: argparse.Namespace, assessor: Assessor, settings: Settings, total: int | None) -> Answering:
    if arguments.dask is not None:
        return DaskAnswering(arguments.dask, arguments.workers or cores(), settings, rules_in_force(assessor))
    if arguments.workers is None and total is not None and total < _SMALL_BYTES:
        return Here(assessor)
    return Pool(arguments.workers or cores(), Snapshot.of(assessor))


_BUDGETS: Final = ("errors", "warnings", "undecided")


def _budgets(arguments: argparse.Namespace) -> dict[str, int | None]:
    return {kind: getattr(arguments, f"max_new_{kind}") for kind in _BUDGETS}


def _code(summary: AuditSummary, arguments: argparse.Namespace) -> int:
    if summary.faults:
        return FAULT
    if summary.bad_lines or summary.stacks_not_judged or not summary.stacks:
        return BAD_INPUT
    budgets = _budgets(arguments)
    if arguments.baseline is not None or any(one is not None for one in budgets.values()):
        over = {kind for kind, most in budgets.items() if getattr(summary.open, kind) > (most or 0)}
        verdict: Verdict = "fail" if "errors" in over else "review" if over else "pass"
    else:
        left = summary.after_waivers
        verdict = "fail" if left["fail"] else "review" if left["review"] else "pass"
        verdict = max(verdict, summary.parts_verdict, key=VERDICTS.index)
    return VERDICT_CODES["pass" if verdict == "review" and arguments.fail_on == "fail" else verdict]


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError("expected a day as YYYY-MM-DD") from None


def _budget(text: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        raise argparse.ArgumentTypeError("expected a whole number from 0 on")
    return int(text)


def _count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 1024:
        raise argparse.ArgumentTypeError("expected a whole number from 1 to 1024")
    return int(text)
