"""Tip compliance of a stack, modelled as a stepped beam of round hollow sections.

The beam runs from the gauge line (z = 0) to the tip (z = L). The spindle clamps it at the gauge line. Bending follows
Timoshenko: sections remain plane, but shear tilts them against the axis. A segment without a shear stiffness follows
Euler–Bernoulli.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from itertools import accumulate
from typing import Final, NamedTuple

__all__ = [
    "LARGEST",
    "SMALLEST",
    "Segment",
    "Slice",
    "Spring",
    "area_mm2",
    "boundaries_of",
    "cone_slices",
    "second_moment_mm4",
    "shear_coefficient",
    "spring_places",
    "tip_compliance",
]


SMALLEST: Final = 1e-24
LARGEST: Final = 1e24
"""Within these bounds, far wider than any real part needs, no product below overflows or underflows."""

_SAME_PLACE: Final = 1e-9
"""Share of the length of the beam within which a spring is on a boundary."""


class Segment(NamedTuple):
    """A uniform piece: its length, bending stiffness E·I, mass per length, shear stiffness k·G·A and rotary inertia."""

    length_mm: float
    stiffness_n_mm2: float
    mass_kg_per_mm: float
    shear_n: float = math.inf
    """Infinite without shear, as in Euler–Bernoulli theory."""
    rotary_kg_mm: float = 0.0
    """Moment of inertia about a diameter, ρ·I, per length."""


class Spring(NamedTuple):
    """Elastic support at z = 0, or elastic joint between the parts before and beyond z.

    None is rigid.
    """

    z_mm: float
    radial_n_per_mm: float | None = None
    tilting_n_mm_per_rad: float | None = None


class Compliance(NamedTuple):
    """Deflection of the tip per newton, mm/N, and the contribution of each segment and each spring."""

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
    """Return the deflection of the tip per newton of radial force, and the contribution of each piece.

    c = Σ ∫ (L − z)·(a − z)/(E·I) + 1/(k·G·A) dz + Σ (1/k_r + (L − a_k)·(a − a_k)/k_t), over the parts before the force
    at a. For a = L, the tip, a segment of length l adds (u₁³ − u₀³)/(3·E·I) + l/(k·G·A) with u the distances of its
    ends from the tip. A spring at the position of the force carries it. By reciprocity a force at the tip moves
    position a by the same amount. The contributions are shares of the strain energy when the force is at the tip, in
    the order of the arguments.

    Parameters
    ----------
    segments : Sequence[Segment]
        Cylinders in order from the gauge line, at least one.
    springs : Sequence[Spring], default ()
        Rotational springs in any order; several at one place act in series.
    force_at_mm : float | None, default None
        Position a of the force, mm from the gauge line, 0 to L; the tip when None.

    Returns
    -------
    Compliance
        Compliance at the tip and the contribution of each piece, mm/N.

    Raises
    ------
    ValueError
        For no segment, a number outside its range, and a spring that is not on a boundary.

    Notes
    -----
    Source: unit-load method, exact for uniform segments (any textbook of mechanics of materials).

    Examples
    --------
    >>> steel = [Segment(60.0, 210e3 * math.pi / 64 * 20.0**4, 0.0), Segment(40.0, 210e3 * math.pi / 64 * 10.0**4, 0.0)]
    >>> round(tip_compliance(steel).deflection_um(100.0), 9)
    39.611896947
    """
    return tip_compliances(segments, [springs], force_at_mm)[0]


def tip_compliances(
    segments: Sequence[Segment], sets: Sequence[Sequence[Spring]], force_at_mm: float | None = None
) -> list[Compliance]:
    """Return the compliance of one beam on each of several sets of springs.

    As `tip_compliance`, but what the segments contribute is computed once.

    Parameters
    ----------
    segments : Sequence[Segment]
        Cylinders in order from the gauge line, at least one.
    sets : Sequence[Sequence[Spring]]
        Sets of springs.
    force_at_mm : float | None, default None
        Position of the force, mm from the gauge line; the tip when None.

    Returns
    -------
    list[Compliance]
        Compliance at the tip with each set, mm/N.
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
        shares.append(
            bent * (thirds + beyond * (far + near) / 2.0) / segment.stiffness_n_mm2 + (far - near) / segment.shear_n
        )
        far = near
    found = []
    for springs in sets:
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
        found.append(Compliance(tuple(shares), tuple(gives)))
    return found


