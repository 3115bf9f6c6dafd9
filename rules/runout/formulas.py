"""Eccentricity as a straight line along the spindle axis.

A tilted or displaced part moves the axis of all parts beyond it by an amplitude that is linear in the axial position z:
a(z) = offset + slope·z, where a is half the total indicator reading. Where one reading is stated, the amplitude before
its plane is that of the plane: an offset of the axis may be there as well as a tilt. If the direction of the high point
is known, a reading is the complex number TIR·exp(jθ) and the amplitude is a vector; otherwise both are real numbers.

By re-clocking joints, known eccentricities cancel in part. Each of the parts 0…n of a stack has a known eccentricity
vector (complex, any unit, in one frame of directions as assembled). Turning joint k, between part k − 1 and part k,
turns the vectors of part k and of all parts beyond it by the same angle. The number of positions of a joint is 0 for
any angle, 1 for a fixed joint, n for multiples of 360°/n.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final, NamedTuple, NewType, overload

from rules.random_vectors.random_sum import RandomClocking

__all__ = [
    "Eccentricity",
    "EccentricityVector",
    "Line",
    "SlipFit",
    "Tir",
    "TirVector",
    "Turn",
    "best_turns",
    "closing_angles",
    "eccentricity_of",
    "equal_effort_factor",
    "line_from_bow",
    "line_from_offset",
    "line_from_pivot",
    "line_from_tilt",
    "line_from_two_readings",
    "single_turns",
    "slip_fit_lines",
    "tir_from_particle",
    "tir_of",
]


Tir = NewType("Tir", float)
"""A total indicator reading, µm: the difference between highest and lowest reading over a full turn."""

Eccentricity = NewType("Eccentricity", float)
"""Distance of an axis from the axis of rotation, µm."""

TirVector = NewType("TirVector", complex)
"""A total indicator reading in the direction of its high point; a real number if the direction is unknown."""

EccentricityVector = NewType("EccentricityVector", complex)
"""An eccentricity with its direction; a real number if the direction is unknown."""


@overload
def eccentricity_of(tir: Tir) -> Eccentricity: ...
@overload
def eccentricity_of(tir: TirVector) -> EccentricityVector: ...
def eccentricity_of(tir: complex) -> complex:
    """Return the eccentricity for a total indicator reading: half of it, in the same direction.

    Parameters
    ----------
    tir : complex
        Total indicator reading, µm.

    Returns
    -------
    complex
        Eccentricity, µm.

    Notes
    -----
    Source: a round surface with eccentricity e reads from −e to +e over a turn, first principles.

    Examples
    --------
    >>> eccentricity_of(Tir(8.0))
    4.0
    """
    return tir / 2.0


def tir_of(eccentricity: Eccentricity) -> Tir:
    """Return the total indicator reading of an eccentricity: twice its amount; source as `eccentricity_of`.

    Parameters
    ----------
    eccentricity : Eccentricity
        Eccentricity, µm; complex where it has a direction.

    Returns
    -------
    Tir
        Total indicator reading, µm.

    Examples
    --------
    >>> tir_of(Eccentricity(4.0))
    8.0
    """
    return Tir(2.0 * eccentricity)


class Line(NamedTuple):
    """Amplitude a(z) = offset_um + slope·z in µm, z in mm from the gauge line, slope in µm/mm."""

    offset_um: EccentricityVector
    slope_um_per_mm: complex
    constant_to_mm: float = -math.inf
    """Position up to which the amplitude is that of this position."""

    def at(self, z_mm: float) -> EccentricityVector:
        """Return the signed amplitude at z, µm; complex if the direction is known."""
        return EccentricityVector(self.offset_um + self.slope_um_per_mm * max(z_mm, self.constant_to_mm))

    def turned(self, factor: complex) -> Line:
        """Return the line rotated by a complex factor of magnitude 1."""
        return self._replace(
            offset_um=EccentricityVector(self.offset_um * factor), slope_um_per_mm=self.slope_um_per_mm * factor
        )


def line_from_offset(tir_um: TirVector) -> Line:
    """Return the line of a pure displacement: a(z) = TIR/2 everywhere.

    Parameters
    ----------
    tir_um : TirVector
        Total indicator reading, µm, ≥ 0.

    Returns
    -------
    Line
        Line of a pure displacement.

    Notes
    -----
    Source: ISO 1101 circular run-out of a displaced axis, first principles.

    Examples
    --------
    >>> line_from_offset(TirVector(8.0)).at(123.0)
    4.0
    """
    return Line(eccentricity_of(tir_um), 0.0)


def line_from_pivot(tir_um: TirVector, at_mm: float, pivot_mm: float) -> Line:
    """Return the line that bounds offset and tilt of one reading: a(z) = TIR/2 · max(1, (z − pivot)/(at − pivot)).

    One reading does not tell an offset from a tilt. Before its plane the offset governs, beyond it the tilt.

    Parameters
    ----------
    tir_um : TirVector
        Reading in µm.
    at_mm : float
        Position of the reading, mm from the gauge line.
    pivot_mm : float
        Position of the point about which the part tilts, mm from the gauge line.

    Returns
    -------
    Line
        Line that bounds offset and tilt.

    Raises
    ------
    ValueError
        Unless at_mm is beyond pivot_mm, since a reading at the pivot does not show a tilt.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> line = line_from_pivot(TirVector(3.0), 60.0, -20.0)
    >>> line.at(140.0), line.at(10.0)
    (3.0, 1.5)
    """
    if not at_mm > pivot_mm:
        raise ValueError(f"the reading at {at_mm} mm must lie beyond the pivot at {pivot_mm} mm")
    slope = eccentricity_of(tir_um) / (at_mm - pivot_mm)
    return Line(EccentricityVector(-slope * pivot_mm), slope, at_mm)


class SlipFit(NamedTuple):
    """Lines of a shank that shifts and tilts in its bore: one vector for each end, and the bound of their sum."""

    at_mouth: Line
    at_rear: Line
    bound: Line


def slip_fit_lines(clearance_um: float, grip_mm: float, mouth_mm: float) -> SlipFit:
    """Return the lines of a shank with clearance c in a bore over the length G.

    The axis at the mouth (p₁) and at the rear (p₂) lies each within c/2: e(z) = p₁·(1 + z/G) − p₂·z/G, z from the
    mouth, so the amplitude is at most (c/2)·(1 + 2z/G), and c/2 inside the bore.

    Parameters
    ----------
    clearance_um : float
        Diametral clearance c ≥ 0, µm.
    grip_mm : float
        Engaged length G > 0, mm.
    mouth_mm : float
        Position of the mouth of the bore, mm from the gauge line.

    Returns
    -------
    SlipFit
        Lines of both ends and their bound.

    Raises
    ------
    ValueError
        For an engaged length that is not above zero.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> lines = slip_fit_lines(34.0, 50.0, 0.0)
    >>> [round(2.0 * line.at(60.0), 1) for line in lines]
    [74.8, 40.8, 115.6]
    """
    if not grip_mm > 0.0:
        raise ValueError("an engaged length must be above 0 mm")
    half, rate = 0.5 * clearance_um, 0.5 * clearance_um / grip_mm
    return SlipFit(
        Line(EccentricityVector(half - rate * mouth_mm), rate),
        Line(EccentricityVector(-rate * mouth_mm), rate),
        Line(EccentricityVector(half - 2.0 * rate * mouth_mm), 2.0 * rate, mouth_mm),
    )


def line_from_tilt(tilt_um_per_m: float, at_mm: float) -> Line:
    """Return the line of a bounded tilt about the plane of a reading: a(z) = α·(z − at).

    With the disc of the reading beside it, the axis at z is displaced by at most TIR/2 + α·|z − at|.

    Parameters
    ----------
    tilt_um_per_m : float
        Bound α of the tilt of the axis, µm/m, ≥ 0.
    at_mm : float
        Plane of the reading, mm.

    Returns
    -------
    Line
        Line that is zero at the plane of the reading; its sign changes there, which no isotropic law sees.

    Notes
    -----
    Source: triangle inequality, first principles.

    Examples
    --------
    >>> line = line_from_tilt(32.5, 0.0)
    >>> round(2.0 * line.at(150.0), 2)
    9.75
    """
    slope = tilt_um_per_m / 1000.0
    return Line(EccentricityVector(-slope * at_mm), slope)


def line_from_two_readings(tir1_um: TirVector, at1_mm: float, tir2_um: TirVector, at2_mm: float) -> Line:
    """Return the line through the eccentricities of two readings.

    Parameters
    ----------
    tir1_um : TirVector
        Total indicator reading at the first plane, µm.
    at1_mm : float
        Position of the first plane, mm.
    tir2_um : TirVector
        Total indicator reading at the second plane, µm.
    at2_mm : float
        Position of the second plane, mm.

    Returns
    -------
    Line
        Line through the eccentricities of two readings.

    Raises
    ------
    ValueError
        If the positions are equal.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> line_from_two_readings(TirVector(2.0), 0.0, TirVector(4.0), 60.0).at(120.0)
    3.0
    """
    if at1_mm == at2_mm:
        raise ValueError(f"two readings at the same position {at1_mm} mm do not determine a line")
    first, second = eccentricity_of(tir1_um), eccentricity_of(tir2_um)
    slope = (second - first) / (at2_mm - at1_mm)
    return Line(EccentricityVector(first - slope * at1_mm), slope)


def line_from_bow(straightness_um: float, length_mm: float, pivot_mm: float, tip_mm: float) -> Line:
    """Return the line that bounds a bowed rod: zero at the pivot, a = 4·t·(d/L)² at the tip.

    A rod with straightness t over its length L is at most an arc of height t. Clamped along its tangent at the pivot,
    its axis deviates by 4·t·(d/L)² at the distance d. The chord from pivot to tip is above that parabola.

    Parameters
    ----------
    straightness_um : float
        Straightness tolerance t ≥ 0, µm.
    length_mm : float
        Length, mm, above 0.
    pivot_mm : float
        Position of the pivot, mm.
    tip_mm : float
        Position of the tip, mm, beyond the pivot.

    Returns
    -------
    Line
        Line that bounds the eccentricity of the rod.

    Raises
    ------
    ValueError
        If a value is outside its domain.

    Notes
    -----
    Source: first principles, flat circular arc; straightness as in ISO 1101.

    Examples
    --------
    >>> line_from_bow(2.0, 100.0, 0.0, 50.0).at(50.0)
    2.0
    """
    if not (length_mm > 0 and tip_mm > pivot_mm):
        raise ValueError("a rod has a length above 0 mm and ends beyond its pivot")
    slope = 4.0 * straightness_um * (tip_mm - pivot_mm) / length_mm**2
    return Line(EccentricityVector(-slope * pivot_mm), slope)


def tir_from_particle(thickness_um: float, lever_mm: float, beyond_mm: float) -> Tir:
    """Return the reading added by a particle in a seat: TIR = 2·t·z/L.

    Parameters
    ----------
    thickness_um : float
        Thickness t of the particle, µm.
    lever_mm : float
        Lever L across which the seat tilts, mm, above 0: the mean diameter of a contact face, else the length of the
        seat.
    beyond_mm : float
        Distance z of the indicator from the point about which the seat tilts, mm.

    Returns
    -------
    Tir
        Added total indicator reading, µm.

    Raises
    ------
    ValueError
        For a seat without a lever.

    Notes
    -----
    Source: first principles, small angles; a particle may be crushed, so the reading is an upper bound.

    Examples
    --------
    >>> round(tir_from_particle(5.0, 57.0, 150.0), 1)
    26.3
    """
    if not lever_mm > 0:
        raise ValueError("a seat has a lever above 0 mm")
    return tir_of(Eccentricity(thickness_um * beyond_mm / lever_mm))


MOST_COMBINATIONS: Final = 4096
"""Most combinations of indexed positions tried; further indexed joints stay as they are."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One joint turned by itself: angle (degrees, 0 to 360) and remaining eccentricity."""

    joint: int
    angle_deg: float
    eccentricity: Eccentricity


