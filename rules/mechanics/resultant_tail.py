"""Rest of the Fourier–Bessel series beyond its last computed term, in closed form.

With few vectors the series of the resultant's law converges as a low power of the number of terms.
Beyond a modest t every Bessel function is a slowly varying amplitude times a cosine, so the terms
are a sum over the 2ⁿ sign patterns of A(t)·exp(jωt), ω = r ± a₁ ± … ± aₙ, with A a power of t times
a series in 1/t. Each such sum equals, by the Euler–Maclaurin midpoint rule for an oscillating
summand, an exponential integral E_s(−jωT) plus an end correction; E_s follows from sine and cosine
integrals (odd n) or Fresnel integrals (even n).
"""

from __future__ import annotations

import math
from functools import cache, lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import fresnel, sici

__all__ = ["DEEP", "MOST_VECTORS", "SHALLOW", "end_of_sum", "tail_sum"]

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

MOST_VECTORS = 6
SHALLOW, DEEP = 1, 4  # orders of 1/T that are kept beside the leading one
_FAR = 50.0  # argument from which the asymptotic series of E_s is exact to 1e-8
_LONG = 2000.0  # T beyond which a short recurrence loses more than that


@cache
def _patterns(count: int) -> tuple[FloatArray, ComplexArray]:
    """Return the 2ⁿ sign patterns and the constant phase factor of each."""
    signs = np.array(list(product((1.0, -1.0), repeat=count)))
    return signs, np.exp(-0.25j * np.pi * (3.0 + signs.sum(axis=1)))


@lru_cache(maxsize=4096)
def end_of_sum(terms: int) -> float:
    """Return T, the t half a step after the last term: the phase of J₀ there is π·terms.

    Equation: T − π/4 − 1/(8T) + 25/(384T³) = π·terms (Hankel's phase of J₀). Source: Abramowitz and
    Stegun 9.2.29.

    >>> round(end_of_sum(64), 6)
    201.847947
    """
    base = math.pi * (terms + 0.25)
    end = base
    for _ in range(4):
        end = base + 1.0 / (8.0 * end) - 25.0 / (384.0 * end**3)
    return end


def tail_sum(
    radii: FloatArray, amplitudes: FloatArray, end: float | FloatArray, orders: int = DEEP
) -> tuple[FloatArray, FloatArray]:
    """Return Σ over the terms beyond T of 2r·φ(λ_k)·J₁(λ_k r)/(λ_k·J₁(λ_k)²), and its slope.

    Parameters: radii (m,) in (0, 1]; amplitudes (n,), n ≥ 3, of sum 1; end, T of `end_of_sum`; orders, SHALLOW
    or DEEP. With SHALLOW each radius may have a law of its own: amplitudes (m, n), end (m, 1). Returns two
    arrays (m,): the sum, good while r·T and every a_i·T are well above 1 (the caller
    keeps that, see `series_length`), and its derivative to leading order, good enough for Newton's
    steps. Source: Hankel's expansions, Abramowitz and Stegun 9.2.28–9.2.31; the rest first principles.
    """
    count = amplitudes.shape[-1]
    signs, phase = _patterns(count)
    inverse = 1.0 / (amplitudes * end)
    column = radii[:, None]

    # exp(2jθ(λ_k)) = −1 at every zero of J₀ folds frequencies beyond 1 back by 2.
    frequency = column + np.dot(amplitudes, signs.T)
    folded = frequency > 1.0
    frequency -= 2.0 * folded
    # first order in 1/T of the product of Hankel amplitudes, a phase
    lag = (0.375 / end) / column + np.dot(-0.125 * inverse, signs.T)
    lag += (0.25 / end) * folded

    argument = frequency * end
    turning = np.empty(argument.shape, dtype=np.complex128)
    np.cos(argument, out=turning.real)
    np.sin(argument, out=turning.imag)
    integrals = _exponential_integrals(argument, turning, count, orders, end)
    # What the sum has over the integral, for a summand turning by πω a term: π/(2 sin(πω/2)) − 1/ω,
    # as a polynomial good to 5e-5 of this small part.
    even = frequency * frequency
    excess = frequency * (0.411137 + even * (0.119741 + even * (0.0258145 + even * 0.0140578)))
    waves = integrals[1] + 1j * (lag * integrals[2] + (excess / end) * turning)
    if orders == SHALLOW:  # J₁(rt) to the second order all the same: r may be small
        waves += (0.1171875 / (column * end) ** 2) * integrals[3]
    else:
        c2, c3, c4 = _higher_orders(lag, 1.0 / (column * end), inverse, signs)
        waves += c4 * integrals[5] - c2 * integrals[3] - 1j * c3 * integrals[4]
    fold = np.where(folded, -1j, 1.0)
    ends = np.ravel(end)
    square = inverse.prod(axis=-1) * (2.0 / math.pi) * ends
    reach = (0.5 * math.sqrt(2.0 / math.pi)) ** count * np.sqrt(square * radii)
    steep = np.dot(integrals[0] * fold, phase)
    return reach * np.dot(waves * fold, phase).real, -ends * reach * steep.imag


