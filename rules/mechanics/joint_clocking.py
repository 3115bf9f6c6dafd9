"""Turning joints so that known eccentricities cancel.

A stack's parts 0…n each carry a known eccentricity vector (complex, any unit, in one common direction
frame as the stack stands). Turning joint k, between part k − 1 and part k, turns the vectors of part k
and of every part beyond it by the same angle. How far a joint may be turned is its number of positions:
0 for any angle, 1 for not at all, n for multiples of 360°/n.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

__all__ = ["MOST_COMBINATIONS", "BestClocking", "Turn", "best_turns", "closing_angles", "single_turns"]

MOST_COMBINATIONS: Final = 4096
"""Combinations of indexed positions that are tried; indexed joints beyond that stay as they are."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One joint turned alone: by this angle (degrees, 0 to 360), leaving this eccentricity."""

    joint: int
    angle_deg: float
    eccentricity: float


@dataclass(frozen=True, slots=True)
class BestClocking:
    """All joints turned: joint k by angles_deg[k − 1], leaving this eccentricity.

    `exhaustive` is False when indexed positions were left untried.
    """

    angles_deg: tuple[float, ...]
    eccentricity: float
    exhaustive: bool


def closing_angles(amplitudes: Sequence[float]) -> list[float]:
    """Return directions (rad) in which vectors of given amplitudes have the least resultant.

    The least is max(0, a_max − Σ others): the others point against the largest, or all close to a polygon.
    Parameters: amplitudes ≥ 0, at least one. Returns one direction each, the largest at 0. Raises
    ValueError for none, or one that is negative or not finite. Source: first principles; the vectors are laid
    along the three sides of a triangle, each next one on the shorter of the two sides that face the largest.

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
    cosine = (lengths[1] ** 2 - first**2 - lengths[0] ** 2) / (2.0 * first * lengths[0])
    up = math.acos(min(1.0, max(-1.0, cosine)))
    down = cmath.phase(-first - cmath.rect(lengths[0], up))
    for side, angle in zip(sides, (up, down), strict=True):
        for i in side:
            angles[i] = angle
    return angles


def single_turns(vectors: Sequence[complex], positions: Sequence[int]) -> list[Turn]:
    """Return, for every joint that can be turned, the best angle to turn it alone by.

    With A the sum of the vectors before the joint and B of those beyond it, B turned against A leaves
    ||A| − |B||; an indexed joint takes the best of its positions.
    Parameters: vectors, n + 1 of them; positions, one a joint, n of them. Raises ValueError for other lengths
    or a negative number of positions. Source: first principles.

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
        turns.append(Turn(joint, _degrees(angle), eccentricity))
    return turns


def best_turns(vectors: Sequence[complex], positions: Sequence[int]) -> BestClocking:
    """Return the angle of every joint that together leave the least eccentricity.

    Joints free to turn cut the stack into groups, each of which may point anywhere; within a group the
    indexed positions are tried one by one. The least is max(0, W_max − Σ other W) over the groups' sums.
    Parameters, errors and source as `single_turns`; joints that cannot be turned get 0.

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
    return BestClocking(tuple(_degrees(angle) for angle in best[1]), best[0], len(tried) == len(indexed))


def _free_groups(
    vectors: Sequence[complex], positions: Sequence[int], turned: dict[int, float]
) -> tuple[float, tuple[float, ...]]:
    """With the indexed joints turned so, point the groups between free joints against each other."""
    sums, turn = [vectors[0]], 0.0
    for joint, count in enumerate(positions, start=1):
        if count == 0:
            sums.append(0j)
            turn = 0.0
        turn += turned.get(joint, 0.0)
        sums[-1] += vectors[joint] * cmath.exp(1j * turn)
    targets = closing_angles([abs(total) for total in sums])
    # absolute turn of each group, the first left as it stands
    wanted = [target - cmath.phase(total) if total else 0.0 for target, total in zip(targets, sums, strict=True)]
    angles, group, so_far = [], 0, 0.0
    for joint, count in enumerate(positions, start=1):
        if count == 0:
            group += 1
            # turns of indexed joints before it have turned this group too
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
        raise ValueError("one joint between each two parts")
    if any(count < 0 for count in positions):
        raise ValueError("a number of positions is not negative")
    if not all(cmath.isfinite(vector) for vector in vectors):
        raise ValueError("vectors must be finite")
