"""Assembly steps of the joints, from the base outward, and disassembly steps, from the tip inward.

A collet is pressed in or tightened only with a shank inside, so after the joint in it is assembled. Joints that depend
on each other in this way form a group. A group that is closed by a torque about the axis comes before the friction
joint behind it, which would otherwise pass that torque on.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from rules.analysis import StackAnalysis
from rules.assembly.joint_values import JointView, words_of
from rules.assembly.sentences import (
    CouplingWords,
    Draft,
    Number,
    StepWords,
    Tellable,
    Words,
    draft,
    instruction,
    preload,
    stop,
)
from rules.couplings.sides import COUPLINGS
from rules.couplings.straight_shank import COLLET_BORE
from rules.quantities.missing import Missing, OrMissing, when_both_known, when_known
from rules.quantities.rounding import rounded
from rules.runout.analysis import PlaneBudget, budget_at
from rules.schema.components import Reducer
from rules.schema.report import Finding
from rules.stack.chain import Chain, StackJoint

__all__ = ["EXPECTED", "JointFindings", "JointSteps", "findings_by_joint", "joint_steps"]

JointFindings = Mapping[tuple[str, str], Sequence[Finding]]
"""Errors and warnings by the pointers of the two ends of their joint."""


def findings_by_joint(chain: Chain, findings: Sequence[Finding]) -> tuple[JointFindings, list[Finding]]:
    """Return errors and warnings by joint, and those that belong to no joint."""
    cases = chain.joints if chain.spindle_joint is None else (chain.spindle_joint, *chain.joints)
    found: dict[tuple[str, str], list[Finding]] = {(case.upper_at, case.lower_at): [] for case in cases}
    others = []
    for one in findings:
        ends = (one.at[0], one.at[1]) if len(one.at) > 1 else None
        if one.severity == "advice":
            continue
        if ends in found:
            found[ends].append(one)
        else:
            others.append(one)
    return found, others


@dataclass(slots=True)
class JointSteps:
    """Steps at the joints."""

    build: list[Draft]
    open: list[Draft]
    used: list[tuple[int, StackJoint, Words]]
    """The joints that are assembled, with their places in the stack and their sentences."""


@dataclass(frozen=True, slots=True)
class _Made:
    """A joint of a group that is assembled."""

    view: JointView
    words: Words
    entry: CouplingWords
    alone: bool


def joint_steps(derived: StackAnalysis, joint_findings: JointFindings) -> JointSteps:
    """Return the steps of all joints, from the base outward but where a torque would pass through a joint behind."""
    steps = JointSteps([], [], [])
    press_seat: str | None = None
    joints = derived.chain.joints
    groups = list(_groups(joints))
    made: set[int] = set()
    read = 0
    for number in _order(joints, groups):
        first, last = groups[number]
        held_by = None if number == 0 or number - 1 in made else joints[first - 1].upper_name
        press_seat = _group(derived, (first, last), joint_findings, press_seat, held_by, steps)
        made.add(number)
        while read in made and read + 1 < len(groups):  # up to here the stack stands on its base holder
            steps.build.extend(_read_between(derived, groups[read][1]))
            read += 1
    return steps


def _order(joints: Sequence[StackJoint], groups: Sequence[tuple[int, int]]) -> list[int]:
    """Return the groups in the order of the work."""
    order: list[int] = []
    for number, (first, _) in enumerate(groups):
        ahead = number > 0 and _passes_torque(joints[first], joints[first - 1])
        run = order.index(number - 1) if ahead else len(order)
        order.insert(run, number)
    return order


def _passes_torque(case: StackJoint, behind: StackJoint) -> bool:
    """Whether closing a joint would turn its upper part in the joint behind, which holds it by friction alone."""
    outer, inner = case.coupling, behind.coupling
    if outer is None or inner is None or not outer.tightened_about_axis:
        return False
    return inner.joint_class == "grip" and inner.round_clamp and not inner.grips_by_interference


def _read_between(derived: StackAnalysis, number: int) -> list[Draft]:
    """Return the reading of a part that another one follows, with what the stack so far is expected to read."""
    case = derived.chain.joints[number]
    base, ends = derived.chain.members[0].part.id, case.ends_named
    from_end = _plane_between(derived, number + 1)
    plane = when_both_known(lambda end, face: face - end, from_end, derived.geometry.places[number + 1].face)
    budget = _built_budget(derived, number + 1, plane)

    def find(name: str) -> Tellable:
        if name == "preload":
            return preload()
        if name == "from_end":
            return when_known(lambda end: Number("distance from the outer end", "mm", rounded(end, "mm")), from_end)
        if name == "incomplete":
            return "" if isinstance(budget, Missing) else None
        if isinstance(budget, Missing):
            return budget
        if name == "reading":
            return _limit_between(derived, budget)
        level = {"p50": budget.assemblies.p50_um, "p95": budget.assemblies.p95_um}.get(name)
        return None if level is None else Number(EXPECTED[name], "um", level)

    words = Words({"base": base, "lower": case.lower.part.id}, find)
    said = draft(instruction().general["read_between"], words, [base, case.lower.part.id], [case.lower_at], ends)
    return [] if said is None else [said]


EXPECTED: Final = {"p50": "median of the expected reading", "p95": "95th percentile of the expected reading"}

_FROM_END_MM: Final = 5.0
"""Usual distance of the indicator from the outer end of a part."""


def _plane_between(derived: StackAnalysis, place: int) -> OrMissing[float]:
    """Return how far from the outer end of a part it is read, mm: on its free length, however short that is."""
    places = derived.geometry.places
    return when_both_known(
        lambda face, behind: min(_FROM_END_MM, max(face - behind, 0.0) / 2.0),
        places[place].face,
        places[place - 1].face,
    )


def _built_budget(derived: StackAnalysis, place: int, plane: OrMissing[float]) -> OrMissing[PlaneBudget]:
    """Return the law of the stack up to a part; a partial sum would understate it, so it is missing then."""
    if derived.contributors.lacking is not None:
        return derived.contributors.lacking
    built = [one for one in derived.contributors.known if one.displaces_from <= place + 1]
    return when_known(lambda z: budget_at(z, built, None), plane)


def _limit_between(derived: StackAnalysis, here: PlaneBudget) -> Number | None:
    """Return what the limit of the finished stack is at a plane before it, by the predicted 95th percentiles."""
    operation = derived.chain.operation
    limit = None if operation is None else operation.runout_limit_um
    if operation is None or limit is None:
        return None
    there = derived.tip if operation.runout_limit_at == "tip" else derived.gauge_plane
    if isinstance(there, Missing) or there.assemblies.p95_um <= 0.0:
        return None
    # rounded down, so that the limit is not exceeded
    share = math.floor(10.0 * limit * here.assemblies.p95_um / there.assemblies.p95_um) / 10.0
    return Number("reading", "um", None, None, share)


def _groups(joints: Sequence[StackJoint]) -> Iterator[tuple[int, int]]:
    """Yield first and last index of each group of joints."""
    first = 0
    for index, case in enumerate(joints):
        if index + 1 == len(joints) or not _closes_from_outside(case):
            yield first, index
            first = index + 1


def _closes_from_outside(case: StackJoint) -> bool:
    """Whether the lower part grips only once its own seat is closed: a collet, or a sleeve in a bore of its kind."""
    side = case.lower.workpiece_side
    if side is None:
        return False
    inner = COUPLINGS[side.coupling]
    if isinstance(case.lower.part, Reducer) and inner.sleeve_closes_with_seat:
        return case.coupling is inner
    return inner.closes_with_seat


def _group(
    derived: StackAnalysis,
    ends: tuple[int, int],
    joint_findings: JointFindings,
    press_seat: str | None,
    held_by: str | None,
    steps: JointSteps,
) -> str | None:
    """Add the steps of one group; return the seat that the press is then set up for."""
    joints, (first, last) = derived.chain.joints, ends
    made: list[_Made] = []
    stopped: StackJoint | None = None
    for index in range(first, last + 1):
        case = joints[index]
        against = joint_findings.get((case.upper_at, case.lower_at), ())
        reason = _not_seated(case, stopped) if stopped else _reason(case, against)
        if reason is None:
            coupling = _coupling(case, index > first)
            view = JointView(derived, index, case, last, press_seat, held_by)
            made.append(_Made(view, words_of(view), instruction().couplings[coupling], index == first))
            steps.build.extend(_at_once(made[-1]))
            continue
        stopped = stopped or case
        steps.build.append(_halt(case, reason))
    empty = _closes_from_outside(joints[last])
    if stopped is None and empty:
        lower = joints[last].lower
        steps.build.append(stop(instruction().stops["empty"].format(lower=lower.part.id), [lower.part.id], [lower.at]))
    closed = stopped is None and not empty
    if closed:
        for one in made:
            steps.build.extend(said for step in one.entry.build if step.deferred for said in _drafts(one, step))
            if one.view.case.coupling is not None and one.view.case.coupling.uses_press:
                press_seat = one.words["designation"] if isinstance(one.words["designation"], str) else None
    steps.open[:0] = _opened(made, closed)
    steps.used.extend((one.view.index, one.view.case, one.words) for one in made)
    return press_seat


def _at_once(one: _Made) -> list[Draft]:
    """Return the steps that depend on no other joint."""
    return [said for step in one.entry.build if not step.deferred for said in _drafts(one, step)]


def _halt(case: StackJoint, reason: str) -> Draft:
    halt = stop(reason, [case.upper_name, case.lower.part.id], [case.upper_at, case.lower_at], case.ends_named)
    ends = ((case.upper_side, case.upper_at), (case.lower.machine_side, case.lower_at))
    halt["not_stated"] = [at for side, at in ends if side is None]
    return halt


def _opened(made: Sequence[_Made], closed: bool) -> list[Draft]:
    """Return the steps that open a group, from outside in; a joint that was never closed is taken apart by hand."""
    to_open = [one for one in made if closed or not any(step.deferred for step in one.entry.build)]
    opening = [(one, step) for one in to_open for step in one.entry.open if not step.deferred]
    opening += [(one, step) for one in reversed(made) for step in one.entry.open if step.deferred]
    return [said for one, step in opening for said in _drafts(one, step)]


def _coupling(case: StackJoint, inside: bool) -> str:
    """Return the coupling whose sentences apply to a joint: that of a collet bore inside a bore closed from outside."""
    if inside:
        return COLLET_BORE.name
    return "unknown" if case.upper_side is None else case.upper_side.coupling


def _drafts(one: _Made, step: StepWords) -> list[Draft]:
    """Return the step of a joint, or no step if all its sentences lack data."""
    if step.alone and not one.alone:
        return []
    case = one.view.case
    at = [case.upper_at, case.lower_at] if case.statement is None else [case.upper_at, case.lower_at, case.statement_at]
    said = draft(step, one.words, [case.upper_name, case.lower.part.id], at, case.ends_named)
    return [] if said is None else [said]


def _in_words(finding: Finding) -> str:
    return instruction().finding.format(code=finding.code, message=finding.message)


def _not_seated(case: StackJoint, seat: StackJoint) -> str:
    words = {"lower": case.lower.part.id, "upper": case.upper_name, "seat": seat.name}
    return instruction().stops["not_seated"].format_map(words)


def _reason(case: StackJoint, findings: Sequence[Finding]) -> str | None:
    """Return the step that forbids a joint; None for a joint without errors."""
    texts, file = instruction().stops, instruction()
    words = {"upper": case.upper_name, "lower": case.lower.part.id}
    against = [one for one in findings if one.severity == "error" and one.code not in file.not_of_joining]
    if against:
        reasons = " ".join(f"{_in_words(one)} {one.remedy}" for one in against)
        return texts["objected"].format(reasons=reasons, **words)
    side, lower_side = case.upper_side, case.lower.machine_side
    if side is None or lower_side is None:
        return texts["not_stated"].format_map(words)
    if case.mated is False:
        upper_title, lower_title = (COUPLINGS[one.coupling].described.title for one in (side, lower_side))
        return texts["not_mating"].format(upper_title=upper_title, lower_title=lower_title, **words)
    return None