@dataclass(frozen=True, slots=True)
class BestClocking:
    """All joints turned: joint k by angles_deg[k − 1], with the remaining eccentricity.

    `exhaustive` is False if some indexed positions were not tried.
    """

    angles_deg: tuple[float, ...]
    eccentricity: Eccentricity
    exhaustive: bool


def closing_angles(amplitudes: Sequence[float]) -> list[float]:
    """Return directions (rad) in which vectors of given amplitudes have the least resultant.

    The least resultant is max(0, a_max − Σ others): the others are opposite to the largest, or all form a closed
    polygon.

    Parameters
    ----------
    amplitudes : Sequence[float]
        Amplitudes ≥ 0, at least one, in one unit.

    Returns
    -------
    list[float]
        One direction each, the largest at 0.

    Raises
    ------
    ValueError
        For none, or one that is negative or not finite.

    Notes
    -----
    Source: first principles; the vectors form a triangle with the largest as one side; each further one goes to the
    shorter of the two other sides.

    Examples
    --------
    >>> [round(math.degrees(angle), 6) for angle in closing_angles([5.0, 3.0, 4.0])]
    [0.0, -126.869898, 143.130102]
    """
    if not amplitudes or not all(0 <= a < math.inf for a in amplitudes):
        raise ValueError("at least one amplitude, each finite and zero or more")
    order = sorted(range(len(amplitudes)), key=lambda i: -amplitudes[i])
    first, others = amplitudes[order[0]], order[1:]
    angles = [0.0] * len(amplitudes)
    if first >= math.fsum(amplitudes[i] for i in others):
        for i in others:
            angles[i] = math.pi
        return angles
    sides: tuple[list[int], list[int]] = ([], [])
    lengths = [0.0, 0.0]
    for i in others:
        shorter = 0 if lengths[0] <= lengths[1] else 1
        sides[shorter].append(i)
        lengths[shorter] += amplitudes[i]
    near, far = lengths[0] / first, lengths[1] / first  # squares of extreme amplitudes would leave the range
    cosine = (far**2 - 1.0 - near**2) / (2.0 * near)
    up = math.acos(min(1.0, max(-1.0, cosine)))
    down = cmath.phase(-first - cmath.rect(lengths[0], up))
    for side, angle in zip(sides, (up, down), strict=True):
        for i in side:
            angles[i] = angle
    return angles


