"""Plan and walk of a search through an inventory, from each cutting tool toward the spindle.

Orders of parts are counted, not walked. A branch that cannot meet the requirements is ruled out early, with its
reason and the number of orders it contains. The walk can resume anywhere, so a page token holds only its position.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache, reduce
from math import factorial
from operator import or_
from typing import Final, TypeAlias

from rules.answer.provenance import refuse_assumptions, threshold_overrides
from rules.assessor import Assessor
from rules.schema.components import BaseHolder, Cutter, StackPart
from rules.schema.report import Finding
from rules.schema.request import Machine
from rules.schema.search import MAX_SEARCH_LENGTH, ClearanceZone, Projection, Requirement, SearchRequest
from rules.search.fitting import Fit, Fitting, Joining, Joints, tries_knobs
from rules.search.inventory import Inventory, Stocked
from rules.stack.chain import machine_of
from rules.stack.positions import profile_length

__all__ = [
    "CLEARANCE",
    "NO_HOLDER",
    "TOLERANCE_MM",
    "TOO_LONG",
    "TOO_SHORT",
    "UNKNOWN",
    "OrderCount",
    "Path",
    "Plan",
    "Slice",
    "Span",
    "cutting_part_too_wide",
    "exactly",
    "may_be_drawn",
    "plan_of",
    "too_wide",
    "walk",
]


@dataclass(frozen=True, slots=True)
class Span:
    """Bounds of a length, mm."""

    least: float
    most: float

    def __add__(self, other: Span) -> Span:
        """Return the bounds of the sum."""
        return Span(self.least + other.least, self.most + other.most)

    def __or__(self, other: Span) -> Span:
        """Return bounds that contain both."""
        return Span(min(self.least, other.least), max(self.most, other.most))


UNKNOWN: Final = Span(-math.inf, math.inf)


def exactly(length: float | None) -> Span:
    """Return the bounds of a known length, or of an unknown one."""
    return UNKNOWN if length is None else Span(length, length)


TOLERANCE_MM: Final = 1e-6
"""Lengths this close are equal, since sums of decimal fractions are not exact."""


@dataclass(frozen=True, slots=True)
class Slice:
    """Section of an outline, by distance from the workpiece-side face of the part; for a tool, from its tip."""

    from_mm: float
    to_mm: float
    least_radius_mm: float


def slices_of(part: StackPart, face_mm: float | None) -> tuple[Slice, ...]:
    """Return the sections of an outline; none where the outline or its position is unknown.

    ``face_mm`` is the distance from the gauge line, where the outline of a base holder begins, to its face.
    """
    profile = part.profile or ()
    if isinstance(part, BaseHolder):
        if face_mm is None:
            return ()
        end = face_mm
    else:
        end = sum(piece.length_mm for piece in profile)
    slices = []
    for piece in profile:
        radius = min(piece.outer_mm, piece.outer_end_mm or piece.outer_mm) / 2.0
        slices.append(Slice(end - piece.length_mm, end, radius))
        end -= piece.length_mm
    return tuple(slices)


def too_wide(slices: Sequence[Slice], face: Span, zones: Sequence[ClearanceZone]) -> bool:
    """Whether a section is wider than a zone allows and inside it for every possible distance of the face."""
    return any(
        piece.least_radius_mm > zone.radius_mm + TOLERANCE_MM
        and piece.from_mm + face.most < zone.to_mm - TOLERANCE_MM
        and piece.to_mm + face.least > zone.from_mm + TOLERANCE_MM
        for piece in slices
        for zone in zones
    )


def cutting_part_too_wide(tool: StackPart, zones: Sequence[ClearanceZone]) -> bool:
    """Whether the cutting diameter is wider than a zone allows, over the flutes or at least at the tip."""
    if not isinstance(tool, Cutter) or tool.cutting_diameter_mm is None:
        return False
    radius, length = tool.cutting_diameter_mm / 2.0, tool.flute_length_mm or 0.0
    return any(
        radius > zone.radius_mm + TOLERANCE_MM and (zone.from_mm == 0.0 or zone.from_mm < length - TOLERANCE_MM)
        for zone in zones
    )


@lru_cache(maxsize=4096)
def arrangements(quantities: tuple[tuple[int, int], ...], places: int) -> int:
    """Return the number of ordered selections of parts for a number of places, with limited quantities.

    ``quantities`` pairs a quantity with the number of different parts that have it. The exponential generating function
    of one part of quantity q is Σ xᵗ/t!, t = 0 … q; the result is places! times the coefficient in their product
    (Stanley, Enumerative Combinatorics, chapter 5, from memory).

    >>> arrangements(((1, 3),), 2), arrangements(((2, 1),), 2), arrangements(((2, 1),), 3)
    (6, 1, 0)
    """

    def product(one: Sequence[Fraction], other: Sequence[Fraction]) -> list[Fraction]:
        return [sum((one[k] * other[n - k] for k in range(n + 1)), Fraction(0)) for n in range(places + 1)]

    whole = [Fraction(1)] + [Fraction(0)] * places
    for quantity, count in quantities:
        power = [Fraction(1, factorial(t)) if t <= quantity else Fraction(0) for t in range(places + 1)]
        for bit in reversed(f"{count:b}"):
            if bit == "1":
                whole = product(whole, power)
            power = product(power, power)
    return int(whole[places] * factorial(places))


class OrderCount:
    """Counts the sequences of parts in an inventory, from quantities of intermediate parts and number of holders."""

    def __init__(self, quantities: Sequence[int], endings: int) -> None:
        # more pieces than places make no difference
        self._pieces = tuple([min(quantity, MAX_SEARCH_LENGTH) for quantity in quantities])
        self._all = Counter(self._pieces)
        self._endings = endings

    def above(self, used: Sequence[int], room: int) -> int:
        """Return the number of sequences that continue a path by at most ``room`` components, the holder included.

        ``used`` are the intermediate parts already in the path, by index in the quantities.
        """
        if room < 1:
            return 0
        left = Counter(self._all)
        for place, count in Counter(used).items():
            left[self._pieces[place]] -= 1
            left[self._pieces[place] - count] += 1
        kinds = tuple(sorted((quantity, count) for quantity, count in left.items() if count and quantity))
        return self._endings * sum(arrangements(kinds, places) for places in range(room))


@dataclass(frozen=True, slots=True)
class Uppers:
    """The upper parts by whether a lower one fits in them, and they themselves pass."""

    fitting: tuple[int, ...]
    """Numbers of those that fit, rising."""
    holders: Mapping[str, int]
    """Of the others, the number of holders by the reason, each counted with every knob."""
    between: Mapping[tuple[str, int], Sequence[int]]
    """Of the others, the intermediate parts by reason and number of pieces."""


@dataclass(frozen=True, slots=True)
class Plan:
    """Parts by number: tools, then intermediate parts, then holders; each group in the order of its keys."""

    parts: tuple[Stocked, ...]
    first_between: int
    first_holder: int
    knobs: tuple[Stocked, ...]
    requirement: Requirement
    refused: tuple[Finding | None, ...]
    """By part: the finding that rejects it by itself."""
    joints: Joints
    """Of the upper parts (without tools) and the lower ones (without holders); see `joining`."""
    uppers: tuple[Uppers, ...]
    """By the end of a lower part."""
    knob_refusals: tuple[tuple[str | None, ...], ...]
    """By holder: without a knob, then with each knob; one entry for a holder tried without knobs."""
    gauge_mm: tuple[float | None, ...]
    """By holder: distance from the gauge line to its face, mm."""
    slices: tuple[tuple[Slice, ...], ...]
    upward: tuple[tuple[Span | None, ...], ...]
    """By lower part and number of further components: bounds of the distance from its face to the gauge line, over all
    sequences that fit; None where none reaches a holder."""
    orders: OrderCount

    def fit(self, upper: int, lower: int) -> Fit:
        """Return the fit of a lower part in an upper one."""
        return self.joints.fit(self.joints.above[upper - self.first_between], self.joints.below[lower])

    def joining(self, upper: int, lower: int) -> Joining:
        """Return the lengths of a lower part in an upper one."""
        return self.joints.joining(upper - self.first_between, lower)

    def uppers_of(self, lower: int) -> Uppers:
        """Return the upper parts of a lower one, by whether they fit."""
        return self.uppers[self.joints.below[lower]]

    def refusal(self, number: int) -> str | None:
        """Return the code of the rule that rejects a part by itself; None if no rule does."""
        finding = self.refused[number]
        return None if finding is None else finding.code

    def is_holder(self, number: int) -> bool:
        """Whether a part is a holder, the last part of a path."""
        return number >= self.first_holder

    def is_tool(self, number: int) -> bool:
        """Whether a part is a tool, the first part of a path."""
        return number < self.first_between

    def projection(self, upper: int, lower: int) -> Span:
        """Return the bounds of the projection of a lower part, over the grip lengths that may be chosen."""
        return _span(self.joining(upper, lower), self.requirement, tool=self.is_tool(lower))

    def orders_with(self, path: Sequence[int]) -> int:
        """Return the number of stacks that start from this path; each possible knob makes one more."""
        last = path[-1]
        if self.is_holder(last):
            return len(self.knob_refusals[last - self.first_holder])
        used = [number - self.first_between for number in path[1:]]
        return self.orders.above(used, self.requirement.max_components - len(path))

    def orders_refused(self, path: Sequence[int]) -> dict[str, int]:
        """Return the number of stacks that continue this path with an upper part that does not fit, by the reason."""
        refused = self.uppers_of(path[-1])
        orders = Counter(refused.holders)
        if self.requirement.max_components - len(path) < 2:
            return orders
        in_path: Counter[tuple[str, int]] = Counter()
        for used in set(path[1:]):
            code = self.refusal(used) or self.fit(used, path[-1]).code
            if code is not None:
                in_path[code, _pieces(self.parts[used])] += 1
                if path.count(used) < self.parts[used].quantity:
                    orders[code] += self.orders_with((*path, used))
        for (code, pieces), parts in refused.between.items():
            fresh = next((number for number in parts if number not in path), None)
            if fresh is not None:
                orders[code] += (len(parts) - in_path[code, pieces]) * self.orders_with((*path, fresh))
        return orders

    @property
    def orders_possible(self) -> int:
        """Return the number of sequences of the whole inventory."""
        return self.first_between * self.orders.above((), self.requirement.max_components - 1)


def plan_of(request: SearchRequest, inventory: Inventory, assessor: Assessor) -> Plan:
    """Return the plan of a search, with parts, pairs and knobs judged once.

    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows.
    """
    refuse_assumptions(request.policy, "a search")
    overrides = threshold_overrides(request.policy, assessor.book)
    machine = machine_of(request.machine, assessor.catalogue.definitions)
    fitting = Fitting(assessor, overrides, request.operations or (), machine)
    requirement = request.requirement or Requirement()
    stocked = (*inventory.tools, *inventory.between, *inventory.holders)
    parts = [one.part for one in stocked]
    first_between = len(inventory.tools)
    first_holder = first_between + len(inventory.between)
    refused = fitting.of_parts([one.part.model_copy(update={"id": one.key}) for one in stocked])
    joints = fitting.of_joints(parts[first_between:], parts[:first_holder])
    gauge = [_gauge_mm(one.part) for one in inventory.holders]
    faces = [None] * first_holder + gauge
    knob_refusals = _knob_refusals(fitting, machine, inventory)
    uppers = _uppers(joints, stocked, refused, first_between, knob_refusals)
    return Plan(
        parts=stocked,
        first_between=first_between,
        first_holder=first_holder,
        knobs=inventory.knobs,
        requirement=requirement,
        refused=tuple(refused),
        joints=joints,
        uppers=uppers,
        knob_refusals=knob_refusals,
        gauge_mm=tuple(gauge),
        slices=tuple(slices_of(part, face) for part, face in zip(parts, faces, strict=True)),
        upward=_upward(joints, refused, gauge, first_between, requirement),
        orders=OrderCount([one.quantity for one in inventory.between], sum(map(len, knob_refusals))),
    )


def _gauge_mm(holder: StackPart) -> float | None:
    stated = holder.gauge_length_mm if isinstance(holder, BaseHolder) else None
    return profile_length(holder) if stated is None else stated


def _knob_refusals(
    fitting: Fitting, machine: Machine | None, inventory: Inventory
) -> tuple[tuple[str | None, ...], ...]:
    choices: list[list[StackPart | None]] = [
        [None, *(knob.part for knob in inventory.knobs)] if tries_knobs(one.part, machine) else [None]
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
    """Whether a shank may be pulled out to reach: in any joint, or in the joint of the tool only."""
    if projection is None or projection.at_least_mm is None:
        return False
    return projection.datum == "gauge_line" or tool


def _pieces(part: Stocked) -> int:
    """Return the quantity of a part as far as one stack can use it."""
    return min(part.quantity, MAX_SEARCH_LENGTH)


def _uppers(
    joints: Joints,
    parts: Sequence[Stocked],
    refused: Sequence[Finding | None],
    first_between: int,
    knob_refusals: Sequence[Sequence[str | None]],
) -> tuple[Uppers, ...]:
    first_holder = len(parts) - len(knob_refusals)
    alike: dict[tuple[int, str | None, int], list[int]] = {}
    for number in range(first_between, len(parts)):
        finding = refused[number]
        pieces = 0 if number >= first_holder else _pieces(parts[number])
        code = None if finding is None else finding.code
        alike.setdefault((joints.above[number - first_between], code, pieces), []).append(number)
    found = []
    for lower_end in range(max(joints.below, default=-1) + 1):
        fitting: list[int] = []
        holders: Counter[str] = Counter()
        between: dict[tuple[str, int], list[int]] = {}
        for (upper_end, own_code, pieces), numbers in alike.items():
            code = own_code or joints.fit(upper_end, lower_end).code
            if code is None:
                fitting += numbers
            elif pieces:
                between.setdefault((code, pieces), []).extend(numbers)
            else:
                holders[code] += sum(len(knob_refusals[number - first_holder]) for number in numbers)
        found.append(Uppers(tuple(sorted(fitting)), holders, between))
    return tuple(found)


def _upward(
    joints: Joints,
    refused: Sequence[Finding | None],
    gauge: Sequence[float | None],
    first_between: int,
    requirement: Requirement,
) -> tuple[tuple[Span | None, ...], ...]:
    """Return the bounds by lower part; those of equal ends have the same."""
    first_holder = len(refused) - len(gauge)
    alike: dict[int, list[int]] = {}
    for upper in range(first_between, len(refused)):
        if refused[upper] is None:
            alike.setdefault(joints.above[upper - first_between], []).append(upper)
    kinds = [(end, lower < first_between) for lower, end in enumerate(joints.below)]
    shown = {kind: lower for lower, kind in reversed(list(enumerate(kinds)))}
    reached: dict[tuple[int, bool], list[Span | None]] = {kind: [None] * requirement.max_components for kind in kinds}
    for room in range(1, requirement.max_components):
        beyond: dict[int, Span | None] = {
            end: _either(
                exactly(gauge[upper - first_holder]) if upper >= first_holder else reached[kinds[upper]][room - 1]
                for upper in uppers
            )
            for end, uppers in alike.items()
        }
        for kind, lower in shown.items():
            spans: list[Span] = []
            for end, uppers in alike.items():
                if (further := beyond[end]) is not None and joints.fit(end, kind[0]).code is None:
                    joining = joints.joining(uppers[0] - first_between, lower)
                    spans.append(_span(joining, requirement, tool=kind[1]) + further)
            reached[kind][room] = _either(spans)
    return tuple(tuple(reached[kind]) for kind in kinds)


def _either(spans: Iterable[Span | None]) -> Span | None:
    known = [one for one in spans if one is not None]
    return reduce(or_, known) if known else None


Path: TypeAlias = tuple[int, ...]
"""Numbers of parts from the tool upwards; a complete stack ends with its holder and the number of its knob, 0 for
none."""

TOO_SHORT: Final = "REQ-010"
TOO_LONG: Final = "REQ-020"
CLEARANCE: Final = "REQ-030"
NO_HOLDER: Final = "REQ-040"


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the walk: a stack to judge, or a branch ruled out."""

    path: Path
    cut: Mapping[str, int]
    """Sequences ruled out, by the reason; empty for a stack to judge."""


