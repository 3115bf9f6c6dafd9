"""Fit of the parts of an inventory: single parts, pairs and retention knobs, judged by the rules of a check."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, NamedTuple, TypeAlias

from rules.analysis import component_facts, joint_facts, stack_fact
from rules.answer.findings import finding
from rules.assessor import Assessor
from rules.couplings.sides import COUPLINGS
from rules.couplings.steep_taper import takes_knob
from rules.couplings.straight_shank import Bore, ColletBore, clamp_of, usual_shank_length
from rules.cutting.analysis import programmed_speed_of
from rules.grip.analysis import stated_minimum_grip
from rules.grip.fits import shank_of
from rules.quantities.missing import value_or
from rules.quantities.models import MIN_LENGTH_MM
from rules.quantities.work_limit import charge
from rules.rulebook.book import Fired, Overrides, threshold_in_force
from rules.rulebook.fact import Fact
from rules.schema.components import BaseHolder, Collet, GaugePin, StackPart
from rules.schema.report import Finding
from rules.schema.request import Joint, Machine, Operation, Stack, StackRequest
from rules.stack.chain import Chain, StackJoint, chain_of
from rules.stack.mass import masses_of
from rules.stack.positions import positions_on_axis, profile_length

__all__ = [
    "BY_GRIP",
    "BY_JOINT",
    "BY_KNOB",
    "BY_PART",
    "Fit",
    "Fitting",
    "GripRange",
    "Joining",
    "Joints",
    "drawn_to",
    "tries_knobs",
]


_STEP_PER_MM = 10_000.0
"""Grip lengths are set to 0.0001 mm, the resolution of lengths in the report."""


@dataclass(frozen=True, slots=True)
class GripRange:
    """Range of grip lengths of a joint, mm; both ends are equal where there is no choice."""

    longest_mm: float
    shortest_mm: float


def grip_range_of(case: StackJoint, usual_share: float | None) -> GripRange | None:
    """Return the range for a joint without a stated grip length; None where nothing is gripped or no length is stated.

    The longest grip is limited by bore depth and shank length. The shortest is the stated minimum, else the usual one:
    ``usual_share`` of the length of a collet; for a bore, the shank length of DIN 6535. If that exceeds the longest
    grip, the shank is inserted fully and the rules reject the joint.
    """
    side, shank = clamp_of(case.upper_side), shank_of(case)
    if shank is None or side is None or case.joint_class != "grip":
        return None
    overall = getattr(case.lower.part, "overall_length_mm", None) or profile_length(case.lower.part)
    shank_length = shank.length_mm
    if shank_length is None and isinstance(case.lower.part, GaugePin):
        shank_length = overall
    usual = _usual(side, shank.diameter_mm, usual_share)
    room = [length for length in (side.depth_mm, shank_length) if length is not None]
    if not room:
        clamp = side.length_mm if isinstance(side, ColletBore) else usual
        if clamp is None:
            return None
        room = [clamp]
    longest = min([*room, *([overall] if overall else [])])
    shortest = stated_minimum_grip(case) or usual
    return GripRange(longest, longest if shortest is None else min(longest, max(shortest, MIN_LENGTH_MM)))


def _usual(side: Bore | ColletBore, diameter: float | None, usual_share: float | None) -> float | None:
    if isinstance(side, ColletBore):
        if side.length_mm is None or usual_share is None:
            return side.length_mm
        # round up, so that rounding cannot violate the share
        return math.ceil(usual_share * side.length_mm * _STEP_PER_MM) / _STEP_PER_MM
    return None if diameter is None else usual_shank_length(diameter)


def drawn_to(grip: GripRange, out_mm: float) -> float:
    """Return the grip length after pulling the shank out from the longest grip, at least the shortest grip.

    >>> drawn_to(GripRange(34.0, 20.0), 3.00004), drawn_to(GripRange(34.0, 20.0), 50.0)
    (30.9999, 20.0)
    """
    if out_mm <= 0.0:
        return grip.longest_mm
    # round down, so that rounding cannot violate the reach
    return max(grip.shortest_mm, math.floor((grip.longest_mm - out_mm) * _STEP_PER_MM + 1e-6) / _STEP_PER_MM)


BY_PART: Final = frozenset(
    {
        "component_kind",
        "spindle_speed_rpm",
        "component_max_speed_rpm",
        "peripheral_speed_m_per_min",
        "max_cutting_speed_m_per_min",
        "passes_coolant",
        "clamping_span_mm",
        "collet_largest_mm",
        "series_capacity_mm",
        "tolerance_span_um",
        "runout_distance_mm",
        "angle_without_measurement",
        "tilt_beside_two_readings",
        "withdrawn_as",
        "stated_length_mm",
        "outline_length_mm",
        "outline_mismatch_mm",
        "thinnest_wall_mm",
    }
)
"""Properties of a component that follow from itself and the operation. A speed that depends on another part is missing
for a single part, and decides nothing."""

BY_JOINT: Final = frozenset(
    {
        "upper_coupling",
        "lower_coupling",
        "mates",
        "spindle_mates",
        "bore_diameter_mm",
        "shank_diameter_mm",
        "clearance_min_um",
        "clearance_max_um",
        "shrink_interference_min_um",
        "shank_lower_um",
        "h6_lower_um",
        "flatted_in_round_clamp",
        "minimum_grip_mm",
        "collet_length_mm",
        "standard_shank_mm",
        "bore_depth_mm",
        "shank_length_mm",
    }
).union(*(one.property_names for one in COUPLINGS.values()))
"""Properties of a joint that depend on its two parts only."""

BY_GRIP: Final = frozenset({"grip_length_mm", "grip_to_collet_length", "grip_to_standard_shank"})
"""Further properties of a joint whose grip length is fixed."""

BY_KNOB: Final = frozenset(
    {
        "knob_lacking",
        "knob_form",
        "drawbar_form",
        "knob_angle_deg",
        "drawbar_angle_deg",
        "knob_thread",
        "taper_thread",
    }
)
"""Properties of a stack that depend on holder, retention knob and machine only."""


def refuses(fired: Fired, settled_by: frozenset[str]) -> bool:
    """Whether a finding is an error of a rule that reads only these properties."""
    rule = fired.rule
    return fired.severity == "error" and not rule.asks_others and settled_by.issuperset(rule.reads)


_SHARE: Final = ("GRIP-020", "least_share")
"""Rule and threshold of the usual grip length in a collet, as a share of its length."""

_MOST_FACTS: Final = 4000
"""Facts judged in one call."""

_WORK_OF_PAIR: Final = 15_000
"""Steps of work to see whether two parts fit, some 0.15 ms."""

_WORK_OF_PART: Final = 30_000
"""Steps of work to judge a part alone, in one operation."""

Signature: TypeAlias = tuple[Any, ...]
"""All properties of a joint that come from one of its parts."""


@dataclass(frozen=True, slots=True)
class Joining:
    """Lengths of one part in another."""

    grip: GripRange | None
    near_mm: float | None
    """Projection at the longest grip; None where unknown."""
    far_mm: float | None
    """Projection at the shortest grip."""


def tries_knobs(part: StackPart, machine: Machine | None) -> bool:
    """Whether retention knobs are tried: the machine states the knob for its drawbar, and the holder takes one."""
    side = part.machine_side if isinstance(part, BaseHolder) else None
    demanded = machine is not None and machine.retention_knob is not None
    return demanded and takes_knob(side) is True


class Fitting:
    """Judges single parts, pairs and knobs, with the rulebooks and thresholds of one search."""

    def __init__(
        self, assessor: Assessor, overrides: Overrides, operations: Sequence[Operation], machine: Machine | None
    ) -> None:
        self._engine = assessor.engine
        self._overrides = overrides
        self._operations: Sequence[Operation | None] = operations or (None,)
        self._machine = machine
        self._usual_share = threshold_in_force(assessor.book, overrides, *_SHARE)

    def of_parts(self, parts: Sequence[StackPart]) -> list[Finding | None]:
        """Return for each part the finding that rejects it by itself; for a holder, also in the machine's spindle."""
        charge(_WORK_OF_PART * len(parts) * len(self._operations))
        facts: list[Fact] = []
        for number, part in enumerate(parts):
            for order, operation in enumerate(self._operations):
                chain = self._chain([part], operation)
                geometry = positions_on_axis(chain)
                speed = programmed_speed_of(chain)
                found = component_facts(chain, geometry, masses_of(chain, geometry), speed)
                if isinstance(part, BaseHolder):
                    found += joint_facts(chain, (), speed)
                facts.extend(_keyed(found, f"{number}:{order}"))
        words = self._engine.book.vocabulary
        refused = self._refusals(facts, len(parts), BY_PART | BY_JOINT)
        return [None if one is None else finding(one, words.of(one.fact.kind)) for one in refused]

    def of_knobs(self, pairs: Sequence[tuple[StackPart, StackPart | None]]) -> list[str | None]:
        """Return the rule that rejects each holder with each knob, and without one."""
        facts: list[Fact] = []
        for number, (holder, knob) in enumerate(pairs):
            chain = self._chain([holder] if knob is None else [holder, knob])
            geometry = positions_on_axis(chain)
            facts.extend(_keyed([stack_fact(chain, geometry, masses_of(chain, geometry))], str(number)))
        return [_code(one) for one in self._refusals(facts, len(pairs), BY_KNOB)]

    def of_joints(self, uppers: Sequence[StackPart], lowers: Sequence[StackPart]) -> Joints:
        """Return the fit of each lower part in each upper part."""
        above, some_uppers = _numbered(uppers, _as_upper)
        below, some_lowers = _numbered(lowers, _as_lower)
        ends, _ = _numbered(some_lowers, _as_end)
        shown: dict[int, int] = {}
        for lower, end in enumerate(ends):
            shown.setdefault(end, lower)
        fits: dict[tuple[int, int], Fit] = {}

        def judge(pairs: Sequence[tuple[int, int]]) -> None:
            judged = self._fits([(some_uppers[upper], some_lowers[lower]) for upper, lower in pairs])
            fits.update(zip(pairs, judged, strict=True))

        charge(_WORK_OF_PAIR * len(some_uppers) * len(shown))
        judge([(upper, lower) for upper in range(len(some_uppers)) for lower in shown.values()])
        rest = [
            (upper, lower)
            for lower, end in enumerate(ends)
            for upper in range(len(some_uppers))
            if lower != shown[end] and not fits[upper, shown[end]].by_ends
        ]
        charge(_WORK_OF_PAIR * len(rest))
        judge(rest)
        return Joints(above, below, some_uppers, some_lowers, fits, [shown[end] for end in ends], self._usual_share)

    def _fits(self, pairs: Sequence[tuple[StackPart, StackPart]]) -> list[Fit]:
        facts: list[Fact] = []
        kinds: list[tuple[bool, frozenset[str]]] = []
        for number, (upper, lower) in enumerate(pairs):
            one, other = _renamed(upper, "upper"), _renamed(lower, "lower")
            chain = _pair(one, other, None)
            (case,) = chain.joints
            grip = grip_range_of(case, self._usual_share)
            if grip is not None:
                chain = _pair(one, other, grip.longest_mm)
            facts.extend(_keyed(joint_facts(chain, (), None), str(number)))
            choice = grip is not None and grip.longest_mm > grip.shortest_mm
            kinds.append((case.mated is not False, BY_JOINT if choice else BY_JOINT | BY_GRIP))
        found = []
        for errors, (mates, settled) in zip(self._errors(facts, len(pairs)), kinds, strict=True):
            by_ends = _code(_first(errors, BY_JOINT))
            found.append(Fit(by_ends or _code(_first(errors, settled)), mates, by_ends=by_ends is not None))
        return found

    def _refusals(self, facts: Sequence[Fact], count: int, settled: frozenset[str]) -> list[Fired | None]:
        return [_first(one, settled) for one in self._errors(facts, count)]

    def _errors(self, facts: Sequence[Fact], count: int) -> list[list[Fired]]:
        """Return the findings of each subject, in the order of their codes."""
        found: list[list[Fired]] = [[] for _ in range(count)]
        for start in range(0, len(facts), _MOST_FACTS):
            for fired in self._engine.judge(facts[start : start + _MOST_FACTS], self._overrides).fired:
                found[int(fired.fact.key.partition(":")[0])].append(fired)
        return found

    def _chain(self, parts: Sequence[StackPart], operation: Operation | None = None) -> Chain:
        return chain_of(StackRequest(stack=Stack(components=list(parts)), machine=self._machine), operation)


