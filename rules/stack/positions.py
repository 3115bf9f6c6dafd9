"""Positions along the axis, mm: zero at the gauge line, positive toward the tip."""

from __future__ import annotations

from typing import Final, Literal, NamedTuple

from rules.couplings.definition import End
from rules.couplings.sides import COUPLINGS
from rules.couplings.straight_shank import ColletBore
from rules.quantities.missing import Missing, OrMissing, or_missing, when_both_known, when_known
from rules.quantities.models import MIN_LENGTH_MM
from rules.schema.components import Cutter, GaugePin, StackPart
from rules.schema.request import DEFAULT_POLICY
from rules.stack.chain import Chain, Member, StackJoint

__all__ = [
    "Position",
    "Positions",
    "Surface",
    "grip_of",
    "positions_on_axis",
    "profile_length",
    "surface_at",
    "tool_diameter",
]

Surface = Literal["clamped", "round", "flutes", "none"]
"""What an indicator meets at a plane."""

_NO_TOOL: Final = Missing(("/stack/components/-",))


class Position(NamedTuple):
    """Position of one component, mm from the gauge line."""

    start: OrMissing[float]
    """Gauge line or contact face, or machine-side end where it has neither."""
    face: OrMissing[float]
    """Workpiece-side face; the tip of a cutting tool or pin."""
    seat_length: OrMissing[float]
    """Length of its seat."""
    pivot: OrMissing[float]
    """Middle of the seat, about which it tilts."""


class Positions(NamedTuple):
    """Positions of the whole stack."""

    places: tuple[Position, ...]
    projections: tuple[OrMissing[float], ...]
    """Per joint: projection of the lower component from the face of the upper one."""
    last_clamping_face: OrMissing[float]
    gauge_plane: OrMissing[float]
    tip: OrMissing[float]


def profile_length(part: StackPart) -> float | None:
    """Return the length of the outline, or None where none is stated."""
    profile = part.profile
    return sum([piece.length_mm for piece in profile]) if profile else None


def tool_diameter(member: Member) -> OrMissing[float]:
    """Return the reference diameter for multiples of D: that of the cutting tool or the pin."""
    if isinstance(member.part, Cutter):
        return or_missing(member.part.cutting_diameter_mm, member.at, "cutting_diameter_mm")
    side = member.machine_side
    return or_missing(getattr(side, "diameter_mm", None), member.at, "machine_side/diameter_mm")


def _stated_or_profile(member: Member, field: str) -> OrMissing[float]:
    """Return a stated length, else that of the outline; for a kind without such a field, the outline is missing."""
    known = hasattr(member.part, field)
    stated: float | None = getattr(member.part, field) if known else None
    length = profile_length(member.part) if stated is None else stated
    return or_missing(length, member.at, field if known else "profile")


def _taper_seat(member: Member) -> OrMissing[float]:
    """Return the length of a taper seat by its table, else as stated."""
    part = member.part
    stated = part.seat_length_mm if part.kind == "base_holder" else None
    side = member.machine_side
    length: OrMissing[float] | None = stated
    if length is None and side is not None:
        length = COUPLINGS[side.coupling].seat_length(End(side, f"{member.at}/machine_side", part.kind))
    field = "seat_length_mm" if part.kind == "base_holder" else "runout/statements/1"
    return or_missing(length, member.at, field)


def _first_place(member: Member) -> Position:
    seat = _taper_seat(member)
    return Position(0.0, _stated_or_profile(member, "gauge_length_mm"), seat, when_both_known(_middle, 0.0, seat))


def _projection(case: StackJoint) -> OrMissing[float]:
    """Return the projection of the lower component, as stated or from its lengths."""
    lower = case.lower
    if case.statement is not None and case.statement.projection_mm is not None:
        return case.statement.projection_mm
    if lower.part.kind == "collet":
        return lower.part.face_projection_mm or 0.0
    if case.joint_class == "grip":
        return when_both_known(
            lambda overall, grip: max(0.0, overall - grip),
            _stated_or_profile(lower, "overall_length_mm"),
            grip_of(case),
        )
    return _stated_or_profile(lower, "gauge_length_mm")