def single_turns(vectors: Sequence[complex], positions: Sequence[int]) -> list[Turn]:
    """Return the best angle of each joint that can be turned, with all others left alone.

    With A the sum of the vectors before the joint and B of those beyond it, B opposite to A leaves ||A| − |B||. For an
    indexed joint it is the best of its positions.

    Parameters
    ----------
    vectors : Sequence[complex]
        Eccentricity that each joint turns, as complex numbers, one more than joints.
    positions : Sequence[int]
        Positions of each joint.

    Returns
    -------
    list[Turn]
        Best turn of each joint that can be turned.

    Raises
    ------
    ValueError
        For other lengths or a negative number of positions.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> single_turns([3 + 0j, 0 + 2j], [0])
    [Turn(joint=1, angle_deg=90.0, eccentricity=1.0)]
    """
    _check(vectors, positions)
    turns = []
    for joint, count in enumerate(positions, start=1):
        if count == 1:
            continue
        before, beyond = sum(vectors[:joint], 0j), sum(vectors[joint:], 0j)
        if count == 0:
            candidates = [math.pi + cmath.phase(before) - cmath.phase(beyond)] if before and beyond else [0.0]
        else:
            candidates = [2.0 * math.pi * step / count for step in range(count)]
        left = [(abs(before + beyond * cmath.exp(1j * angle)), angle) for angle in candidates]
        eccentricity, angle = min(left, key=lambda item: (round(item[0], 12), item[1] % (2.0 * math.pi)))
        turns.append(Turn(joint, _degrees(angle), Eccentricity(eccentricity)))
    return turns


