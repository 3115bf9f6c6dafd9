"""An assembled tool, measured as one piece, against the stack that it was built from and the machine's limits."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from rules.analysis import StackAnalysis
from rules.couplings.declared import DECLARED
from rules.couplings.definition import Side
from rules.couplings.designation import Designated, understood
from rules.quantities.missing import Missing, OrMissing
from rules.quantities.rounding import rounded
from rules.schema.build import ReconciledFigure
from rules.schema.components import WITHDRAWN, Cutter
from rules.schema.imports import AssembledTool
from rules.stack.analysis import largest_diameter

__all__ = ["notes_on", "reconciled", "same_spindle_side"]


_DECISIVE: Final = ("coupling", "form", "size")
"""Fields by which two couplings to the spindle differ."""


def reconciled(tool: AssembledTool, derived: StackAnalysis) -> list[ReconciledFigure]:
    """Return each figure of the tool beside that of the stack, and whether it is within the machine's limit.

    What differs is not judged: only the maker of the measurement knows its uncertainty.
    """
    return list(_figures(tool, derived))


def _figures(tool: AssembledTool, derived: StackAnalysis) -> Iterator[ReconciledFigure]:
    chain, tip = derived.chain, derived.geometry.tip
    machine = chain.machine
    longest = None if machine is None else machine.max_tool_length_mm
    widest = None if machine is None else machine.max_tool_diameter_mm
    heaviest = None if machine is None else machine.max_tool_mass_kg
    if tool.functional_length_mm is not None:
        yield _figure("functional_length", "mm", tool.functional_length_mm, tip, longest)
    if tool.protruding_length_mm is not None:
        yield _figure("protruding_length", "mm", tool.protruding_length_mm, tip, longest)
    if tool.cutting_diameter_mm is not None:
        yield _figure("cutting_diameter", "mm", tool.cutting_diameter_mm, _cutting_diameter(derived), widest)
    if tool.body_diameter_max_mm is not None:
        largest = max(tool.body_diameter_max_mm, tool.cutting_diameter_mm or 0.0)
        yield _figure("largest_diameter", "mm", largest, largest_diameter(chain), widest)
    if tool.mass_kg is not None:
        yield _figure("mass", "kg", tool.mass_kg, derived.masses.total, heaviest)


def _figure(
    quantity: Any, unit: str, measured: float, predicted: OrMissing[float], limit: float | None
) -> ReconciledFigure:
    known = None if isinstance(predicted, Missing) else predicted
    return ReconciledFigure(
        quantity=quantity,
        unit=unit,
        measured=rounded(measured, unit),
        predicted=None if known is None else rounded(known, unit),
        difference=None if known is None else rounded(measured - known, unit),
        machine_limit=limit,
        within_machine_limit=None if limit is None else measured <= limit,
        lacks=list(predicted.fields) if isinstance(predicted, Missing) else [],
    )


def _cutting_diameter(derived: StackAnalysis) -> OrMissing[float]:
    members = derived.chain.members
    last = members[-1] if members else None
    if last is None or not isinstance(last.part, Cutter):
        return Missing(("/stack/components/-",))
    diameter = last.part.cutting_diameter_mm
    return Missing((f"{last.at}/cutting_diameter_mm",)) if diameter is None else diameter


def same_spindle_side(tool: AssembledTool, derived: StackAnalysis) -> bool | None:
    """Return whether tool and stack go into the same spindle; None if either is not known well enough."""
    members = derived.chain.members
    if tool.spindle_side is None or not members or members[0].machine_side is None:
        return None
    ends = [_decisive(tool.spindle_side), _decisive(members[0].machine_side)]
    if not all(ends):
        return None
    told = [[one.get(name) for one in ends] for name in _DECISIVE]
    if any(None not in pair and pair[0] != pair[1] for pair in told):
        return False
    return None if any(pair.count(None) == 1 for pair in told) else True


def _decisive(end: Side) -> dict[str, Any]:
    """Return coupling, form and size; empty where nobody can say what the end is."""
    if isinstance(end, Designated):
        meant = understood(end.designation, "spindle")
        fields: dict[str, Any] = {} if meant is None else dict(meant.fields)
    else:
        fields = {} if end.coupling == DECLARED.name else {name: getattr(end, name, None) for name in _DECISIVE}
    return {name: fields[name] for name in _DECISIVE if fields.get(name) is not None}


def notes_on(tool: AssembledTool, derived: StackAnalysis) -> list[str]:
    """Return what forbids using the tool, or shows that it is another one."""
    withdrawn = [one.replace("_", " ") for one in WITHDRAWN if one in (tool.status or ())]
    notes = [f"The assembled tool {tool.id} is marked as {', '.join(withdrawn)}."] if withdrawn else []
    if same_spindle_side(tool, derived) is False:
        notes.append(f"The assembled tool {tool.id} has another coupling to the spindle than the stack.")
    notes += [
        f"The {one.quantity.replace('_', ' ')} of the assembled tool is {one.measured:.10g} {one.unit};"
        f" the machine takes {one.machine_limit:.10g} {one.unit}."
        for one in reconciled(tool, derived)
        if one.within_machine_limit is False
    ]
    return notes
