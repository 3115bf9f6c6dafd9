"""What a gate requires of an operation, so that no safety rule stays silent for want of data."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Final, get_args

from rules.analysis import StackAnalysis
from rules.answer.findings import enumerated
from rules.bending.analysis import critical_speed_of
from rules.quantities.missing import when_both_known
from rules.quantities.tables import read_definitions
from rules.schema.components import CutterKind
from rules.schema.gate import RequirementName
from rules.schema.request import CheckRequest

__all__ = ["Requirement", "impossible", "in_words", "requirements", "unstated"]


@dataclass(frozen=True, slots=True)
class Requirement:
    """One entry of the list of required data, with its wording."""

    name: RequirementName
    code: str
    title: str
    fields: tuple[str, ...]
    """JSON Pointers into the request of a check; any of them suffices, unless the entry has a test of its own."""
    message: str
    why: str
    remedy: str
    source: str
    rules: tuple[str, ...] = ()
    """Safety rules that judge nothing, or not all, without it."""


@cache
def _document() -> Mapping[str, Any]:
    found: Mapping[str, Any] = read_definitions(files("rules.gate").joinpath("gate_requirements.yaml"))
    return found


@cache
def requirements() -> tuple[Requirement, ...]:
    """Return the list in the order of the contract."""
    entries: list[dict[str, Any]] = _document()["required"]
    return tuple(
        Requirement(**entry | {"fields": tuple(entry["fields"]), "rules": tuple(entry.get("rules", ()))})
        for entry in entries
    )


@cache
def impossible() -> Mapping[str, str]:
    """Return the safety rules that have nothing to judge only where the stack has no such thing, and what it is."""
    return MappingProxyType(dict(_document()["impossible"]))


def unstated(request: CheckRequest, derived: StackAnalysis) -> Iterator[tuple[Requirement, tuple[str, ...]]]:
    """Yield the entries of the list that a request does not state, and where; ``derived`` is its analysis."""
    for one in requirements():
        test = _TESTS.get(one.name)
        if test is not None:
            lacking = tuple(dict.fromkeys(test(request, derived)))
        elif any(_value(request, derived, field) is not None for field in one.fields):
            lacking = ()
        else:
            lacking = one.fields
        if lacking:
            yield one, lacking


def _value(request: CheckRequest, derived: StackAnalysis, field: str) -> Any:
    first, *steps = field.split("/")[1:]
    value: Any = getattr(request, first)
    if first == "machine" and value is not None and value.kind != "stated":
        value = derived.chain.machine  # what the reference names; None if nothing
    for step in steps:
        if value is None:
            return None
        value = value[int(step)] if isinstance(value, list) else getattr(value, step)
    return value


def _without_tool(_: CheckRequest, derived: StackAnalysis) -> Iterator[str]:
    members = derived.chain.members
    if not members or members[-1].part.kind not in get_args(CutterKind):
        yield "/stack/components"


def _without_load(request: CheckRequest, _: StackAnalysis) -> Iterator[str]:
    """Yield where to state the cut; a stated load is complete with torque and pull."""
    operation = request.operations[0] if request.operations else None
    if operation is not None and operation.cut is not None:
        return
    load = None if operation is None else operation.load
    if load is None:
        yield from ("/operations/0/cut", "/operations/0/load")
    else:
        yield from (f"/operations/0/load/{one}" for one in ("torque_n_m", "axial_pull_n") if getattr(load, one) is None)


def _without_feed(request: CheckRequest, derived: StackAnalysis) -> Iterator[str]:
    """Yield where to state the feed; that of a tap is its pitch."""
    members = derived.chain.members
    operation = request.operations[0] if request.operations else None
    is_tap = bool(members) and members[-1].part.kind == "tap"
    if not is_tap and (operation is None or operation.feed_per_tooth_mm is None):
        yield "/operations/0/feed_per_tooth_mm"


def _idle_clamps(_: CheckRequest, derived: StackAnalysis) -> Iterator[str]:
    """Yield the components of clamps that hold a shank without being judged under the cut."""
    for grip in derived.grips:
        if grip.safety is None:
            yield from (one.at for one in (grip.case.upper, grip.case.lower) if one is not None)


def _declared_joints(_: CheckRequest, derived: StackAnalysis) -> Iterator[str]:
    """Yield the lower component of each joint that the shop describes itself."""
    chain = derived.chain
    for case in (*((chain.spindle_joint,) if chain.spindle_joint else ()), *chain.joints):
        sides = (case.upper_side, case.lower.machine_side)
        if any(side is not None and side.coupling == "declared" for side in sides):
            yield case.lower.at


_BELOW_ASSUMED: Final = 0.5
"""Share of the critical speed of an assumed spindle up to which nobody needs to know it better: a quarter of the
assumed stiffness would halve it. Common practice allows 0.75 of a known one."""


def _near_assumed_speed(_: CheckRequest, derived: StackAnalysis) -> Iterator[str]:
    """Yield where to state what the critical speed rests on, unless it is stated or far above the programmed speed."""
    stiffness = derived.stiffness
    if derived.speed is None or stiffness.measured or stiffness.spindle_stated:
        return
    critical = critical_speed_of(derived.chain, stiffness)
    if critical is None:
        return
    share = when_both_known(lambda rpm, band: rpm / band.low, derived.speed, critical)
    if not isinstance(share, float) or share > _BELOW_ASSUMED:
        yield from ("/stack/tap_test_hz", "/machine/spindle_tilting_stiffness_n_m_per_mrad")


_TESTS: Final[Mapping[str, Callable[[CheckRequest, StackAnalysis], Iterator[str]]]] = MappingProxyType(
    {
        "cutter": _without_tool,
        "cut": _without_load,
        "clamping": _idle_clamps,
        "feed": _without_feed,
        "couplings": _declared_joints,
        "critical_speed": _near_assumed_speed,
    }
)
"""Requirements that are more than a field; each yields the places at which they are not met."""


def in_words(one: Requirement) -> str:
    """Return the message of a requirement that is not met, with the rules that it leaves without judgement."""
    return f"{one.message} Not judged: {enumerated(one.rules)}." if one.rules else one.message
