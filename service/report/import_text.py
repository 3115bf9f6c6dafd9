"""An import as plain text: each component with what is left over and what is not stated, then the faults."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from rules.schema.imports import ImportedComponent, ImportFault, ImportReport, UnmappedValue
from service.report.layout import STYLES, count, heading, say, section

__all__ = ["print_import"]


def print_import(report: ImportReport, console: Console) -> None:
    """Print counts, a section each component, what belongs to none, and the faults."""
    version = f" {report.version}" if report.version else ""
    named = f"MTConnect assets{version}" if report.format == "mtconnect_assets" else "CSV"
    faults = f", {count(len(report.faults), 'fault')}" if report.faults else ""
    say(Text(f"{named}: {count(len(report.components), 'component')}{faults}", style="bold"), console)
    for one in report.components:
        _print_component(one, console)
    section("Belongs to no component", [_left(one) for one in report.unmapped], console)
    if report.faults:
        heading("Faults", console)
    for fault in report.faults:
        say(Text(_fault(fault), style=STYLES["error"]), console, 2)
    if report.not_listed:
        section("Not listed", [f"{report.not_listed} more of the values and faults above"], console)


def _print_component(one: ImportedComponent, console: Console) -> None:
    heading(f"{one.component['id']}: {one.component['kind']}, {one.source}, line {one.line}", console)
    stated = [field for field in one.component if field not in ("id", "kind")]
    _print_words("states", stated, console)
    _print_words("not stated", [field.field for field in one.not_stated if field.carried], console)
    _print_words("not stated, no place in the format", _not_carried(one), console)
    for left in one.unmapped:
        say(Text(f"left over: {_left(left)}"), console, 2)
    for note in one.notes:
        say(Text(f"note: {note}"), console, 2)


def _not_carried(one: ImportedComponent) -> list[str]:
    return [field.field for field in one.not_stated if not field.carried]


def _print_words(title: str, words: Sequence[str], console: Console) -> None:
    if words:
        say(Text(f"{title}: {', '.join(words)}"), console, 2)


def _left(one: UnmappedValue) -> str:
    value = f" {one.value}" if one.value else ""
    return f"{one.name}{value}: {one.reason}"


def _fault(one: ImportFault) -> str:
    line = "" if one.line is None else f"line {one.line}"
    place = ", ".join(part for part in (line, "" if one.column is None else f"column {one.column}", one.name) if part)
    return f"{place}: {one.detail}" if place else one.detail
