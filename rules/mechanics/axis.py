"""Eccentricity as a straight line along the spindle axis.

A tilted or displaced part moves the axis of everything beyond it by an amplitude that is linear
in the axial position z: a(z) = offset + slope·z, with a half of the total indicator reading.
Where the direction of the high point is known, a reading is the complex number TIR·exp(jθ) and the
amplitude a vector; otherwise it is a real number.
"""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["Line", "line_from_bow", "line_from_offset", "line_from_pivot", "line_from_two_readings", "tir_from_speck"]


class Line(NamedTuple):
    """Amplitude a(z) = offset_um + slope·z in µm, z in mm from the gauge line, slope in µm/mm."""

    offset_um: complex
    slope_um_per_mm: complex

    def at(self, z_mm: float) -> complex:
        """Return the signed amplitude at z, µm; complex where the direction is known."""
        return self.offset_um + self.slope_um_per_mm * z_mm

    def turned(self, factor: complex) -> Line:
        """Return the line in a frame turned by a complex factor of magnitude 1."""
        return Line(self.offset_um * factor, self.slope_um_per_mm * factor)


def line_from_offset(tir_um: complex) -> Line:
    """Return the line of a pure displacement: a(z) = TIR/2 everywhere.

    Parameters: tir_um, total indicator reading, µm, ≥ 0. Source: ISO 1101 circular run-out of a
    displaced axis, first principles.

    >>> line_from_offset(8.0).at(123.0)
    4.0
    """
    return Line(tir_um / 2.0, 0.0)


def line_from_pivot(tir_um: complex, at_mm: float, pivot_mm: float) -> Line:
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


def line_from_two_readings(tir1_um: complex, at1_mm: float, tir2_um: complex, at2_mm: float) -> Line:
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


def line_from_bow(straightness_um: float, length_mm: float, pivot_mm: float, tip_mm: float) -> Line:
    """Return a line that a bowed rod stays within: zero at the pivot, a = 4·t·(d/L)² at the tip.

    A rod whose line is straight within t over its length L is bowed by an arc of that height at most; clamped along
    its tangent at the pivot it stands off by 4·t·(d/L)² at the distance d. The chord from pivot to tip lies above
    that parabola.
    Parameters: straightness t, µm, ≥ 0; length L, mm, > 0; pivot and tip, mm, the tip beyond the pivot; else
    ValueError. Source: first principles, flat circular arc; straightness as in ISO 1101.

    >>> line_from_bow(2.0, 100.0, 0.0, 50.0).at(50.0)
    2.0
    """
    if not (length_mm > 0 and tip_mm > pivot_mm):
        raise ValueError("a rod has a length above 0 mm and ends beyond its pivot")
    slope = 4.0 * straightness_um * (tip_mm - pivot_mm) / length_mm**2
    return Line(-slope * pivot_mm, slope)


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
