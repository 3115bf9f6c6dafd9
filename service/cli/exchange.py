"""``import``: read components, stacks and tools from tool data; ``export``: write a checked stack as a CuttingTool."""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO, get_args

from pydantic import TypeAdapter, ValidationError

from rules.exchange.catalogue import load_catalogue
from rules.exchange.component_csv_export import write_component_csv
from rules.exchange.documents import MAP_OF, format_of, import_map_of, read_document
from rules.exchange.imported import Import, ImportOptions
from rules.exchange.shelving import Outcome, shelve
from rules.exchange.tool_asset_export import EPOCH, export_archetypes, is_timestamp
from rules.exchange.untrusted import UnreadableError
from rules.quantities.models import Token
from rules.schema.components import ComponentReference, InvalidPart, StackPart
from rules.schema.import_map import NO_MAP
from rules.schema.imports import ComponentKind, Decimals, ReadAs, Standard
from rules.schema.parsing import parse_request
from rules.schema.report import Report
from rules.stack.chain import resolve
from service.cli.files import (
    BAD_INPUT,
    VERDICT_CODES,
    add_rulebooks,
    add_width,
    assessor_of,
    judged,
    print_name,
    printable,
    report_console,
    settings_of,
)
from service.operations.assessors import load_assessor
from service.operations.process import Exporter
from service.sheets.orders import print_import

__all__ = ["export_arguments", "import_arguments"]


_FAULTY = 1
"""Exit code if part of a document is not a component."""


def import_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Read components from MTConnect assets (XML), from CSV with ISO 13399 symbols, from XML with DIN 4000 property"
        " names, or from ISO 13399 data in exchange files (.p21, .ctf, .stp) and ZIP packages. The report lists unused,"
        " wrong and missing data. Assemblies are printed as requests, one a line, which check and audit take, and the"
        " report goes to standard error. Exit code, worst case: 0 all read, 1 some not read, 3 invalid document, 4"
        " program fault."
    )
    parser.epilog = "example: stackgauge import tool.p21 --map map.yaml | stackgauge check -"
    parser.add_argument(
        "files", nargs="+", metavar="FILE", help="XML, CSV, exchange file or package; - for standard input"
    )
    parser.add_argument(
        "--map",
        metavar="FILE",
        help="JSON or YAML: what connection codes, classes, items, column heads and DIN 4000 properties mean",
    )
    parser.add_argument(
        "--kind",
        choices=get_args(ComponentKind),
        help="kind of the parts whose kind the document does not state",
    )
    parser.add_argument(
        "--as",
        dest="read_as",
        choices=get_args(ReadAs),
        help="what a CuttingTool is that may be a cutting tool alone or an assembled tool",
    )
    parser.add_argument("--decimal", choices=get_args(Decimals), default="point", help="decimal sign of tables")
    parser.add_argument(
        "--strict",
        action="store_true",
        help="a wrong cell of a table is a fault of its row, as always in a catalogue",
    )
    parser.add_argument(
        "--json",
        action="store_true",
        help="print each report as one line of JSON, which a catalogue and an audit take as it stands",
    )
    parser.add_argument(
        "--to-catalogue",
        type=Path,
        metavar="DIR",
        help="also write the components into this folder, a file each; serve, check and audit take it as --catalogue",
    )
    parser.add_argument("--revision", type=_revision, help="revision of the components that are written")
    parser.add_argument(
        "--replace", action="store_true", help="replace components that the catalogue has with other data"
    )
    add_width(parser)
    parser.set_defaults(run=_run_import, usage_error=parser.error)


def _revision(text: str) -> str:
    try:
        return TypeAdapter(Token).validate_python(text)
    except ValidationError:
        raise argparse.ArgumentTypeError("expected letters, digits and . _ - / x, 64 characters at most") from None


def _run_import(arguments: argparse.Namespace) -> int:
    if arguments.to_catalogue is None and (arguments.replace or arguments.revision is not None):
        arguments.usage_error("--revision and --replace need --to-catalogue")
    using = NO_MAP if arguments.map is None else judged(arguments.map, import_map_of, full=_as_written)
    if using is None:
        return BAD_INPUT
    strict = arguments.strict or arguments.to_catalogue is not None
    options = ImportOptions(arguments.kind, arguments.read_as, arguments.decimal, strict, using)
    read: list[tuple[str, Import]] = []
    worst = 0
    for name in arguments.files:
        found = _read(name, options)
        worst = max(worst, BAD_INPUT if found is None else _FAULTY if _is_incomplete(found) else 0)
        if found is None:
            continue
        if arguments.map is not None and found.provenance is None:
            fields = ", ".join(MAP_OF[found.format])
            print(f"{_shown(name)}: the map was not used; for this format it may have {fields}", file=sys.stderr)
        if arguments.json:
            print(found.report().model_dump_json())
        for stack in () if arguments.json else found.stacks:
            print(json.dumps(stack.request, ensure_ascii=False), flush=True)
        read.append((name, found))
    # With a stack, standard output has requests alone, for the program that reads them.
    has_stacks = any(found.stacks for _, found in read)
    if not arguments.json:
        console = report_console(arguments.width, stderr=has_stacks)
        for number, (name, found) in enumerate(read):
            if len(arguments.files) > 1:
                print_name(name, console, first=number == 0)
            print_import(found.report(), console)
    if arguments.to_catalogue is None:
        return worst
    return max(worst, _shelve(arguments, read, sys.stderr if arguments.json or has_stacks else sys.stdout))


