"""Judge the stacks of a search as a check would, rank them, and find the closest alternatives."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, pairwise
from types import MappingProxyType
from typing import Final

from rules.analysis import StackAnalysis
from rules.assessor import Assessor
from rules.quantities.missing import Missing
from rules.schema.components import StackEntry
from rules.schema.report import Report, Verdict
from rules.schema.request import DEFAULT_POLICY, CheckRequest, Joint, Stack
from rules.schema.search import Projection, RankCriterion, Reason, Requirement, SearchRequest
from rules.search.fitting import GripRange, Joining, drawn_to
from rules.search.plan import UNKNOWN, Path, Plan, Span, exactly, may_be_drawn
from rules.search.requirement import NotKnown, kept_by, not_known_reason, reached_of

__all__ = ["Built", "JudgedStack", "SetJoint", "build", "criteria_of", "judge", "near_misses", "rank_key", "sort_key"]


_MOST_NAME = 64


@dataclass(frozen=True, slots=True)
class SetJoint:
    """Grip length set for one shank."""

    upper: int
    """Index of the upper component in the stack; the lower one follows."""
    grip: GripRange
    set_mm: float


@dataclass(frozen=True, slots=True)
class Built:
    """One stack of the search."""

    keys: tuple[str, ...]
    """From the spindle side, a retention knob last."""
    names: tuple[str, ...]
    """Names in the request; a key used again gets a number."""
    joints: tuple[SetJoint, ...]
    check: CheckRequest


def build(plan: Plan, path: Path, request: SearchRequest) -> Built:
    """Set the grip lengths of a complete stack and return the request for its check."""
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
    check = CheckRequest(stack=stack, machine=request.machine, operations=request.operations, policy=request.policy)
    return Built(keys, names, tuple(joints), check)


def _names(keys: Sequence[str]) -> tuple[str, ...]:
    """Number the keys used again, avoiding names that are keys themselves."""
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
    """Return the grip length of each joint, from the spindle side; None where nothing is gripped."""
    wanted = plan.requirement.projection
    grips = [one.grip for one in joinings]
    if plan.requirement.grip == "shortest":
        return [None if grip is None else grip.shortest_mm for grip in grips]
    longest = [None if grip is None else grip.longest_mm for grip in grips]
    if plan.requirement.grip == "longest" or wanted is None or wanted.at_least_mm is None:
        return longest
    whole = wanted.datum == "gauge_line"
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


@dataclass(frozen=True, slots=True)
class JudgedStack:
    """A stack with its report, and the reasons for rejecting it, if any."""

    built: Built
    report: Report
    derived: StackAnalysis
    verdict: Verdict
    not_known: tuple[NotKnown, ...]
    reasons: tuple[Reason, ...]
    """Empty for an accepted stack."""


def judge(built: Built, request: SearchRequest, assessor: Assessor) -> JudgedStack:
    """Judge a stack; its verdict is that of the check, but never a pass while the requirement is not decided."""
    report, derived = assessor.assess_derived(built.check)
    kept = kept_by(request.requirement or Requirement(), derived.chain, derived.geometry)
    verdict = report.verdict
    if kept.reasons:
        verdict = "fail"
    elif kept.not_known and verdict == "pass":
        verdict = "review"
    refused = verdict == "fail" or (verdict == "review" and request.accept == "pass")
    reasons = (*kept.reasons, *_reasons(report, request, kept.not_known)) if refused else ()
    return JudgedStack(built, report, derived, verdict, kept.not_known, reasons)


def _reasons(report: Report, request: SearchRequest, not_known: tuple[NotKnown, ...]) -> Iterator[Reason]:
    """Yield the reasons against a verdict: errors, and the findings that policy or request treat as errors."""
    policy, strict = request.policy or DEFAULT_POLICY, request.accept == "pass"
    for one in report.findings:
        if one.severity == "error" or (one.severity == "warning" and (strict or policy.on_warning == "fail")):
            yield Reason(code=one.code, title=one.title, message=one.message)
    if strict or policy.on_undecided == "fail":
        for gap in report.undecided:
            fields = ", ".join(dict.fromkeys(field for lack in gap.lacks for field in lack.at))
            yield Reason(
                code=gap.code,
                title=gap.title,
                message="The rule could not be decided" + (f"; missing: {fields}." if fields else "."),
            )
    if strict:
        yield from map(not_known_reason, not_known)


_USUAL: Final[tuple[RankCriterion, ...]] = (
    "verdict", "runout_p95", "projection", "stiffness", "components", "mass",
)  # fmt: skip

_VERDICTS: Final = {"pass": 0.0, "review": 1.0, "fail": 2.0}


def _runout(one: JudgedStack) -> float | None:
    plane = one.report.runout.plane("gauge_plane")
    return None if plane is None else plane.quantile_um("p95")


def _stiffness(one: JudgedStack) -> float | None:
    stiffness = one.report.stiffness.tip_stiffness_n_per_um
    return None if stiffness is None else -stiffness.value


_VALUES: Final[Mapping[RankCriterion, Callable[[JudgedStack], float | None]]] = MappingProxyType(
    {
        "verdict": lambda one: _VERDICTS[one.verdict],
        "runout_p95": _runout,
        "projection": lambda one: one.report.geometry.tip_mm,
        "stiffness": _stiffness,
        "components": lambda one: float(len(one.built.keys)),
        "mass": lambda one: one.report.mass.total_kg,
    }
)
"""Smaller is better; None where unknown."""


def criteria_of(request: SearchRequest) -> list[RankCriterion]:
    """Return the ranking criteria, the most important first."""
    return list(dict.fromkeys(request.rank_by or _USUAL))


def rank_key(one: JudgedStack, criteria: Sequence[RankCriterion]) -> list[float | None]:
    """Return one number per criterion, rounded as in the report, so that no invisible difference decides."""
    return [_VALUES[name](one) for name in criteria]


def sort_key(key: Sequence[float | None], components: Sequence[str]) -> tuple[object, ...]:
    """Return the sort key of a result: numbers before unknown values, then the names of the components.

    >>> sorted([[None], [2.0], [1.0]], key=lambda key: sort_key(key, ()))
    [[1.0], [2.0], [None]]
    """
    return (*((value is None, value or 0.0) for value in key), tuple(components))


NEAREST: Final = 3
"""Most alternatives in an answer."""

_LISTED: Final = 2000
"""Most stacks compared by length only, in equal shares for each tool."""

_JUDGED: Final = 60

_MOST_FAULTS: Final = 2
"""Most rejected parts and joints in an alternative."""


def near_misses(
    plan: Plan, request: SearchRequest, assessor: Assessor, refused: Sequence[JudgedStack]
) -> list[JudgedStack]:
    """Return the stacks with the fewest reasons against them, then by the smallest error in projection.

    The candidates are the judged stacks that were rejected, and the stacks with the fewest rejected parts and joints. A
    joint of kinds that do not mate rules a stack out.
    """
    listed = sorted(_Nearest(plan).paths(), key=lambda path: (_missed_mm(plan, path), path))
    judged = [*refused, *(judge(build(plan, path, request), request, assessor) for path in listed[:_JUDGED])]
    criteria, wanted = criteria_of(request), plan.requirement.projection

    def nearness(one: JudgedStack) -> tuple[object, ...]:
        reached = reached_of(wanted, one.derived.geometry) if wanted is not None else 0.0
        missed = 0.0 if wanted is None or isinstance(reached, Missing) else _missed(exactly(reached), wanted)
        return (len(one.reasons), missed, *sort_key(rank_key(one, criteria), one.built.keys))

    found = {one.built.keys: one for one in judged if one.reasons}
    return sorted(found.values(), key=nearness)[:NEAREST]


class _Nearest:
    """Walk through the stacks of each tool with the fewest rejected parts and joints."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        alike: dict[tuple[bool, int, float, float], list[int]] = {}
        for number in range(plan.first_between, len(plan.parts)):
            upward = self._knob_fault(number)[0] if plan.is_holder(number) else plan.joints.below[number]
            end = plan.joints.above[number - plan.first_between]
            alike.setdefault((plan.is_holder(number), end, self._fault(number), upward), []).append(number)
        self._alike = list(alike.values())
        """Upper parts that differ in nothing that counts here."""
        self._known: dict[tuple[int, int], float] = {}

    def paths(self) -> Iterator[Path]:
        plan = self._plan
        room = plan.requirement.max_components - 1
        least = {tool: self._fault(tool) + self._least(tool, room) for tool in range(plan.first_between)}
        best = min(least.values(), default=math.inf)
        tools = [tool for tool, faults in least.items() if faults == best]
        if best <= _MOST_FAULTS:
            share = max(1, _LISTED // max(1, len(tools)))
            for tool in tools:
                yield from islice(self._above((tool,), exactly(0.0), self._fault(tool), best), share)

    def _above(self, path: Path, face: Span, faults: float, most: float) -> Iterator[Path]:
        """Yield the stacks that start from ``path``, those with the smallest possible error in projection first."""
        plan = self._plan
        room = plan.requirement.max_components - len(path)
        near = [
            upper
            for uppers in self._alike
            if faults + self._least_with(uppers[0], path[-1], room) <= most
            for upper in uppers
            if plan.is_holder(upper) or path.count(upper) < plan.parts[upper].quantity
        ]
        for upper in sorted(near, key=lambda number: (self._bound(path[-1], number, face, room), number)):
            if plan.is_holder(upper):
                yield (*path, upper, self._knob_fault(upper)[1])
            else:
                so_far = faults + self._step(upper, path[-1])
                yield from self._above((*path, upper), face + plan.projection(upper, path[-1]), so_far, most)

    def _bound(self, lower: int, upper: int, face: Span, room: int) -> float:
        """Return the smallest possible error in projection of a stack over an upper part."""
        plan, wanted = self._plan, self._plan.requirement.projection
        if wanted is None or wanted.datum != "gauge_line":
            return 0.0
        if plan.is_holder(upper):
            beyond = exactly(plan.gauge_mm[upper - plan.first_holder])
        else:
            beyond = plan.upward[upper][room - 1] or UNKNOWN
        return _missed(face + plan.projection(upper, lower) + beyond, wanted)

    def _least(self, lower: int, room: int) -> float:
        """Return the fewest rejections between a part and a holder."""
        place = self._plan.joints.below[lower], room
        if place not in self._known:
            self._known[place] = min((self._least_with(one[0], lower, room) for one in self._alike), default=math.inf)
        return self._known[place]

    def _least_with(self, upper: int, lower: int, room: int) -> float:
        """Return the fewest rejections between a part and a holder through this upper part, which may be the holder."""
        if self._plan.is_holder(upper):
            return self._step(upper, lower) + self._knob_fault(upper)[0]
        step = self._step(upper, lower) if room > 1 else math.inf
        return step if step == math.inf else step + self._least(upper, room - 1)

    def _step(self, upper: int, lower: int) -> float:
        fit = self._plan.fit(upper, lower)
        return (0.0 if fit.code is None else 1.0 if fit.mates else math.inf) + self._fault(upper)

    def _fault(self, number: int) -> float:
        return 0.0 if self._plan.refused[number] is None else 1.0

    def _knob_fault(self, holder: int) -> tuple[float, int]:
        """Return 1 if the best knob of a holder is rejected, else 0, and the number of that knob."""
        codes = self._plan.knob_refusals[holder - self._plan.first_holder]
        fine = [knob for knob, code in enumerate(codes) if code is None]
        return (0.0, fine[0]) if fine else (1.0, 0)


def _missed_mm(plan: Plan, path: Path) -> float:
    """Return the smallest possible error in projection; zero where it is met or unknown."""
    wanted = plan.requirement.projection
    if wanted is None:
        return 0.0
    numbers = path[:-1]
    spans = [plan.projection(upper, lower) for lower, upper in pairwise(numbers)]
    whole = spans[0]
    if wanted.datum == "gauge_line":
        whole = sum(spans, start=exactly(plan.gauge_mm[numbers[-1] - plan.first_holder]))
    return _missed(whole, wanted)


def _missed(whole: Span, wanted: Projection) -> float:
    short = 0.0 if wanted.at_least_mm is None else wanted.at_least_mm - whole.most
    long = 0.0 if wanted.at_most_mm is None else whole.least - wanted.at_most_mm
    return max(0.0, short, long)
