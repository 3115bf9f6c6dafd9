"""Chain of a stack: its components in order, with references resolved, and the joints between them.

It exists for any valid request: ids may repeat and joints may be wrong, which the rules report.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal, NamedTuple, TypeAlias

from rules.couplings.definition import Coupling, End, Ends
from rules.couplings.sides import COUPLINGS, MachineSide, SpindleSide, WorkpieceSide, accepts
from rules.rulebook.fact import Fact, Properties
from rules.schema.components import (
    BaseHolder,
    Collet,
    ComponentReference,
    Cutter,
    Extension,
    GaugePin,
    Reducer,
    RetentionKnob,
    StackEntry,
    StackPart,
)
from rules.schema.request import Joint, StackRequest

__all__ = ["SPINDLE", "Chain", "Member", "Mounted", "Resolved", "StackJoint", "chain_of", "reference_facts", "resolve"]


SPINDLE: Final = "spindle"
"""Name of the spindle in joints of a request."""

_TOOLS: Final = (Cutter, GaugePin)


class Member(NamedTuple):
    """A component in the chain."""

    part: StackPart
    at: str
    """JSON Pointer of the component."""
    machine_side: MachineSide | None
    """Machine side; None where not stated or the kind has none."""
    workpiece_side: WorkpieceSide | None
    """Workpiece side; None where not stated or the kind has none."""
    is_tool: bool
    """Whether it is a cutting tool or a gauge pin."""


class StackJoint(NamedTuple):
    """Joint of two neighbours; the upper one is None for the spindle."""

    upper: Member | None
    lower: Member
    upper_side: WorkpieceSide | SpindleSide | None
    upper_at: str
    lower_at: str
    """JSON Pointer of the lower component's machine side."""
    statement: Joint | None
    statement_at: str
    upper_name: str
    """The upper component's id, or 'spindle'."""
    name: str
    """Name of the joint for readers."""
    coupling: Coupling | None
    """Definition of the workpiece side's coupling; None where that side is not stated."""

    @property
    def joint_class(self) -> str | None:
        """Class of the joint by its workpiece side, such as taper or grip."""
        return None if self.coupling is None else self.coupling.joint_class

    @property
    def ends(self) -> Ends:
        """The two ends, as passed to their coupling."""
        upper, lower = self.upper, self.lower
        return Ends(
            End(
                self.upper_side,
                self.upper_at,
                None if upper is None else upper.part.kind,
                None if upper is None else upper.machine_side,
            ),
            End(lower.machine_side, self.lower_at, lower.part.kind, lower.workpiece_side),
        )

    @property
    def mated(self) -> bool | None:
        """Whether the kinds of the two ends mate; None if one is not stated."""
        lower_side = self.lower.machine_side
        if self.upper_side is None or lower_side is None:
            return None
        return accepts(self.upper_side.coupling, lower_side.coupling)


class Chain(NamedTuple):
    """Members and joints of a request."""

    request: StackRequest
    members: tuple[Member, ...]
    knobs: tuple[Member, ...]
    joints: tuple[StackJoint, ...]
    """Between neighbours, from the spindle side."""
    spindle_joint: StackJoint | None
    """Joint at the spindle, if a machine is given and the stack has a component for it."""
    stray_joints: tuple[str, ...]
    """Pointers of joints in the request that name no pair of neighbours, or name a pair again."""
    is_read_only: bool
    """Whether the chain has a gauge pin; such a stack is measured, not run."""


def chain_of(request: StackRequest) -> Chain:
    """Return members and joints of a request."""
    members: list[Member] = []
    knobs: list[Member] = []
    is_read_only = False
    for place, part in enumerate(request.stack.components):
        at = f"/stack/components/{place}"
        if isinstance(part, RetentionKnob):
            knobs.append(Member(part, at, None, None, False))
        elif not isinstance(part, ComponentReference):  # references have been resolved
            members.append(_member(part, at))
            is_read_only = is_read_only or part.kind == "gauge_pin"
    unused = list(enumerate(request.stack.joints or ()))
    joints = []
    for upper, lower in pairwise(members):
        number, statement = _take(unused, upper.part.id, lower.part.id)
        side_at = f"{upper.at}/workpiece_side"
        joints.append(_case(upper, lower, upper.workpiece_side, side_at, statement, f"/stack/joints/{number}"))
    spindle_joint = None
    if request.machine is not None and members:
        spindle = request.machine.spindle
        number, statement = _take(unused, SPINDLE, members[0].part.id)
        spindle_joint = _case(None, members[0], spindle, "/machine/spindle", statement, f"/stack/joints/{number}")
    stray = tuple([f"/stack/joints/{n}" for n, _ in unused])
    return Chain(request, tuple(members), tuple(knobs), tuple(joints), spindle_joint, stray, is_read_only)


def _take(unused: list[tuple[int, Joint]], upper: str, lower: str) -> tuple[int | str, Joint | None]:
    """Remove the first joint of two neighbours from the list; the pointer of a joint not stated ends in "-"."""
    for place, (number, joint) in enumerate(unused):
        if (joint.upper, joint.lower) == (upper, lower):
            del unused[place]
            return number, joint
    return "-", None


