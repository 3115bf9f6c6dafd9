"""Polygonal tapers with face contact, by size."""

from __future__ import annotations

from functools import cache

from rules.quantities.tables import Row, UnknownEntryError, read_rows

__all__ = ["PolygonalTaper", "clamping_force_kn", "knob_thread", "sizes", "taper"]


class PolygonalTaper(Row):
    """A nominal size."""

    size: str
    flange_diameter_mm: float
    mean_diameter_mm: float
    eccentricity_mm: float
    knob_thread: str
    clamping_force_kn: float


@cache
def _tapers() -> dict[str, PolygonalTaper]:
    return {row.size: row for row in read_rows("polygonal_taper", PolygonalTaper)}


def sizes() -> tuple[str, ...]:
    """Nominal sizes, ascending."""
    return tuple(_tapers())


def taper(size: str) -> PolygonalTaper:
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
