"""Fits of a hole and a shaft, and the tolerance unit behind the standard's tables."""

from __future__ import annotations

import math
from typing import Literal

__all__ = ["clearance_um", "fit_kind", "limit_sizes_mm", "range_mean_mm", "tolerance_unit_um"]


def clearance_um(hole_um: tuple[float, float], shaft_um: tuple[float, float]) -> tuple[float, float]:
    """Smallest and largest clearance of a fit; a negative clearance is an interference.

    C_min = EI - es, C_max = ES - ei, both on the diameter.

    :param hole_um: lower and upper deviation EI, ES of the hole from the common nominal size, µm
    :param shaft_um: lower and upper deviation ei, es of the shaft, µm
    :return: smallest and largest clearance, µm

    >>> clearance_um((0.0, 21.0), (-13.0, 0.0))
    (0.0, 34.0)

    Source: ISO 286-1:2010.  Raises ValueError when a lower deviation exceeds its upper one.
    """
    for name, (lower, upper) in (("hole", hole_um), ("shaft", shaft_um)):
        if not lower <= upper:
            raise ValueError(f"{name}: lower deviation {lower} µm exceeds upper deviation {upper} µm")
    return hole_um[0] - shaft_um[1], hole_um[1] - shaft_um[0]


def fit_kind(clearance_min_um: float, clearance_max_um: float) -> Literal["clearance", "transition", "interference"]:
    """Kind of a fit: clearance if C_min ≥ 0, interference if C_max ≤ 0, else transition.

    >>> fit_kind(0.0, 34.0), fit_kind(-18.0, 23.0), fit_kind(-35.0, -1.0)
    ('clearance', 'transition', 'interference')

    :param clearance_min_um: smallest clearance, µm
    :param clearance_max_um: largest clearance, µm

    Source: ISO 286-1:2010, definitions; a fit touching at exactly 0 counts to the clean side.
    Raises ValueError when the smallest clearance exceeds the largest.
    """
    if not clearance_min_um <= clearance_max_um:
        raise ValueError(f"smallest clearance {clearance_min_um} µm exceeds the largest {clearance_max_um} µm")
    if clearance_min_um >= 0:
        return "clearance"
    return "interference" if clearance_max_um <= 0 else "transition"


def limit_sizes_mm(nominal_mm: float, deviations_um: tuple[float, float]) -> tuple[float, float]:
    """Lower and upper limit of size: nominal + deviation / 1000.

    :param nominal_mm: nominal size, mm
    :param deviations_um: lower and upper deviation, µm
    :return: lower and upper limit of size, mm

    >>> limit_sizes_mm(20.0, (-20.0, -7.0))
    (19.98, 19.993)

    Source: ISO 286-1:2010, definitions.
    """
    return nominal_mm + deviations_um[0] / 1000.0, nominal_mm + deviations_um[1] / 1000.0


def range_mean_mm(over_mm: float, up_to_mm: float) -> float:
    """Geometric mean of a range of nominal sizes: D = sqrt(over · up_to).

    :param over_mm: lower limit of the range, mm; for the range up to 3 mm the standard takes 1 mm
    :param up_to_mm: upper limit of the range, mm
    :return: mean size D, mm

    >>> range_mean_mm(18.0, 30.0)
    23.2379000772445

    Source: ISO 286-1:2010, annex A.  Raises ValueError unless 0 < over < up_to.
    """
    if not 0 < over_mm < up_to_mm:
        raise ValueError(f"a range needs 0 < over < up to, not {over_mm} and {up_to_mm} mm")
    return math.sqrt(over_mm * up_to_mm)


def tolerance_unit_um(mean_mm: float) -> float:
    """Standard tolerance unit: i = 0.45 · D^(1/3) + 0.001 · D.

    IT6 = 10 i, IT7 = 16 i, IT8 = 25 i reproduce the table but for the standard's own rounding:
    the table counts, the formula only explains it.

    :param mean_mm: geometric mean D of the range of sizes, mm, up to 500
    :return: tolerance unit i, µm

    >>> tolerance_unit_um(range_mean_mm(18.0, 30.0))
    1.307375237779644

    Source: ISO 286-1:2010, annex A.  Raises ValueError outside 0 < D ≤ 500 mm.
    """
    if not 0 < mean_mm <= 500:
        raise ValueError(f"the tolerance unit i holds for 0 < D ≤ 500 mm, not {mean_mm} mm")
    return 0.45 * math.cbrt(mean_mm) + 0.001 * mean_mm
