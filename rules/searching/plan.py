"""The plan of a search: parts by number, what sits in what, and how far each may still reach toward the spindle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from rules.answer.provenance import requested_thresholds
from rules.assess import Assessor
from rules.schema.components import BaseHolder, StackPart
from rules.schema.report import Finding
from rules.schema.search import Projection, Requirement, SearchRequest
from rules.searching.fitting import Fitting, Joining, tries_knobs
from rules.searching.inventory import Inventory, Stocked
from rules.searching.orders import OrderCount
from rules.searching.outline import Slice, slices_of
from rules.searching.span import Span, exactly
from rules.stack.positions import profile_length

__all__ = ["Plan", "may_be_drawn", "plan_of"]


@dataclass(frozen=True, slots=True)
class Plan:
    """Parts by number: tools first, then those between, then holders; each group in the order of its keys."""

    parts: tuple[Stocked, ...]
    first_between: int
    first_holder: int
    knobs: tuple[Stocked, ...]
    requirement: Requirement
    refused: tuple[Finding | None, ...]
    """What refuses a part by itself."""
    joinings: tuple[tuple[Joining, ...], ...]
    """By upper part less the tools, and by lower part less the holders: see `joining`."""
    knob_refusals: tuple[tuple[str | None, ...], ...]
    """By holder: without a knob, then with each; a holder for which no knob is tried has one entry."""
    gauge_mm: tuple[float | None, ...]
    """By holder: from the gauge line to its face."""
    slices: tuple[tuple[Slice, ...], ...]
    upward: tuple[tuple[Span | None, ...], ...]
    """By lower part and room for so many more components: bounds of what comes above its own face in a stack that
    goes together, projections to the gauge line; None where no holder can be reached."""
    orders: OrderCount

    def joining(self, upper: int, lower: int) -> Joining:
        """How a lower part sits in an upper one."""
        return self.joinings[upper - self.first_between][lower]

    def refusal(self, number: int) -> str | None:
        """Code of the rule that refuses a part by itself; None where none does."""
        finding = self.refused[number]
        return None if finding is None else finding.code

    def is_holder(self, number: int) -> bool:
        """Whether a part is a holder, which ends a stack at the spindle."""
        return number >= self.first_holder

    def is_tool(self, number: int) -> bool:
        """Whether a part is a tool, with which a stack begins at the tip."""
        return number < self.first_between

    def projection(self, upper: int, lower: int) -> Span:
        """Bounds of how far the lower part stands out, by the grips that may be chosen."""
        return _span(self.joining(upper, lower), self.requirement, tool=self.is_tool(lower))

    def orders_with(self, path: Sequence[int]) -> int:
        """Orders that have these parts at the end, the tool first; all of their knobs counted."""
        last = path[-1]
        if self.is_holder(last):
            return len(self.knob_refusals[last - self.first_holder])
        used = [number - self.first_between for number in path[1:]]
        return self.orders.above(used, self.requirement.max_components - len(path))

    @property
    def orders_possible(self) -> int:
        """Orders of the whole inventory."""
        return self.first_between * self.orders.above((), self.requirement.max_components - 1)


def plan_of(request: SearchRequest, inventory: Inventory, assessor: Assessor) -> Plan:
    """Judge parts, pairs and knobs of an inventory once.

    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows.
    """
    overrides = requested_thresholds(request.policy, assessor.book)
    fitting = Fitting(assessor, overrides, request.operation, request.machine)
    requirement = request.requirement or Requirement()
    stocked = (*inventory.tools, *inventory.between, *inventory.holders)
    parts = [one.part for one in stocked]
    first_between = len(inventory.tools)
    first_holder = first_between + len(inventory.between)
    refused = fitting.of_parts([one.part.model_copy(update={"id": one.key}) for one in stocked])
    joinings = fitting.of_joints(parts[first_between:], parts[:first_holder])
    gauge = [_gauge_mm(one.part) for one in inventory.holders]
    faces = [None] * first_holder + gauge
    knob_refusals = _knob_refusals(fitting, request, inventory)
    return Plan(
        parts=stocked,
        first_between=first_between,
        first_holder=first_holder,
        knobs=inventory.knobs,
        requirement=requirement,
        refused=tuple(refused),
        joinings=tuple(map(tuple, joinings)),
        knob_refusals=knob_refusals,
        gauge_mm=tuple(gauge),
        slices=tuple(slices_of(part, face) for part, face in zip(parts, faces, strict=True)),
        upward=_upward(joinings, refused, gauge, first_between, requirement),
        orders=OrderCount([one.quantity for one in inventory.between], sum(map(len, knob_refusals))),
    )


def _gauge_mm(holder: StackPart) -> float | None:
    stated = holder.gauge_length_mm if isinstance(holder, BaseHolder) else None
    return profile_length(holder) if stated is None else stated


def _knob_refusals(
    fitting: Fitting, request: SearchRequest, inventory: Inventory
) -> tuple[tuple[str | None, ...], ...]:
    choices: list[list[StackPart | None]] = [
        [None, *(knob.part for knob in inventory.knobs)] if tries_knobs(one.part, request.machine) else [None]
        for one in inventory.holders
    ]
    pairs = [(one.part, knob) for one, knobs in zip(inventory.holders, choices, strict=True) for knob in knobs]
    codes = iter(fitting.of_knobs(pairs))
    return tuple(tuple(next(codes) for _ in knobs) for knobs in choices)


def _span(joining: Joining, requirement: Requirement, *, tool: bool) -> Span:
    near, far = exactly(joining.near_mm), exactly(joining.far_mm)
    if requirement.grip == "shortest":
        return far
    return near | far if requirement.grip == "to_reach" and may_be_drawn(requirement.projection, tool=tool) else near


def may_be_drawn(projection: Projection | None, *, tool: bool) -> bool:
    """Whether the shank of a joint is drawn out where that is needed to reach; of all joints, or the tool's alone."""
    if projection is None or projection.at_least_mm is None:
        return False
    return projection.measured_from == "gauge_line" or tool


def _upward(
    joinings: Sequence[Sequence[Joining]],
    refused: Sequence[Finding | None],
    gauge: Sequence[float | None],
    first_between: int,
    requirement: Requirement,
) -> tuple[tuple[Span | None, ...], ...]:
    first_holder = len(refused) - len(gauge)
    reached: list[list[Span | None]] = [[None] * requirement.max_components for _ in range(first_holder)]
    for room in range(1, requirement.max_components):
        for lower, upper in product(range(first_holder), range(first_between, len(refused))):
            joining = joinings[upper - first_between][lower]
            if joining.code is not None or refused[upper] is not None:
                continue
            beyond = exactly(gauge[upper - first_holder]) if upper >= first_holder else reached[upper][room - 1]
            if beyond is None:
                continue
            here = _span(joining, requirement, tool=lower < first_between) + beyond
            known = reached[lower][room]
            reached[lower][room] = here if known is None else known | here
    return tuple(map(tuple, reached))