def best_turns(vectors: Sequence[complex], positions: Sequence[int]) -> BestClocking:
    """Return the angles of all joints that together leave the least eccentricity.

    Joints free to turn divide the stack into groups, each of which may have any direction; within a group the indexed
    positions are tried one by one. The least is max(0, W_max − Σ other W) over the sums of the groups. Parameters,
    errors and source are those of `single_turns`; fixed joints get 0.

    Parameters
    ----------
    vectors : Sequence[complex]
        Eccentricity that each joint turns, as complex numbers, µm.
    positions : Sequence[int]
        Positions of each joint, as in `single_turns`.

    Returns
    -------
    BestClocking
        Angles of all joints and the remaining eccentricity.

    Examples
    --------
    >>> best = best_turns([3 + 0j, 0 + 2j, 1 + 0j], [0, 0])
    >>> round(best.eccentricity, 12), best.exhaustive
    (0.0, True)
    """
    _check(vectors, positions)
    indexed = [joint for joint, count in enumerate(positions, start=1) if count > 1]
    tried, combinations = [], 1
    for joint in indexed:
        if combinations * positions[joint - 1] > MOST_COMBINATIONS:
            break
        tried.append(joint)
        combinations *= positions[joint - 1]
    best: tuple[float, tuple[float, ...]] = (math.inf, ())
    for steps in product(*(range(positions[joint - 1]) for joint in tried)):
        turned = {joint: 2.0 * math.pi * step / positions[joint - 1] for joint, step in zip(tried, steps, strict=True)}
        left, angles = _free_groups(vectors, positions, turned)
        if left < best[0] - 1e-12 * (1.0 + left):
            best = left, angles
    return BestClocking(tuple(_degrees(angle) for angle in best[1]), Eccentricity(best[0]), len(tried) == len(indexed))


