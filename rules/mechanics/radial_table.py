"""A distribution function of a radius as piecewise polynomials, refined until it is smooth on every piece."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["DEGREE", "RadialTable", "chebyshev_values", "tabulate"]

FloatArray = NDArray[np.float64]

DEGREE = 12
_CLOSE_TO_ZERO = 10  # at most so many first pieces narrow towards the lower end by a factor of 4 each
_DEEPEST = 46
_ROUNDING = 4e-15  # relative uncertainty of a radius after a few additions

_ANGLES = np.pi * np.arange(DEGREE + 1) / DEGREE
_POINTS = np.cos(_ANGLES)
_ENDS = np.where(np.isin(np.arange(DEGREE + 1), (0, DEGREE)), 0.5, 1.0)
# values at the Chebyshev–Lobatto points -> Chebyshev coefficients
_TRANSFORM = (2.0 / DEGREE) * _ENDS[:, None] * np.cos(np.outer(np.arange(DEGREE + 1), _ANGLES)) * _ENDS


@dataclass(frozen=True, slots=True)
class RadialTable:
    """Distribution function on [edges[0], edges[-1]], 0 below and 1 above.

    edges (P+1,) ascending; coefficients (P, DEGREE+1), Chebyshev, of the local variable from −1 to 1.
    """

    edges: FloatArray
    coefficients: FloatArray

    def cdf(self, radii: FloatArray) -> FloatArray:
        """Return the distribution function at an array of radii."""
        piece = np.clip(np.searchsorted(self.edges, radii, side="right") - 1, 0, self.edges.size - 2)
        low, high = self.edges[piece], self.edges[piece + 1]
        local = np.clip((2.0 * radii - low - high) / (high - low), -1.0, 1.0)
        values = np.clip(chebyshev_values(self.coefficients[piece], local), 0.0, 1.0)
        return np.where(radii >= self.edges[-1], 1.0, np.where(radii < self.edges[0], 0.0, values))


def chebyshev_values(coefficients: FloatArray, local: FloatArray) -> FloatArray:
    """Return Σ c_k·T_k(x) by Clenshaw's recurrence; the last axis of `coefficients` runs over k."""
    twice = 2.0 * local
    ahead = np.zeros_like(local)
    value = np.zeros_like(local)
    for order in range(coefficients.shape[-1] - 1, 0, -1):
        value, ahead = coefficients[..., order] + twice * value - ahead, value
    return np.asarray(coefficients[..., 0] + local * value - ahead)


def tabulate(cdf: Callable[[FloatArray], FloatArray], lower: float, upper: float, tolerance: float) -> RadialTable:
    """Return the table of a continuous distribution function with the given support.

    Parameters: cdf, of an array of radii; lower < upper, the support; tolerance of the probability. A
    piece is halved until its highest coefficients fall below the tolerance, which grows as
    the square root of the piece's narrowness: what follows integrates over the radius, and a
    piece of width w counts there with at most √w of the whole.
    """
    width = upper - lower
    inner: list[float] = []
    for depth in range(1, _CLOSE_TO_ZERO + 1):
        inner.append(lower + width * 4.0**-depth)
        if float(cdf(np.array(inner[-1:]))[0]) < tolerance:
            break
    edges = np.unique([lower, *inner, upper])
    low, high = edges[:-1], edges[1:]
    done_low: list[FloatArray] = []
    done_high: list[FloatArray] = []
    done_coefficients: list[FloatArray] = []
    for depth in range(_DEEPEST + 1):
        middle, half = 0.5 * (low + high), 0.5 * (high - low)
        values = cdf((middle[:, None] + half[:, None] * _POINTS).ravel()).reshape(low.size, DEGREE + 1)
        coefficients = values @ _TRANSFORM.T
        size = np.abs(coefficients)
        rounding = _ROUNDING * high / (high - low) * size[:, 1:].sum(axis=1)
        smooth = size[:, -4:].max(axis=1) <= tolerance * np.sqrt(width / (high - low)) + rounding
        smooth |= (middle <= low) | (middle >= high)  # no float lies between
        if depth == _DEEPEST:
            smooth[:] = True
        done_low.append(low[smooth])
        done_high.append(high[smooth])
        done_coefficients.append(coefficients[smooth])
        rough = ~smooth
        if not rough.any():
            break
        low, high = (
            np.concatenate((low[rough], middle[rough])),
            np.concatenate((middle[rough], high[rough])),
        )
    starts = np.concatenate(done_low)
    order = np.argsort(starts, kind="stable")
    ends = np.concatenate(done_high)
    return RadialTable(np.append(starts[order], ends.max()), np.concatenate(done_coefficients)[order])
