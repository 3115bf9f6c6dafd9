"""The work instruction on one sheet of A4: drawing, joints, length, cautions, measuring box and record.

It repeats what the report's instruction says, in a table to tick; nothing on it is new.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rules.schema.report import Report
from service.sheets.check import state_of, unnamed
from service.sheets.page import rendered
from service.sheets.setting import shop_floor

if TYPE_CHECKING:
    from rules.analysis import StackAnalysis

__all__ = ["sheet_page"]

_SHORT: Final = 12
"""Characters of a digest that identify a revision for people."""

_NOTHING: Final = "–"


def sheet_page(report: Report, analysis: StackAnalysis) -> str:
    """Return the sheet as a page; the report must hold the work instruction."""
    assembly = report.assembly
    if assembly is None:
        raise ValueError("the sheet is of the work instruction, which this report does not hold")
    machine = analysis.chain.machine
    return rendered(
        "sheet.html",
        **shop_floor(report, analysis, assembly, prefix="sheet-"),
        title=f"{state_of(assembly)}: {unnamed(report)}",
        name=unnamed(report),
        description=analysis.chain.request.stack.description,
        head=[
            ("Revision", assembly.record.instruction_sha256[:_SHORT]),
            ("Machine", _NOTHING if machine is None or machine.id is None else machine.id),
            ("Operation", ", ".join(one.id for one in report.operations) or _NOTHING),
        ],
        base=analysis.chain.members[0].part.id if analysis.chain.members else "",
        digests=[
            ("request", assembly.record.request_sha256[:_SHORT]),
            ("judgement", assembly.record.judgement_sha256[:_SHORT]),
        ],
    )
