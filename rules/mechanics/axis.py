"""Eccentricity as a straight line along the spindle axis.

A tilted or displaced part moves the axis of everything beyond it by an amplitude that is linear
in the axial position z: a(z) = offset + slope·z, with a half of the total indicator reading.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Line", "line_from_offset", "line_from_pivot", "line_from_two_readings", "tir_from_speck"]


@dataclass(frozen=True, slots=True)
class Line:
    """Amplitude a(z) = offset_um + slope·z in µm, z in mm from the gauge line, slope in µm/mm."""

    offset_um: float
    slope_um_per_mm: float

    def at(self, z_mm: float) -> float:
        """Return the signed amplitude at z, µm."""
        return self.offset_um + self.slope_um_per_mm * z_mm


def line_from_offset(tir_um: float) -> Line:
    """Return the line of a pure displacement: a(z) = TIR/2 everywhere.

    Parameters: tir_um, total indicator reading, µm, ≥ 0. Source: ISO 1101 circular run-out of a
    displaced axis, first principles.

    >>> line_from_offset(8.0).at(123.0)
    4.0
    """
    return Line(tir_um / 2.0, 0.0)


def line_from_pivot(tir_um: float, at_mm: float, pivot_mm: float) -> Line:
    """Return the line of a tilt about a pivot: a(z) = TIR/2 · (z − pivot)/(at − pivot).

    Parameters: tir_um, reading in µm; at_mm, where it was read, mm from the gauge line; pivot_mm, the
    middle of the seat, mm from the gauge line. Raises ValueError unless at_mm lies beyond pivot_mm:
    no reading at the pivot tells a tilt. Source: first principles; the pivot at mid-seat is the
    cautious reading of a single statement.

    >>> line_from_pivot(3.0, 60.0, -20.0).at(140.0)
    3.0
    """
    if not at_mm > pivot_mm:
        raise ValueError(f"the reading at {at_mm} mm must lie beyond the pivot at {pivot_mm} mm")
    slope = tir_um / 2.0 / (at_mm - pivot_mm)
    return Line(-slope * pivot_mm, slope)


def line_from_two_readings(tir1_um: float, at1_mm: float, tir2_um: float, at2_mm: float) -> Line:
    """Return the line through the halves of two readings.

    Parameters: readings in µm at two different positions, mm from the gauge line. Raises ValueError
    when the positions are equal. Source: first principles.

    >>> line_from_two_readings(2.0, 0.0, 4.0, 60.0).at(120.0)
    3.0
    """
    if at1_mm == at2_mm:
        raise ValueError(f"two readings at the same position {at1_mm} mm fix no line")
    slope = (tir2_um - tir1_um) / 2.0 / (at2_mm - at1_mm)
    return Line(tir1_um / 2.0 - slope * at1_mm, slope)


def tir_from_speck(thickness_um: float, seat_length_mm: float, beyond_mm: float) -> float:
    """Return the reading that a speck of dirt at one end of a seat adds: TIR = 2·t·z/G.

    Parameters: thickness_um, thickness of the speck t, µm; seat_length_mm, length of the seat G, mm,
    above 0; beyond_mm, distance z of the indicator from the middle of the seat, mm. Raises ValueError
    for a seat without length. Source: first principles, small angles.

    >>> tir_from_speck(5.0, 50.0, 100.0)
    20.0
    """
    if not seat_length_mm > 0:
        raise ValueError("a seat has a length above 0 mm")
    return 2.0 * thickness_um * beyond_mm / seat_length_mm