def walk(plan: Plan, behind: Path = ()) -> Iterator[Step]:
    """Walk through the plan, from its beginning or after the path of an earlier step."""
    zones = plan.requirement.clearance or ()
    for tool, rest in _numbers(range(plan.first_between), behind):
        path = (tool,)
        code = plan.refusal(tool)
        if code is None and (too_wide(plan.slices[tool], exactly(0.0), zones) or _cuts_too_wide(plan, tool)):
            code = CLEARANCE
        if code is None:
            yield from _above(plan, path, exactly(0.0), rest)
        elif not rest:
            yield Step(path, {code: plan.orders_with(path)})


def _above(plan: Plan, path: Path, face: Span, behind: Path) -> Iterator[Step]:
    """Walk through the continuations of a path; ``face`` bounds the distance of the tip from its last face.

    The first step is for all parts that do not fit, under the number 0, which no upper part has.
    """
    room = plan.requirement.max_components - len(path)
    if not behind and (refused := plan.orders_refused(path)):
        yield Step((*path, 0), refused)
    for upper, rest in _numbers(plan.uppers_of(path[-1]).fitting, behind):
        holder = plan.is_holder(upper)
        if not holder and (room < 2 or path.count(upper) >= plan.parts[upper].quantity):
            continue
        further = (*path, upper)
        code, reached = _refusal(plan, path[-1], upper, face, room)
        if code is not None:
            if not rest:
                yield Step(further, {code: plan.orders_with(further)})
        elif holder:
            yield from _knobs(plan, further, rest)
        else:
            yield from _above(plan, further, reached, rest)


def _refusal(plan: Plan, lower: int, upper: int, face: Span, room: int) -> tuple[str | None, Span]:
    """Return the reason against an upper part that fits, or None, and the distance of the tip from its face."""
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
    if wanted.datum == "last_clamping_face":
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
            code = refusals[knob]
            yield Step((*path, knob), {} if code is None else {code: 1})


def _numbers(numbers: Sequence[int], behind: Path) -> Iterator[tuple[int, Path]]:
    """Yield the part numbers still to walk, each with the rest of the path to resume after.

    Numbers before that of ``behind`` are done; its own number only needs a walk where the path is longer.
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
