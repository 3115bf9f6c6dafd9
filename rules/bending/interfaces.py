"""Stiffness of the spindle seat and the joints of a stack: stated, or assumed between a soft and a stiff end."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from typing import Final, NamedTuple

from rules.bending.beam import Spring
from rules.couplings.sides import COUPLINGS
from rules.grip.fits import shank_of
from rules.quantities.missing import Missing, OrMissing
from rules.quantities.models import construct
from rules.quantities.tables import Row, read_rows
from rules.schema.report import JointEnds
from rules.stack.chain import SPINDLE, Chain, StackJoint
from rules.stack.outlines import OutlinePiece
from rules.stack.positions import Positions

__all__ = ["Band", "Interface", "InterfaceStiffness", "SpringValue", "interfaces_of", "on_boundaries"]

_MODULUS_N_PER_MM2: Final = 210e3
"""Young's modulus of steel, by which the table scales."""
_N_PER_MM: Final = 1e3
"""N/mm in one N/µm."""
_N_MM_PER_RAD: Final = 1e6
"""N·mm/rad in one N·m/mrad."""
_TOUCHING_MM: Final = 1e-3
"""Distance within which an outline touches a joint."""


class InterfaceStiffness(Row):
    """Assumed stiffness of one kind of interface, as factors of E·D³ and E·D."""

    interface: str
    tilting_soft: float
    tilting_stiff: float
    radial_soft: float
    radial_stiff: float


@cache
def _assumed() -> dict[str, InterfaceStiffness]:
    return {row.interface: row for row in read_rows("interface_stiffness", InterfaceStiffness)}


class Band(NamedTuple):
    """A figure with soft, typical and stiff joints, in the order of the springs; equal where all are stated."""

    soft: float
    typical: float
    stiff: float

    @property
    def low(self) -> float:
        """The smaller end."""
        return min(self.soft, self.stiff)

    @property
    def high(self) -> float:
        """The larger end."""
        return max(self.soft, self.stiff)


class SpringValue(NamedTuple):
    """One stiffness of an interface, N/µm or N·m/mrad."""

    at: str
    """JSON Pointer of the field that states it, or would."""
    band: Band
    assumed: InterfaceStiffness | None
    """Row of the table where it is assumed."""


class Interface(NamedTuple):
    """The spindle, its seat or a joint, as a spring."""

    z_mm: float
    joint: JointEnds | None
    """None for the spindle itself."""
    radial: SpringValue | None
    tilting: SpringValue | None

    @property
    def assumed(self) -> tuple[SpringValue, ...]:
        """The stiffnesses that are assumed."""
        return tuple([one for one in (self.radial, self.tilting) if one is not None and one.assumed is not None])

    def springs(self) -> tuple[Spring, Spring, Spring]:
        """The spring with soft, typical and stiff joints."""
        radial, tilting = self.radial, self.tilting
        soft, typical, stiff = (
            Spring(
                self.z_mm,
                None if radial is None else radial.band[level] * _N_PER_MM,
                None if tilting is None else tilting.band[level] * _N_MM_PER_RAD,
            )
            for level in range(3)
        )
        return soft, typical, stiff


def _stated(value: float | None, at: str) -> SpringValue | None:
    return None if value is None else SpringValue(at, Band(value, value, value), None)


def _between(soft: float, stiff: float, scale: float, at: str, row: InterfaceStiffness) -> SpringValue:
    return SpringValue(at, Band(soft * scale, math.sqrt(soft * stiff) * scale, stiff * scale), row)


def _outer_at(outlines: Sequence[OrMissing[tuple[OutlinePiece, ...]]], z_mm: float, *, beyond: bool) -> float | None:
    """Return the largest outer diameter just before or just beyond a position; None where nothing is drawn."""
    found = 0.0
    for outline in outlines:
        if isinstance(outline, Missing):
            continue
        for piece in outline:
            before, after = z_mm - piece.from_mm, piece.to_mm - z_mm
            if (
                (before >= -_TOUCHING_MM and after > _TOUCHING_MM)
                if beyond
                else (before > _TOUCHING_MM and after >= -_TOUCHING_MM)
            ):
                share = min(1.0, max(0.0, before / (before + after)))
                found = max(found, piece.start_mm + share * (piece.end_mm - piece.start_mm))
    return found or None


