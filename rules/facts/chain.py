"""The chain of a request: its components without knobs, and the joints between them.

Works on any request the model accepts: ids need not be unique nor joints sensible, since what is
wrong with them is for the rules to say.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final, NamedTuple

from rules.couplings import definition
from rules.couplings.definition import JointClass
from rules.couplings.sides import MachineSide, SpindleSide, WorkpieceSide
from rules.schema.components import (
    BaseHolder,
    Collet,
    ComponentReference,
    Cutter,
    Extension,
    GaugePin,
    Reducer,
    RetentionKnob,
    StackPart,
)
from rules.schema.request import Joint, StackRequest

__all__ = ["SPINDLE", "Chain", "JointCase", "Link", "chain_of"]

SPINDLE: Final = "spindle"
"""What joint statements call the spindle."""

_TOOLS: Final = (Cutter, GaugePin)


class Link(NamedTuple):
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


class JointCase(NamedTuple):
    """Two neighbours that are joined; the upper one is None for the spindle."""

    upper: Link | None
    lower: Link
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
    joint_class: JointClass | None
    """Class of the joint after its workpiece side: taper, collet_seat, grip, arbor or declared."""

    @property
    def mated(self) -> bool | None:
        """Whether the workpiece side takes the machine side at all; None when an end is not stated."""
        lower_side = self.lower.machine_side
        if self.upper_side is None or lower_side is None:
            return None
        return definition.accepts(self.upper_side.coupling, lower_side.coupling)


class Chain(NamedTuple):
    """The request taken apart."""

    request: StackRequest
    links: tuple[Link, ...]
    knobs: tuple[Link, ...]
    joints: tuple[JointCase, ...]
    """Between neighbours, from the spindle side."""
    spindle_joint: JointCase | None
    """Present when a machine is given and the stack has a component to put in it."""
    stray_joints: tuple[str, ...]
    """Pointers of joint statements that name no pair of neighbours, or a pair already stated."""
    is_read_only: bool
    """Whether the chain holds a gauge pin: such a stack is read, not run."""


def chain_of(request: StackRequest) -> Chain:
    """Take a request apart into links and joints."""
    links: list[Link] = []
    knobs: list[Link] = []
    is_read_only = False
    for place, part in enumerate(request.stack.components):
        at = f"/stack/components/{place}"
        if isinstance(part, RetentionKnob):
            knobs.append(Link(part, at, None, None, False))
        elif not isinstance(part, ComponentReference):  # resolved beforehand
            links.append(_link(part, at))
            is_read_only = is_read_only or part.kind == "gauge_pin"
    unused = list(enumerate(request.stack.joints or ()))
    joints = []
    for upper, lower in pairwise(links):
        number, statement = _take(unused, upper.part.id, lower.part.id)
        side_at = f"{upper.at}/workpiece_side"
        joints.append(_case(upper, lower, upper.workpiece_side, side_at, statement, f"/stack/joints/{number}"))
    spindle_joint = None
    if request.machine is not None and links:
        spindle = request.machine.spindle
        number, statement = _take(unused, SPINDLE, links[0].part.id)
        spindle_joint = _case(None, links[0], spindle, "/machine/spindle", statement, f"/stack/joints/{number}")
    stray = tuple([f"/stack/joints/{n}" for n, _ in unused])
    return Chain(request, tuple(links), tuple(knobs), tuple(joints), spindle_joint, stray, is_read_only)


def _take(unused: list[tuple[int, Joint]], upper: str, lower: str) -> tuple[int | str, Joint | None]:
    """Take the first statement about two neighbours out of the list; "-" points past its end."""
    for place, (number, joint) in enumerate(unused):
        if (joint.upper, joint.lower) == (upper, lower):
            del unused[place]
            return number, joint
    return "-", None


def _link(part: BaseHolder | Extension | Reducer | Collet | Cutter | GaugePin, at: str) -> Link:
    if isinstance(part, _TOOLS):
        return Link(part, at, part.machine_side, None, True)
    return Link(part, at, part.machine_side, part.workpiece_side, False)


def _case(
    upper: Link | None,
    lower: Link,
    side: WorkpieceSide | SpindleSide | None,
    side_at: str,
    statement: Joint | None,
    statement_at: str,
) -> JointCase:
    upper_name = SPINDLE if upper is None else upper.part.id
    return JointCase(
        upper,
        lower,
        side,
        side_at,
        f"{lower.at}/machine_side",
        statement,
        statement_at,
        upper_name,
        f"{upper_name}/{lower.part.id}",
        None if side is None else definition.joint_class(side.coupling),
    )