class Fit(NamedTuple):
    """Fit of one part in another, whatever else is in the stack."""

    code: str | None
    """Rule that rejects the joint; None if no rule does."""
    mates: bool
    """Whether the kinds of the two ends mate, or one of them is not stated."""
    by_ends: bool
    """Whether the ends alone are rejected, whatever the lengths of the parts."""


class Joints:
    """Fit of each lower part in each upper one, by their places in the lists given.

    Pairs of equal ends are judged once. What the ends rule out is not judged again for other lengths of the lower part.
    Grip and projection are found when asked for: most of millions of pairs are ruled out.
    """

    def __init__(
        self,
        above: Sequence[int],
        below: Sequence[int],
        uppers: Sequence[StackPart],
        lowers: Sequence[StackPart],
        fits: Mapping[tuple[int, int], Fit],
        shown: Sequence[int],
        usual_share: float | None,
    ) -> None:
        self.above, self.below = above, below
        """The number of the end of each part; parts of equal numbers fit alike."""
        self._uppers, self._lowers, self._fits, self._usual_share = uppers, lowers, fits, usual_share
        self._shown = shown
        """The number of the lower part that was judged for all of its end."""
        self._known: dict[tuple[int, int], Joining] = {}

    def fit(self, upper_end: int, lower_end: int) -> Fit:
        """Return the fit of two ends."""
        known = self._fits.get((upper_end, lower_end))
        return self._fits[upper_end, self._shown[lower_end]] if known is None else known

    def joining(self, upper: int, lower: int) -> Joining:
        """Return the lengths of a lower part in an upper one."""
        pair = self.above[upper], self.below[lower]
        known = self._known.get(pair)
        if known is None:
            known = self._known[pair] = self._measured(*pair)
        return known

    def _measured(self, upper: int, lower: int) -> Joining:
        one, other = _renamed(self._uppers[upper], "upper"), _renamed(self._lowers[lower], "lower")
        near = far = _pair(one, other, None)
        grip = grip_range_of(near.joints[0], self._usual_share)
        if grip is not None:
            near, far = (_pair(one, other, length) for length in (grip.longest_mm, grip.shortest_mm))
        return Joining(grip, _projection(near), _projection(far))


