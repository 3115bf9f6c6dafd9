"""Largest sums of the teeth's forces in one revolution of a milling cutter."""

from __future__ import annotations

import math
from typing import NamedTuple

__all__ = ["PeakSums", "peak_sums"]


class PeakSums(NamedTuple):
    """Largest sums over the teeth engaged, each tooth's force at the deepest chip taken as 1."""

    along: float
    """Of the forces' amounts: their torque over the radius."""
    vector: float
    """Of the forces as vectors, each tangent to the circle: its length."""


def _sums(teeth: int, pitch: float, first: float, power: float) -> PeakSums:
    """Sums over teeth a pitch apart, the first one at an angle."""
    along = across = beside = 0.0
    for tooth in range(teeth):
        angle = first + tooth * pitch
        sine = math.sin(angle)
        if sine > 0.0:  # a tooth just at the end of a slot may be rounded past it
            force = sine**power
            along += force
            across += force * sine
            beside += force * math.cos(angle)
    return PeakSums(along, math.hypot(across, beside))


def peak_sums(teeth: int, engagement_rad: float, power: float) -> PeakSums:
    """Return the largest Σ sin^p φ and the largest |Σ sin^p φ·e^{iφ}| over the rotation.

    The sums run over the teeth at φ, 2π/z apart, that stand in the engagement [0, φs].  In a revolution two
    arrangements alternate, with j teeth or with j + 1.  In each, sin^p is concave, so the first sum is too, and
    by symmetry it peaks where the teeth stand evenly about 90°, or as near as the engagement lets them.  The
    second sum either rises to that place or falls to it, so its peak is there or where a tooth enters or leaves.
    Parameters: teeth, z ≥ 1; engagement_rad, φs in (0, π]; power, p in (0, 1]; not checked here.
    Source: first principles.  That the vector has no other peak was found by scanning 40,000 arrangements of up
    to 13 teeth engaged, not proven.

    >>> [round(largest, 9) for largest in peak_sums(4, math.pi, 1.0)]
    [1.414213562, 1.0]
    """
    pitch = 2.0 * math.pi / teeth
    fewer = int(engagement_rad / pitch)
    leaves = max(0.0, engagement_rad - fewer * pitch)
    # with fewer teeth the first one at a full pitch is the same as with more and a new one at 0
    moments = {(fewer + 1, 0.0), (fewer + 1, leaves), (fewer, leaves)}
    for engaged, earliest, latest in ((fewer + 1, 0.0, leaves), (fewer, leaves, pitch)):
        even = (math.pi - (engaged - 1) * pitch) / 2.0
        if earliest < even < latest:
            moments.add((engaged, even))
    sums = [_sums(engaged, pitch, first, power) for engaged, first in moments]
    return PeakSums(max(found.along for found in sums), max(found.vector for found in sums))