def boundaries_of(segments: Sequence[Segment]) -> list[float]:
    """Return the boundaries of the segments, mm from the gauge line: 0, then the end of each.

    Parameters
    ----------
    segments : Sequence[Segment]
        Cylinders of the beam, from the gauge line to the tip.

    Returns
    -------
    list[float]
        Boundaries of the segments, mm from the gauge line, one more than segments.

    Raises
    ------
    ValueError
        For no segment, a length or stiffness outside SMALLEST to LARGEST (a shear stiffness may be infinite), or a mass
        or rotary inertia per length outside 0 to LARGEST.
    """
    if not segments:
        raise ValueError("a beam has at least one segment")
    for length, stiffness, mass, shear, rotary in segments:
        if not SMALLEST <= length <= LARGEST:
            raise ValueError(f"a segment's length must be above 0 mm and finite, not {length}")
        if not SMALLEST <= stiffness <= LARGEST:
            raise ValueError(f"a bending stiffness must be above 0 N·mm² and finite, not {stiffness}")
        if not 0.0 <= mass <= LARGEST:
            raise ValueError(f"a mass per length must be 0 kg/mm or more and finite, not {mass}")
        if not shear >= SMALLEST:
            raise ValueError(f"a shear stiffness must be above 0 N, not {shear}")
        if not 0.0 <= rotary <= LARGEST:
            raise ValueError(f"a rotary inertia per length must be 0 kg·mm or more and finite, not {rotary}")
    return list(accumulate([segment.length_mm for segment in segments], initial=0.0))


