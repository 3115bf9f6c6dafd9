"""Projection and clearance of a positioned stack, compared with the requirement of the search."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from rules.quantities.missing import Missing, OrMissing
from rules.quantities.rounding import rounded
from rules.schema.components import Collet
from rules.schema.search import ClearanceZone, Projection, Reason, Requirement
from rules.search.plan import CLEARANCE, NO_HOLDER, TOLERANCE_MM, TOO_LONG, TOO_SHORT, cutting_part_too_wide
from rules.stack.chain import Chain
from rules.stack.outlines import outer_within, outline_of
from rules.stack.positions import Positions

__all__ = ["TITLES", "Kept", "NotKnown", "kept_by", "not_known_reason", "reached_of"]

TITLES: Final[Mapping[str, str]] = MappingProxyType(
    {
        TOO_SHORT: "Projection too short",
        TOO_LONG: "Projection too long",
        CLEARANCE: "Wider than the clearance",
        NO_HOLDER: "No way to a spindle holder",
        "REQ-050": "Projection not known",
        "REQ-060": "Clearance not known",
    }
)
"""Titles of the reasons of the search itself, by code."""

_FROM: Final = {"gauge_line": "the gauge line", "last_clamping_face": "the last clamping face"}


NotKnown = Literal["projection", "clearance"]

_NOT_KNOWN: Final[Mapping[NotKnown, tuple[str, str]]] = MappingProxyType(
    {
        "projection": ("REQ-050", "A length or grip that the projection needs is not stated."),
        "clearance": ("REQ-060", "The outline of a part that may lie within the required clearance is not stated."),
    }
)


@dataclass(frozen=True, slots=True)
class Kept:
    """Reasons against a stack, and requirements that could not be decided."""

    reasons: tuple[Reason, ...]
    not_known: tuple[NotKnown, ...]


def kept_by(requirement: Requirement, chain: Chain, geometry: Positions) -> Kept:
    """Compare a stack, with every part in position, with the requirement."""
    reasons: list[Reason] = []
    not_known: list[NotKnown] = []
    if requirement.projection is not None:
        reached = reached_of(requirement.projection, geometry)
        if isinstance(reached, Missing):
            not_known.append("projection")
        else:
            reasons.extend(_projection(requirement.projection, reached))
    if requirement.clearance is not None:
        if isinstance(geometry.tip, Missing):
            not_known.append("clearance")
        else:
            wide, unknown = _clearance(requirement.clearance, chain, geometry, geometry.tip)
            reasons.extend(wide)
            if unknown and not wide:
                not_known.append("clearance")
    return Kept(tuple(reasons), tuple(not_known))


def not_known_reason(part: NotKnown) -> Reason:
    """Return the reason why a requirement could not be decided."""
    return _reason(*_NOT_KNOWN[part])


def reached_of(wanted: Projection, geometry: Positions) -> OrMissing[float]:
    """Return the projection of the tip from the datum of the requirement, mm."""
    return geometry.tip if wanted.datum == "gauge_line" else geometry.projections[-1]


def _projection(wanted: Projection, reached: float) -> Iterator[Reason]:
    actual = f"The tip projects {rounded(reached, 'mm'):g} mm from {_FROM[wanted.datum]}"
    if wanted.at_least_mm is not None and reached < wanted.at_least_mm - TOLERANCE_MM:
        yield _reason(TOO_SHORT, f"{actual}; the minimum is {wanted.at_least_mm:g} mm.")
    if wanted.at_most_mm is not None and reached > wanted.at_most_mm + TOLERANCE_MM:
        yield _reason(TOO_LONG, f"{actual}; the maximum is {wanted.at_most_mm:g} mm.")


def _clearance(zones: list[ClearanceZone], chain: Chain, geometry: Positions, tip: float) -> tuple[list[Reason], bool]:
    wide: list[Reason] = []
    unknown = False
    for number, (member, place) in enumerate(zip(chain.members, geometry.places, strict=True)):
        outline = outline_of(member, place)
        for zone in zones:
            from_mm, to_mm = tip - zone.to_mm + TOLERANCE_MM, tip - zone.from_mm - TOLERANCE_MM
            if from_mm >= to_mm:
                continue
            if isinstance(outline, Missing):
                unknown |= _may_lie_within(chain, geometry, number, from_mm, to_mm)
                continue
            found = outer_within(outline, from_mm, to_mm)
            if found is not None and found[1] / 2.0 > zone.radius_mm + TOLERANCE_MM:
                wide.append(_too_wide(member.part.id, found[1] / 2.0, zone))
    tool = chain.members[-1].part
    if not any(one.message.startswith(f"{tool.id} ") for one in wide) and cutting_part_too_wide(tool, zones):
        wide.append(_reason(CLEARANCE, f"{tool.id} cuts wider than the clearance at the tip."))
    return wide, unknown


def _may_lie_within(chain: Chain, geometry: Positions, number: int, from_mm: float, to_mm: float) -> bool:
    """Whether a part without an outline may be exposed in a zone; a collet flush with its socket is not exposed."""
    place = geometry.places[number]
    if number == 0:
        start: OrMissing[float] = 0.0
    else:
        start = geometry.places[number - 1].face
        if isinstance(chain.members[number].part, Collet) and geometry.projections[number - 1] == 0.0:
            return False
    if isinstance(start, Missing) or isinstance(place.face, Missing):
        return True
    return start < to_mm and place.face > from_mm


def _too_wide(name: str, radius: float, zone: ClearanceZone) -> Reason:
    return _reason(
        CLEARANCE,
        f"{name} has a radius of {rounded(radius, 'mm'):g} mm between {zone.from_mm:g} and {zone.to_mm:g} mm from the"
        f" tip; the clearance is {zone.radius_mm:g} mm.",
    )


def _reason(code: str, message: str) -> Reason:
    return Reason(code=code, title=TITLES[code], message=message)
