"""A stack as a stepped beam: what it is made of, and how far its tip gives way.

The beam runs from the gauge line (z = 0) to the tip (z = L). It is held at the gauge line by the spindle and
bends by the Euler–Bernoulli law: sections stay plane and normal to the axis. Shear is ignored, so a short thick
stack is a little softer than told here: a steel bar of length 6·d by 1.5 % (compare Timoshenko).
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from itertools import accumulate
from typing import Final, NamedTuple

__all__ = ["LARGEST", "SMALLEST", "Compliance", "Segment", "Spring", "boundaries_of", "spring_places", "tip_compliance"]

SMALLEST: Final = 1e-24
LARGEST: Final = 1e24
"""Within these bounds, far outside anything made, no power or product below leaves the range of floats."""

_SAME_PLACE: Final = 1e-9
"""Share of the beam's length within which a spring counts as standing on a boundary."""


class Segment(NamedTuple):
    """A piece of one section: its length, bending stiffness E·I and mass per length."""

    length_mm: float
    stiffness_n_mm2: float
    mass_kg_per_mm: float


class Spring(NamedTuple):
    """A place that gives way: the support at z = 0, else a joint between what lies before and beyond z.

    None is rigid.
    """

    z_mm: float
    radial_n_per_mm: float | None = None
    tilting_n_mm_per_rad: float | None = None


class Compliance(NamedTuple):
    """Deflection of the tip per newton, mm/N, and what each segment and each spring adds to it."""

    per_segment_mm_per_n: tuple[float, ...]
    per_spring_mm_per_n: tuple[float, ...]

    @property
    def total_mm_per_n(self) -> float:
        """Return the sum of all contributions, mm/N."""
        return math.fsum(self.per_segment_mm_per_n) + math.fsum(self.per_spring_mm_per_n)

    def deflection_um(self, force_n: float) -> float:
        """Return the deflection of the tip under a force, µm: δ = 1000·c·F."""
        return 1000.0 * self.total_mm_per_n * force_n


def tip_compliance(
    segments: Sequence[Segment], springs: Sequence[Spring] = (), force_at_mm: float | None = None
) -> Compliance:
    """Return how far the tip moves per newton of radial force, and which piece lets it.

    c = Σ ∫ (L − z)·(a − z)/(E·I) dz + Σ (1/k_r + (L − a_k)·(a − a_k)/k_t), over what lies before the force at a;
    at the tip, a = L, a segment adds (u₁³ − u₀³)/(3·E·I) with u the distances of its ends from the tip.
    Parameters: segments in order from the gauge line, at least one; springs in any order, several at one place
    in series; force_at_mm, a from 0 to L, the tip when None. A spring at the very place of the force bears it.
    By reciprocity a force at the tip moves the place a by the same amount. The contributions are shares of the
    strain energy when the force is at the tip, in the order of the arguments. Raises ValueError for no segment, a
    number outside its range, and a spring that stands on no boundary. Source: unit-load method, exact for uniform
    segments without shear (any textbook of mechanics of materials).

    >>> steel = [Segment(60.0, 210e3 * math.pi / 64 * 20.0**4, 0.0), Segment(40.0, 210e3 * math.pi / 64 * 10.0**4, 0.0)]
    >>> round(tip_compliance(steel).deflection_um(100.0), 9)
    39.611896947
    """
    ends = boundaries_of(segments)
    tip = ends[-1]
    force_at = tip if force_at_mm is None else force_at_mm
    if not 0.0 <= force_at <= tip * (1.0 + _SAME_PLACE):
        raise ValueError(f"a force at {force_at} mm does not act on a beam from 0 to {tip} mm")
    beyond = max(0.0, tip - force_at)
    shares = []
    far = force_at
    for end, segment in zip(ends[1:], segments, strict=True):
        near = max(0.0, force_at - end)
        bent = segment.length_mm if near > 0.0 or beyond == 0.0 else min(segment.length_mm, far)
        thirds = (far * far + far * near + near * near) / 3.0
        shares.append(bent * (thirds + beyond * (far + near) / 2.0) / segment.stiffness_n_mm2)
        far = near
    gives = []
    for spring, place in zip(springs, spring_places(ends, springs), strict=True):
        lever = force_at - ends[place]
        share = 0.0
        if lever >= -_SAME_PLACE * tip:
            if spring.radial_n_per_mm is not None:
                share += 1.0 / spring.radial_n_per_mm
            if spring.tilting_n_mm_per_rad is not None:
                share += (tip - ends[place]) * max(0.0, lever) / spring.tilting_n_mm_per_rad
        gives.append(share)
    return Compliance(tuple(shares), tuple(gives))


def boundaries_of(segments: Sequence[Segment]) -> list[float]:
    """Return where segments begin and end, mm from the gauge line: 0, then the end of each.

    Raises ValueError for no segment, a length or stiffness outside SMALLEST to LARGEST, or a mass per length outside
    0 to LARGEST.
    """
    if not segments:
        raise ValueError("a beam has at least one segment")
    for length, stiffness, mass in segments:
        if not SMALLEST <= length <= LARGEST:
            raise ValueError(f"a segment's length must be above 0 mm and finite, not {length}")
        if not SMALLEST <= stiffness <= LARGEST:
            raise ValueError(f"a bending stiffness must be above 0 N·mm² and finite, not {stiffness}")
        if not 0.0 <= mass <= LARGEST:
            raise ValueError(f"a mass per length must be 0 kg/mm or more and finite, not {mass}")
    return list(accumulate([segment.length_mm for segment in segments], initial=0.0))


def spring_places(ends: Sequence[float], springs: Sequence[Spring]) -> list[int]:
    """Return, for each spring, the index of the boundary it stands on.

    Parameters: ends as `boundaries_of` returns them. Raises ValueError for a stiffness outside SMALLEST to LARGEST
    or a place that is no boundary to within 10⁻⁹ of the length.
    """
    places = []
    for spring in springs:
        for stiffness in (spring.radial_n_per_mm, spring.tilting_n_mm_per_rad):
            if stiffness is not None and not SMALLEST <= stiffness <= LARGEST:
                raise ValueError(f"a spring's stiffness must be above 0 and finite, or None if rigid, not {stiffness}")
        place = bisect_left(ends, spring.z_mm)
        if place == len(ends) or (place > 0 and spring.z_mm - ends[place - 1] < ends[place] - spring.z_mm):
            place -= 1
        if not abs(ends[place] - spring.z_mm) <= _SAME_PLACE * ends[-1]:
            raise ValueError(f"a spring at {spring.z_mm} mm stands on no boundary between segments")
        places.append(place)
    return places
