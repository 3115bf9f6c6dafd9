"""Closed laws of the resultant: nothing, one vector, two vectors, a plane Gaussian alone.

Each law is an object with `lower`, `upper` (the support, in the unit of the amplitudes) and `cdf`, and
with `quantile` where the inverse is closed as well. Amplitudes are taken as already checked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["GaussianLaw", "StepLaw", "TwoVectorLaw"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class StepLaw:
    """Resultant of no vector (radius 0) or of one vector: P(R ≤ r) = 1 for r ≥ radius, else 0."""

    radius: float

    @property
    def lower(self) -> float:
        """Least possible resultant."""
        return self.radius

    @property
    def upper(self) -> float:
        """Greatest possible resultant."""
        return self.radius

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii: the step is exact, 1 at the radius itself."""
        return np.where(radii >= self.radius, 1.0, 0.0)

    def quantile(self, probabilities: FloatArray) -> FloatArray:
        """Return the radius for every probability: a step has one quantile."""
        return np.full(probabilities.shape, self.radius)


@dataclass(frozen=True, slots=True)
class TwoVectorLaw:
    """Resultant of two vectors a ≥ b > 0 at a random angle.

    R² = a² + b² + 2ab·cos θ with θ uniform, so P(R ≤ r) = acos((a² + b² − r²)/(2ab))/π. Both
    directions are written with half angles, which lose no digits near the ends of the support.
    """

    larger: float
    smaller: float

    @property
    def lower(self) -> float:
        """Least possible resultant, a − b."""
        return self.larger - self.smaller

    @property
    def upper(self) -> float:
        """Greatest possible resultant, a + b."""
        return self.larger + self.smaller

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) = (2/π)·atan2(√(r² − (a−b)²), √((a+b)² − r²))."""
        inside = np.clip(radii, self.lower, self.upper)
        above = (inside - self.lower) * (inside + self.lower)
        below = (self.upper - inside) * (self.upper + inside)
        return np.asarray(np.arctan2(np.sqrt(above), np.sqrt(below)) * (2.0 / np.pi))

    def quantile(self, probabilities: FloatArray) -> FloatArray:
        """Return r(p) = √((a−b)²·cos²(πp/2) + (a+b)²·sin²(πp/2))."""
        half = probabilities * (np.pi / 2.0)
        radii = np.hypot(self.lower * np.cos(half), self.upper * np.sin(half))
        return np.clip(radii, self.lower, self.upper)


@dataclass(frozen=True, slots=True)
class GaussianLaw:
    """Resultant of a plane Gaussian alone, σ per axis: P(R ≤ r) = 1 − exp(−r²/(2σ²)) (Rayleigh).

    The support is unbounded; `upper` is the radius beyond which less than 1e-15 lies.
    """

    sigma: float

    @property
    def lower(self) -> float:
        """Least possible resultant, 0."""
        return 0.0

    @property
    def upper(self) -> float:
        """Radius that all but 1e-15 of the resultants stay below."""
        return 8.5 * self.sigma

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii."""
        ratio = np.minimum(np.maximum(radii, 0.0) / self.sigma, 1e3)
        return np.asarray(-np.expm1(-0.5 * ratio * ratio))

    def quantile(self, probabilities: FloatArray) -> FloatArray:
        """Return r(p) = σ·√(−2·ln(1 − p)), p < 1."""
        return np.asarray(self.sigma * np.sqrt(-2.0 * np.log1p(-probabilities)))
