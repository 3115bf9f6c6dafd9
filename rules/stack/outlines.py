"""Outline of each component along the axis of the stack, and its material."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from typing import Final, NamedTuple

from rules.quantities.missing import Missing, OrMissing, or_missing
from rules.quantities.tables import Row, UnknownEntryError, read_rows
from rules.schema.components import ProfilePiece
from rules.stack.chain import Member
from rules.stack.positions import Position

__all__ = [
    "OutlinePiece",
    "bore_within",
    "density_of",
    "expansion_of",
    "has_no_wall",
    "material",
    "materials",
    "narrow_end",
    "outer_within",
    "outline_of",
    "poisson_ratio_of",
    "thinnest_wall",
    "yield_of",
    "youngs_modulus_of",
]


_LEAST_WALL_MM: Final = 1e-5
"""Thinnest wall, mm; below it, outer diameter and bore are equal."""


class OutlinePiece(NamedTuple):
    """A positioned piece of an outline: ends in mm from the gauge line, diameters in mm."""

    from_mm: float
    to_mm: float
    start_mm: float
    end_mm: float
    bore_mm: float


def narrow_end(piece: ProfilePiece) -> float:
    """Return the smaller outer diameter of a piece, mm."""
    outer, end = piece.outer_mm, piece.outer_end_mm
    return end if end and end < outer else outer


def thinnest_wall(profile: Sequence[ProfilePiece]) -> float:
    """Return the thinnest wall of an outline, mm; zero or less means the bore breaks through."""
    thinnest = math.inf
    for piece in profile:
        wall = narrow_end(piece) - (piece.bore_mm or 0.0)
        if wall < thinnest:
            thinnest = wall
    return thinnest / 2.0


def has_no_wall(profile: Sequence[ProfilePiece]) -> bool:
    """Whether a piece has no wall, so that the outline gives neither mass nor bending."""
    return thinnest_wall(profile) < _LEAST_WALL_MM


def outline_of(member: Member, place: Position) -> OrMissing[tuple[OutlinePiece, ...]]:
    """Return the positioned pieces of a component.

    Those of a base holder begin at the gauge line; those of any other component end at its workpiece-side face or its
    tip.
    """
    profile = member.part.profile
    if not profile or has_no_wall(profile):
        return Missing((f"{member.at}/profile",))
    if member.part.kind == "base_holder":
        position = 0.0
    elif isinstance(place.face, Missing):
        return place.face
    else:
        position = place.face - sum([piece.length_mm for piece in profile])
    pieces = []
    for piece in profile:
        end = position + piece.length_mm
        pieces.append(
            OutlinePiece(position, end, piece.outer_mm, piece.outer_end_mm or piece.outer_mm, piece.bore_mm or 0.0)
        )
        position = end
    return tuple(pieces)


def _touching(pieces: Sequence[OutlinePiece], from_mm: float, to_mm: float) -> list[OutlinePiece]:
    return [piece for piece in pieces if piece.from_mm < to_mm and piece.to_mm > from_mm]


def outer_within(pieces: Sequence[OutlinePiece], from_mm: float, to_mm: float) -> tuple[float, float] | None:
    """Return the smallest and largest outer diameter between two positions, mm; None outside the outline."""
    found = [outer for piece in _touching(pieces, from_mm, to_mm) for outer in _outer_at_ends(piece, from_mm, to_mm)]
    return (min(found), max(found)) if found else None


def bore_within(pieces: Sequence[OutlinePiece], from_mm: float, to_mm: float) -> tuple[float, float] | None:
    """Return the smallest and largest bore between two positions, mm; None outside the outline."""
    found = [piece.bore_mm for piece in _touching(pieces, from_mm, to_mm)]
    return (min(found), max(found)) if found else None


def _outer_at_ends(piece: OutlinePiece, from_mm: float, to_mm: float) -> tuple[float, float]:
    slope = (piece.end_mm - piece.start_mm) / (piece.to_mm - piece.from_mm)
    first, last = max(piece.from_mm, from_mm), min(piece.to_mm, to_mm)
    return piece.start_mm + slope * (first - piece.from_mm), piece.start_mm + slope * (last - piece.from_mm)


class Material(Row):
    """A material with round values for estimates."""

    material: str
    title: str
    density_kg_m3: float
    youngs_modulus_gpa: float
    poisson_ratio: float
    yield_mpa: float | None
    expansion_1e6_per_k: float


@cache
def _materials() -> dict[str, Material]:
    return {row.material: row for row in read_rows("materials", Material)}


def materials() -> tuple[str, ...]:
    """Return the names of the materials."""
    return tuple(_materials())


def material(name: str) -> Material:
    """Return a material by name; raises :class:`UnknownEntryError` for an unknown one.

    >>> material("steel").density_kg_m3
    7850.0
    """
    found = _materials().get(name)
    if found is None:
        raise UnknownEntryError("materials", name, materials())
    return found


def _tabled(member: Member) -> Material | Missing:
    name = member.part.material
    return Missing((f"{member.at}/material",)) if name is None else material(name)


def density_of(member: Member) -> OrMissing[float]:
    """Return the density, kg/m³."""
    if member.part.density_kg_m3 is not None:
        return member.part.density_kg_m3
    tabled = _tabled(member)
    return tabled if isinstance(tabled, Missing) else tabled.density_kg_m3


def youngs_modulus_of(member: Member) -> OrMissing[float]:
    """Return Young's modulus, GPa."""
    if member.part.youngs_modulus_gpa is not None:
        return member.part.youngs_modulus_gpa
    tabled = _tabled(member)
    return tabled if isinstance(tabled, Missing) else tabled.youngs_modulus_gpa


def poisson_ratio_of(member: Member) -> OrMissing[float]:
    """Return Poisson's ratio."""
    tabled = _tabled(member)
    return tabled if isinstance(tabled, Missing) else tabled.poisson_ratio


def expansion_of(member: Member) -> OrMissing[float]:
    """Return the coefficient of linear thermal expansion, 1e-6/K."""
    tabled = _tabled(member)
    return tabled if isinstance(tabled, Missing) else tabled.expansion_1e6_per_k


def yield_of(member: Member) -> OrMissing[float]:
    """Return the yield stress, MPa; the table has none where it depends on grade and hardness."""
    if member.part.yield_mpa is not None:
        return member.part.yield_mpa
    tabled = _tabled(member)
    if isinstance(tabled, Missing):
        return Missing((f"{member.at}/yield_mpa",))
    return or_missing(tabled.yield_mpa, member.at, "yield_mpa")
