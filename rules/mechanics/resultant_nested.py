"""Law of a vector added at random to a resultant whose law is known as a table.

Where one vector (or two, or three) dwarfs the rest, the resultant's law has features as narrow as the
rest is small and no series of sensible length shows them. Then one vector a is split off: the
disc of radius r about −a, seen from the origin of the rest, has the boundary (ρ, α), and because
the rest points anywhere with equal chance, Green's theorem turns its share of that disc into

    F(r) = (1/2π)·∮ F_rest(ρ) dα = (1/π)·∫₀^{π/2} F_rest(ρ)·(1 + (r² − a²)/ρ²) dχ,
    ρ² = (r − a)² + 4·a·r·sin²χ.

Only the distribution function of the rest is needed, never its density.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rules.mechanics.radial_table import RadialTable, chebyshev_values
from rules.quantities.work_limit import spend

__all__ = ["AddedVectorLaw"]

FloatArray = NDArray[np.float64]

_ABSCISSAE, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_BLOCK = 200_000


@dataclass(frozen=True, slots=True)
class AddedVectorLaw:
    """Resultant of a vector of amplitude `added` > 0 at a random angle to the resultant `rest`."""

    added: float
    rest: RadialTable
    lower: float
    upper: float

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return P(R ≤ r) of an array of radii, in the unit of the amplitudes."""
        values = np.where(radii >= self.upper, 1.0, 0.0)
        inside = np.flatnonzero((radii > self.lower) & (radii < self.upper) & (radii > 0.0))
        points = self.rest.edges.size * _ABSCISSAE.size
        step = max(1, _BLOCK // points)
        for start in range(0, inside.size, step):
            block = inside[start : start + step]
            spend(4 * block.size * points)  # each with a turn of Clenshaw's recurrence
            values[block] = np.clip(self._inside(radii[block]), 0.0, 1.0)
        return values

    def _inside(self, radii: FloatArray) -> FloatArray:
        near = np.abs(radii - self.added)  # ρ runs from here …
        far = radii + self.added  # … to there
        product = 4.0 * self.added * radii
        sense = np.sign(radii - self.added)
        edges = self.rest.edges
        reach = np.clip(edges, near[:, None], far[:, None])
        sine = np.sqrt((reach - near[:, None]) * (reach + near[:, None]) / product[:, None])
        chi = np.arcsin(np.minimum(sine, 1.0))

        half = 0.5 * np.diff(chi, axis=1)
        middle = 0.5 * (chi[:, 1:] + chi[:, :-1])
        angles = middle[..., None] + half[..., None] * _ABSCISSAE
        square = (near * near)[:, None, None] + product[:, None, None] * np.sin(angles) ** 2
        low, high = edges[:-1, None], edges[1:, None]
        local = np.clip((2.0 * np.sqrt(square) - low - high) / (high - low), -1.0, 1.0)
        share = chebyshev_values(self.rest.coefficients[:, None, :], local)
        turn = sense * near * far  # r² − a² without cancellation
        with np.errstate(invalid="ignore", divide="ignore"):
            kernel = 1.0 + turn[:, None, None] / square
        kernel = np.where(half[..., None] > 0.0, kernel, 0.0)
        within = ((share * kernel) @ _WEIGHTS * half).sum(axis=1)

        # beyond the rest's support F_rest = 1 and the integral is closed
        last = chi[:, -1]
        closed = 0.5 * np.pi - last
        closed += sense * (0.5 * np.pi - np.arctan2(far * np.sin(last), near * np.cos(last)))
        return np.asarray((within + closed) / np.pi)
