"""Bending frequencies of a stepped beam.

The model has Timoshenko beam elements with consistent mass and rotary inertia, in flexibility form. A beam clamped at
one end is statically determinate: each element has two deformations, bending about its middle and transverse shift
over its length, and either moves everything beyond the element as a rigid body. These deformations, scaled to unit
strain energy, are the unknowns. The stiffness matrix is then the identity, and the mass matrix follows from the moments
of the mass beyond each element. Stiffnesses are never added, so very different lengths or diameters side by side cost
no accuracy. Shear only adds to the shift; a spring is an element without length, and its stiffness only scales its rows
and columns, so that a beam on softer and stiffer springs has one matrix. The kernel makes and solves it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from rules.bending.beam import LARGEST, Segment, Spring, boundaries_of, spring_places
from rules.kernel import frequencies
from rules.quantities.work_limit import charge

__all__ = ["FEWEST_ELEMENTS", "bending_frequencies", "frequencies_by_springs"]

FEWEST_ELEMENTS: Final = 4
"""Fewest pieces of equal wavelength per beam: f₁ of a uniform beam is 0.003 % high, f₃ 0.8 %."""

_MOST_SEGMENTS: Final = 300
"""Most segments; neighbours are joined beyond it. No real stack has so many."""


def bending_frequencies(
    segments: Sequence[Segment],
    springs: Sequence[Spring] = (),
    tip_mass_kg: float = 0.0,
    count: int = 3,
    elements: int = FEWEST_ELEMENTS,
) -> tuple[float, ...]:
    """Return the lowest natural bending frequencies, Hz, lowest first.

    As `frequencies_by_springs` for one set of springs, with the same parameters and errors.

    Parameters
    ----------
    segments : Sequence[Segment]
        Cylinders in order from the gauge line, at least one.
    springs : Sequence[Spring], default ()
        Springs in any order; several at one place act in series.
    tip_mass_kg : float, default 0.0
        Point mass at the tip, kg, ≥ 0.
    count : int, default 3
        Number of frequencies, ≥ 1.
    elements : int, default FEWEST_ELEMENTS
        Least number of pieces of equal wavelength to cut the beam into, ≥ 1.

    Returns
    -------
    tuple[float, ...]
        Natural frequencies, Hz.

    Examples
    --------
    >>> bar = Segment(120.0, 210e3 * math.pi / 64 * 20.0**4, 7850e-9 * math.pi / 4 * 20.0**2)
    >>> [round(f, 2) for f in bending_frequencies([bar], elements=32)]
    [1004.97, 6298.04, 17634.74]
    """
    return frequencies_by_springs(segments, (springs,), tip_mass_kg, count, elements)[0]


def frequencies_by_springs(
    segments: Sequence[Segment],
    sets: Sequence[Sequence[Spring]],
    tip_mass_kg: float = 0.0,
    count: int = 3,
    elements: int = FEWEST_ELEMENTS,
) -> tuple[tuple[float, ...], ...]:
    """Return the lowest natural bending frequencies of a beam on each of several sets of springs.

    f = 1/(2π·√μ), with μ the largest eigenvalues of M·x = μ·K·x; for one uniform piece without shear
    f₁ = 1.8751²/(2π)·√(EI/m)/L².

    Parameters
    ----------
    segments : Sequence[Segment]
        Cylinders in order from the gauge line, at least one.
    sets : Sequence[Sequence[Spring]]
        Sets of springs, each in any order; several at one place act in series.
    tip_mass_kg : float, default 0.0
        Point mass at the tip, kg, ≥ 0.
    count : int, default 3
        Number of frequencies, ≥ 1.
    elements : int, default FEWEST_ELEMENTS
        Least number of pieces of equal wavelength to cut the beam into, ≥ 1.

    Returns
    -------
    tuple[tuple[float, ...], ...]
        Natural frequencies of each set, Hz, lowest first. There are fewer than count if the others are more than a
        million times the first or there is no further mass. Gyroscopic effects are ignored.

    Raises
    ------
    ValueError
        As `tip_compliance`, and for a beam without mass or a number outside its range.

    Notes
    -----
    Source: Timoshenko beam elements with consistent mass after Przemieniecki, Theory of Matrix Structural Analysis
    (1968), from memory; in flexibility form.

    Examples
    --------
    >>> area, second = math.pi / 4 * 20.0**2, math.pi / 64 * 20.0**4
    >>> shear = 0.886364 * 210e3 / 2.6 * area
    >>> bar = Segment(120.0, 210e3 * second, 7850e-9 * area, shear, 7850e-9 * second)
    >>> [round(f[0], 1) for f in frequencies_by_springs([bar], [(), (Spring(0.0, 1e5, 1e8),)], elements=32)]
    [989.5, 777.5]
    """
    if count < 1 or elements < 1:
        raise ValueError("at least one frequency and one element")
    if not 0.0 <= tip_mass_kg <= LARGEST:
        raise ValueError(f"a tip mass must be 0 kg or more and finite, not {tip_mass_kg}")
    every = [spring for springs in sets for spring in springs]
    segments = _joined(segments, every)
    ends = boundaries_of(segments)
    softness = [_softness(ends, springs) for springs in sets]
    joints = sorted({place for places in softness for place in places})
    compliances = [[one for joint in joints for one in places.get(joint, (0.0, 0.0))] for places in softness]
    return frequencies(segments, joints, compliances, tip_mass_kg, count, elements, charge)


def _joined(segments: Sequence[Segment], springs: Sequence[Spring]) -> Sequence[Segment]:
    """Join neighbours in a beam of very many segments, to limit the work; springs keep their positions.

    A joined segment has the length, mass and compliance of its parts. Details much finer than a wavelength hardly
    affect the frequencies.
    """
    if len(segments) <= _MOST_SEGMENTS:
        return segments
    fixed = {0, len(segments), *spring_places(boundaries_of(segments), springs)}
    size = math.ceil(len(segments) / (_MOST_SEGMENTS - min(len(fixed), _MOST_SEGMENTS // 2)))
    joined: list[Segment] = []
    for start, end in pairwise(sorted(fixed)):
        for first in range(start, end, size):
            parts = segments[first : min(first + size, end)]
            length = math.fsum(part.length_mm for part in parts)
            softness = math.fsum(part.length_mm / part.stiffness_n_mm2 for part in parts)
            mass = math.fsum(part.length_mm * part.mass_kg_per_mm for part in parts)
            sliding = math.fsum(part.length_mm / part.shear_n for part in parts)
            rotary = math.fsum(part.length_mm * part.rotary_kg_mm for part in parts)
            shear = length / sliding if sliding > 0.0 else math.inf
            joined.append(Segment(length, length / softness, mass / length, shear, rotary / length))
    return joined


def _softness(ends: Sequence[float], springs: Sequence[Spring]) -> dict[int, tuple[float, float]]:
    """Return the tilting and radial compliance at each boundary that has springs; those at one place act in series."""
    joints: dict[int, tuple[float, float]] = {}
    for spring, place in zip(springs, spring_places(ends, springs), strict=True):
        tilting, radial = joints.get(place, (0.0, 0.0))
        if spring.tilting_n_mm_per_rad is not None:
            tilting += 1.0 / spring.tilting_n_mm_per_rad
        if spring.radial_n_per_mm is not None:
            radial += 1.0 / spring.radial_n_per_mm
        joints[place] = tilting, radial
    return joints
