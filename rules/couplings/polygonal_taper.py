"""Polygonal tapers with face contact, by size."""

from __future__ import annotations

from functools import cache
from types import MappingProxyType
from typing import Final, Literal

from pydantic import Field

from rules.couplings.definition import Cone, Ends, Figure, Side, Taper, Word
from rules.quantities.missing import when_known
from rules.quantities.models import Model
from rules.quantities.tables import Row, UnknownEntryError, read_rows

__all__ = [
    "POLYGONAL_TAPER",
    "PolygonalTaper",
    "PolygonalTaperSize",
    "clamping_force_kn",
    "knob_thread",
    "sizes",
    "taper",
]


class PolygonalTaper(Model):
    """Polygonal taper with face contact, ISO 26623."""

    coupling: Literal["polygonal_taper"]
    size: Literal["32", "40", "50", "63", "80", "100"] | None = Field(
        None, description="Nominal size: the flange diameter, mm.", examples=["63"]
    )


class PolygonalTaperSize(Row):
    """A nominal size."""

    size: str
    flange_diameter_mm: float
    mean_diameter_mm: float
    eccentricity_mm: float
    knob_thread: str
    clamping_force_kn: float


@cache
def _tapers() -> dict[str, PolygonalTaperSize]:
    return {row.size: row for row in read_rows("polygonal_taper", PolygonalTaperSize)}


def sizes() -> tuple[str, ...]:
    """Nominal sizes, ascending."""
    return tuple(_tapers())


def taper(size: str) -> PolygonalTaperSize:
    """Row of a nominal size; raises :class:`UnknownEntryError` for an unknown one."""
    if size not in _tapers():
        raise UnknownEntryError("polygonal_taper", size, sizes())
    return _tapers()[size]


def knob_thread(size: str) -> str:
    """Thread at the shank's end."""
    return taper(size).knob_thread


def clamping_force_kn(size: str) -> float:
    """Recommended clamping force, kN."""
    return taper(size).clamping_force_kn


def _clamping_force(ends: Ends) -> Word:
    def force(size: str) -> Figure:
        return Figure("clamping force", "N", 1000.0 * clamping_force_kn(size))

    return when_known(force, ends.lower.stated("size"))


class _PolygonalTaper(Taper):
    name = "polygonal_taper"
    machine_side = PolygonalTaper
    workpiece_side = PolygonalTaper
    tilts_about_face = True
    seats_on_flange = True
    face_contact = True
    needed_fields = ("size",)
    words = MappingProxyType({"clamping_force": _clamping_force})

    def flange_diameter(self, side: Side) -> float | None:
        if not isinstance(side, PolygonalTaper) or side.size is None:
            return None
        return taper(side.size).flange_diameter_mm

    def cone(self, side: Side) -> Cone | None:
        if not isinstance(side, PolygonalTaper) or side.size is None:
            return None
        row = taper(side.size)
        length = _LENGTH_SHARE * float(side.size)
        small = row.mean_diameter_mm - length / 20.0
        thread = float(row.knob_thread[1:].partition("×")[0])
        return Cone(length, row.mean_diameter_mm, small, thread, row.eccentricity_mm, "length of the shank")


_LENGTH_SHARE: Final = 0.45
"""Length of the shank over the nominal size; from memory, for drawings."""

POLYGONAL_TAPER = _PolygonalTaper()
