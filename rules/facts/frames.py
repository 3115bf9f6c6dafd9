"""Which components' directions are known to each other: the clocking that the joints state."""

from __future__ import annotations

import cmath
import math
from typing import NamedTuple

from rules.stack.chain import Chain, JointCase

__all__ = ["Frame", "frames_of"]


class Frame(NamedTuple):
    """How a component is turned: its group, and the factor that turns its own directions into the group's."""

    group: int
    turn: complex


def frames_of(chain: Chain) -> tuple[Frame, ...]:
    """Return the frame of the spindle, then of every link.

    A joint whose clocking is not stated begins a new group: what lies beyond it points anywhere.
    """
    frames = [Frame(0, 1 + 0j)]
    cases: list[JointCase | None] = [chain.spindle_joint, *chain.joints]
    for case in cases[: len(chain.links)]:
        last = frames[-1]
        clocking = None if case is None or case.statement is None else case.statement.clocking_deg
        if clocking is None:
            frames.append(Frame(last.group + 1, 1 + 0j))
        else:
            frames.append(Frame(last.group, last.turn * cmath.rect(1.0, math.radians(clocking))))
    return tuple(frames)
