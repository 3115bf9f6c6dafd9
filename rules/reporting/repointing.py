"""Pointers to referenced components, led to where the request defines them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rules.quantities.models import LackingFact
from rules.schema.report import AssemblyStep, Report

__all__ = ["repointed"]


def repointed(report: Report, homes: Mapping[str, str]) -> Report:
    """Return the report with every pointer below a reference led to the definition it names.

    The reference itself keeps its pointer: it says which part of the stack is meant.
    """

    def lead(pointer: str) -> str:
        steps = pointer.split("/", 4)
        home = homes.get("/".join(steps[:4])) if len(steps) > 4 else None
        return pointer if home is None else f"{home}/{steps[4]}"

    def leads(pointers: Sequence[str]) -> list[str]:
        return [lead(pointer) for pointer in pointers]

    def lacks(facts: Sequence[LackingFact]) -> list[LackingFact]:
        return [fact.model_copy(update={"fields": leads(fact.fields)}) for fact in facts]

    def steps(drafts: Sequence[AssemblyStep]) -> list[AssemblyStep]:
        return [one.model_copy(update={"at": leads(one.at), "not_stated": leads(one.not_stated)}) for one in drafts]

    assembly = report.assembly
    if assembly is not None:
        assembly = assembly.model_copy(
            update={"steps": steps(assembly.steps), "disassembly": steps(assembly.disassembly)}
        )
    return report.model_copy(
        update={
            "findings": [one.model_copy(update={"at": leads(one.at)}) for one in report.findings],
            "undecided": [
                one.model_copy(update={"at": leads(one.at), "lacks": lacks(one.lacks)}) for one in report.undecided
            ],
            "runout": report.runout.model_copy(update={"not_stated": lacks(report.runout.not_stated)}),
            "assembly": assembly,
            "grip": [one.model_copy(update={"at": leads(one.at)}) for one in report.grip],
        }
    )
