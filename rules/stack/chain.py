"""Chain of a stack: its components in order, with references resolved, and the joints between them.

It works on any request the model accepts: ids may repeat and joints may be wrong; the rules report that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal, NamedTuple, TypeAlias

from rules.couplings.definition import Coupling, End, Ends
from rules.couplings.sides import COUPLINGS, MachineSide, SpindleSide, WorkpieceSide, accepts
from rules.quantities.models import construct
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
from rules.schema.report import JointEnds
from rules.schema.request import Joint, StackRequest

__all__ = ["SPINDLE", "Chain", "Member", "Mounted", "Resolved", "StackJoint", "chain_of", "reference_facts", "resolve"]


SPINDLE: Final = "spindle"
"""What joint statements call the spindle."""

_TOOLS: Final = (Cutter, GaugePin)


class Member(NamedTuple):
    """A component in the chain."""

    part: StackPart
    at: str
    """JSON Pointer of the component."""
    machine_side: MachineSide | None
    """The end turned to the spindle; None where not stated or the kind has none."""
    workpiece_side: WorkpieceSide | None
    """The end turned to the cut; None where not stated or the kind has none."""
    is_tool: bool
    """A cutter or a gauge pin."""


class StackJoint(NamedTuple):
    """Two neighbours that are joined; the upper one is None for the spindle."""

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
    """The joint as people read it."""
    coupling: Coupling | None
    """Definition of the workpiece side's coupling; None where that side is not stated."""

    @property
    def ends_named(self) -> JointEnds:
        """The joint as an answer names it."""
        return construct(JointEnds, upper=self.upper_name, lower=self.lower.part.id)

    @property
    def joint_class(self) -> str | None:
        """Class of the joint after its workpiece side, such as taper or grip."""
        return None if self.coupling is None else self.coupling.joint_class

    @property
    def ends(self) -> Ends:
        """The two ends that meet, as their coupling is told of them."""
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
        """Whether the workpiece side takes the machine side at all; None when an end is not stated."""
        lower_side = self.lower.machine_side
        if self.upper_side is None or lower_side is None:
            return None
        return accepts(self.upper_side.coupling, lower_side.coupling)


class Chain(NamedTuple):
    """The request taken apart."""

    request: StackRequest
    members: tuple[Member, ...]
    knobs: tuple[Member, ...]
    joints: tuple[StackJoint, ...]
    """Between neighbours, from the spindle side."""
    spindle_joint: StackJoint | None
    """Present when a machine is given and the stack has a component to put in it."""
    stray_joints: tuple[str, ...]
    """Pointers of joint statements that name no pair of neighbours, or a pair already stated."""
    is_read_only: bool
    """Whether the chain holds a gauge pin: such a stack is read, not run."""


def chain_of(request: StackRequest) -> Chain:
    """Take a request apart into members and joints."""
    members: list[Member] = []
    knobs: list[Member] = []
    is_read_only = False
    for place, part in enumerate(request.stack.components):
        at = f"/stack/components/{place}"
        if isinstance(part, RetentionKnob):
            knobs.append(Member(part, at, None, None, False))
        elif not isinstance(part, ComponentReference):  # resolved beforehand
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
    """Take the first statement about two neighbours out of the list; "-" points past its end."""
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
"""The catalogue an operator mounts: every definition of each key, in the order they were read."""

Trouble: TypeAlias = Literal["missing", "cyclic", "ambiguous", "shadows"]


@dataclass(frozen=True, slots=True)
class ReferenceCase:
    """One reference with something to tell."""

    pointer: str
    name: str
    key: str
    """The key that was not found, or that leads round in a circle."""
    trouble: Trouble


@dataclass(frozen=True, slots=True)
class Resolved:
    """A request whose stack holds components only."""

    request: StackRequest
    cases: tuple[ReferenceCase, ...]
    homes: Mapping[str, str]
    """Where in the request a referenced component is defined, by its place in the stack; none for the mounted ones."""

    @property
    def broken(self) -> bool:
        """Whether some reference leads nowhere: then there is no stack to judge."""
        return bool(self.lacking)

    @property
    def lacking(self) -> tuple[str, ...]:
        """Keys that lead nowhere, as pointers into the request."""
        return tuple(f"{case.pointer}/of" for case in self.cases if case.trouble != "shadows")

    def without_stack(self) -> StackRequest:
        """Return the request with nothing to judge in it, for an answer that says just that."""
        stack = self.request.stack.model_copy(update={"components": [], "joints": None})
        return self.request.model_copy(update={"stack": stack, "machine": None, "operation": None})


def resolve(request: StackRequest, mounted: Mounted) -> Resolved:
    """Replace references by what they name: the request's own definitions first, then the mounted ones."""
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
    """Follow a reference from definition to definition until a component is reached."""
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
    """Return a fact for each reference that has something to tell."""
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
