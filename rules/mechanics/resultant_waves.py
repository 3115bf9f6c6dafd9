"""Bessel functions that every series of a resultant's law needs, worked out once and looked up after.

λ_k are the zeros of J₀. Looked up are the zeros and weights of the series, its waves ρ·J₁(λ_k ρ) on a fine grid of the
disc's radius, and J₀ itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import j0, j1

__all__ = [
    "CELLS",
    "COARSE",
    "LOOKED_UP",
    "MARGIN",
    "bessel_nodes",
    "coarse_waves",
    "interpolation_share",
    "nodes",
    "products_of_j0",
    "waves",
]

FloatArray = NDArray[np.float64]

LOOKED_UP = 512  # terms whose waves are kept
CELLS = 2048  # fine cells on the disc's radius
MARGIN = 16  # fine points kept beyond either end
COARSE = 64  # coarse cells on the disc's radius
_SEVERAL_TERMS = 16384
_STEPS = 8.0  # points of J₀ to a unit of its argument: the fifth power of half a step leaves 1e-8


@cache
def bessel_nodes(terms: int) -> tuple[FloatArray, FloatArray]:
    """Return the zeros λ_k of J₀ and the weights 2/(λ_k·J₁(λ_k)²), k = 1…terms.

    McMahon's expansion (Abramowitz and Stegun 9.5.12), then Newton's steps.

    >>> bessel_nodes(2)[0].round(9).tolist()
    [2.404825558, 5.52007811]
    """
    eight = 8.0 * np.pi * (np.arange(1, terms + 1) - 0.25)
    zeros = eight / 8.0 + 1.0 / eight - 124.0 / (3.0 * eight**3)
    for _ in range(3):
        zeros = zeros + j0(zeros) / j1(zeros)
    weights = 2.0 / (zeros * j1(zeros) ** 2)
    zeros.setflags(write=False)
    weights.setflags(write=False)
    return zeros, weights


def nodes(terms: int) -> tuple[FloatArray, FloatArray]:
    """Return the first nodes and weights, cut from one of a few lengths so that few are kept."""
    length = _SEVERAL_TERMS
    while length < terms:
        length *= 4
    zeros, weights = bessel_nodes(length)
    return zeros[:terms], weights[:terms]


@cache
def waves() -> FloatArray:
    """Return ρ·J₁(λ_k ρ), (CELLS + 2·MARGIN + 1, LOOKED_UP), at ρ = −MARGIN/CELLS … 1 + MARGIN/CELLS."""
    points = np.arange(-MARGIN, CELLS + MARGIN + 1) / CELLS
    values: FloatArray = points[:, None] * j1(points[:, None] * nodes(LOOKED_UP)[0])
    return values


@cache
def coarse_waves() -> FloatArray:
    """Return ρ·J₁(λ_k ρ), (LOOKED_UP, COARSE + 1), at ρ = 0 … 1."""
    return waves()[MARGIN : MARGIN + CELLS + 1 : CELLS // COARSE].T.copy()


@cache
def interpolation_share() -> FloatArray:
    """Return how far a cubic through four neighbouring fine points may be off, for each term of coefficient 1."""
    zeros = nodes(LOOKED_UP)[0]
    share: FloatArray = 0.0235 * np.sqrt(2.0 / np.pi / zeros) * (zeros / CELLS) ** 4
    return share


@cache
def _j0_table() -> tuple[FloatArray, tuple[FloatArray, ...]]:
    """Return the zeros in steps of the table, and J₀ with its first derivatives over their factorials, by step.

    Small, so that it stays in the processor's cache: reading a larger one costs more than the terms it spares.
    """
    zeros = nodes(LOOKED_UP)[0]
    x = np.arange(int(zeros[-1] * _STEPS) + 2) / _STEPS
    value, first = j0(x), -j1(x)
    second, third, fourth = np.full(x.shape, -0.5), np.zeros(x.shape), np.full(x.shape, 0.375)
    # Bessel's equation y″ = −y − y′/x and its derivatives
    there = x[1:]
    second[1:] = -value[1:] - first[1:] / there
    third[1:] = -first[1:] - second[1:] / there + first[1:] / there**2
    fourth[1:] = -second[1:] - third[1:] / there + 2.0 * second[1:] / there**2 - 2.0 * first[1:] / there**3
    powers = (value, first / _STEPS, second / 2.0 / _STEPS**2, third / 6.0 / _STEPS**3, fourth / 24.0 / _STEPS**4)
    return zeros * _STEPS, powers


def products_of_j0(stacks: Sequence[Sequence[float]], terms: int) -> FloatArray:
    """Return Π J₀(a_i λ_k) for each stack of amplitudes, (stacks, terms), within 1e-8 a factor.

    Parameters: stacks of one vector or more each, amplitudes in [0, 1]; terms, any number: beyond LOOKED_UP the
    factors are evaluated, not looked up.

    >>> products_of_j0([[0.3], [0.3, 0.7]], 3).round(7).tolist()
    [[0.8740505, 0.4233309, -0.0949753], [0.3562457, -0.1704116, -0.0157897]]
    """
    amplitudes = np.array([amplitude for stack in stacks for amplitude in stack])
    if terms > LOOKED_UP:
        values = j0(amplitudes[:, None] * nodes(terms)[0])
    else:
        zeros, powers = _j0_table()
        offset = np.dot(amplitudes[:, None], zeros[None, :terms])
        rounded = np.rint(offset)
        offset -= rounded
        nearest = rounded.astype(np.intp)
        values = powers[-1].take(nearest)
        for power in powers[-2::-1]:
            values *= offset
            values += power.take(nearest)
    starts = [0]
    for stack in stacks[:-1]:
        starts.append(starts[-1] + len(stack))
    return np.asarray(np.multiply.reduceat(values, starts, axis=0))
