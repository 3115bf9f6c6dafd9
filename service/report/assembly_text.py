"""The work instruction as plain text: steps to tick off, acceptance, record to sign, disassembly."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from rules.schema.report import AcceptanceReport, AssemblyReport, AssemblyStep, RecordField
from service.report.layout import STYLES, heading, number, say, section
from service.report.units import unit_sign

__all__ = ["print_assembly"]


def print_assembly(assembly: AssemblyReport, console: Console) -> None:
    """Print the steps, when to accept, the record and how to take apart, in this order."""
    title = "Assembly" if assembly.buildable else "Assembly, which cannot be finished as the stack stands"
    _steps(title, assembly.steps, console)
    section("Acceptance", _acceptance(assembly.acceptance), console)
    section("Record", [_blank(one) for one in assembly.record], console)
    _steps("Disassembly", assembly.disassembly, console)


def _steps(title: str, steps: Sequence[AssemblyStep], console: Console) -> None:
    if steps:
        heading(title, console)
    for step in steps:
        style = STYLES["error"] if step.action == "stop" else "bold"
        where = f" {step.joint}" if step.joint else ""
        say(Text.assemble(f"{step.number:2}  ", (f"{step.action}{where}", style), f": {step.text}"), console, 2)
        for caution in step.caution:
            say(Text(f"Caution: {caution}", style=STYLES["warning"]), console, 6)
        if step.from_maker:
            say(Text(f"By the maker: {', '.join(step.from_maker)}."), console, 6)
        if step.not_stated:
            say(Text(f"Not stated: {', '.join(step.not_stated)}"), console, 6)


def _acceptance(one: AcceptanceReport) -> list[str]:
    lines = [one.rule]
    if one.expected_p50_um is not None and one.expected_p95_um is not None:
        expected = f"{number(one.expected_p50_um)} µm, 95 % less than {number(one.expected_p95_um)} µm"
        lines.append(f"Half of such assemblies read less than {expected}.")
    return lines


def _blank(one: RecordField) -> str:
    joint = "" if one.joint is None else f" {one.joint}"
    unit = "" if one.unit is None else f" {unit_sign(one.unit)}"
    wanted = [
        f"{words}{number(value)}"
        for words, value in (("", one.target), ("at least ", one.at_least), ("at most ", one.at_most))
        if value is not None
    ]
    told = f" ({', '.join(wanted)})" if wanted else ""
    return f"{one.name}{joint}{told}: ________{unit}"
