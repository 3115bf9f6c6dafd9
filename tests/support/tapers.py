"""Geometry of cones: angle, small end, axial travel, angle tolerance on the diameter."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TypeVar

from rules.couplings.sides import COUPLINGS

__all__ = ["angle_tolerance_um", "axial_travel_mm", "half_angle_deg", "small_end_mm", "stated", "taper_rate"]

Row = TypeVar("Row")


def half_angle_deg(taper: float) -> float:
    """Return the half angle of a cone: α = arctan(C / 2).

    :param taper: rate of taper C, diameter lost per length, dimensionless
    :return: angle of one side, degrees

    >>> half_angle_deg(7 / 24)
    8.297144969836873

    Source: first principles; rate of taper as in ISO 3040.  Raises ValueError unless taper > 0.
    """
    if not taper > 0:
        raise ValueError(f"a rate of taper must be positive, not {taper}")
    return math.degrees(math.atan(taper / 2.0))


def small_end_mm(large_end_mm: float, length_mm: float, taper: float) -> float:
    """Return the diameter at the small end of a cone: d = D - C · L.

    :param large_end_mm: diameter D at the gauge line, mm
    :param length_mm: axial length L, mm
    :param taper: rate of taper C, dimensionless
    :return: diameter at the small end, mm

    >>> small_end_mm(44.45, 65.4, 7 / 24)
    25.375

    Source: first principles.  Raises ValueError when the cone would end before the length.
    """
    small = large_end_mm - taper * length_mm
    if not small > 0:
        raise ValueError(f"a cone of {large_end_mm} mm and taper {taper} is shorter than {length_mm} mm")
    return small


def axial_travel_mm(diameter_change_mm: float, half_angle: float) -> float:
    """Return the axial travel for a change of diameter on a cone: z = Δd / (2 · tan α).

    :param diameter_change_mm: change of diameter Δd, mm
    :param half_angle: angle α of one side to the axis, degrees
    :return: axial travel, mm

    >>> axial_travel_mm(1.0, 8.0)
    3.5576848611921044

    Source: first principles.  Raises ValueError unless 0 < half_angle < 90.
    """
    if not 0 < half_angle < 90:
        raise ValueError(f"the angle of a cone's side must lie between 0 and 90 degrees, not {half_angle}")
    return diameter_change_mm / (2.0 * math.tan(math.radians(half_angle)))


def angle_tolerance_um(angle_urad: float, length_mm: float) -> float:
    """Return the angle tolerance of a cone as a diameter tolerance: AT_D = AT_α · L / 1000.

    :param angle_urad: tolerance of the taper angle AT_α, µrad
    :param length_mm: length of the cone L, mm
    :return: tolerance AT_D over that length, µm

    >>> angle_tolerance_um(63.0, 65.4)
    4.1202000000000005

    Source: ISO 1947.  Raises ValueError unless both are positive.
    """
    if not (angle_urad > 0 and length_mm > 0):
        raise ValueError(f"angle tolerance and length must be positive, not {angle_urad} µrad and {length_mm} mm")
    return angle_urad * length_mm / 1000.0


def taper_rate(name: str) -> float | None:
    """Return the rate of taper on the diameter of a coupling; None if it has none or it depends on the size."""
    written = COUPLINGS[name].described.taper
    return None if written is None else float(Fraction(written))


def stated(row: Row | None) -> Row:
    """Return a row that the table must have."""
    assert row is not None
    return row
