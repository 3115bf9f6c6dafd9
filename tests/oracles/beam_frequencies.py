"""Bending frequencies of a stepped beam in Python, the reference for the compiled ones.

The model has Timoshenko beam elements with consistent mass and rotary inertia, in flexibility form. A beam clamped at
one end is statically determinate: each element has two deformations, bending about its middle and transverse shift
over its length, and either moves everything beyond the element as a rigid body. These deformations, scaled to unit
strain energy, are the unknowns. The stiffness matrix is then the identity, and the mass matrix follows from the moments
of the mass beyond each element. Stiffnesses are never added, so very different lengths or diameters side by side cost
no accuracy. Shear only adds to the shift; a spring is an element without length, and its stiffness only scales its rows
and columns, so that a beam on softer and stiffer springs has one matrix.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.bending.beam import LARGEST, SMALLEST, Segment, Spring, boundaries_of, spring_places
from rules.quantities.work_limit import charge

__all__ = ["FEWEST_ELEMENTS", "bending_frequencies", "frequencies_by_springs"]

FEWEST_ELEMENTS: Final = 4
"""Fewest pieces of equal wavelength per beam: f₁ of a uniform beam is 0.003 % high, f₃ 0.8 %."""

_MOST_SEGMENTS: Final = 300
"""Most segments; neighbours are joined beyond it. No real stack has so many."""
_RESOLVED: Final = 1e-12
"""Share of the largest eigenvalue below which another is within rounding: a frequency a million times the first."""
_DIRECT: Final = 48
"""Most unknowns for which solving for all eigenvalues is quicker than iterating for a few."""
_GUARD: Final = 5
"""Additional vectors in the iteration, for faster convergence."""
_SWEEPS: Final = 3
_RESIDUAL: Final = 1e-3
"""Largest relative residual; the relative error of the eigenvalue is about its square."""

_Matrix = NDArray[np.float64]


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
    chain, springs_at = _chain(segments, {place for places in softness for place in places}, elements)
    if not tip_mass_kg + math.fsum([element[1] for element in chain]) >= SMALLEST:
        raise ValueError("a beam without mass has no frequency")
    matrix = _mass_matrix(chain, tip_mass_kg)
    found = []
    for places in softness:
        own = matrix
        if springs_at:
            scale = np.ones(len(matrix))
            for index, place in springs_at:
                scale[2 * index : 2 * index + 2] = places.get(place, (0.0, 0.0))
            own = np.sqrt(scale, out=scale)[:, None] * matrix * scale
        largest = _largest(own, count)
        floor = _RESOLVED * largest[0]
        # μ is in kg·mm/N, that is in 10⁻³ s².
        found.append(tuple([math.sqrt(1000.0 / mu) / (2.0 * math.pi) for mu in largest if mu > floor]))
    return tuple(found)


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


class _Element(NamedTuple):
    """An element, or a spring as one without length and mass and with compliances of one."""

    length: float
    mass: float
    bending: float
    """Bending compliance l/(E·I)."""
    shift: float
    """Compliance of the shift, l³/(12·E·I) + l/(k·G·A)."""
    bent_share: float
    """Share of bending in the compliance of the shift, 1/(1 + Φ)."""
    rotary: float
    """Rotary inertia of the element."""


_UNIT_SPRING: Final = _Element(0.0, 0.0, 1.0, 1.0, 1.0, 0.0)


def _chain(
    segments: Sequence[Segment], joints: Collection[int], elements: int
) -> tuple[list[_Element], list[tuple[int, int]]]:
    """Return elements and unit springs from the tip to the root, and index and boundary of each spring.

    Neighbours of equal section are joined first.
    """
    pieces: list[tuple[int, float, Segment, float]] = []
    phases = 0.0
    end = len(segments)
    while end > 0:
        segment, start = segments[end - 1], end - 1
        stiffness, mass, length = segment.stiffness_n_mm2, segment.mass_kg_per_mm, segment.length_mm
        while start > 0 and segments[start - 1][1:] == segment[1:] and start not in joints:
            start -= 1
            length += segments[start].length_mm
        phase = length * math.sqrt(math.sqrt(mass / stiffness))
        phases += phase
        pieces.append((start, length, segment, phase))
        end = start
    # The margin prevents rounding up from a whole number of wavelengths.
    per_phase = elements * (1.0 - 1e-6) / phases if phases > 0.0 else 0.0
    springs: list[tuple[int, int]] = []
    chain: list[_Element] = []
    if len(segments) in joints:
        springs.append((0, len(segments)))
        chain.append(_UNIT_SPRING)
    for start, length, segment, phase in pieces:
        times = math.ceil(per_phase * phase) or 1
        part = length / times
        bending = part / segment.stiffness_n_mm2
        bent = bending * part * part / 12.0
        shift = bent + part / segment.shear_n
        chain += [
            _Element(part, part * segment.mass_kg_per_mm, bending, shift, bent / shift, part * segment.rotary_kg_mm)
        ] * times
        if start in joints:
            springs.append((len(chain), start))
            chain.append(_UNIT_SPRING)
    return chain, springs


def _mass_matrix(chain: list[_Element], tip_mass: float) -> _Matrix:
    """Return the mass matrix (2n × 2n) of unit-energy deformations; only its upper triangle (Fortran order) holds.

    In an element of length l, bending by one radian moves a point by g = x²/(2·l) and turns it by x/l, with x from its
    root end. A shift by one moves it by g = b·(3ξ² − 2ξ³) + (1 − b)·ξ and turns it by 6·b·(ξ − ξ²)/l, with ξ = x/l and
    b the share of bending in the shift (Timoshenko; Hermite for b = 1). The beam beyond its tip end, with the moments
    of mass m₀, m₁ and m₂ about that end, moves as a rigid body; m₂ includes the rotary inertia. With t the distance
    from the tip, an element j nearer the root moves element i by p − q·t and turns it by q: p = t_j and q = 1 in
    bending about its middle t_j, p = 1 and q = 0 in a shift. The entry is p·∫m·g_i − q·(∫m·g_i·t − ∫J·turn_i).
    """
    # plain numbers are quicker than arrays for so few elements
    m0, m1, m2, far = tip_mass, 0.0, 0.0, 0.0
    rows: list[float] = []
    for length, mass, bending, sliding, b, rotary in chain:
        far += length
        s = 1.0 - b
        bent, slid = math.sqrt(bending), math.sqrt(sliding)
        own, beyond = mass * length, m0 * length
        pull_bent = m1 + own / 6.0 + beyond / 2.0  # ∫m·g
        pull_slid = m0 + mass / 2.0
        # ∫m·g·x + ∫J·turn
        turn_bent = m2 + rotary / 2.0 + length * (1.5 * m1 + own / 8.0 + beyond / 2.0)
        turn_slid = m1 + (0.35 * b + s / 3.0) * own + beyond
        per_length = b * rotary / length if length > 0.0 else 0.0
        rows += (
            (far - 0.5 * length) * bent,  # p and −q of both motions
            bent,
            slid,
            0.0,
            pull_bent * bent,
            (turn_bent - far * pull_bent) * bent,
            pull_slid * slid,
            (turn_slid + per_length - far * pull_slid) * slid,
            # ∫m·g² + ∫J·turn² of bending, of the shift, and of their product
            (m2 + rotary / 3.0 + length * (m1 + own / 20.0 + beyond / 4.0)) * bending,
            (
                m0
                + (13.0 / 35.0 * b * b + 0.7 * b * s + s * s / 3.0) * mass
                + (1.2 * b * per_length / length if per_length > 0.0 else 0.0)
            )
            * sliding,
            (m1 + (2.0 / 15.0 * b + s / 8.0) * own + beyond / 2.0 + per_length / 2.0) * bent * slid,
        )
        m2 += rotary + length * (2.0 * m1 + length * (m0 + mass / 3.0))
        m1 += length * (m0 + 0.5 * mass)
        m0 += mass
    size = 2 * len(chain)
    data = np.array(rows).reshape(-1, 11)
    matrix: _Matrix = data[:, :4].reshape(size, 2).dot(data[:, 4:8].reshape(size, 2).T)
    entries, step = matrix.reshape(-1), 2 * size + 2
    entries[::step] = data[:, 8]
    entries[size + 1 :: step] = data[:, 9]
    entries[size::step] = data[:, 10]
    return matrix.T


def _largest(matrix: _Matrix, count: int) -> list[float]:
    """Return the largest eigenvalues, largest first, of a symmetric matrix given by its upper triangle."""
    size = len(matrix)
    charge(10 * size * size)
    if size > max(_DIRECT, 4 * (count + _GUARD)):
        iterated = _iterated(matrix, count)
        if iterated is not None:
            return iterated
    try:
        values = np.linalg.eigvalsh(matrix, UPLO="U")
    except np.linalg.LinAlgError as error:
        raise ValueError("the beam's frequencies could not be found") from error
    found: list[float] = values[: -count - 1 : -1].tolist()
    return found


def _iterated(matrix: _Matrix, count: int) -> list[float] | None:
    """Return the same by simultaneous iteration of a few vectors, or None if it does not converge."""
    # Imported here: few stacks have so many pieces, and importing scipy takes as long as twenty checks.
    from scipy.linalg.blas import dsymm
    from scipy.linalg.lapack import dgeqrf, dorgqr, dsyevd

    block = _start(len(matrix), count + _GUARD)
    for _ in range(_SWEEPS):
        factored, tau, _, _ = dgeqrf(dsymm(1.0, matrix, block))
        block, _, _ = dorgqr(factored, tau)
    image = dsymm(1.0, matrix, block)
    values, vectors, info = dsyevd(block.T @ image)
    if info != 0:
        return None
    # The smallest required eigenvalue converges last.
    slowest, value = vectors[:, _GUARD], float(values[_GUARD])
    residual = image @ slowest - value * (block @ slowest)
    if not math.sqrt(residual @ residual) <= _RESIDUAL * max(value, _RESOLVED * float(values[-1])):
        return None
    found: list[float] = values[: _GUARD - 1 : -1].tolist()
    return found


@lru_cache(maxsize=256)
def _start(size: int, width: int) -> _Matrix:
    """Return start vectors (size × width) that are unlikely to be orthogonal to a mode."""
    start = np.cos(np.outer(np.arange(1.0, size + 1.0), np.sqrt(np.arange(2.0, width + 2.0))))
    start = np.asfortranarray(start)
    start.flags.writeable = False
    return start