def _member(part: BaseHolder | Extension | Reducer | Collet | Cutter | GaugePin, at: str) -> Member:
    if isinstance(part, _TOOLS):
        return Member(part, at, part.machine_side, None, True)
    return Member(part, at, part.machine_side, part.workpiece_side, False)


def _case(
    upper: Member | None,
    lower: Member,
    side: WorkpieceSide | SpindleSide | None,
    side_at: str,
    statement: Joint | None,
    statement_at: str,
) -> StackJoint:
    upper_name = SPINDLE if upper is None else upper.part.id
    return StackJoint(
        upper,
        lower,
        side,
        side_at,
        f"{lower.at}/machine_side",
        statement,
        statement_at,
        upper_name,
        f"{upper_name}/{lower.part.id}",
        None if side is None else COUPLINGS[side.coupling],
    )


Mounted: TypeAlias = Mapping[str, Sequence[StackEntry]]
"""The mounted catalogue: every definition of each key, in the order they were read."""

Trouble: TypeAlias = Literal["missing", "cyclic", "ambiguous", "shadows"]


@dataclass(frozen=True, slots=True)
class ReferenceCase:
    """One reference that cannot be resolved, or that the mounted catalogue defines more than once."""

    pointer: str
    name: str
    key: str
    """Key that was not found or is in a circular reference."""
    trouble: Trouble


@dataclass(frozen=True, slots=True)
class Resolved:
    """A request whose stack holds no references."""

    request: StackRequest
    cases: tuple[ReferenceCase, ...]
    homes: Mapping[str, str]
    """Pointers to the definitions of referenced components, by index in the stack; none for mounted ones."""

    @property
    def broken(self) -> bool:
        """Whether a reference cannot be resolved, so that there is no stack to judge."""
        return bool(self.lacking)

    @property
    def lacking(self) -> tuple[str, ...]:
        """Return the unresolved keys, as pointers into the request."""
        return tuple(f"{case.pointer}/of" for case in self.cases if case.trouble != "shadows")

    def without_stack(self) -> StackRequest:
        """Return the request without a stack, for an answer about its references only."""
        stack = self.request.stack.model_copy(update={"components": [], "joints": None})
        return self.request.model_copy(update={"stack": stack, "machine": None, "operation": None})


def resolve(request: StackRequest, mounted: Mounted) -> Resolved:
    """Replace references by their components: definitions of the request first, then mounted ones."""
    entries = request.stack.components
    if not any(isinstance(entry, ComponentReference) for entry in entries):
        return Resolved(request, (), {})
    parts: list[StackEntry] = []
    cases: list[ReferenceCase] = []
    homes: dict[str, str] = {}
    for place, entry in enumerate(entries):
        if not isinstance(entry, ComponentReference):
            parts.append(entry)
            continue
        pointer = f"/stack/components/{place}"
        found = _follow(entry, request.components or {}, mounted)
        name = entry.id or entry.of
        if found.trouble is not None:
            cases.append(ReferenceCase(pointer, name, found.key, found.trouble))
        if found.part is not None:
            parts.append(found.part if entry.id is None else found.part.model_copy(update={"id": entry.id}))
            if found.own:
                homes[pointer] = f"/components/{found.key}"
    stack = request.stack.model_copy(update={"components": parts})
    return Resolved(request.model_copy(update={"stack": stack}), tuple(cases), homes)


@dataclass(frozen=True, slots=True)
class _Found:
    part: StackPart | None
    key: str
    own: bool
    """Whether the request itself defines it."""
    trouble: Trouble | None


def _follow(reference: ComponentReference, own: Mapping[str, StackEntry], mounted: Mounted) -> _Found:
    """Follow a reference until it reaches a component."""
    seen: set[str] = set()
    key = reference.of
    while True:
        if key in seen:
            return _Found(None, key, False, "cyclic")
        seen.add(key)
        is_own = key in own
        definitions: Sequence[StackEntry] = (own[key],) if is_own else mounted.get(key, ())
        if not definitions:
            return _Found(None, key, False, "missing")
        if len(definitions) > 1:
            return _Found(None, key, False, "ambiguous")
        definition = definitions[0]
        if not isinstance(definition, ComponentReference):
            return _Found(definition, key, is_own, "shadows" if is_own and key in mounted else None)
        key = definition.of


def reference_facts(resolved: Resolved) -> list[Fact]:
    """Return a fact for each reference noted in resolving."""
    facts = []
    for case in resolved.cases:
        fact = Properties(
            "component", f"reference:{case.pointer}", (case.pointer,), component=case.name, component_kind="reference"
        )
        fact.add("reference_key", case.key)
        for trouble in ("missing", "cyclic", "ambiguous", "shadows"):
            fact.add(f"reference_{trouble}", case.trouble == trouble)
        facts.append(fact.build())
    return facts