def grip_of(case: StackJoint) -> OrMissing[float]:
    """Return the grip length of a joint that clamps a straight shank."""
    stated = None if case.statement is None else case.statement.grip_length_mm
    overall: float | None = getattr(case.lower.part, "overall_length_mm", None)
    if stated is None and case.statement is not None and case.statement.projection_mm is not None and overall:
        stated = max(0.0, overall - case.statement.projection_mm)
    return or_missing(stated, case.statement_at, "grip_length_mm")


def _collet_length(member: Member) -> OrMissing[float]:
    side = member.part.workpiece_side if member.part.kind == "collet" else None
    length = side.length_mm if isinstance(side, ColletBore) else None
    return or_missing(profile_length(member.part) if length is None else length, member.at, "workpiece_side/length_mm")


def _before(end: float, length: float) -> float:
    return end - length


def _middle(end: float, length: float) -> float:
    return end - length / 2.0


def _joined_place(case: StackJoint, upper_face: OrMissing[float], projection: OrMissing[float]) -> Position:
    face = when_both_known(lambda upper, length: upper + length, upper_face, projection)
    if case.lower.part.kind == "collet":
        seat = _collet_length(case.lower)
        return Position(when_both_known(_before, face, seat), face, seat, when_both_known(_middle, face, seat))
    if case.joint_class == "grip":
        seat = grip_of(case)
        start = when_both_known(_before, upper_face, seat)
    else:
        seat = _taper_seat(case.lower)
        start = upper_face
    return Position(start, face, seat, when_both_known(_middle, upper_face, seat))


def _gauge_plane(chain: Chain, last_face: OrMissing[float], tip: OrMissing[float]) -> OrMissing[float]:
    stated, policy = chain.request.gauge_plane, chain.request.policy or DEFAULT_POLICY
    if stated is not None:
        zero = 0.0 if stated.datum == "gauge_line" else last_face
        return when_known(lambda face: face + stated.distance_mm, zero)
    if isinstance(tip, Missing) and tip is _NO_TOOL:
        return tip
    if chain.joints and chain.joints[-1].joint_class != "grip":
        return tip
    multiple = policy.gauge_plane_diameters
    return when_both_known(
        lambda face, diameter: face + multiple * diameter, last_face, tool_diameter(chain.members[-1])
    )


def positions_on_axis(chain: Chain) -> Positions:
    """Return the positions of all components of the chain."""
    places: list[Position] = []
    projections: list[OrMissing[float]] = []
    if chain.members:
        places.append(_first_place(chain.members[0]))
    for case in chain.joints:
        projections.append(_projection(case))
        places.append(_joined_place(case, places[-1].face, projections[-1]))
    has_tool = bool(chain.members) and chain.members[-1].is_tool
    tip = places[-1].face if has_tool else _NO_TOOL
    last_face: OrMissing[float] = places[-2].face if len(places) > 1 else _NO_TOOL
    return Positions(tuple(places), tuple(projections), last_face, _gauge_plane(chain, last_face, tip), tip)


def surface_at(chain: Chain, positions: Positions, z_mm: float) -> Surface | None:
    """Return what an indicator meets on the cutting tool or gauge pin at z from the gauge line.

    None where that is not known: without a tool, its tip or its flute length.
    """
    last = chain.members[-1] if chain.members else None
    face, tip = positions.last_clamping_face, positions.tip
    if last is None or not last.is_tool:
        return None
    if isinstance(face, float) and z_mm < face - MIN_LENGTH_MM:
        return "clamped"
    if isinstance(tip, Missing):
        return None
    if z_mm > tip + MIN_LENGTH_MM:
        return "none"
    if isinstance(last.part, GaugePin):
        return "round"
    flutes = last.part.flute_length_mm if isinstance(last.part, Cutter) else None
    if flutes is None:
        return None
    return "flutes" if tip - flutes < z_mm else "round"
