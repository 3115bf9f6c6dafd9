"""From a walked path to the stack as it would be built: names, grips, and the request of its check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from rules.schema.components import StackEntry
from rules.schema.request import CheckRequest, Joint, Stack
from rules.schema.search import SearchRequest
from rules.searching.fitting import Joining
from rules.searching.grip_range import GripRange, drawn_to
from rules.searching.plan import Plan, may_be_drawn
from rules.searching.walk import Path

__all__ = ["Built", "SetJoint", "build"]

_MOST_NAME = 64


@dataclass(frozen=True, slots=True)
class SetJoint:
    """A gripped shank as it is set."""

    upper: int
    """Place of the upper component in the stack; the lower one follows."""
    grip: GripRange
    set_mm: float


@dataclass(frozen=True, slots=True)
class Built:
    """One stack of the search."""

    keys: tuple[str, ...]
    """From the spindle side, a knob last."""
    names: tuple[str, ...]
    """What the request calls them: a key used again gets a number."""
    joints: tuple[SetJoint, ...]
    check: CheckRequest


def build(plan: Plan, path: Path, request: SearchRequest) -> Built:
    """Set the grips of a whole stack and write the request of its check."""
    numbers, knob = path[-2::-1], path[-1]
    stocked = [plan.parts[number] for number in numbers]
    if knob:
        stocked.append(plan.knobs[knob - 1])
    keys = tuple(one.key for one in stocked)
    names = _names(keys)
    joinings = [plan.joining(upper, lower) for upper, lower in pairwise(numbers)]
    set_to = _grips(plan, joinings, plan.gauge_mm[numbers[0] - plan.first_holder])
    joints = [
        SetJoint(place, joining.grip, length)
        for place, (joining, length) in enumerate(zip(joinings, set_to, strict=True))
        if joining.grip is not None and length is not None
    ]
    components: list[StackEntry] = [
        one.part.model_copy(update={"id": name}) for one, name in zip(stocked, names, strict=True)
    ]
    stack = Stack(
        components=components,
        joints=[Joint(upper=names[one.upper], lower=names[one.upper + 1], grip_length_mm=one.set_mm) for one in joints],
    )
    check = CheckRequest(stack=stack, operation=request.operation, machine=request.machine, policy=request.policy)
    return Built(keys, names, tuple(joints), check)


def _names(keys: Sequence[str]) -> tuple[str, ...]:
    """Number the keys used again, and keep clear of keys that look like such a name."""
    names: list[str] = []
    for key in keys:
        name, number = key, 1
        while name in names or (number > 1 and name in keys):
            number += 1
            ending = f".{number}"
            name = key[: _MOST_NAME - len(ending)] + ending
        names.append(name)
    return tuple(names)


def _grips(plan: Plan, joinings: Sequence[Joining], gauge_mm: float | None) -> list[float | None]:
    """Return the grip length of each joint from the spindle side; None where nothing is gripped."""
    wanted = plan.requirement.projection
    grips = [one.grip for one in joinings]
    if plan.requirement.grip == "shortest":
        return [None if grip is None else grip.shortest_mm for grip in grips]
    longest = [None if grip is None else grip.longest_mm for grip in grips]
    if plan.requirement.grip == "longest" or wanted is None or wanted.at_least_mm is None:
        return longest
    whole = wanted.measured_from == "gauge_line"
    near = [one.near_mm for one in joinings] if whole else [joinings[-1].near_mm]
    known = [length for length in (*near, gauge_mm if whole else 0.0) if length is not None]
    if len(known) != len(near) + 1:
        return longest
    short = wanted.at_least_mm - sum(known)
    set_to = list(longest)
    for place, grip in enumerate(grips):
        if grip is not None and short > 0.0 and may_be_drawn(wanted, tool=place == len(grips) - 1):
            set_mm = drawn_to(grip, short)
            set_to[place] = set_mm
            short -= grip.longest_mm - set_mm
    return set_to
