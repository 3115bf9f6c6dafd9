"""What turning joints against each other can reach."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rules.quantities.rounding import rounded
from rules.runout.analysis import Vector, law_of, vectors_at
from rules.runout.contributors import Contributor, frames_of, positions_of
from rules.runout.formulas import best_turns, single_turns
from rules.schema.budget import ClockingReport, JointTurn
from rules.stack.chain import SPINDLE, Chain

__all__ = ["clocking_section"]


def clocking_section(chain: Chain, z_mm: float, known: Sequence[Contributor]) -> ClockingReport | None:
    """Return the best turns at z, or None where fewer than two contributors have a known direction."""
    directed = [item for item in known if item.group is not None]
    if len(directed) < 2:
        return None
    # the clocking between all of them is known, or the joints are told from mark to mark
    stands = len({item.group for item in directed}) == 1
    frames = frames_of(chain)
    nodes = [0j] * len(frames)
    for item in directed:
        # a component's own error turns with it; the spindle is the first node
        vector = complex(item.line.at(z_mm))
        nodes[item.displaces_from] += vector if stands else vector * frames[item.displaces_from].turn.conjugate()
    positions = positions_of(chain)
    names = [f"{SPINDLE}/{chain.links[0].part.id}", *(case.name for case in chain.joints)]
    best = best_turns(nodes, positions)
    rest = [item for item in known if item.group is None]
    after = law_of([*vectors_at(z_mm, rest), Vector(best.eccentricity, False, None)])
    turns = [
        _turn(names, positions, turn.joint, turn.angle_deg, turn.eccentricity)
        for turn in (single_turns(nodes, positions) if stands else [])
        if any(nodes[: turn.joint]) and any(nodes[turn.joint :])
    ]
    standing = abs(sum(nodes)) if stands else math.fsum(map(abs, nodes))
    return ClockingReport(
        z_mm=rounded(z_mm, "mm"),
        measured_tir_um=rounded(2.0 * standing, "um"),
        one_joint=sorted(turns, key=lambda turn: turn.leaves_tir_um),
        all_joints=[
            _turn(names, positions, joint, angle, best.eccentricity)
            for joint, angle in enumerate(best.angles_deg, start=1)
            if positions[joint - 1] != 1 and any(nodes[:joint]) and any(nodes[joint:])
        ],
        marks=not stands,
        exhaustive=best.exhaustive,
        p95_after_um=rounded(2.0 * float(after.quantiles((0.95,))[0]), "um"),
    )


def _turn(names: Sequence[str], positions: Sequence[int], joint: int, angle: float, left: float) -> JointTurn:
    count = positions[joint - 1]
    return JointTurn(
        joint=names[joint - 1],
        positions=None if count == 0 else count,
        turn_deg=round(angle, 2) % 360.0,
        leaves_tir_um=rounded(2.0 * left, "um"),
    )
