"""Straight shanks by standard and diameter, and every bore for one."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from types import MappingProxyType
from typing import Annotated, ClassVar, Final, Literal

from pydantic import Field

from rules.couplings import collets
from rules.couplings.collets import NutCollet
from rules.couplings.definition import Coupling, End, Ends, Figure, Rated, Sized, Value, Word
from rules.quantities.missing import OrMissing, or_missing, value_or, when_all_known, when_both_known, when_known
from rules.quantities.models import Length, Microns, PositiveLength
from rules.quantities.tables import Row, UnknownEntryError, read_rows

__all__ = [
    "COLLET_BORE",
    "CYLINDRICAL",
    "HYDRAULIC",
    "MILLING_CHUCK",
    "SHRINK_FIT",
    "SIDE_LOCK",
    "Bore",
    "ColletBore",
    "CylindricalBore",
    "CylindricalShank",
    "Hydraulic",
    "MillingChuck",
    "ShankFlat",
    "ShrinkFit",
    "SideLock",
    "clamp_of",
    "clamping_range",
    "diameters",
    "flat",
    "largest_shank_mm",
    "shank_length",
    "standards",
    "tolerance",
    "usual_shank_length",
]

ShankForm = Literal["plain", "side_lock_flat", "inclined_flat"]


class CylindricalShank(Sized):
    """Straight shank of ISO 3338, DIN 1835 or DIN 6535."""

    coupling: Literal["cylindrical"]
    form: Literal["plain", "side_lock_flat", "inclined_flat"] | None = Field(
        None, description="Plain, with side-lock flat, or with inclined flat.", examples=["plain"]
    )
    length_mm: PositiveLength | None = Field(None, description="Length of the cylindrical shank.", examples=[50])
    minimum_grip_mm: PositiveLength | None = Field(
        None, description="Shortest grip the maker of the shank allows.", examples=[36]
    )
    roughness_rz_um: Microns | None = Field(None, description="Roughness Rz of the shank, µm.", examples=[0.8])


class Bore(Sized, Rated):
    """Common fields of all bores for a straight shank."""

    depth_mm: PositiveLength | None = Field(
        None, description="Free depth from the face to the stop: a shank cannot go deeper.", examples=[51]
    )
    minimum_grip_mm: PositiveLength | None = Field(
        None, description="Shortest grip the maker of the holder allows.", examples=[40]
    )


class CylindricalBore(Bore):
    """Plain bore with a slip fit; the shop chooses a screw, an adhesive or a press fit to hold the shank."""

    coupling: Literal["cylindrical"]


class SideLock(Bore):
    """Slip-fit bore with one or two clamping screws on a flat, DIN 1835 forms B and E, DIN 6535 HB and HE."""

    coupling: Literal["side_lock"]
    flat: Literal["side_lock_flat", "inclined_flat"] | None = Field(
        None, description="The flat its screws need.", examples=["side_lock_flat"]
    )


class ShrinkFit(Bore):
    """Bore opened by heat that grips by interference when cold."""

    coupling: Literal["shrink_fit"]
    friction: Annotated[float, Field(ge=0.01, le=1)] | None = Field(
        None, description="Coefficient of friction to the shank; the table of shrink joints where not given."
    )
    assembled: Literal["heated", "heated_degreased"] | None = Field(
        None, description="Recorded assembly, for the friction of a steel shank."
    )
    roughness_rz_um: Microns | None = Field(
        None,
        description="Roughness Rz of the bore, µm; smoothing of peaks reduces the interference.",
        examples=[1.6],
    )


class Hydraulic(Bore):
    """Expansion bore closed by fluid pressure."""

    coupling: Literal["hydraulic"]


class MillingChuck(Bore):
    """Thick-walled bore closed by a roller nut."""

    coupling: Literal["milling_chuck"]


class ColletBore(Rated):
    """The bore of a collet, which closes over a clamping range."""

    coupling: Literal["collet_bore"]
    nominal_mm: PositiveLength | None = Field(
        None,
        description="Nominal bore. For an 8° collet the range follows from it by ISO 15488 where none is stated.",
        examples=[10],
    )
    clamping_min_mm: PositiveLength | None = Field(None, description="Smallest shank it may clamp.", examples=[9])
    clamping_max_mm: PositiveLength | None = Field(None, description="Largest shank it may clamp.", examples=[10])
    length_mm: PositiveLength | None = Field(None, description="Length of the clamping bore.", examples=[27.5])
    depth_mm: PositiveLength | None = Field(
        None, description="Free depth from the collet's face to the first stop behind it.", examples=[60]
    )
    minimum_grip_mm: Length | None = Field(None, description="Shortest grip the maker allows.", examples=[20])


class _Shank(Row):
    standard_name: str
    diameter_mm: float
    shank_length_mm: float
    length_plus_mm: float | None


class _Form(Row):
    standard_name: str
    form: ShankForm
    letter: str
    tolerance: str


class ShankFlat(Row):
    """Flats of a shank."""

    standard_name: str
    form: ShankForm
    diameter_mm: float
    flats: int
    flat_width_mm: float | None
    flat_position_mm: float | None
    height_mm: float | None
    flat_spacing_mm: float | None


@cache
def _lengths() -> dict[str, dict[float, float]]:
    lengths: dict[str, dict[float, float]] = {}
    for row in read_rows("straight_shank", _Shank):
        lengths.setdefault(row.standard_name, {})[row.diameter_mm] = row.shank_length_mm
    return lengths


@cache
def _tolerances() -> dict[tuple[str, str], str]:
    return {(row.standard_name, row.form): row.tolerance for row in read_rows("straight_shank_forms", _Form)}


@cache
def _flats() -> dict[tuple[str, str, float], ShankFlat]:
    return {(row.standard_name, row.form, row.diameter_mm): row for row in read_rows("straight_shank_flats", ShankFlat)}


def standards() -> tuple[str, ...]:
    """Names of the shank standards."""
    return tuple(_lengths())


def _known(standard: str) -> str:
    if standard not in _lengths():
        raise UnknownEntryError("straight_shank", standard, standards())
    return standard


def diameters(standard: str) -> tuple[float, ...]:
    """Nominal diameters of a standard, mm, ascending."""
    return tuple(_lengths()[_known(standard)])


def shank_length(standard: str, diameter_mm: float) -> float | None:
    """Length of the shank, mm, or None for a diameter the standard does not list.

    >>> shank_length("din_6535", 20.0), shank_length("din_6535", 6.35)
    (50.0, None)

    Raises :class:`UnknownEntryError` for an unknown standard.
    """
    return _lengths()[_known(standard)].get(diameter_mm)


def tolerance(standard: str, form: str) -> str | None:
    """Tolerance class of the diameter, or None where the standard has no such form.

    >>> tolerance("din_1835", "plain"), tolerance("iso_3338", "inclined_flat")
    ('h8', None)
    """
    return _tolerances().get((_known(standard), form))


def flat(standard: str, form: str, diameter_mm: float) -> ShankFlat | None:
    """Flats of a shank, or None where they are not stated."""
    return _flats().get((_known(standard), form, diameter_mm))


_USUAL_STANDARD: Final = "din_6535"
"""Shank standard assumed for a bore where neither part states a minimum grip length."""


def usual_shank_length(diameter_mm: float) -> float | None:
    """Length of the usual shank of a diameter, mm; None for a diameter that its standard does not list."""
    return shank_length(_USUAL_STANDARD, diameter_mm)


def clamp_of(side: object) -> Bore | ColletBore | None:
    """Return the end if it clamps a straight shank, else None."""
    return side if isinstance(side, Bore | ColletBore) else None


def largest_shank_mm(bore: ColletBore) -> float | None:
    """Largest shank a collet may hold, mm: as stated, else its nominal bore."""
    return bore.clamping_max_mm if bore.clamping_max_mm is not None else bore.nominal_mm


def clamping_range(end: End) -> tuple[OrMissing[float], OrMissing[float]]:
    """Return the smallest and the largest shank that the bore of a collet may hold, mm.

    If it is not stated, the smallest follows from the series of an 8° collet.
    """
    side, seat = end.side, end.opposite
    largest = largest_shank_mm(side) if isinstance(side, ColletBore) else None
    smallest = side.clamping_min_mm if isinstance(side, ColletBore) else None
    if smallest is None and largest is not None and isinstance(seat, NutCollet) and seat.size is not None:
        capacity = collets.capacity(seat.size)
        if capacity.min_mm <= largest <= capacity.max_mm:
            smallest = collets.clamping_range(seat.size, largest).min_mm
    return or_missing(smallest, end.at, "clamping_min_mm"), or_missing(largest, end.at, "clamping_max_mm")


class _Clamp(Coupling):
    """Base of all bores for a straight shank; capacity and fit are properties of the joint, in `rules.grip`."""

    needed_fields: ClassVar[tuple[str, ...]] = (
        "diameter_mm",
        "tolerance",
        "depth_mm",
        "minimum_grip_mm",
        "rated_torque_n_m",
        "rated_axial_force_n",
        "rated_grip_mm",
    )


class _Cylindrical(_Clamp):
    name = "cylindrical"
    machine_side = CylindricalShank
    workpiece_side = CylindricalBore
    has_gauge_line = False
    pulled_aside = True

    def fields_needed(self, end: str) -> tuple[str, ...]:
        return ("diameter_mm", "tolerance", "form", "length_mm") if end == "machine_side" else self.needed_fields


@cache
def _least_for_two_screws() -> float:
    """Smallest diameter for which the shank standard has two flats, mm."""
    flats = (flat("din_6535", "side_lock_flat", diameter) for diameter in diameters("din_6535"))
    return min(one.diameter_mm for one in flats if one is not None and one.flats > 1)


def _flat_of(ends: Ends) -> str | None:
    """Return the flat of a side-lock joint, by the bore or else by the shank."""
    side, shank = ends.upper.side, ends.lower.side
    wanted = side.flat if isinstance(side, SideLock) else None
    if wanted is None and isinstance(shank, CylindricalShank) and shank.form != "plain":
        return shank.form
    return wanted


def _screw_count(ends: Ends) -> OrMissing[int] | None:
    """Return the number of clamping screws; None for an inclined flat, for which the tables have none."""
    if _flat_of(ends) == "inclined_flat":
        return None
    diameter = ends.first("diameter_mm", ends.upper, lower_first=True)
    return when_known(lambda size: 2 if size >= _least_for_two_screws() else 1, diameter)


def _screws(ends: Ends) -> Word:
    count = _screw_count(ends)
    return None if count is None else when_known(lambda n: Figure("clamping screws", None, n), count)


def _shank_form_unknown(ends: Ends) -> Word:
    return "" if getattr(ends.lower.side, "form", None) is None else None


class _SideLock(_Clamp):
    name = "side_lock"
    workpiece_side = SideLock
    pulled_aside = True
    tilts_in_bore = False
    needed_fields = (*_Clamp.needed_fields, "flat")
    property_names = ("flat_needed", "shank_form")
    words = MappingProxyType(
        {
            "screws": _screws,
            "one_screw": lambda ends: "" if _screw_count(ends) == 1 else None,
            "two_screws": lambda ends: "" if _screw_count(ends) == 2 else None,
            "screws_unknown": lambda ends: None if isinstance(_screw_count(ends), int) else "",
            "straight_flat": lambda ends: "" if _flat_of(ends) == "side_lock_flat" else None,
            "inclined_flat": lambda ends: "" if _flat_of(ends) == "inclined_flat" else None,
            "flat_unknown": lambda ends: "" if _flat_of(ends) is None else None,
            "shank_form_unknown": _shank_form_unknown,
        }
    )

    def properties(self, ends: Ends) -> Iterator[tuple[str, Value]]:
        if isinstance(ends.lower.side, CylindricalShank):
            yield "flat_needed", ends.upper.stated("flat")
            yield "shank_form", ends.lower.stated("form")


class _ShrinkFit(_Clamp):
    name = "shrink_fit"
    workpiece_side = ShrinkFit
    closes_evenly = True
    grips_by_interference = True
    round_clamp = True


class _Hydraulic(_Clamp):
    name = "hydraulic"
    workpiece_side = Hydraulic
    closes_evenly = True
    round_clamp = True
    sleeve_closes_with_seat = True


class _MillingChuck(_Clamp):
    name = "milling_chuck"
    workpiece_side = MillingChuck
    closes_evenly = True
    round_clamp = True
    tightened_about_axis = True
    sleeve_closes_with_seat = True


class _ColletBore(_Clamp):
    name = "collet_bore"
    workpiece_side = ColletBore
    round_clamp = True
    closes_with_seat = True
    needed_fields = ("clamping_min_mm", "clamping_max_mm", "length_mm", "depth_mm", "minimum_grip_mm")
    property_names = ("shank_diameter_mm", "clamping_min_mm", "clamping_max_mm", "collapse_share")

    def properties(self, ends: Ends) -> Iterator[tuple[str, Value]]:
        """Yield clamping range and shank diameter, for the bore of a collet only."""
        if ends.upper.kind != "collet" or not isinstance(ends.lower.side, CylindricalShank):
            return
        diameter: OrMissing[float] = ends.lower.stated("diameter_mm")
        smallest, largest = clamping_range(ends.upper)
        yield "shank_diameter_mm", diameter
        yield "clamping_min_mm", smallest
        yield "clamping_max_mm", largest
        if value_or(when_both_known(lambda low, high: high > low, smallest, largest), True):
            yield (
                "collapse_share",
                when_all_known(_collapse_share, smallest, largest, diameter),
            )


CYLINDRICAL = _Cylindrical()
SIDE_LOCK = _SideLock()
SHRINK_FIT = _ShrinkFit()
HYDRAULIC = _Hydraulic()
MILLING_CHUCK = _MillingChuck()
COLLET_BORE = _ColletBore()


def _collapse_share(smallest: float, largest: float, shank: float) -> float:
    return (largest - shank) / (largest - smallest)
