"""Tail of the Fourier–Bessel series beyond its last computed term in closed form, and tables of its Bessel functions.

With few vectors the error of the series falls only as a low power of the number of terms. Beyond a moderate t each
Bessel function is a slowly varying amplitude times a cosine, so the terms are a sum over the 2ⁿ sign patterns of
A(t)·exp(jωt), ω = r ± a₁ ± … ± aₙ, with A a power of t times
a series in 1/t. Each such sum equals, by the Euler–Maclaurin midpoint rule for an oscillating
summand, an exponential integral E_s(−jωT) plus an end correction; E_s follows from sine and cosine integrals (odd n) or
Fresnel integrals (even n).

Rows are multiplied one by one. A library multiplies a block of rows in an order that depends on their number, which
changes the last digits. The answer for one stack must not depend on how many are computed together.

Three tables are computed once: the zeros λ_k of J₀ and the weights of the series; the waves ρ·J₁(λ_k ρ) on a fine grid
of the radius of the disc; and the factors J₀(x) and 2J₁(x)/x themselves.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache, lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import fresnel, j0, j1, jv, sici

__all__ = [
    "CELLS",
    "COARSE",
    "DEEP",
    "LOOKED_UP",
    "MARGIN",
    "MOST_VECTORS",
    "SHALLOW",
    "coarse_waves",
    "end_of_sum",
    "interpolation_share",
    "nodes",
    "products_of_factors",
    "tail_rows",
    "tail_size",
    "tail_sum",
    "times_matrix",
    "times_vector",
    "waves",
]


FloatArray = NDArray[np.float64]


def times_matrix(rows: FloatArray, matrix: FloatArray) -> FloatArray:
    """Return the product of each row with a matrix.

    Parameters
    ----------
    rows : FloatArray
        Rows, shape (m, n).
    matrix : FloatArray
        Matrix of shape (n, k).

    Returns
    -------
    FloatArray
        Products, shape (m, k).

    Examples
    --------
    >>> times_matrix(np.array([[1.0, 2.0]]), np.array([[3.0, 4.0], [5.0, 6.0]])).tolist()
    [[13.0, 16.0]]
    """
    product: FloatArray = np.matmul(rows[:, None, :], matrix)[:, 0, :]
    return product


def times_vector(rows: FloatArray, vector: FloatArray) -> FloatArray:
    """Return the product of each row with a vector.

    Parameters
    ----------
    rows : FloatArray
        Rows, shape (m, n).
    vector : FloatArray
        Vector of shape (n,).

    Returns
    -------
    FloatArray
        Products, shape (m,).

    Examples
    --------
    >>> times_vector(np.array([[1.0, 2.0]]), np.array([3.0, 5.0])).tolist()
    [13.0]
    """
    product: FloatArray = np.matmul(rows[:, None, :], vector[:, None])[:, 0, 0]
    return product


ComplexArray = NDArray[np.complex128]

MOST_VECTORS = 6
SHALLOW, DEEP = 1, 4  # orders of 1/T in addition to the leading one
_FAR = 50.0  # argument from which the asymptotic series of E_s is exact to 1e-8
_LONG = 2000.0  # T beyond which even the short recurrence loses more than that


@cache
def _patterns(count: int) -> tuple[FloatArray, FloatArray, FloatArray, ComplexArray, ComplexArray, FloatArray]:
    """Return the arrays common to all laws of n vectors, for the 2ⁿ sign patterns.

    Two (n + 1, 2ⁿ) matrices: from r, a₁, …, aₙ to ω, and from their inverses to the first order in 1/T. Then the
    constant phase; the factor of the first exponential integral, unfolded and folded; ones.
    """
    signs = np.array(list(product((1.0, -1.0), repeat=count))).T
    phase = -0.25 * np.pi * (3.0 + signs.sum(axis=0))
    start = np.exp(1j * phase) * (-1j) ** (count // 2 % 2)
    first = np.ones(2**count)
    return np.vstack((first, signs)), np.vstack((0.375 * first, -0.125 * signs)), phase, start, -1j * start, first


@lru_cache(maxsize=4096)
def end_of_sum(terms: int) -> float:
    """Return T, half a step beyond the last term, where the phase of J₀ is π·terms.

    Equation: T − π/4 − 1/(8T) + 25/(384T³) = π·terms (Hankel's phase of J₀).

    Parameters
    ----------
    terms : int
        Number of terms.

    Returns
    -------
    float
        T, in units of the inverse radius of the disc.

    Notes
    -----
    Source: Abramowitz and Stegun 9.2.29.

    Examples
    --------
    >>> round(end_of_sum(64), 6)
    201.847947
    """
    base = math.pi * (terms + 0.25)
    end = base
    for _ in range(4):
        end = base + 1.0 / (8.0 * end) - 25.0 / (384.0 * end**3)
    return end


def tail_sum(
    radii: FloatArray, amplitudes: FloatArray, end: float, orders: int = DEEP
) -> tuple[FloatArray, FloatArray]:
    """Return Σ over the terms beyond T of 2r·φ(λ_k)·J₁(λ_k r)/(λ_k·J₁(λ_k)²), and its slope.

    Parameters
    ----------
    radii : FloatArray
        Radii, shape (m,), in (0, 1].
    amplitudes : FloatArray
        Amplitudes, shape (n,), n ≥ 3, of sum 1.
    end : float
        End T of `end_of_sum`.
    orders : int, default DEEP
        Orders of the expansion, SHALLOW or DEEP.

    Returns
    -------
    tuple[FloatArray, FloatArray]
        Two arrays (m,): the sum, accurate for r·T and every a_i·T well above 1 (see `series_length`), and its
        derivative to leading order, accurate enough for Newton's steps.

    Notes
    -----
    Source: Hankel's expansions, Abramowitz and Stegun 9.2.28–9.2.31; otherwise first principles.
    """
    lengths = np.empty((radii.size, amplitudes.size + 1))
    lengths[:, 0] = radii
    lengths[:, 1:] = amplitudes
    waves, rest, steep = _pattern_sums(lengths, np.full((radii.size, 1), end), orders)
    size = tail_size(amplitudes.tolist(), end) * np.sqrt(radii)
    if orders == SHALLOW:
        waves *= 1.0 + _by_radius(amplitudes.size) / (radii * end) ** 2
    return size * (waves - rest / end), -end * size * steep


def tail_rows(
    positions: Sequence[float],
    laws: Sequence[Sequence[float]],
    ends: Sequence[float],
    sizes: Sequence[float],
    orders: int,
) -> list[tuple[float, float]]:
    """Return `tail_sum` and its slope for rows of one position each; all laws have the same number of vectors.

    The figures of a row do not depend on the others, to the last digit.

    Parameters
    ----------
    positions : Sequence[float]
        Position of each row.
    laws : Sequence[Sequence[float]]
        Amplitudes of each row, n per row.
    ends : Sequence[float]
        End T of the computed sum, one for each row.
    sizes : Sequence[float]
        Factor of `tail_size`, one for each row.
    orders : int
        Orders of the expansion for all rows.

    Returns
    -------
    list[tuple[float, float]]
        Sum and slope of each row.
    """
    lengths = np.array([(position, *law) for position, law in zip(positions, laws, strict=True)])
    sums = _pattern_sums(lengths, np.array(ends)[:, None], orders)
    by_radius = _by_radius(lengths.shape[1] - 1) if orders == SHALLOW else 0.0
    found = []
    for r, end, size, wave, rest, steep in zip(positions, ends, sizes, *(each.tolist() for each in sums), strict=True):
        reach = r * end
        size *= math.sqrt(r)
        found.append((size * (wave * (1.0 + by_radius / (reach * reach)) - rest / end), -end * size * steep))
    return found


def tail_size(amplitudes: Sequence[float], end: float) -> float:
    """Return the factor of the sums over the patterns, without √r: √(2T/π·Π 1/(2π·a_i·T)).

    Parameters
    ----------
    amplitudes : Sequence[float]
        Amplitude of each vector, shape (n,).
    end : float
        End T of the computed sum.

    Returns
    -------
    float
        Factor of the sums over the patterns, without √r.
    """
    size = 2.0 * end / math.pi
    for amplitude in amplitudes:
        size *= (0.5 / math.pi) / (amplitude * end)
    return math.sqrt(size)


def _by_radius(count: int) -> float:
    """Return the weight of the second order of J₁(rt), 0.117/(rT)², relative to the leading one.

    The weight is that at the resonance ω = 0, where E_{s+2} is (s − 1)/(s + 1) of E_s; elsewhere both are small.
    """
    return 0.1171875 * (count - 1) / (count + 3)


def _pattern_sums(lengths: FloatArray, ends: FloatArray, orders: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the sums over all patterns of the leading order, of the next order in 1/T, and of the slope.

    `lengths` (m, n + 1) are r and the amplitudes, `ends` (m, 1) are T. Sums are made row by row, so that their order
    does not depend on m.
    """
    # the arrays are small, so the number of operations determines the time
    count = lengths.shape[1] - 1
    signs, lags, phase, start, folded_start, ones = _patterns(count)
    frequency = times_matrix(lengths, signs)
    # phase: T times the first order in 1/T of the product of Hankel amplitudes
    lag = times_matrix(1.0 / lengths, lags)
    # exp(2jθ(λ_k)) = −1 at every zero of J₀, so frequencies beyond 1 are reduced by 2
    folded = frequency > 1.0
    back = folded * 2.0
    frequency -= back
    frequency += 1e-300  # never 0
    back *= 0.125
    lag += back
    argument = frequency * ends
    back *= -2.0 * math.pi
    back += phase
    back += argument
    cosine, sine = np.cos(back), np.sin(back)
    value = _first_integral(argument, np.where(folded, folded_start, start), count)
    far = None
    if orders == DEEP or ends.max() > _LONG:  # the recurrence loses digits as a power of x
        far = np.abs(argument) > _FAR
        if orders == SHALLOW:
            far &= ends > _LONG
    steep, leading, *higher = _exponential_integrals(value, argument, cosine, sine, count, orders, far)
    # The difference of sum and integral, for a summand that rotates by πω per term, is π/(2 sin(πω/2)) − 1/ω; this
    # polynomial has a relative error of 5e-5.
    even = frequency * frequency
    rest = even * 0.0140578
    rest += 0.0258145
    rest *= even
    rest += 0.119741
    rest *= even
    rest += 0.411137
    rest *= frequency
    rest *= sine
    if orders == DEEP:
        c2, c3, c4 = _higher_orders(lag / ends, 1.0 / (lengths[:, :1] * ends), 1.0 / (lengths[:, 1:] * ends), signs[1:])
        leading = leading - c2 * higher[1] + c3 * higher[2] + c4 * higher[3]
    lag *= higher[0]
    rest += lag
    return times_vector(leading, ones), times_vector(rest, ones), times_vector(steep, ones)


def _higher_orders(
    e1: FloatArray, by_radius: FloatArray, inverse: FloatArray, signs: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return c₂, c₃, c₄ of exp(j·e1 + e2 + j·e3 + e4) = 1 + j·c₁ − c₂ − j·c₃ + c₄ + …, eᵢ of order T⁻ⁱ.

    e1 to e4 are the summed logarithms of the Hankel amplitudes of J₁(rt) and of every J₀(a_i t). Shapes: `e1` (m, 2ⁿ),
    `by_radius` 1/(rT) (m, 1), `inverse` 1/(a_i T) (m, n).
    """
    square = inverse * inverse
    e2 = 0.1875 * by_radius**2 - 0.0625 * square.sum(axis=-1, keepdims=True)
    e3 = (-21.0 / 128.0) * by_radius**3 + times_matrix((25.0 / 384.0) * square * inverse, signs)
    e4 = (-27.0 / 128.0) * by_radius**4 + (13.0 / 128.0) * (square * square).sum(axis=-1, keepdims=True)
    half = 0.5 * e1 * e1
    c2 = half - e2
    c3 = e1 * (half / 3.0 - e2) - e3
    c4 = half * (half / 6.0 - e2) - e1 * e3 + e4 + 0.5 * e2 * e2
    return c2, c3, c4


def _first_integral(argument: FloatArray, factor: ComplexArray, count: int) -> FloatArray:
    """Return the real part of E_1 (odd n) or E_½ (even n) of −jx times a factor, for real x ≠ 0."""
    if count % 2:
        sine, cosine = sici(argument)
        sine -= np.copysign(0.5 * np.pi, argument)
        sine *= factor.imag
        cosine *= factor.real
        sine -= cosine
        return np.asarray(sine)
    size = np.abs(argument)
    sine, cosine = fresnel(np.sqrt((2.0 / np.pi) * size))
    sine -= 0.5
    sine *= np.copysign(1.0, argument)
    sine *= factor.imag
    cosine -= 0.5
    cosine *= factor.real
    sine -= cosine
    sine *= np.sqrt(2.0 * np.pi / size)
    return np.asarray(sine)


def _exponential_integrals(
    value: FloatArray,
    argument: FloatArray,
    cosine: FloatArray,
    sine: FloatArray,
    count: int,
    orders: int,
    far: NDArray[np.bool_] | None,
) -> list[FloatArray]:
    """Return Im E_{s−1}, Re E_s, Im E_{s+1}, … of −jx times a phase factor, s = (n+1)/2, from the first of them.

    E_{k+1} = (exp(jx) + jx·E_k)/k: its real part needs only the imaginary part of E_k, and vice versa. `cosine` and
    `sine` are those of x plus the phase; `far` marks the values by asymptotic series.
    """
    order = 1.0 if count % 2 else 0.5
    found = [value]
    wanted = 3 if orders == SHALLOW else 6
    steps = count // 2
    for step in range(steps + wanted - 2):
        value = argument * value
        if (steps - step) % 2:  # E_s is a real part
            np.subtract(cosine, value, out=value)
        else:
            value += sine
        if order != 1.0:
            value *= 1.0 / order
        found.append(value)
        order += 1.0
    found = found[-wanted:]
    if far is not None:
        turning = cosine[far] + 1j * sine[far]
        there = argument[far]
        for step, integral in enumerate(found):
            exact = _far_integral(there, turning, 0.5 * (count - 1) + step)
            integral[far] = exact.real if step % 2 else exact.imag
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


LOOKED_UP = 512  # terms whose waves are tabulated
CELLS = 2048  # fine cells on the radius of the disc
MARGIN = 16  # fine points beyond each end
COARSE = 64  # coarse cells on the radius of the disc
_SEVERAL_TERMS = 16384
_STEPS = 8.0  # points of J₀ per unit of its argument; the fifth power of half a step gives an error of 1e-8


@cache
def bessel_nodes(terms: int) -> tuple[FloatArray, FloatArray]:
    """Return the zeros λ_k of J₀ and the weights 2/(λ_k·J₁(λ_k)²), k = 1…terms.

    McMahon's expansion (Abramowitz and Stegun 9.5.12), then Newton's steps.

    Parameters
    ----------
    terms : int
        Number of terms.

    Returns
    -------
    tuple[FloatArray, FloatArray]
        Zeros λ_k of J₀ and the weights 2/(λ_k·J₁(λ_k)²), k = 1…terms.

    Examples
    --------
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
    """Return the first zeros and weights, taken from tables of a few lengths to save memory.

    Parameters
    ----------
    terms : int
        Number of terms.

    Returns
    -------
    tuple[FloatArray, FloatArray]
        Zeros λ_k and weights, shape (terms,) each.
    """
    length = _SEVERAL_TERMS
    while length < terms:
        length *= 4
    zeros, weights = bessel_nodes(length)
    return zeros[:terms], weights[:terms]


@cache
def waves() -> FloatArray:
    """Return ρ·J₁(λ_k ρ) on the fine grid, ρ = −MARGIN/CELLS … 1 + MARGIN/CELLS.

    Returns
    -------
    FloatArray
        Waves, shape (CELLS + 2·MARGIN + 1, LOOKED_UP).
    """
    return _waves_at(np.arange(-MARGIN, CELLS + MARGIN + 1) / CELLS)


@cache
def coarse_waves() -> FloatArray:
    """Return ρ·J₁(λ_k ρ) on the coarse grid, ρ = 0 … 1.

    Returns
    -------
    FloatArray
        Waves, shape (LOOKED_UP, COARSE + 1).
    """
    # The same points as on the fine grid, which few sums need and takes as long as ten checks.
    return _waves_at(np.arange(0, CELLS + 1, CELLS // COARSE) / CELLS).T.copy()


def _waves_at(points: FloatArray) -> FloatArray:
    values: FloatArray = points[:, None] * j1(points[:, None] * nodes(LOOKED_UP)[0])
    return values


@cache
def interpolation_share() -> FloatArray:
    """Return the largest error of a cubic through four neighbouring fine points, for each term of coefficient 1.

    Returns
    -------
    FloatArray
        Largest error of each term, shape (LOOKED_UP,).
    """
    zeros = nodes(LOOKED_UP)[0]
    share: FloatArray = 0.0235 * np.sqrt(2.0 / np.pi / zeros) * (zeros / CELLS) ** 4
    return share


@cache
def _factor_tables() -> tuple[FloatArray, int, tuple[FloatArray, ...]]:
    """Return the zeros in steps of the table, the length of one table, and the tables of two functions end to end.

    The functions are J₀, the factor of a ring, and 2J₁(x)/x, that of a disc; at each step the value and the first
    derivatives over their factorials. The tables fit the processor's cache; larger ones would cost more to read than
    they save in terms.
    """
    zeros = nodes(LOOKED_UP)[0]
    x = np.arange(int(zeros[-1] * _STEPS) + 2) / _STEPS
    there = x[1:]
    tables = []
    # y″ = −y − c·y′/x and its derivatives: Bessel's equation has c = 1, that of 2J₁(x)/x has c = 3
    for c in (1.0, 3.0):
        value, first = (j0(x), -j1(x)) if c == 1.0 else (np.ones(x.shape), np.zeros(x.shape))
        second = np.full(x.shape, -1.0 / (c + 1.0))
        third, fourth = np.zeros(x.shape), np.full(x.shape, 3.0 / ((c + 1.0) * (c + 3.0)))
        if c == 3.0:
            value[1:] = 2.0 * j1(there) / there
            first[1:] = -2.0 * jv(2, there) / there
        second[1:] = -value[1:] - c * first[1:] / there
        third[1:] = -first[1:] - c * (second[1:] / there - first[1:] / there**2)
        fourth[1:] = -second[1:] - c * (third[1:] / there - 2.0 * second[1:] / there**2 + 2.0 * first[1:] / there**3)
        tables.append(
            (value, first / _STEPS, second / 2.0 / _STEPS**2, third / 6.0 / _STEPS**3, fourth / 24.0 / _STEPS**4)
        )
    joined = tuple(np.concatenate(pair) for pair in zip(*tables, strict=True))
    return zeros * _STEPS, x.size, joined


def products_of_factors(rings: Sequence[Sequence[float]], discs: Sequence[Sequence[float]], terms: int) -> FloatArray:
    """Return Π J₀(a_i λ_k)·Π 2J₁(d_i λ_k)/(d_i λ_k) for each stack, within 1e-8 per factor.

    Parameters
    ----------
    rings : Sequence[Sequence[float]]
        Amplitudes of the rings of each stack, in [0, 1].
    discs : Sequence[Sequence[float]]
        Radii of the discs of each stack, above 0, at most 1.
    terms : int
        Number of terms; factors beyond LOOKED_UP are evaluated, not taken from the table.

    Returns
    -------
    FloatArray
        Products, shape (stacks, terms); 1 for a stack without vectors.

    Examples
    --------
    >>> products_of_factors([[0.3], [0.3, 0.7]], [[], []], 3).round(7).tolist()
    [[0.8740505, 0.4233309, -0.0949753], [0.3562457, -0.1704116, -0.0157897]]
    >>> products_of_factors([[]], [[0.5]], 3).round(7).tolist()
    [[0.8298405, 0.3063411, -0.083402]]
    """
    amplitudes: list[float] = []
    shifts: list[int] = []
    starts: list[int] = []
    step = _factor_tables()[1]
    for own, round_ones in zip(rings, discs, strict=True):
        starts.append(len(amplitudes))
        amplitudes += own
        amplitudes += round_ones
        shifts += [0] * len(own) + [step] * len(round_ones)
        if len(amplitudes) == starts[-1]:
            amplitudes.append(0.0)  # J₀(0) = 1
            shifts.append(0)
    sizes = np.array(amplitudes)
    if terms > LOOKED_UP:
        x = sizes[:, None] * nodes(terms)[0]
        values = j0(x)
        of_discs = [n for n, shift in enumerate(shifts) if shift]
        values[of_discs] = 2.0 * j1(x[of_discs]) / x[of_discs]
    else:
        zeros, _, powers = _factor_tables()
        offset = np.dot(sizes[:, None], zeros[None, :terms])
        rounded = np.rint(offset)
        offset -= rounded
        nearest = rounded.astype(np.intp)
        if any(shifts):
            nearest += np.array(shifts, dtype=np.intp)[:, None]
        values = powers[-1].take(nearest)
        for power in powers[-2::-1]:
            values *= offset
            values += power.take(nearest)
    return np.asarray(np.multiply.reduceat(values, starts, axis=0))
