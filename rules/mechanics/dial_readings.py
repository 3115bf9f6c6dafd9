"""Reading the dial: eccentricity, its direction and the form error from readings round the axis."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

__all__ = ["DialFit", "complex_at", "fit_dial", "high_point_deg"]


@dataclass(frozen=True, slots=True)
class DialFit:
    """What readings at one plane tell.

    mean_um: the dial's own zero. eccentricity: complex vector of the axis in µm, its argument the direction of the
    high point; a reading changes by twice its magnitude over a turn. form_um: range of what is left, not
    explained by eccentricity. tir_um: range of the readings as taken.
    """

    mean_um: float
    eccentricity: complex
    form_um: float
    tir_um: float


def fit_dial(angles_deg: Sequence[float], readings_um: Sequence[float]) -> DialFit:
    """Return mean, first harmonic and what remains of readings round the axis.

    Least squares of r = m + a·cos θ + b·sin θ; e = a + jb; at equal angles a = (2/n)·Σ r·cos θ and
    b = (2/n)·Σ r·sin θ, the least-squares circle for small eccentricity.
    Parameters: angles in degrees, at least three different directions; readings in µm, one each. Raises ValueError
    for unequal lengths, values that are not finite, or directions that fix no circle. Source: least squares; the
    formulas for equal angles are those of the reference circle of ISO 12181.

    >>> fit = fit_dial([0, 90, 180, 270], [8, 5, 2, 5])
    >>> round(abs(fit.eccentricity), 12), round(high_point_deg(fit.eccentricity), 9), round(fit.form_um, 12)
    (3.0, 0.0, 0.0)
    """
    if len(angles_deg) != len(readings_um):
        raise ValueError("one reading for each angle")
    if not all(math.isfinite(value) for value in (*angles_deg, *readings_um)):
        raise ValueError("angles and readings must be finite")
    directions = {round(angle % 360.0, 9) % 360.0 for angle in angles_deg}
    if len(directions) < 3:
        raise ValueError("readings in at least three different directions are needed")
    theta = np.radians(np.asarray(angles_deg, dtype=np.float64))
    readings = np.asarray(readings_um, dtype=np.float64)
    design = np.column_stack([np.ones_like(theta), np.cos(theta), np.sin(theta)])
    solution, _, rank, _ = np.linalg.lstsq(design, readings, rcond=1e-9)
    if rank < 3:
        raise ValueError("the directions lie too close together to fix a circle")
    residual = readings - design @ solution
    return DialFit(
        float(solution[0]),
        complex(solution[1], solution[2]),
        float(residual.max() - residual.min()),
        float(readings.max() - readings.min()),
    )


def high_point_deg(eccentricity: complex) -> float:
    """Return the direction of the high point, 0 ≤ angle < 360 degrees; 0 for no eccentricity.

    >>> high_point_deg(-2j)
    270.0
    """
    angle = math.degrees(cmath.phase(eccentricity)) % 360.0
    return 0.0 if angle >= 360.0 else angle


def complex_at(z_mm: float, first: complex, first_mm: float, second: complex, second_mm: float) -> complex:
    """Return the eccentricity at z on the straight axis through two planes: offset and tilt carried on.

    Parameters: eccentricities at two different positions, mm. Raises ValueError for equal positions. Source:
    first principles.

    >>> complex_at(60.0, 1 + 0j, 0.0, 1 + 1j, 30.0)
    (1+2j)
    """
    if first_mm == second_mm:
        raise ValueError("two planes at one position fix no axis")
    return first + (second - first) * (z_mm - first_mm) / (second_mm - first_mm)