def _free_groups(
    vectors: Sequence[complex], positions: Sequence[int], turned: dict[int, float]
) -> tuple[float, tuple[float, ...]]:
    """Return the best directions of the groups between free joints, for given turns of the indexed joints."""
    sums, turn = [vectors[0]], 0.0
    for joint, count in enumerate(positions, start=1):
        if count == 0:
            sums.append(0j)
            turn = 0.0
        turn += turned.get(joint, 0.0)
        sums[-1] += vectors[joint] * cmath.exp(1j * turn)
    targets = closing_angles([abs(total) for total in sums])
    # absolute turn of each group; the first stays as it is
    wanted = [target - cmath.phase(total) if total else 0.0 for target, total in zip(targets, sums, strict=True)]
    angles, group, so_far = [], 0, 0.0
    for joint, count in enumerate(positions, start=1):
        if count == 0:
            group += 1
            # turns of earlier indexed joints have turned this group too
            angle = wanted[group] - wanted[0] - so_far
            so_far = wanted[group] - wanted[0]
        else:
            angle = turned.get(joint, 0.0)
            so_far += angle
        angles.append(angle)
    amplitudes = [abs(total) for total in sums]
    largest = max(amplitudes)
    return max(0.0, 2.0 * largest - math.fsum(amplitudes)), tuple(angles)


def _degrees(angle: float) -> float:
    turned = math.degrees(angle) % 360.0
    return 0.0 if math.isclose(turned, 360.0, abs_tol=1e-9) or turned < 1e-9 else turned


def _check(vectors: Sequence[complex], positions: Sequence[int]) -> None:
    if len(vectors) != len(positions) + 1:
        raise ValueError("the number of joints must be one less than that of parts")
    if any(count < 0 for count in positions):
        raise ValueError("a number of positions must not be negative")
    if not all(cmath.isfinite(vector) for vector in vectors):
        raise ValueError("vectors must be finite")


_LARGEST_FACTOR: Final = 1e6
"""Largest factor; the scaled contributors are negligible beyond it."""


def equal_effort_factor(
    target: float, fixed: RandomClocking, scaled: RandomClocking, probability: float = 0.95
) -> float | None:
    """Return the factor on the scaled contributors for which a quantile of the sum equals a target.

    The factor λ solves q_p(fixed + λ·scaled) = target. Without fixed contributors the law scales, so λ = target/q_p
    exactly.

    Parameters
    ----------
    target : float
        Quantile to reach, ≥ 0, in the unit of the amplitudes.
    fixed : RandomClocking
        Law of the contributors that are not scaled.
    scaled : RandomClocking
        Law of the contributors that are scaled.
    probability : float, default 0.95
        Probability above 0 and below 1.

    Returns
    -------
    float | None
        Factor on the scaled contributors; None if the fixed ones alone exceed the target or nothing is scaled.

    Raises
    ------
    ValueError
        For a target that is not finite or negative, and as `resultant_quantiles`.

    Notes
    -----
    Source: first principles.

    Examples
    --------
    >>> round(equal_effort_factor(5.0, RandomClocking([]), RandomClocking([3.0, 4.0]), probability=0.5), 12)
    1.0
    """
    # Imported here: only a budget asks, and the import takes longer than a check.
    from scipy.optimize import brentq

    if not 0.0 <= target < math.inf:
        raise ValueError("a target must be finite, zero or more")

    def excess(factor: float) -> float:
        law = RandomClocking(
            [*fixed.amplitudes, *(factor * a for a in scaled.amplitudes)],
            math.hypot(fixed.sigma, factor * scaled.sigma),
            [*fixed.discs, *(factor * a for a in scaled.discs)],
            [*fixed.bands, *((factor * low, factor * high) for low, high in scaled.bands)],
        )
        return float(law.quantiles((probability,))[0]) - target

    full = excess(1.0) + target
    if scaled.scale == 0.0:
        return None
    if fixed.scale == 0.0:
        return target / full
    if excess(0.0) > 0.0:
        return None
    high = 1.0
    while excess(high) < 0.0:
        high *= 2.0
        if high > _LARGEST_FACTOR:
            return None
    return float(brentq(excess, 0.0, high, xtol=1e-9, rtol=1e-9))