def _shelve(arguments: argparse.Namespace, read: Sequence[tuple[str, Import]], told: TextIO) -> int:
    """Write the components into the catalogue and say what became of them."""
    folder: Path = arguments.to_catalogue
    parts = [(_shown(name), part) for name, found in read for part in found.parts]
    try:
        kept = shelve(parts, folder, arguments.revision, replace=arguments.replace)
    except OSError as error:
        print(f"{error.filename or folder}: {error.strerror}", file=sys.stderr)
        return BAD_INPUT
    counts = Counter(one.outcome for one in kept)
    many = ", ".join(f"{counts[outcome]} {outcome}" for outcome in get_args(Outcome))
    print(printable(f"catalogue {folder}: {many}"), file=told)
    for one in kept:
        if one.note is not None:
            print(printable(f"  {one.key}: {one.outcome}, {one.note}"), file=told)
    for tool in (one.tool for _, found in read for one in found.assembled):
        print(f"  {tool.id}: left out, an assembled tool is no component", file=told)
    return _FAULTY if counts["refused"] else 0


def _shown(name: str) -> str:
    return "standard input" if name == "-" else name


def _as_written(value: object) -> object:
    return value


def _is_incomplete(found: Import) -> bool:
    return bool(found.faults) or any(one.rejected for one in found.parts)


def _read(name: str, options: ImportOptions) -> Import | None:
    shown = _shown(name)
    try:
        data = sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()
        return read_document(data, format_of(data), options)
    except OSError as error:
        print(f"{shown}: {error.strerror}", file=sys.stderr)
    except UnreadableError as error:
        where = shown if error.line is None else f"{shown}:{error.line}:{error.column or 1}"
        print(f"{where}: {error.detail}", file=sys.stderr)
    return None


def export_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.description = (
        "Check the stack in a file and print it as one MTConnect CuttingTool, whatever the verdict; or print components"
        " one by one, as import reads them. Exit code: 0 pass, 1 review, 2 fail, 3 invalid input, 4 program fault; of"
        " components 0, or 1 if some were left out."
    )
    parser.epilog = "example: stackgauge export stack.json > tool.xml"
    parser.add_argument(
        "file",
        metavar="FILE",
        help="request as JSON, - for standard input; with --parts also the folder of a catalogue",
    )
    parser.add_argument(
        "--parts",
        choices=("mtconnect", "csv"),
        help="print the components, not the stack: MTConnect archetypes, or CSV with every field but labels",
    )
    parser.add_argument(
        "--timestamp",
        type=_timestamp,
        default=EPOCH,
        metavar="TIME",
        help=f"creation time in UTC, such as 2031-05-04T12:00:00Z (default: {EPOCH}, for identical output)",
    )
    parser.add_argument(
        "--standard", choices=get_args(Standard), default="1.4", help="MTConnect version to write (default: 1.4)"
    )
    add_rulebooks(parser)
    parser.set_defaults(run=_run_export)


def _timestamp(text: str) -> str:
    if not is_timestamp(text):
        raise argparse.ArgumentTypeError("expected a time in UTC, such as 2031-05-04T12:00:00Z")
    return text


def _run_export(arguments: argparse.Namespace) -> int:
    if arguments.parts is not None:
        return _export_parts(arguments)
    exporter = Exporter(assessor_of(arguments))

    def judge(data: object) -> tuple[bytes, Report]:
        request = parse_request(data)
        return exporter.export_with_report(request, timestamp=arguments.timestamp, standard=arguments.standard)

    made = judged(arguments.file, judge)
    if made is None:
        return BAD_INPUT
    document, report = made
    sys.stdout.buffer.write(document)
    sys.stdout.buffer.flush()
    return VERDICT_CODES[report.verdict]


def _export_parts(arguments: argparse.Namespace) -> int:
    """Print the components of a catalogue or of a stack, once each."""
    settings = settings_of(arguments)
    if Path(arguments.file).is_dir():
        mounted = load_catalogue(Path(arguments.file)).definitions
        entries = [(key, one) for key, found in mounted.components.items() for one in found]
    else:
        mounted = load_assessor(settings).catalogue.definitions
        resolved = judged(arguments.file, lambda data: resolve(parse_request(data), mounted))
        if resolved is None:
            return BAD_INPUT
        entries = [(one.id or "", one) for one in resolved.request.stack.components]
        entries += [(case.key, InvalidPart(kind="invalid", reason=case.trouble)) for case in resolved.cases]
    parts: dict[str, StackPart] = {}
    left: list[str] = []
    for key, entry in entries:
        if isinstance(entry, ComponentReference):
            left.append(f"{key}: a reference to {entry.of.key}")
        elif isinstance(entry, InvalidPart):
            left.append(f"{key}: {entry.reason}")
        elif parts.setdefault(entry.id, entry) != entry:
            left.append(f"{key}: another component has the id {entry.id}; a document can have one")
    told = list(parts.values())
    if arguments.parts == "csv":
        document = write_component_csv(told)
    else:
        document = export_archetypes(told, timestamp=arguments.timestamp, standard=arguments.standard)
    sys.stdout.buffer.write(document)
    sys.stdout.buffer.flush()
    for one in left:
        print(printable(f"left out: {one}"), file=sys.stderr)
    return _FAULTY if left else 0