def _higher_orders(
    e1: FloatArray, by_radius: FloatArray, inverse: FloatArray, signs: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return c₂, c₃, c₄ of exp(j·e1 + e2 + j·e3 + e4) = 1 + j·c₁ − c₂ − j·c₃ + c₄ + …, eᵢ of order T⁻ⁱ.

    e1 to e4 are the logarithms of the Hankel amplitudes of J₁(rt) and of every J₀(a_i t), added up.
    """
    square = inverse * inverse
    e2 = 0.1875 * by_radius**2 - 0.0625 * float(square.sum())
    e3 = (-21.0 / 128.0) * by_radius**3 + signs @ ((25.0 / 384.0) * square * inverse)
    e4 = (-27.0 / 128.0) * by_radius**4 + (13.0 / 128.0) * float(np.dot(square, square))
    half = 0.5 * e1 * e1
    c2 = half - e2
    c3 = e1 * (half / 3.0 - e2) - e3
    c4 = half * (half / 6.0 - e2) - e1 * e3 + e4 + 0.5 * e2 * e2
    return c2, c3, c4


def _exponential_integrals(
    argument: FloatArray, turning: ComplexArray, count: int, orders: int, end: float | FloatArray
) -> list[ComplexArray]:
    """Return E_{s−1}, E_s, … of −jx, s = (n+1)/2, n ≥ 3, for real x; `turning` is exp(jx)."""
    size = np.maximum(np.abs(argument), 1e-300)
    value = np.empty(argument.shape, dtype=np.complex128)
    if count % 2:
        sine, cosine = sici(size)
        np.negative(cosine, out=value.real)
        np.multiply(np.copysign(1.0, argument), 0.5 * np.pi - sine, out=value.imag)
        order = 1.0
    else:
        sine, cosine = fresnel(np.sqrt((2.0 / np.pi) * size))
        stretch = np.sqrt(2.0 * np.pi / size)
        np.multiply(stretch, 0.5 - cosine, out=value.real)
        np.multiply(np.copysign(stretch, argument), 0.5 - sine, out=value.imag)
        order = 0.5
    wanted = 4 if orders == SHALLOW else 6
    lowest = 0.5 * (count - 1)
    rotated = 1j * argument
    found = [value]
    while order < lowest + wanted - 1:
        value = (turning + rotated * value) * (1.0 / order)
        found.append(value)
        order += 1.0
    found = found[-wanted:]
    if orders == DEEP or np.max(end) > _LONG:  # the recurrence loses digits as a power of x
        far = size > _FAR
        for step, integral in enumerate(found):
            integral[far] = _far_integral(argument[far], turning[far], lowest + step)
    return found


def _far_integral(argument: FloatArray, turning: ComplexArray, order: float) -> ComplexArray:
    """Return E_s(−jx) of large |x| by its asymptotic series, where the recurrence would lose digits."""
    step = np.zeros(argument.shape, dtype=np.complex128)
    step.imag = -1.0 / argument
    term: ComplexArray = -step * turning
    total: ComplexArray = term.copy()
    for k in range(10):
        term = term * step * (order + k)
        total += term
    return total
