"""Interference, stress, holding speed and opening temperature of the shrink-fit joints of a stack."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache
from typing import Literal, NamedTuple

from rules.couplings.straight_shank import ShrinkFit
from rules.grip.fits import clearance_of, shank_of
from rules.grip.formulas import (
    Ring,
    effective_interference_um,
    hub_stress_mpa,
    interference_at_speed_um,
    opening_temperature_c,
    pressure_per_um,
    release_speed_rpm,
)
from rules.quantities.missing import Missing, OrMissing, when_all_known, when_both_known, when_known
from rules.quantities.tables import Row, TableError, read_rows
from rules.stack.chain import Member, StackJoint
from rules.stack.outlines import (
    OutlinePiece,
    bore_within,
    density_of,
    expansion_of,
    outer_within,
    poisson_ratio_of,
    yield_of,
    youngs_modulus_of,
)
from rules.stack.positions import Positions, grip_of

__all__ = [
    "ShrinkJoint",
    "ShrinkJointValue",
    "friction_row",
    "is_shrink",
    "opening_rings",
    "shrink_joint",
    "shrink_joint_from",
    "shrink_joint_of",
]


class ShrinkJointValue(Row):
    """One value with its unit and source."""

    quantity: str
    value: float
    unit: str
    meaning: str


@dataclass(frozen=True, slots=True)
class ShrinkJointRow:
    """Values by name: ratios and factors without unit, temperature in °C."""

    friction: float
    friction_heated: float
    friction_degreased: float
    joining_play_share: float
    smoothing_most: float
    smoothing_least: float
    reference_temperature_c: float


def shrink_joint_from(rows: tuple[ShrinkJointValue, ...]) -> ShrinkJointRow:
    """Return the values of rows by name; raises :class:`TableError` for a missing or an unknown one."""
    values = {row.quantity: row.value for row in rows}
    known = {field.name for field in fields(ShrinkJointRow)}
    if difference := known ^ values.keys():
        raise TableError(f"shrink_joint.yaml: rows and named values differ in {', '.join(sorted(difference))}")
    return ShrinkJointRow(**values)


@cache
def shrink_joint() -> ShrinkJointRow:
    """Return the values, read once.

    >>> shrink_joint().friction
    0.12
    """
    return shrink_joint_from(read_rows("shrink_joint", ShrinkJointValue))


class ShrinkJoint(NamedTuple):
    """One shrink-fit joint by Lamé's equations; interferences are on the diameter, after smoothing."""

    diameter_mm: float
    grip_mm: float
    friction: float
    thick_hub: Ring
    """The hub with its largest outside diameter over the grip length, which expands most at speed."""
    shaft: Ring
    least_um: float
    most_um: float
    pressure_per_um: float
    """Pressure in MPa per µm of interference, where the hub is thinnest."""
    at_speed_um: float
    """Smallest interference left at the programmed speed, or at rest without one."""
    hub_stress_mpa: float
    """Von Mises stress at the bore at the largest interference and the programmed speed; the larger of thinnest and
    thickest section."""
    yield_mpa: OrMissing[float]
    release_speed_rpm: float | None
    """Speed at which the smallest interference is lost; None if no speed releases the joint."""
    opening_temperature_c: OrMissing[float]


def friction_row(side: ShrinkFit, shank: Member) -> Literal["friction", "friction_heated", "friction_degreased"]:
    """Return the row of the friction that counts unless one is stated; of carbide there is only the cautious one."""
    if side.assembled is None or shank.part.material in (None, "cemented_carbide"):
        return "friction"
    return "friction_degreased" if side.assembled == "heated_degreased" else "friction_heated"


def _friction(side: ShrinkFit, shank: Member) -> float:
    if side.friction is not None:
        return side.friction
    values = shrink_joint()
    rows = {
        "friction": values.friction,
        "friction_heated": values.friction_heated,
        "friction_degreased": values.friction_degreased,
    }
    return rows[friction_row(side, shank)]


def is_shrink(case: StackJoint) -> bool:
    """Whether the joint is a straight shank in a shrink-fit bore."""
    return isinstance(case.upper_side, ShrinkFit) and shank_of(case) is not None


def opening_rings(
    index: int,
    case: StackJoint,
    geometry: Positions,
    outlines: tuple[OrMissing[tuple[OutlinePiece, ...]], ...],
    diameter: float,
) -> OrMissing[tuple[Ring, Ring]]:
    """Return the thickest hub over the grip length, which opens most at speed, and a solid shank."""
    upper = case.upper
    if upper is None:
        return Missing((case.upper_at,))
    outer = _outer(index, upper, geometry, outlines, diameter, grip_of(case))
    return when_both_known(
        lambda hub, shaft: (hub, shaft),
        _ring(upper, diameter, when_known(lambda pair: pair[1], outer)),
        _ring(case.lower, 0.0, diameter),
    )


