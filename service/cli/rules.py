"""``rules``: the bench for rulebooks. Lint and test them, explain a rule, compare two sets, list and describe them."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from itertools import chain
from pathlib import Path
from typing import Final

from rich.text import Text

from rules.assessor import Assessor
from rules.bench import books_of, coverage, difference, remarks, rulebook_schema, try_examples
from rules.explanation import explain
from rules.rulebook.book import Rule, Rulebook
from rules.rulebook.catalogue import catalogue
from rules.rulebook.loader import example_request
from rules.rulebook.source import RulebookError
from rules.schema.explanation import ExplanationReport, ExplanationRequest
from rules.schema.parsing import parse, parse_request
from rules.schema.request import CheckRequest
from rules.stack.view import request_vocabulary
from service.audit.libraries import AuditInputError, find_libraries, library_chunks
from service.batch.lines import read_lines
from service.cli.files import BAD_INPUT, VERDICT_CODES, add_rulebooks, add_width, judged, report_console, settings_of
from service.sheets.rulebooks import print_coverage, print_difference, print_explanation
from service.sheets.text import STYLES, Console, count, say, table

__all__ = ["DIFFERENT", "rules_arguments"]

_WARNED: Final = VERDICT_CODES["review"]
_FAILED: Final = VERDICT_CODES["fail"]

DIFFERENT: Final = 1
"""Exit code if two sets of books differ."""

_CODES: Final = "Exit code: 0 fine, 1 warnings, 2 failed, 3 invalid input, 4 program fault."


def rules_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Work on rulebooks: the built-in ones, and those of --rulebooks and STACKGAUGE_EXTRA_RULEBOOKS."
    )
    parser.epilog = "example: stackgauge rules lint --rulebooks books"
    bench = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for add in (_add_lint, _add_test, _add_explain, _add_diff, _add_list, _add_schema, _add_catalogue):
        add(bench)


def _command(
    bench: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    run: Callable[[argparse.Namespace], int],
    *,
    about: str,
    example: str,
    more: str = "",
    rulebooks: bool = True,
    width: bool = True,
) -> argparse.ArgumentParser:
    parser = bench.add_parser(
        name,
        help=about,
        description=f"{about[:1].upper()}{about[1:]}.{f' {more}' if more else ''}",
        epilog=f"example: stackgauge rules {example}",
    )
    if rulebooks:
        add_rulebooks(parser)
    if width:
        add_width(parser)
    parser.set_defaults(run=run)
    return parser


def _folders(arguments: argparse.Namespace) -> tuple[Path, ...]:
    return settings_of(arguments).extra_rulebooks


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError("expected a date, such as 2031-05-04") from None


def _add_date(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--date", type=_day, metavar="DATE", help="day against which adjustments end (default: none ends)"
    )


# --- lint ----------------------------------------------------------------------------------------------------------


def _add_lint(bench: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = _command(
        bench,
        "lint",
        _lint,
        about="find defects and weak points of rulebooks",
        more="Defects stop a start: what cannot be read, names and units that do not exist, conditions that decide"
        " nothing, examples that a rule contradicts, safety rules that do nothing any more. Weak points are warnings:"
        " no reason, remedy, source, owner or examples; changed severities; adjustments that end soon or never. "
        + _CODES,
        example="lint --rulebooks books --date 2031-05-04",
    )
    _add_date(parser)
    parser.add_argument("--json", action="store_true", help="print each remark as one line of JSON")


def _lint(arguments: argparse.Namespace) -> int:
    folders, today = _folders(arguments), arguments.date
    if missing := [str(folder) for folder in folders if not folder.is_dir()]:
        print(f"{', '.join(missing)}: not a folder", file=sys.stderr)
        return BAD_INPUT
    told: list[dict[str, object]] = []
    try:
        book = books_of(folders, today)
        told += [
            {"file": one.file, "line": one.line, "level": one.level, "code": one.code, "detail": one.reason}
            for one in remarks(book, today)
        ]
        Assessor.load(folders, today=today)
    except RulebookError as error:
        told += [
            {"file": one.file, "line": one.line, "level": "error", "code": one.code or None, "detail": one.reason}
            for one in error.problems
        ]
    errors = sum(one["level"] == "error" for one in told)
    if arguments.json:
        for one in told:
            print(json.dumps(one, ensure_ascii=False))
    else:
        _print_remarks(told, errors, report_console(arguments.width))
    return _FAILED if errors else _WARNED if told else 0


def _print_remarks(told: Iterable[dict[str, object]], errors: int, console: Console) -> None:
    before, warnings = "", -errors
    for one in told:
        warnings += 1
        code = f": {one['code']}" if one["code"] else ""
        subject = f"{one['file']}:{one['line']}{code}"
        if subject != before:
            say(Text(subject, style="bold"), console)
            before = subject
        level = str(one["level"])
        say(Text(f"{level}: {one['detail']}", style=STYLES[level]), console, 2)
    say(Text(f"{count(errors, 'error')}, {count(warnings, 'warning')}"), console)


# --- test ----------------------------------------------------------------------------------------------------------


def _add_test(bench: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = _command(
        bench,
        "test",
        _test,
        about="run the examples of rules, and count what the rules do",
        more="Without --rulebooks the built-in rules are tested, else those of the folders. --coverage counts how often"
        " each rule fires, holds, lacks data or is not concerned, over the examples or over a library of stacks, and"
        " names the rules that concerned no subject (1). " + _CODES,
        example="test --rulebooks books --coverage library.ndjson",
    )
    parser.add_argument(
        "--coverage",
        nargs="*",
        metavar="LIBRARY",
        help="count outcomes over these .ndjson and .json files or folders; over the examples if none is named",
    )
    _add_date(parser)


def _test(arguments: argparse.Namespace) -> int:
    book = books_of(_folders(arguments), arguments.date)
    rules = [rule for rule in book.rules if rule.code in book.own] or list(book.rules)
    assessor = Assessor(book)
    console = report_console(arguments.width)
    tried = try_examples(book, rules)
    failed = [one for one in tried if not one.holds]
    for one in failed:
        place = f"{one.rule.file}:{one.rule.line}: {one.rule.code}"
        text = f"{place}: the example {one.name!r} is listed under {one.says}; the outcome: {one.does}"
        say(Text(text, style=STYLES["error"]), console)
    say(Text(f"{count(len(tried), 'example')} of {count(len(rules), 'rule')}, {len(failed)} contradicted"), console)
    if arguments.coverage is None:
        return _FAILED if failed else 0
    try:
        requests = (
            _of_libraries(arguments.coverage) if arguments.coverage else (("", one) for one in _examples(rules, book))
        )
        found = coverage(assessor, (request for _, request in requests))
    except AuditInputError as error:
        print(f"rules test: {error}", file=sys.stderr)
        return BAD_INPUT
    codes = {rule.code for rule in rules}
    print_coverage(found, codes, console)
    if found.faults or failed:
        return _FAILED
    return _WARNED if codes.intersection(found.never("fires", "holds", "undecided")) else 0


def _examples(rules: Iterable[Rule], book: Rulebook) -> Iterator[CheckRequest]:
    """Yield the requests of the examples; those with a catalogue of their own are left out."""
    for rule in rules:
        for example in chain(rule.examples.fires, rule.examples.silent, rule.examples.undecided):
            if not example.catalogue:
                yield parse_request(example_request(example, book.bases))


def _of_libraries(names: list[str]) -> Iterator[tuple[str, CheckRequest | None]]:
    """Yield each stack with its place, None for a line that is no request."""
    libraries = find_libraries(names)
    for one in library_chunks(libraries, "verdicts"):
        name = libraries[one.library].name
        yield from ((f"{name}, line {answer.number}", None) for answer in one.known)
        if one.chunk is not None:
            for line in read_lines(one.chunk.first, one.chunk.lines, one.chunk.shared):
                place = name if libraries[one.library].kind == "document" else f"{name}, line {line.number}"
                yield (f"{place}, stack {line.number}" if line.name is None else f"{line.name} ({place})"), line.request


# --- explain -------------------------------------------------------------------------------------------------------


def _add_explain(bench: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = _command(
        bench,
        "explain",
        _explain,
        about="explain what a rule makes of a stack",
        more="Print whom the rule concerns, every value it reads with its place in the request, what is missing, and"
        " what would have to change to pass. Without a code, list what every rule does. Exit code, worst case: 0 holds"
        " or concerns nothing, 1 not decided or a warning, 2 an error, 3 invalid input, 4 program fault.",
        example="explain stack.json GRIP-010",
    )
    parser.add_argument("file", metavar="STACK", help="request as JSON; - for standard input")
    parser.add_argument("code", metavar="CODE", nargs="?", help="code of the rule")
    parser.add_argument("--json", action="store_true", help="print the explanation as one line of JSON")


def _explain(arguments: argparse.Namespace) -> int:
    settings = settings_of(arguments)
    assessor = Assessor.load(_folders(arguments), settings.catalogue, aliases=settings.aliases)
    if arguments.code is None:
        return _explain_all(arguments, assessor)

    def judge(data: object) -> ExplanationReport:
        if isinstance(data, dict):
            data = {**{name: one for name, one in data.items() if name != "include"}, "code": arguments.code}
        return explain(parse(ExplanationRequest, data), assessor)

    report = judged(arguments.file, judge)
    if report is None:
        return BAD_INPUT
    if arguments.json:
        print(report.model_dump_json())
    else:
        print_explanation(report, report_console(arguments.width))
    return max((_code(one.outcome, one.severity) for one in report.subjects), default=0)


def _code(outcome: str, severity: str | None) -> int:
    if outcome == "fires":
        return {"error": _FAILED, "warning": _WARNED}.get(severity or "", 0)
    return _WARNED if outcome == "undecided" else 0


def _explain_all(arguments: argparse.Namespace, assessor: Assessor) -> int:
    found = judged(arguments.file, lambda data: coverage(assessor, [parse_request(data)], strict=True))
    if found is None:
        return BAD_INPUT
    concerned = {code for code, counted in found.counts.items() if counted.total() > counted["not_concerned"]}
    codes = concerned | (assessor.book.own & found.counts.keys())
    if arguments.json:
        print(json.dumps({code: dict(found.counts[code]) for code in sorted(codes)}))
    else:
        print_coverage(found, codes, report_console(arguments.width))
    return max(
        (
            _code(outcome, assessor.book.rule(code).severity)
            for code in codes
            for outcome, times in found.counts[code].items()
            if times
        ),
        default=0,
    )


# --- diff ----------------------------------------------------------------------------------------------------------


def _add_diff(bench: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = _command(
        bench,
        "diff",
        _diff,
        about="compare two sets of rulebooks over a library of stacks",
        more="OLD and NEW are folders of rulebooks, each read after the built-in rules; - means these alone. Rules"
        " added, removed and changed are listed, then the verdicts and findings that change, with the number of stacks"
        " and the first of them. Exit code: 0 no difference, 1 different, 3 invalid input, 4 program fault.",
        example="diff books.old books.new library.ndjson",
        rulebooks=False,
    )
    parser.add_argument("old", metavar="OLD", help="folder of rulebooks before the change, or -")
    parser.add_argument("new", metavar="NEW", help="folder of rulebooks after the change, or -")
    parser.add_argument("libraries", nargs="*", metavar="LIBRARY", help=".ndjson or .json file, or folder")
    _add_date(parser)


def _diff(arguments: argparse.Namespace) -> int:
    old, new = (
        Assessor.load([] if name == "-" else [Path(name)], today=arguments.date)
        for name in (arguments.old, arguments.new)
    )
    try:
        library = _of_libraries(arguments.libraries) if arguments.libraries else iter(())
        found = difference(old, new, library)
    except AuditInputError as error:
        print(f"rules diff: {error}", file=sys.stderr)
        return BAD_INPUT
    print_difference(found, report_console(arguments.width))
    return 0 if found.is_empty else DIFFERENT


# --- list, schema, catalogue ---------------------------------------------------------------------------------------


def _add_list(bench: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = _command(
        bench, "list", _list, about="list the rules in force", example="list --rulebooks books --own --tag coolant"
    )
    parser.add_argument("--own", action="store_true", help="only rules that are not built in")
    parser.add_argument("--tag", metavar="TAG", help="only rules with this tag")
    parser.add_argument("--json", action="store_true", help="print each rule as one line of JSON")


def _list(arguments: argparse.Namespace) -> int:
    book = Assessor.load(_folders(arguments)).book
    rules = [
        rule
        for rule in book.rules
        if (rule.code in book.own or not arguments.own) and (arguments.tag is None or arguments.tag in rule.tags)
    ]
    if arguments.json:
        for rule in rules:
            print(json.dumps(_listed(rule), ensure_ascii=False))
        return 0
    changed = {one.entry.code for one in book.adjustments}
    rows = [
        (rule.code, rule.severity, rule.applies_to, _marks(rule, book, changed), f"{rule.title} ({rule.book})")
        for rule in rules
    ]
    table(("rule", "severity", "for", "", "title (book)"), rows, report_console(arguments.width), words=5)
    return 0


def _listed(rule: Rule) -> dict[str, object]:
    named = ("code", "title", "severity", "safety", "book", "where", "require", "owner", "tags")
    return {**{name: getattr(rule, name) for name in named}, "for": rule.applies_to}


def _marks(rule: Rule, book: Rulebook, changed: set[str]) -> str:
    marks = (
        ("safety", rule.safety),
        ("replaced", rule.code in book.originals),
        ("adjusted", rule.code in changed),
        ("to go", rule.replaced_by is not None),
    )
    return ", ".join(word for word, holds in marks if holds)


def _add_schema(bench: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    _command(
        bench,
        "schema",
        _schema,
        about="print the JSON Schema of rulebook files",
        more="An editor that knows it describes every field and completes the names that expressions may use.",
        example="schema > rulebook.schema.json",
        rulebooks=False,
        width=False,
    )


def _schema(_: argparse.Namespace) -> int:
    print(json.dumps(rulebook_schema(request_vocabulary()), indent=1, ensure_ascii=False))
    return 0


def _add_catalogue(bench: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = _command(
        bench,
        "catalogue",
        _catalogue,
        about="print the rules in full as Markdown",
        example="catalogue --rulebooks books --own > catalogue.md",
        width=False,
    )
    parser.add_argument("--own", action="store_true", help="only rules that are not built in")


def _catalogue(arguments: argparse.Namespace) -> int:
    book = Assessor.load(_folders(arguments)).book
    print(catalogue(book, "stackgauge rules catalogue", book.own if arguments.own else None), end="")
    return 0
