"""The chain of a request: its components without knobs, and the joints between them.

Works on any request the model accepts: ids need not be unique nor joints sensible, since what is
wrong with them is for the rules to say.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from rules.model.components import Cutter, GaugePin, RetentionKnob, StackPart
from rules.model.couplings import MachineSide, SpindleSide, WorkpieceSide
from rules.model.request import CheckRequest
from rules.model.stack import Joint
from rules.tables import couplings

__all__ = ["Chain", "JointCase", "Link", "chain_of"]


@dataclass(frozen=True, slots=True)
class Link:
    """A component in the chain."""

    part: StackPart
    at: str
    """JSON Pointer of the component."""

    @property
    def machine_side(self) -> MachineSide | None:
        """The end turned to the spindle; None where not stated or the kind has none."""
        return None if isinstance(self.part, RetentionKnob) else self.part.machine_side

    @property
    def workpiece_side(self) -> WorkpieceSide | None:
        """The end turned to the cut; None where not stated or the kind has none."""
        if isinstance(self.part, Cutter | GaugePin | RetentionKnob):
            return None
        return self.part.workpiece_side


@dataclass(frozen=True, slots=True)
class JointCase:
    """Two neighbours that are joined; the upper one is None for the spindle."""

    upper: Link | None
    lower: Link
    upper_side: WorkpieceSide | SpindleSide | None
    upper_at: str
    statement: Joint | None
    statement_at: str

    @property
    def upper_name(self) -> str:
        """The upper component's id, or 'spindle'."""
        return "spindle" if self.upper is None else self.upper.part.id

    @property
    def name(self) -> str:
        """The joint as people read it."""
        return f"{self.upper_name}/{self.lower.part.id}"

    @property
    def lower_at(self) -> str:
        """JSON Pointer of the lower component's machine side."""
        return f"{self.lower.at}/machine_side"

    @property
    def joint_class(self) -> str | None:
        """Class of the joint after its workpiece side: taper, collet_seat, grip, arbor or declared."""
        return None if self.upper_side is None else couplings.joint_class(self.upper_side.coupling)

    @property
    def mated(self) -> bool | None:
        """Whether the workpiece side takes the machine side at all; None when an end is not stated."""
        lower_side = self.lower.machine_side
        if self.upper_side is None or lower_side is None:
            return None
        return couplings.accepts(self.upper_side.coupling, lower_side.coupling)


@dataclass(frozen=True, slots=True)
class Chain:
    """The request taken apart."""

    request: CheckRequest
    links: tuple[Link, ...]
    knobs: tuple[Link, ...]
    joints: tuple[JointCase, ...]
    """Between neighbours, from the spindle side."""
    spindle_joint: JointCase | None
    """Present when a machine is given and the stack has a component to put in it."""
    stray_joints: tuple[str, ...]
    """Pointers of joint statements that name no pair of neighbours, or a pair already stated."""


def chain_of(request: CheckRequest) -> Chain:
    """Take a request apart into links and joints."""
    all_links = [Link(part, f"/stack/components/{n}") for n, part in enumerate(request.stack.components)]
    links = tuple(link for link in all_links if not isinstance(link.part, RetentionKnob))
    knobs = tuple(link for link in all_links if isinstance(link.part, RetentionKnob))
    statements = list(enumerate(request.stack.joints or ()))
    joints = []
    for upper, lower in pairwise(links):
        found = next(
            (item for item in statements if (item[1].upper, item[1].lower) == (upper.part.id, lower.part.id)),
            None,
        )
        if found is not None:
            statements.remove(found)
        joints.append(
            JointCase(
                upper,
                lower,
                upper.workpiece_side,
                f"{upper.at}/workpiece_side",
                None if found is None else found[1],
                "/stack/joints/-" if found is None else f"/stack/joints/{found[0]}",
            )
        )
    spindle_joint = None
    if request.machine is not None and links:
        spindle_joint = JointCase(None, links[0], request.machine.spindle, "/machine/spindle", None, "/stack/joints/-")
    stray = tuple(f"/stack/joints/{n}" for n, _ in statements)
    return Chain(request, links, knobs, tuple(joints), spindle_joint, stray)