def spring_places(ends: Sequence[float], springs: Sequence[Spring]) -> list[int]:
    """Return the index of the boundary of each spring.

    Parameters
    ----------
    ends : Sequence[float]
        Ends of the segments as `boundaries_of` returns them, mm.
    springs : Sequence[Spring]
        Rotational springs of the joints.

    Returns
    -------
    list[int]
        Index of the boundary of each spring.

    Raises
    ------
    ValueError
        For a stiffness outside SMALLEST to LARGEST or a position that is not on a boundary within 10⁻⁹ of the length.
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
            raise ValueError(f"a spring at {spring.z_mm} mm is not on a boundary between segments")
        places.append(place)
    return places


_THINNEST: Final = 1e-9
"""Smallest wall around a bore, as a share of the diameter."""
_STEP: Final = 2.5
"""Largest ratio of second moments between the ends of a pair of slices."""
_SLIGHT: Final = 1.25
"""Largest ratio of second moments of a cone made of one pair; any other cone has at least two pairs."""
_MOST_PAIRS: Final = 32
_GAUSS: Final = (
    (-0.8611363115940526, 0.3478548451374538),
    (-0.3399810435848563, 0.6521451548625461),
    (0.3399810435848563, 0.6521451548625461),
    (0.8611363115940526, 0.3478548451374538),
)


class Slice(NamedTuple):
    """A cylinder equivalent to part of a cone; it gives E·I and ρ·A of a beam segment."""

    length_mm: float
    second_moment_mm4: float
    area_mm2: float


def area_mm2(diameter_mm: float, bore_mm: float = 0.0) -> float:
    """Return the area of a ring: A = π/4·(D² − d²).

    Parameters
    ----------
    diameter_mm : float
        Diameter, mm, above 0.
    bore_mm : float, default 0.0
        Bore diameter, mm; 0 for a solid one.

    Returns
    -------
    float
        Area of a ring, mm².

    Raises
    ------
    ValueError
        Unless 0 ≤ d < D and D is finite; a wall of less than 10⁻⁹·D counts as none.

    Notes
    -----
    Source: exact geometry.

    Examples
    --------
    >>> round(area_mm2(20.0, 10.0), 9)
    235.619449019
    """
    _check(diameter_mm, bore_mm)
    return math.pi / 4.0 * (diameter_mm - bore_mm) * (diameter_mm + bore_mm)


def second_moment_mm4(diameter_mm: float, bore_mm: float = 0.0) -> float:
    """Return the second moment of area of a ring about a diameter: I = π/64·(D⁴ − d⁴).

    Parameters and errors as `area_mm2`.

    Parameters
    ----------
    diameter_mm : float
        Diameter, mm, above 0.
    bore_mm : float, default 0.0
        Bore diameter, mm; 0 for a solid one.

    Returns
    -------
    float
        Second moment of area, mm⁴.

    Notes
    -----
    Source: exact geometry.

    Examples
    --------
    >>> round(second_moment_mm4(20.0, 10.0), 9)
    7363.107781851
    """
    _check(diameter_mm, bore_mm)
    return _second_moment(diameter_mm, bore_mm)


def shear_coefficient(bore_to_diameter: float, poisson_ratio: float) -> float:
    """Return the shear coefficient k of a ring; the shear stiffness of the section is k·G·A, with G = E/(2·(1+ν)).

    k = 6·(1+ν)·(1+m²)²/((7+6ν)·(1+m²)² + (20+12ν)·m²)

    Parameters
    ----------
    bore_to_diameter : float
        Bore over outer diameter m, 0 to 1; 1 for a thin tube.
    poisson_ratio : float
        Poisson's ratio ν, 0 to 0.5.

    Returns
    -------
    float
        Shear coefficient, about 0.5 for a thin tube and 0.9 for a solid section.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: Cowper, The shear coefficient in Timoshenko's beam theory (1966), from memory.

    Examples
    --------
    >>> [round(shear_coefficient(m, 0.3), 6) for m in (0.0, 0.5, 0.8, 1.0)]
    [0.886364, 0.620229, 0.541077, 0.530612]
    """
    if not 0.0 <= bore_to_diameter <= 1.0:
        raise ValueError(f"a bore is 0 to 1 times the diameter, not {bore_to_diameter}")
    if not 0.0 <= poisson_ratio <= 0.5:
        raise ValueError(f"Poisson's ratio must be 0 to 0.5, not {poisson_ratio}")
    square = bore_to_diameter * bore_to_diameter
    wide = (1.0 + square) ** 2
    return (
        6.0
        * (1.0 + poisson_ratio)
        * wide
        / ((7.0 + 6.0 * poisson_ratio) * wide + (20.0 + 12.0 * poisson_ratio) * square)
    )


def cone_slices(
    length_mm: float, start_mm: float, end_mm: float, bore_mm: float = 0.0, finer: int = 1
) -> tuple[Slice, ...]:
    """Return cylinders that bend and swing as a cone does, in order; one for a cylinder.

    The cone is cut where the second moment has grown by equal ratios of at most 2.5, so that slices are short where it
    grows fast; each part becomes two halves of constant section with the part's own mean and first moment of 1/I and
    of A: g = ḡ ± 2·⟨g·x⟩, x from −1 to 1. Twice as many parts change the first frequency of a beam by less than 0.5 %
    up to a ratio of diameters of 10; beyond a ratio of second moments of 2.5³² the parts become coarser.

    Parameters
    ----------
    length_mm : float
        Length, mm, above 0.
    start_mm : float
        Outer diameter at the start, mm.
    end_mm : float
        Outer diameter at the end, mm.
    bore_mm : float, default 0.0
        Bore diameter, mm; 0 for a solid one.
    finer : int, default 1
        Factor on the number of parts.

    Returns
    -------
    tuple[Slice, ...]
        Cylinders that bend and swing as a cone does, in order.

    Raises
    ------
    ValueError
        As `area_mm2` at the smaller end, for a length that is not above 0 and finite, or finer below 1.

    Notes
    -----
    Source: first principles; means by Gauss–Legendre quadrature.

    Examples
    --------
    >>> [round(part.length_mm, 6) for part in cone_slices(40.0, 20.0, 22.0)]
    [9.76177, 9.76177, 10.23823, 10.23823]
    """
    _check(min(start_mm, end_mm), bore_mm)
    _check(max(start_mm, end_mm), bore_mm)
    if not SMALLEST <= length_mm <= LARGEST:
        raise ValueError(f"a cone's length must be above 0 mm and finite, not {length_mm}")
    if finer < 1:
        raise ValueError("the number of slices cannot be divided")
    if start_mm == end_mm:
        return (Slice(length_mm, _second_moment(start_mm, bore_mm), area_mm2(start_mm, bore_mm)),)
    growth = math.log(_second_moment(end_mm, bore_mm) / _second_moment(start_mm, bore_mm))
    pairs = max(2, math.ceil(abs(growth) / math.log(_STEP))) if abs(growth) > math.log(_SLIGHT) else 1
    pairs = min(pairs, _MOST_PAIRS) * finer
    slices: list[Slice] = []
    start = start_mm
    bore_power = bore_mm**4
    base = (start_mm - bore_mm) * (start_mm + bore_mm) * (start_mm * start_mm + bore_mm * bore_mm)
    for number in range(1, pairs + 1):
        end = end_mm if number == pairs else (base * math.exp(growth * number / pairs) + bore_power) ** 0.25
        part_length = length_mm * ((end - start) / (end_mm - start_mm))
        if part_length > 0.0:
            slices += _pair(part_length, start, end, bore_mm)
            start = end
    return tuple(slices)


def _pair(length: float, start: float, end: float, bore: float) -> tuple[Slice, Slice]:
    """Return the two halves that stand for a part of a cone."""
    middle, half = 0.5 * (start + end), 0.5 * (end - start)
    mean = first = 0.0
    for place, weight in _GAUSS:
        share = 0.5 * weight / _second_moment(middle + half * place, bore)
        mean += share
        first += share * place
    area = (middle - bore) * (middle + bore) + half * half / 3.0
    lean = 4.0 * middle * half / 3.0
    return (
        Slice(0.5 * length, 1.0 / (mean - 2.0 * first), math.pi / 4.0 * (area - lean)),
        Slice(0.5 * length, 1.0 / (mean + 2.0 * first), math.pi / 4.0 * (area + lean)),
    )


def _second_moment(diameter: float, bore: float) -> float:
    return math.pi / 64.0 * (diameter - bore) * (diameter + bore) * (diameter * diameter + bore * bore)


def _check(diameter: float, bore: float) -> None:
    if not SMALLEST <= diameter <= LARGEST:
        raise ValueError(f"a diameter must be above 0 mm and finite, not {diameter}")
    if not 0.0 <= bore <= (1.0 - _THINNEST) * diameter:
        raise ValueError(f"a bore of {bore} mm leaves no wall in {diameter} mm")
