"""A ring turning free: stress and growth by its own centrifugal load."""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["Ring", "bore_growth_um", "inner_hoop_mpa", "surface_growth_um"]


@dataclass(frozen=True, slots=True)
class Ring:
    """A ring of one elastic material: a hub with its bore, a hollow shaft, or a solid one (inner 0).

    Parameters: inner_mm and outer_mm, diameters, 0 ≤ inner < outer; youngs_modulus_gpa, E > 0;
    poisson_ratio, 0 ≤ ν ≤ 0.5; density_kg_m3, ρ > 0; all finite, else ValueError.
    """

    inner_mm: float
    outer_mm: float
    youngs_modulus_gpa: float
    poisson_ratio: float
    density_kg_m3: float

    def __post_init__(self) -> None:
        if not 0 <= self.inner_mm < self.outer_mm < math.inf:
            raise ValueError(f"a ring needs 0 ≤ inner < outer diameter, not {self.inner_mm} and {self.outer_mm} mm")
        if not 0 < self.youngs_modulus_gpa < math.inf:
            raise ValueError(f"Young's modulus must be above 0 GPa and finite, not {self.youngs_modulus_gpa}")
        if not 0 <= self.poisson_ratio <= 0.5:
            raise ValueError(f"Poisson's ratio lies from 0 to 0.5, not at {self.poisson_ratio}")
        if not 0 < self.density_kg_m3 < math.inf:
            raise ValueError(f"density must be above 0 kg/m³ and finite, not {self.density_kg_m3}")


def inner_hoop_mpa(ring: Ring, speed_rpm: float) -> float:
    """Return the hoop stress at the bore of a ring turning free, where it is largest.

    σ = ρω²/4·((3+ν)·b² + (1−ν)·a²), a and b the radii of bore and outside; a solid disc has half of the
    limit for a vanishing bore at its centre, σ = (3+ν)/8·ρω²b². Parameters: speed_rpm, n ≥ 0, 1/min, else
    ValueError. Returns MPa. Domain: plane stress (σ_z = 0), exact for a thin disc and close for a short
    sleeve. Source: Timoshenko & Goodier, Theory of Elasticity, rotating discs.

    >>> round(inner_hoop_mpa(Ring(0.0, 250.0, 208.0, 0.3, 7850.0), 14_000.0), 4)
    108.7494
    """
    a, b, nu = ring.inner_mm / 2.0, ring.outer_mm / 2.0, ring.poisson_ratio
    factor = (3.0 + nu) / 8.0 * b * b if a == 0 else ((3.0 + nu) * b * b + (1.0 - nu) * a * a) / 4.0
    return _inertia_mpa_per_mm2(ring, speed_rpm) * factor


def bore_growth_um(ring: Ring, speed_rpm: float) -> float:
    """Return what the bore of a ring turning free grows by, on the diameter: 2u = 2·a·σ/E.

    The bore carries no radial stress, so its hoop strain is σ/E with σ = ρω²/4·((3+ν)·b² + (1−ν)·a²).
    Parameters: speed_rpm, n ≥ 0, 1/min, else ValueError. Returns µm; 0 for a solid shaft. Domain: plane
    stress, elastic. Source: Timoshenko & Goodier, Theory of Elasticity, rotating discs.

    >>> round(bore_growth_um(Ring(20.0, 44.0, 206.0, 0.3, 7850.0), 30_000.0), 5)
    3.13516
    """
    return ring.inner_mm * inner_hoop_mpa(ring, speed_rpm) / ring.youngs_modulus_gpa


def surface_growth_um(ring: Ring, speed_rpm: float) -> float:
    """Return what the outside of a ring turning free grows by, on the diameter: 2u = 2·b·σ/E.

    The outside carries no radial stress, so its hoop strain is σ/E with σ = ρω²/4·((1−ν)·b² + (3+ν)·a²).
    Parameters: speed_rpm, n ≥ 0, 1/min, else ValueError. Returns µm. Domain: plane stress, elastic.
    Source: Timoshenko & Goodier, Theory of Elasticity, rotating discs.

    >>> round(surface_growth_um(Ring(0.0, 12.0, 210.0, 0.3, 7850.0), 30_000.0), 6)
    0.027892
    """
    a, b, nu = ring.inner_mm / 2.0, ring.outer_mm / 2.0, ring.poisson_ratio
    hoop_mpa = _inertia_mpa_per_mm2(ring, speed_rpm) * ((1.0 - nu) * b * b + (3.0 + nu) * a * a) / 4.0
    return ring.outer_mm * hoop_mpa / ring.youngs_modulus_gpa


def _inertia_mpa_per_mm2(ring: Ring, speed_rpm: float) -> float:
    """Return ρω², the stress of the centrifugal load for every square millimetre of radius."""
    if not 0 <= speed_rpm < math.inf:
        raise ValueError(f"speed must not be negative and must be finite, not {speed_rpm}")
    omega = speed_rpm * math.pi / 30.0
    return ring.density_kg_m3 * omega * omega * 1e-12
