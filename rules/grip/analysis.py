"""Torque and pull capacity of each straight-shank joint, compared with the cutting load."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, partial
from typing import Final, Literal

from rules.couplings import collets
from rules.couplings.collets import NutCollet
from rules.couplings.straight_shank import (
    Bore,
    ColletBore,
    CylindricalShank,
    Hydraulic,
    MillingChuck,
    ShrinkFit,
    SideLock,
    clamp_of,
    flat,
    largest_shank_mm,
    usual_shank_length,
)
from rules.cutting.analysis import (
    CuttingLoad,
)
from rules.grip.fits import (
    fit_properties,
    shank_of,
)
from rules.grip.formulas import (
    Ring,
    combined_safety,
    holding_speed_rpm,
    interference_at_speed_um,
    pressure_per_um,
    scaled_capacity,
    segments_slip_torque_n_m,
    slip_force_from_torque_n,
    slip_force_n,
    slip_torque_n_m,
)
from rules.grip.shrink import ShrinkJoint, friction_row, is_shrink, opening_rings, shrink_joint, shrink_joint_of
from rules.quantities.missing import (
    Missing,
    OrMissing,
    all_known,
    or_missing,
    when_all_known,
    when_both_known,
    when_known,
)
from rules.quantities.tables import Row, read_rows
from rules.rulebook.fact import Properties
from rules.schema.components import GaugePin
from rules.stack.analysis import length_properties
from rules.stack.chain import Chain, Member, StackJoint
from rules.stack.outlines import OutlinePiece
from rules.stack.positions import Positions, grip_of

__all__ = [
    "Grip",
    "collet_properties",
    "grips_of",
    "held_shank_properties",
    "put_strength",
    "stated_minimum_grip",
    "weakest_of",
]


_LOSE_AT_SPEED: Final = (ColletBore, Hydraulic, MillingChuck, ShrinkFit)
"""Bores whose rated capacity falls with speed; the screw of a side lock keeps its hold."""
_STEEL_KG_M3: Final = 7850.0
"""Density of collets, from which the wall of a collet of known mass follows."""
_MOST: Final = 1e6
"""Largest safety factor reported; beyond it the load is negligible."""


@dataclass(frozen=True, slots=True)
class Grip:
    """One joint that clamps a straight shank."""

    case: StackJoint
    index: int
    """Index of the joint in the chain."""
    length_mm: OrMissing[float]
    basis: Literal["rating", "interference"]
    torque_n_m: OrMissing[float]
    """Torque capacity at the programmed speed."""
    axial_n: OrMissing[float] | None
    """Axial capacity at the programmed speed; None where the shape of the shank prevents pull-out."""
    safety: OrMissing[float] | None
    """Safety factor against slip under torque and axial pull together; None without a cutting load."""
    shrink: OrMissing[ShrinkJoint] | None
    """None for joints that do not grip by interference."""
    holding_speed_rpm: OrMissing[float] | None
    """Speed at which the capacity of a shrink-fit joint falls to the cutting load; without a load, the release speed.
    None where no speed releases it."""

    @property
    def falls_with_speed(self) -> bool:
        """Whether the capacity depends on the speed."""
        return isinstance(self.case.upper_side, _LOSE_AT_SPEED)


def _rated(
    case: StackJoint, side: Bore | ColletBore, grip: OrMissing[float]
) -> tuple[OrMissing[float], OrMissing[float] | None]:
    """Return torque and axial capacity at rest by the rating of the clamp.

    On a flat the screw carries torque and pull, whatever the grip length; an inclined flat cannot be pulled out.
    """
    at = case.upper_at
    rated_grip = or_missing(side.rated_grip_mm, at, "rated_grip_mm")
    rated = or_missing(side.rated_torque_n_m, at, "rated_torque_n_m")
    shank = shank_of(case)
    if isinstance(side, SideLock) and shank is not None and shank.form in _FLATS:
        if side.rated_axial_force_n is None and shank.form == "inclined_flat":
            return rated, None
        return rated, or_missing(side.rated_axial_force_n, at, "rated_axial_force_n")
    torque = when_all_known(scaled_capacity, rated, rated_grip, grip)
    if side.rated_axial_force_n is not None:
        return torque, when_all_known(scaled_capacity, side.rated_axial_force_n, rated_grip, grip)
    if (case.coupling is not None and case.coupling.pulled_aside) or side.rated_torque_n_m is None:
        return torque, Missing((f"{at}/rated_axial_force_n",))
    diameter = or_missing(None if shank is None else shank.diameter_mm, case.lower_at, "diameter_mm")
    return torque, when_both_known(slip_force_from_torque_n, torque, diameter)


_FLATS: Final = ("side_lock_flat", "inclined_flat")


def _loss_n_m(
    index: int,
    case: StackJoint,
    side: Bore | ColletBore,
    geometry: Positions,
    outlines: tuple[OrMissing[tuple[OutlinePiece, ...]], ...],
    speed_rpm: float,
) -> OrMissing[float]:
    """Return the torque that a rated clamp loses at speed: a bore opens, the segments of a collet press outward."""
    shank = shank_of(case)
    diameter = or_missing(None if shank is None else shank.diameter_mm, case.lower_at, "diameter_mm")
    friction = shrink_joint().friction
    if isinstance(side, ColletBore):
        part, at = (case.upper.part, case.upper.at) if case.upper is not None else (case.lower.part, case.lower.at)
        length = or_missing(side.length_mm, case.upper_at, "length_mm")
        return when_all_known(
            partial(_collet_loss, friction, speed_rpm), or_missing(part.mass_kg, at, "mass_kg"), diameter, length
        )
    if isinstance(diameter, Missing):
        return diameter
    rings = opening_rings(index, case, geometry, outlines, diameter)

    def loss(pair: tuple[Ring, Ring], grip: float) -> float:
        hub, shaft = pair
        opened = max(0.0, -interference_at_speed_um(0.0, speed_rpm, hub, shaft))
        return slip_torque_n_m(opened * pressure_per_um(diameter, hub, shaft), diameter, grip, friction)

    return when_both_known(loss, rings, grip_of(case))


def _collet_loss(friction: float, speed_rpm: float, mass_kg: float, bore_mm: float, length_mm: float) -> float:
    return segments_slip_torque_n_m(mass_kg, bore_mm, length_mm, _STEEL_KG_M3, friction, speed_rpm)


def _left(capacity: float, torque: float, loss: float) -> float:
    """Return what is left of a capacity in the proportion of the torque."""
    return capacity * max(0.0, 1.0 - loss / torque) if torque > 0.0 else 0.0


def _interference(shrink: OrMissing[ShrinkJoint]) -> tuple[OrMissing[float], OrMissing[float]]:
    """Return torque and axial capacity by friction at the smallest interference left."""

    def held(joint: ShrinkJoint) -> tuple[float, float]:
        if joint.grip_mm <= 0.0:
            return 0.0, 0.0
        arguments = (joint.pressure_per_um * joint.at_speed_um, joint.diameter_mm, joint.grip_mm, joint.friction)
        return slip_torque_n_m(*arguments), slip_force_n(*arguments)

    both = when_known(held, shrink)
    return when_known(lambda pair: pair[0], both), when_known(lambda pair: pair[1], both)


def _ratio(capacity: OrMissing[float], demand: OrMissing[float] | None) -> OrMissing[float] | None:
    if demand is None or demand == 0.0:
        return None
    return when_both_known(lambda able, asked: min(_MOST, able / asked), capacity, demand)


def _safety(torque: OrMissing[float], axial: OrMissing[float] | None, load: CuttingLoad) -> OrMissing[float] | None:
    parts = [_ratio(torque, load.torque_n_m), None if axial is None else _ratio(axial, load.axial_pull_n)]
    known = [part for part in parts if part is not None]
    if not known:
        return None
    return when_known(lambda values: combined_safety(*values), all_known(known))


def _holding(shrink: OrMissing[ShrinkJoint], load: CuttingLoad) -> OrMissing[float] | None:
    """Return the speed at which the capacity of the remaining interference falls to the cutting load."""
    torsion: OrMissing[float] = 0.0
    if load.torque_n_m is not None:
        diameter = when_known(lambda joint: joint.diameter_mm, shrink)
        torsion = when_both_known(slip_force_from_torque_n, load.torque_n_m, diameter)
    pull: OrMissing[float] = 0.0 if load.axial_pull_n is None else load.axial_pull_n

    def speed(joint: ShrinkJoint, across: float, along: float) -> float | None:
        if joint.grip_mm <= 0.0:
            return 0.0
        force_per_um = slip_force_n(joint.pressure_per_um, joint.diameter_mm, joint.grip_mm, joint.friction)
        needed = (across**2 + along**2) ** 0.5 / force_per_um
        return holding_speed_rpm(joint.least_um, needed, joint.thick_hub, joint.shaft)

    return when_all_known(speed, shrink, torsion, pull)


def grips_of(
    chain: Chain,
    geometry: Positions,
    outlines: tuple[OrMissing[tuple[OutlinePiece, ...]], ...],
    load: CuttingLoad,
    speed: OrMissing[float] | None,
) -> tuple[Grip, ...]:
    """Return the joints that clamp a straight shank, from the spindle side."""
    found = []
    for index, case in enumerate(chain.joints):
        side = clamp_of(case.upper_side)
        if side is None or shank_of(case) is None:
            continue
        grip = grip_of(case)
        shrink: OrMissing[ShrinkJoint] | None = None
        if is_shrink(case):
            # with an unknown programmed speed the capacity is unknown too
            shrink = (
                speed if isinstance(speed, Missing) else shrink_joint_of(index, case, geometry, outlines, speed or 0.0)
            )
        computed = shrink is not None and side.rated_torque_n_m is None
        torque, axial = _rated(case, side, grip)
        if isinstance(side, _LOSE_AT_SPEED) and side.rated_torque_n_m is not None and speed is not None:
            loss = speed if isinstance(speed, Missing) else _loss_n_m(index, case, side, geometry, outlines, speed)
            if axial is not None:
                axial = when_all_known(_left, axial, torque, loss)
            torque = when_all_known(_left, torque, torque, loss)
        if computed and shrink is not None:
            torque, pull = _interference(shrink)
            axial = pull if side.rated_axial_force_n is None else axial
        found.append(
            Grip(
                case,
                index,
                grip,
                "interference" if computed else "rating",
                torque,
                axial,
                _safety(torque, axial, load),
                shrink,
                None if shrink is None else _holding(shrink, load),
            )
        )
    return tuple(found)


def weakest_of(grips: tuple[Grip, ...]) -> Grip | None:
    """Return the joint with the lowest safety factor; None unless the factors of all joints are known."""
    known = [(grip.safety, n) for n, grip in enumerate(grips) if isinstance(grip.safety, float)]
    if len(known) != len(grips) or not known:
        return None
    return grips[min(known)[1]]


def put_strength(fact: Properties, grip: Grip, speed: OrMissing[float] | None) -> None:
    """Add safety factor, hub stress, opening temperature and holding speed of a joint."""
    if grip.safety is not None:
        fact.add("safety_factor", grip.safety)
    if grip.shrink is None:
        return
    side = grip.case.upper_side
    if isinstance(side, ShrinkFit) and side.friction is None:
        fact.add("shrink_friction", friction_row(side, grip.case.lower))
    fact.add("hub_stress_mpa", when_known(lambda joint: joint.hub_stress_mpa, grip.shrink))
    fact.add("hub_yield_mpa", grip.shrink if isinstance(grip.shrink, Missing) else grip.shrink.yield_mpa)
    fact.add("opening_degc", when_known(lambda joint: joint.opening_temperature_c, grip.shrink))
    if speed is not None and grip.holding_speed_rpm is not None:
        fact.add("spindle_speed_rpm", speed)
        fact.add("holding_speed_rpm", grip.holding_speed_rpm)


class UsualTorque(Row):
    """What a clamp usually holds at full grip."""

    seat: str
    diameter_mm: float
    typical_n_m: float
    cautious_n_m: float


@cache
def _usual_torques() -> tuple[UsualTorque, ...]:
    return read_rows("assumed_torques", UsualTorque)


def usual_torque(seat: str, diameter_mm: float) -> tuple[UsualTorque, float] | None:
    """Return the row of the usual torques for a clamp and the share of it that counts for the diameter.

    The capacity grows about with the square of the diameter. Between two listed sizes the smaller one counts.

    Parameters
    ----------
    seat : str
        Coupling of the clamp.
    diameter_mm : float
        Diameter of the shank, mm.

    Returns
    -------
    tuple[UsualTorque, float] | None
        Row and share, at most 1; None for another clamp or a diameter beyond the table.

    Notes
    -----
    Source: the table.

    Examples
    --------
    >>> row, share = usual_torque("hydraulic", 13.0)
    >>> row.typical_n_m, share
    (80.0, 1.0)
    """
    rows = [row for row in _usual_torques() if row.seat == seat]
    if not rows or not rows[0].diameter_mm * 0.4 <= diameter_mm <= rows[-1].diameter_mm:
        return None
    below = [row for row in rows if row.diameter_mm <= diameter_mm]
    row = below[-1] if below else rows[0]
    return row, (diameter_mm / row.diameter_mm) ** 2 if diameter_mm < row.diameter_mm else 1.0


def stated_minimum_grip(case: StackJoint) -> float | None:
    """Return the larger of the minimum grip lengths stated by the two components, mm."""
    side, shank = clamp_of(case.upper_side), shank_of(case)
    stated = [end.minimum_grip_mm for end in (side, shank) if end is not None and end.minimum_grip_mm is not None]
    return max(stated, default=None)


def held_shank_properties(fact: Properties, case: StackJoint) -> None:
    """Add fit and grip length of a joint with a straight shank."""
    shank = case.lower.machine_side
    if isinstance(shank, CylindricalShank) and case.coupling is not None:
        fit_properties(fact, case, shank)
        for name, value in case.coupling.properties(case.ends):
            fact.add(name, value)
        _grip(fact, case, shank)


def _grip(fact: Properties, case: StackJoint, shank: CylindricalShank) -> None:
    side, at = clamp_of(case.upper_side), case.upper_at
    grip = grip_of(case)
    fact.add("grip_length_mm", grip)
    depth = None if side is None else side.depth_mm
    fact.add("bore_depth_mm", or_missing(depth, at, "depth_mm"))
    shank_length = shank.length_mm
    if shank_length is None and isinstance(case.lower.part, GaugePin):
        shank_length = case.lower.part.overall_length_mm
    fact.add("shank_length_mm", or_missing(shank_length, case.lower_at, "length_mm"))
    rated = getattr(side, "rated_torque_n_m", None)
    seat = getattr(side, "coupling", "")
    usual = None if shank.diameter_mm is None else usual_torque(seat, shank.diameter_mm)
    if rated is not None and usual is not None:
        fact.add("rated_torque_n_m", rated)
        fact.add("usual_torque_n_m", usual[0].typical_n_m * usual[1])
    minimum = stated_minimum_grip(case)
    if minimum is not None:
        fact.add("minimum_grip_mm", minimum)
    elif isinstance(side, ColletBore):
        length = or_missing(side.length_mm, at, "length_mm")
        fact.add("collet_length_mm", length)
        fact.add("grip_to_collet_length", when_both_known(lambda g, total: g / total, grip, length))
    else:
        standard = _standard_shank(case, shank)
        fact.add("standard_shank_mm", standard)
        fact.add("grip_to_standard_shank", when_both_known(lambda g, total: g / total, grip, standard))
    if isinstance(side, SideLock) and shank.form == "side_lock_flat" and shank.diameter_mm is not None:
        row = flat("din_6535", "side_lock_flat", shank.diameter_mm)
        if row is not None and row.flat_position_mm is not None and row.flat_width_mm is not None:
            fact.add("flat_end_mm", row.flat_position_mm + row.flat_width_mm / 2.0)
    if case.coupling is not None and case.coupling.round_clamp:
        fact.add("flatted_in_round_clamp", when_known(_has_flat, or_missing(shank.form, case.lower_at, "form")))
    length_properties(fact, case)


def _has_flat(form: str) -> bool:
    return form != "plain"


def _standard_shank(case: StackJoint, shank: CylindricalShank) -> OrMissing[float]:
    length = None if shank.diameter_mm is None else usual_shank_length(shank.diameter_mm)
    return or_missing(length, case.upper_at, "minimum_grip_mm")


def collet_properties(fact: Properties, member: Member) -> None:
    """Add the clamping range of a collet and the capacity of its series."""
    part = member.part
    if part.kind != "collet" or not isinstance(part.workpiece_side, ColletBore):
        return
    side = part.workpiece_side
    largest = largest_shank_mm(side)
    if side.clamping_min_mm is not None and largest is not None:
        fact.add("clamping_span_mm", largest - side.clamping_min_mm)
    if isinstance(part.machine_side, NutCollet) and part.machine_side.size is not None and largest is not None:
        fact.add("collet_largest_mm", largest)
        fact.add("series_capacity_mm", collets.capacity(part.machine_side.size).max_mm)