def _first(errors: Iterable[Fired], settled_by: frozenset[str]) -> Fired | None:
    """Return the first finding that rejects a subject whatever the rest of the stack is."""
    return next((one for one in errors if refuses(one, settled_by)), None)


def _pair(upper: StackPart, lower: StackPart, grip_mm: float | None) -> Chain:
    joints = None if grip_mm is None else [Joint(upper=upper.id, lower=lower.id, grip_length_mm=grip_mm)]
    return chain_of(StackRequest(stack=Stack(components=[upper, lower], joints=joints)))


def _code(fired: Fired | None) -> str | None:
    return None if fired is None else fired.rule.code


def _keyed(facts: Iterable[Fact], number: str) -> Iterable[Fact]:
    """Return facts with keys that are unique across many subjects: the number of the subject first."""
    return [replace(fact, key=f"{number}:{fact.key}") for fact in facts]


def _renamed(part: StackPart, name: str) -> StackPart:
    return part.model_copy(update={"id": name})


def _projection(chain: Chain) -> float | None:
    return value_or(positions_on_axis(chain).projections[0], None)


def _as_upper(part: StackPart) -> Signature:
    collet = part if isinstance(part, Collet) else None
    return getattr(part, "workpiece_side", None), collet is not None, collet and collet.machine_side


def _as_lower(part: StackPart) -> Signature:
    return (
        getattr(part, "machine_side", None),
        isinstance(part, GaugePin),
        isinstance(part, Collet),
        sum(piece.length_mm for piece in part.profile) if part.profile else None,
        *(getattr(part, name, None) for name in ("overall_length_mm", "gauge_length_mm", "face_projection_mm")),
    )


def _as_end(part: StackPart) -> Signature:
    """Return what decides by the end of a lower part alone; a gauge pin may be gripped over its whole length."""
    return _as_lower(part) if isinstance(part, GaugePin) else _as_lower(part)[:3]


def _numbered(
    parts: Sequence[StackPart], signature_of: Callable[[StackPart], Signature]
) -> tuple[list[int], list[StackPart]]:
    """Number the signatures of parts in order of first appearance; return the number of each, and a part of each."""
    known: dict[Signature, int] = {}
    firsts: list[StackPart] = []
    numbers = []
    for part in parts:
        number = known.setdefault(signature_of(part), len(known))
        if number == len(firsts):
            firsts.append(part)
        numbers.append(number)
    return numbers, firsts
