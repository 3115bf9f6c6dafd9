"""Positions along the axis, mm: zero at the gauge line, positive toward the tip."""

from __future__ import annotations

from typing import Final, Literal, NamedTuple

from rules.couplings.definition import End
from rules.couplings.sides import COUPLINGS
from rules.couplings.straight_shank import ColletBore
from rules.quantities.missing import (
    Missing,
    OrMissing,
    or_missing,
    value_or,
    when_all_known,
    when_both_known,
    when_known,
)
from rules.quantities.models import MIN_LENGTH_MM
from rules.schema.components import Cutter, GaugePin, StackPart
from rules.schema.request import DEFAULT_POLICY
from rules.stack.chain import Chain, Member, StackJoint

__all__ = [
    "Position",
    "Positions",
    "StatedPlane",
    "Surface",
    "Zone",
    "grip_of",
    "positions_on_axis",
    "profile_length",
    "readable_zones",
    "reading_plane",
    "stated_plane",
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
    """Point about which it tilts: contact face, gauge line or mouth of the grip, or the middle of the seat."""
    lever: OrMissing[float]
    """Length across which a particle in the seat tilts it: the contact ring, else the seat."""


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


def _taper_lever(member: Member, seat: OrMissing[float]) -> OrMissing[float]:
    """Return the lever of a particle in the seat of a taper."""
    side = member.machine_side
    if side is None:
        return seat
    found = COUPLINGS[side.coupling].contact_diameter(End(side, f"{member.at}/machine_side", member.part.kind))
    return seat if found is None else found


def _pivot(member: Member, face: OrMissing[float], seat: OrMissing[float]) -> OrMissing[float]:
    """Return the point about which a component in a seat of its own coupling tilts."""
    side = member.machine_side
    if side is not None and COUPLINGS[side.coupling].tilts_about_face:
        return face
    return when_both_known(_middle, face, seat)


def _first_place(member: Member) -> Position:
    seat = _taper_seat(member)
    face = _stated_or_profile(member, "gauge_length_mm")
    return Position(0.0, face, seat, _pivot(member, 0.0, seat), _taper_lever(member, seat))


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
    lower = case.lower
    if lower.part.kind == "collet":
        seat = _collet_length(lower)
        return Position(when_both_known(_before, face, seat), face, seat, _pivot(lower, face, seat), seat)
    if case.joint_class == "grip":
        seat = grip_of(case)
        # the collet's own taper decides where its bore grips first
        held_by = None if case.upper is None or case.upper.part.kind != "collet" else case.upper
        pivot = when_both_known(_middle, upper_face, seat) if held_by is None else _pivot(held_by, upper_face, seat)
        return Position(when_both_known(_before, upper_face, seat), face, seat, pivot, seat)
    seat = _taper_seat(lower)
    return Position(upper_face, face, seat, _pivot(lower, upper_face, seat), _taper_lever(lower, seat))


def _gauge_plane(chain: Chain, last_face: OrMissing[float], tip: OrMissing[float]) -> OrMissing[float]:
    stated = chain.request.gauge_plane
    if stated is not None:
        zero = 0.0 if stated.datum == "gauge_line" else last_face
        return when_known(lambda face: face + stated.distance_mm, zero)
    return _policy_plane(chain, last_face, tip)


def _policy_plane(chain: Chain, last_face: OrMissing[float], tip: OrMissing[float]) -> OrMissing[float]:
    policy = chain.request.policy or DEFAULT_POLICY
    if isinstance(tip, Missing) and tip is _NO_TOOL:
        return tip
    if chain.joints and chain.joints[-1].joint_class != "grip":
        return tip
    multiple = policy.gauge_plane_diameters
    # never beyond the tool
    return when_all_known(
        lambda face, diameter, end: min(face + multiple * diameter, end),
        last_face,
        tool_diameter(chain.members[-1]),
        tip,
    )


READING_MARGIN_MM: Final = 1.0
"""Distance of an indicator from the end of the plain length, mm; proposed by this project."""

_LEAST_READING: Final = 0.5
"""Least distance of a reading from the last clamping face, in diameters; proposed by this project."""


class StatedPlane(NamedTuple):
    """Stated gauge plane beside the policy's."""

    distance_mm: float
    policy_mm: OrMissing[float]
    """Distance of the policy's plane from the same datum."""
    readable: bool
    """False where the clamp leaves an indicator no room, or where that is not known."""


def stated_plane(chain: Chain, positions: Positions) -> StatedPlane | None:
    """Return the stated gauge plane beside the policy's; None where none is stated."""
    stated, face = chain.request.gauge_plane, positions.last_clamping_face
    if stated is None or not chain.members:
        return None
    zero = 0.0 if stated.datum == "gauge_line" else face
    policy = when_both_known(lambda plane, datum: plane - datum, _policy_plane(chain, face, positions.tip), zero)
    least = when_both_known(
        lambda start, diameter: start + _LEAST_READING * diameter, face, tool_diameter(chain.members[-1])
    )
    readable = when_both_known(lambda plane, nearest: plane >= nearest, positions.gauge_plane, least)
    return StatedPlane(stated.distance_mm, policy, value_or(readable, fallback=False))


def reading_plane(chain: Chain, positions: Positions) -> float | None:
    """Return the plane to read instead of a gauge plane on the flutes, from the gauge line.

    It is on the plain length of the cutting tool, the projection less the flutes with their run-out. None where the
    gauge plane can be read or is stated, where the flutes begin too close to the face, and where lengths are not known.
    """
    last = chain.members[-1] if chain.members else None
    face, plane, tip = positions.last_clamping_face, positions.gauge_plane, positions.tip
    if last is None or isinstance(face, Missing) or isinstance(plane, Missing) or isinstance(tip, Missing):
        return None
    diameter = tool_diameter(last)
    flutes = last.part.flute_length_mm if isinstance(last.part, Cutter) else None
    if flutes is None or isinstance(diameter, Missing) or chain.request.gauge_plane is not None:
        return None
    plain = tip - face - flutes - READING_MARGIN_MM
    return face + plain if _LEAST_READING * diameter <= plain < plane - face else None


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


class Zone(NamedTuple):
    """A surface of the cutting tool or gauge pin that an indicator can reach, from the gauge line, mm."""

    surface: Literal["pin", "plain_shank", "flutes"]
    start_mm: float
    end_mm: float


def readable_zones(chain: Chain, positions: Positions) -> tuple[Zone, ...]:
    """Return what an indicator can reach between the last clamping face and the tip, in order; :func:`surface_at`.

    Empty where face, tip or flute length are not known.
    """
    last = chain.members[-1] if chain.members else None
    face, tip = positions.last_clamping_face, positions.tip
    if last is None or not last.is_tool or isinstance(face, Missing) or isinstance(tip, Missing):
        return ()
    if isinstance(last.part, GaugePin):
        return (Zone("pin", face, tip),)
    length = last.part.flute_length_mm if isinstance(last.part, Cutter) else None
    if length is None:
        return ()
    flutes = max(face, tip - length)
    zones = (Zone("plain_shank", face, flutes), Zone("flutes", flutes, tip))
    return tuple(one for one in zones if one.end_mm - one.start_mm > MIN_LENGTH_MM)
