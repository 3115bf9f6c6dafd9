"""The part of the page that is the work instruction: values to set, and the record to fill in and sign."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rules.schema.report import AcceptanceReport, AssemblyReport, AssemblyValue, RecordField
from service.report.page_figures import Fact, bounds, fact
from service.report.page_runout import where_of
from service.report.units import unit_sign

__all__ = ["Blank", "acceptance_facts", "blanks", "signatures", "step_values"]

Blank = tuple[str, str, str, str]
"""What to fill in: name, joint, what is wanted, unit."""

_SIGNED: Final = frozenset({"operator", "date", "signature"})


def step_values(values: Sequence[AssemblyValue]) -> Sequence[Fact]:
    """Tell the numbers of a step."""
    return [Fact(one.name, bounds(one.value, one.at_least, one.at_most, unit_sign(one.unit))) for one in values]


def acceptance_facts(one: AcceptanceReport) -> Sequence[Fact]:
    """Tell where to read and what to expect."""
    face = f"distance from the face of {one.face_of}" if one.face_of else "distance from the last clamping face"
    figures = (
        ("limit", one.limit_um, "µm"),
        (face, one.distance_mm, "mm"),
        ("plane from the gauge line", one.plane_mm, "mm"),
        ("half of such assemblies read less than", one.expected_p50_um, "µm"),
        ("95 % of such assemblies read less than", one.expected_p95_um, "µm"),
    )
    told = [fact(name, value, unit) for name, value, unit in figures if value is not None]
    return [Fact("read at the", where_of(one.limit_at)), *told]


def blanks(assembly: AssemblyReport) -> Sequence[Blank]:
    """List what is filled in while building and measuring."""
    return [_blank(one) for one in assembly.record if one.name not in _SIGNED]


def _blank(one: RecordField) -> Blank:
    sign = unit_sign(one.unit)
    return one.name, one.joint or "", bounds(one.target, one.at_least, one.at_most, sign), sign


def signatures(assembly: AssemblyReport) -> Sequence[str]:
    """List what is filled in at the end."""
    return [one.name for one in assembly.record if one.name in _SIGNED]