def _diameter(
    case: StackJoint | None, chain: Chain, outlines: Sequence[OrMissing[tuple[OutlinePiece, ...]]], z_mm: float
) -> float | None:
    """Return the diameter that the stiffness of an interface scales with; None where nothing states it."""
    lower = chain.members[0] if case is None else case.lower
    side = lower.machine_side
    if side is not None:
        flange = COUPLINGS[side.coupling].flange_diameter(side)
        if flange is not None:
            return flange
    if case is not None and case.joint_class == "grip":
        shank = shank_of(case)
        if shank is not None and shank.diameter_mm is not None:
            return shank.diameter_mm
    beyond = _outer_at(outlines, z_mm, beyond=True)
    if case is None or case.upper is None:
        return beyond
    before = _outer_at(outlines, z_mm, beyond=False)
    return min([one for one in (before, beyond) if one is not None], default=None)


def _interface(
    case: StackJoint | None, chain: Chain, outlines: Sequence[OrMissing[tuple[OutlinePiece, ...]]], z_mm: float
) -> Interface | None:
    """Return the seat in the spindle or a joint; a stiffness that is not stated is assumed."""
    at_spindle = case is None or case.upper is None
    stated = None if case is None else case.statement
    at = "/stack/joints/-" if case is None else case.statement_at
    radial_at, tilting_at = f"{at}/radial_stiffness_n_per_um", f"{at}/tilting_stiffness_n_m_per_mrad"
    radial = tilting = None
    if stated is not None:
        radial = _stated(stated.radial_stiffness_n_per_um, radial_at)
        tilting = _stated(stated.tilting_stiffness_n_m_per_mrad, tilting_at)
    lower = chain.members[0] if case is None else case.lower
    if radial is None or tilting is None:
        diameter = None if lower.part.kind == "collet" else _diameter(case, chain, outlines, z_mm)
        if diameter is not None:
            coupling = "" if lower.machine_side is None else lower.machine_side.coupling
            rows = _assumed()
            row = rows.get(coupling, rows["spindle_seat" if at_spindle else "joint"])
            stiffness = _MODULUS_N_PER_MM2 * diameter
            if radial is None:
                radial = _between(row.radial_soft, row.radial_stiff, stiffness / _N_PER_MM, radial_at, row)
            if tilting is None:
                scale = stiffness * diameter**2 / _N_MM_PER_RAD
                tilting = _between(row.tilting_soft, row.tilting_stiff, scale, tilting_at, row)
    if radial is None and tilting is None:
        return None
    joint = construct(JointEnds, upper=SPINDLE, lower=lower.part.id) if case is None else case.ends_named
    return Interface(z_mm, joint, radial, tilting)


def interfaces_of(
    chain: Chain, geometry: Positions, outlines: Sequence[OrMissing[tuple[OutlinePiece, ...]]]
) -> list[Interface]:
    """Return the spindle where stated, its seat, and every joint with a known position, from the gauge line.

    The seat of a collet counts with the joint of the shank in it, unless it is stated.
    """
    found: list[Interface | None] = []
    machine = chain.machine
    if machine is not None:
        radial = _stated(machine.spindle_radial_stiffness_n_per_um, "/machine/spindle_radial_stiffness_n_per_um")
        tilting = _stated(
            machine.spindle_tilting_stiffness_n_m_per_mrad, "/machine/spindle_tilting_stiffness_n_m_per_mrad"
        )
        if radial is not None or tilting is not None:
            found.append(Interface(0.0, None, radial, tilting))
    if chain.members:
        found.append(_interface(chain.spindle_joint, chain, outlines, 0.0))
    for index, case in enumerate(chain.joints):
        face = geometry.places[index].face
        if not isinstance(face, Missing):
            found.append(_interface(case, chain, outlines, face))
    return [one for one in found if one is not None]


def on_boundaries(interfaces: Sequence[Interface], ends: Sequence[float]) -> list[Interface]:
    """Return the interfaces moved to the nearest end of a piece of the beam, which differs only by rounding."""
    return [
        one._replace(z_mm=min(ends, key=lambda end, at=one.z_mm: abs(end - at)))  # type: ignore[misc]
        for one in interfaces
    ]
