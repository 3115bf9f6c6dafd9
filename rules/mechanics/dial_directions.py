"""How well the directions a dial was read at fix an eccentricity."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

__all__ = ["eccentricity_error_ratio"]


def eccentricity_error_ratio(angles_deg: Sequence[float]) -> float:
    """Return how many times the error of one reading the error of the fitted eccentricity may be.

    √λ_max of the block of a and b in (XᵀX)⁻¹, rows of X being (1, cos θ, sin θ); √(2/n) for n equal steps

    Parameters: angles in degrees, finite. Returns the ratio of the standard deviations in the worst direction,
    infinite where fewer than three different directions are given. Raises ValueError for angles that are not
    finite. Source: covariance of a least-squares fit with independent readings of equal error.

    >>> round(eccentricity_error_ratio([0, 90, 180, 270]), 12)
    0.707106781187
    >>> eccentricity_error_ratio([0, 180, 360])
    inf
    """
    theta = np.radians(np.asarray(angles_deg, dtype=np.float64))
    if not np.isfinite(theta).all():
        raise ValueError("angles must be finite")
    if len({round(float(angle) % 360.0, 9) % 360.0 for angle in angles_deg}) < 3:
        return math.inf
    cosines, sines = np.cos(theta), np.sin(theta)
    # the mean of the readings takes up the mean of the columns, so the block is that of the centred ones
    centred = np.column_stack([cosines - cosines.mean(), sines - sines.mean()])
    least = float(np.linalg.svd(centred, compute_uv=False)[-1])
    return 1.0 / least if least > 1e-9 else math.inf