def _outer(
    index: int,
    upper: Member,
    geometry: Positions,
    outlines: tuple[OrMissing[tuple[OutlinePiece, ...]], ...],
    diameter: float,
    grip: OrMissing[float],
) -> OrMissing[tuple[float, float]]:
    """Return the smallest and largest outside diameter of a hub over the grip length."""
    span = when_both_known(lambda face, held: (face - held, face), geometry.places[index].face, grip)
    return when_both_known(
        lambda pieces, where: _beyond(diameter, outer_within(pieces, *where), upper), outlines[index], span
    )


def _ring(member: Member, inner: OrMissing[float], outer: OrMissing[float]) -> OrMissing[Ring]:
    return when_all_known(Ring, inner, outer, youngs_modulus_of(member), poisson_ratio_of(member), density_of(member))


def _stress(diameter: float, interference: float, hub: Ring, shaft: Ring, speed_rpm: float) -> float:
    left = max(0.0, interference_at_speed_um(interference, speed_rpm, hub, shaft))
    return hub_stress_mpa(left * pressure_per_um(diameter, hub, shaft), hub, speed_rpm).von_mises_mpa


def _beyond(diameter: float, outer: tuple[float, float] | None, member: Member) -> OrMissing[tuple[float, float]]:
    """Return the smallest and largest outside diameter of the hub; missing without an outline or a wall there."""
    return outer if outer is not None and outer[0] > diameter else Missing((f"{member.at}/profile",))


def _inside(diameter: float, bore: tuple[float, float] | None, member: Member) -> OrMissing[tuple[float, float]]:
    """Return the smallest and largest bore of the shank; missing without an outline or a wall there."""
    return bore if bore is not None and bore[1] < diameter else Missing((f"{member.at}/profile",))


def shrink_joint_of(
    index: int,
    case: StackJoint,
    geometry: Positions,
    outlines: tuple[OrMissing[tuple[OutlinePiece, ...]], ...],
    speed_rpm: float,
) -> OrMissing[ShrinkJoint]:
    """Return a shrink-fit joint; ``index`` is that of the joint and of its upper component.

    For uneven wall thickness the cautious section counts: the thinnest for the pressure, the thickest for the loss at
    speed, and the higher of both for the stress.
    """
    side, shank, upper = case.upper_side, shank_of(case), case.upper
    if not isinstance(side, ShrinkFit) or shank is None or upper is None:
        return Missing((case.upper_at,))
    if side.diameter_mm is None:
        return Missing((f"{case.upper_at}/diameter_mm",))
    diameter = side.diameter_mm

    def seat(face: float, grip: float) -> tuple[float, float]:
        return face - grip, face

    span = when_both_known(seat, geometry.places[index].face, grip_of(case))
    outer = _outer(index, upper, geometry, outlines, diameter, grip_of(case))
    inner: OrMissing[tuple[float, float]] = when_both_known(
        lambda pieces, where: _inside(diameter, bore_within(pieces, *where), case.lower), outlines[index + 1], span
    )
    values = shrink_joint()

    def joint(
        thin: Ring, thick: Ring, shaft: Ring, hollow: Ring, clearance: tuple[float, float], grip: float
    ) -> ShrinkJoint:
        rough = (side.roughness_rz_um or 0.0, shank.roughness_rz_um or 0.0)
        least = effective_interference_um(max(0.0, -clearance[1]), *rough, values.smoothing_most)
        most = effective_interference_um(max(0.0, -clearance[0]), *rough, values.smoothing_least)
        per_um = pressure_per_um(diameter, thin, hollow)
        left = max(0.0, interference_at_speed_um(least, speed_rpm, thick, shaft))
        return ShrinkJoint(
            diameter,
            grip,
            _friction(side, case.lower),
            thick,
            shaft,
            least,
            most,
            per_um,
            left,
            max(_stress(diameter, most, hub, shaft, speed_rpm) for hub in (thin, thick)),
            yield_of(upper),
            release_speed_rpm(least, thick, shaft),
            when_known(
                lambda expansion: opening_temperature_c(
                    max(0.0, -clearance[0]),
                    1000.0 * values.joining_play_share * diameter,
                    diameter,
                    1e-6 * expansion,
                    values.reference_temperature_c,
                ),
                expansion_of(upper),
            ),
        )

    return when_all_known(
        joint,
        _ring(upper, diameter, when_known(lambda pair: pair[0], outer)),
        _ring(upper, diameter, when_known(lambda pair: pair[1], outer)),
        _ring(case.lower, when_known(lambda pair: pair[0], inner), diameter),
        _ring(case.lower, when_known(lambda pair: pair[1], inner), diameter),
        clearance_of(case),
        grip_of(case),
    )
