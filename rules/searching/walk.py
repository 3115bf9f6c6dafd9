"""The walk through an inventory: from each tool toward the spindle, deep before wide, always in the same order.

Whatever can't become a stack that is wanted is given up where that is first known, with its reason and the number of
orders that go with it; so the walk costs what goes together and not what is on the shelf. It begins anew behind any
place, which is all that a page has to remember.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from rules.searching.outline import TOLERANCE_MM, cutting_part_too_wide, too_wide
from rules.searching.plan import Plan
from rules.searching.span import Span, exactly

__all__ = ["CLEARANCE", "NO_HOLDER", "TOO_LONG", "TOO_SHORT", "Path", "Step", "walk"]

Path: TypeAlias = tuple[int, ...]
"""Numbers of the plan's parts from the tool on; a whole stack ends with its holder and the number of its knob, zero
for none."""

TOO_SHORT: Final = "REQ-010"
TOO_LONG: Final = "REQ-020"
CLEARANCE: Final = "REQ-030"
NO_HOLDER: Final = "REQ-040"


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the walk: a stack to judge, or an end given up."""

    path: Path
    code: str | None
    """Why it is given up; None for a stack to judge."""
    orders: int
    """Orders that go with it; one for a stack."""


def walk(plan: Plan, behind: Path = ()) -> Iterator[Step]:
    """Walk through the plan, from its beginning or from behind a step of a walk before."""
    zones = plan.requirement.clearance or ()
    for tool, rest in _numbers(range(plan.first_between), behind):
        path = (tool,)
        code = plan.refusal(tool)
        if code is None and (too_wide(plan.slices[tool], exactly(0.0), zones) or _cuts_too_wide(plan, tool)):
            code = CLEARANCE
        if code is None:
            yield from _above(plan, path, exactly(0.0), rest)
        elif not rest:
            yield Step(path, code, plan.orders_with(path))


def _above(plan: Plan, path: Path, face: Span, behind: Path) -> Iterator[Step]:
    """Walk on from an end; ``face`` bounds how far the tip is from the face of its last part."""
    room = plan.requirement.max_components - len(path)
    cut_orders: dict[int, int] = {}
    for upper, rest in _numbers(range(plan.first_between, len(plan.parts)), behind):
        holder = plan.is_holder(upper)
        if not holder and (room < 2 or path.count(upper) >= plan.parts[upper].quantity):
            continue
        further = (*path, upper)
        code, reached = _refusal(plan, path[-1], upper, face, room)
        if code is not None:
            if not rest:
                left = 0 if holder else plan.parts[upper].quantity - path.count(upper)
                if holder or left not in cut_orders:
                    cut_orders[left] = plan.orders_with(further)
                yield Step(further, code, cut_orders[left])
        elif holder:
            yield from _knobs(plan, further, rest)
        else:
            yield from _above(plan, further, reached, rest)


def _refusal(plan: Plan, lower: int, upper: int, face: Span, room: int) -> tuple[str | None, Span]:
    """Return why an upper part is no way on, and how far the tip then is from its face."""
    code = plan.refusal(upper) or plan.joining(upper, lower).code
    if code is not None:
        return code, face
    beyond = (
        exactly(plan.gauge_mm[upper - plan.first_holder]) if plan.is_holder(upper) else plan.upward[upper][room - 1]
    )
    if beyond is None:
        return NO_HOLDER, face
    projection = plan.projection(upper, lower)
    reached = face + projection
    return _reach(plan, lower, projection, reached + beyond) or _clearance(plan, upper, reached), reached


def _reach(plan: Plan, lower: int, projection: Span, whole: Span) -> str | None:
    wanted = plan.requirement.projection
    if wanted is None:
        return None
    if wanted.measured_from == "last_clamping_face":
        if not plan.is_tool(lower):
            return None
        whole = projection
    if wanted.at_least_mm is not None and whole.most < wanted.at_least_mm - TOLERANCE_MM:
        return TOO_SHORT
    if wanted.at_most_mm is not None and whole.least > wanted.at_most_mm + TOLERANCE_MM:
        return TOO_LONG
    return None


def _clearance(plan: Plan, upper: int, reached: Span) -> str | None:
    zones = plan.requirement.clearance
    return CLEARANCE if zones and too_wide(plan.slices[upper], reached, zones) else None


def _cuts_too_wide(plan: Plan, tool: int) -> bool:
    return cutting_part_too_wide(plan.parts[tool].part, plan.requirement.clearance or ())


def _knobs(plan: Plan, path: Path, behind: Path) -> Iterator[Step]:
    refusals = plan.knob_refusals[path[-1] - plan.first_holder]
    for knob, rest in _numbers(range(len(refusals)), behind):
        if not rest:
            yield Step((*path, knob), refusals[knob], 1)


def _numbers(numbers: Sequence[int], behind: Path) -> Iterator[tuple[int, Path]]:
    """Yield the numbers to walk with what lies behind them of the place to begin behind.

    Numbers before that place were walked; its own is walked on only where the place lies further within.
    """
    if not behind:
        for number in numbers:
            yield number, ()
        return
    first, rest = behind[0], behind[1:]
    for number in numbers:
        if number > first:
            yield number, ()
        elif number == first and rest:
            yield number, rest
