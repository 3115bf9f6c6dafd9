"""Bounds of a resultant, variance shares of its contributors, and the Gaussian equivalent to a limit."""

from __future__ import annotations

import math
from collections.abc import Sequence

__all__ = ["best_clocking", "check_each", "gaussian_sigma", "least_resultant", "variance_shares", "worst_case"]


def worst_case(amplitudes: Sequence[float]) -> float:
    """Return the greatest possible resultant, all vectors in line: Σ a_i.

    Parameters
    ----------
    amplitudes : Sequence[float]
        Amplitudes ≥ 0, in one unit.

    Returns
    -------
    float
        Greatest possible resultant, all vectors in line.

    Raises
    ------
    ValueError
        For a negative or non-finite amplitude.

    Notes
    -----
    Source: the triangle inequality.

    Examples
    --------
    >>> worst_case([1.5, 2.0, 0.5])
    4.0
    """
    check_each(amplitudes, "an amplitude")
    return math.fsum(amplitudes)


def best_clocking(amplitudes: Sequence[float]) -> float:
    """Return the least possible resultant, with the largest vector opposite to the others: max(0, a_max − Σ others).

    Parameters
    ----------
    amplitudes : Sequence[float]
        Amplitudes ≥ 0, in one unit.

    Returns
    -------
    float
        Least possible resultant.

    Raises
    ------
    ValueError
        For a negative or non-finite amplitude.

    Notes
    -----
    Source: the polygon inequality: vectors close to a polygon unless one is longer than all others together.

    Examples
    --------
    >>> best_clocking([4.0, 1.0, 0.5])
    2.5
    """
    check_each(amplitudes, "an amplitude")
    return least_resultant(amplitudes)


def least_resultant(amplitudes: Sequence[float]) -> float:
    """Return `best_clocking` of amplitudes already checked.

    Parameters
    ----------
    amplitudes : Sequence[float]
        Amplitude of each vector, shape (n,).

    Returns
    -------
    float
        Least possible resultant.
    """
    ordered = sorted(amplitudes)  # sorted, so that the sum does not depend on the order
    return max(0.0, ordered[-1] - math.fsum(ordered[:-1])) if ordered else 0.0


def check_each(values: Sequence[float], name: str) -> None:
    """Raise ValueError unless every value is finite and zero or more.

    Parameters
    ----------
    values : Sequence[float]
        Values to check.
    name : str
        What the values are, for the message.
    """
    for value in values:
        if not 0.0 <= value < math.inf:
            raise ValueError(f"{name} must be a finite number, zero or more")


def variance_shares(
    amplitudes: Sequence[complex], sigmas: Sequence[float], sums: Sequence[complex] | None = None
) -> tuple[float, ...]:
    """Return each contributor's share of the mean square of the resultant.

    E[R²] = Σ (Re(a_i·S_i*) + 2σ_i²), share_i = (Re(a_i·S_i*) + 2σ_i²)/E[R²]

    Parameters
    ----------
    amplitudes : Sequence[complex]
        Amplitudes in one unit; complex where the direction is known, else real and ≥ 0.
    sigmas : Sequence[float]
        Standard deviations of the Gaussian contributors, each ≥ 0, same unit.
    sums : Sequence[complex] | None, default None
        Sum of the group of each vector; None if every vector is a group of its own.

    Returns
    -------
    tuple[float, ...]
        One share per contributor; their sum is 1. A share is negative where a known direction reduces the resultant;
        all are 0 if nothing contributes.

    Raises
    ------
    ValueError
        Outside the domain or for unequal lengths.

    Notes
    -----
    Source: first principles; angles of different groups are independent, so their cross terms vanish.

    Examples
    --------
    >>> variance_shares([3.0, 1.0, 0.0], [0.0, 0.0, 1.0])
    (0.75, 0.08333333333333333, 0.16666666666666666)
    >>> variance_shares([3.0, -1.0], [0.0, 0.0], [2.0, 2.0])
    (1.5, -0.5)
    """
    if sums is None:
        check_each([abs(a) if isinstance(a, complex) else a for a in amplitudes], "an amplitude")
        sums = amplitudes
    check_each(sigmas, "a sigma")
    if not len(amplitudes) == len(sigmas) == len(sums):
        raise ValueError("amplitudes and sigmas must be lists of equal length")
    # scale by the largest, since squares of extreme amplitudes would overflow
    largest = max((*map(abs, amplitudes), *map(abs, sums), *sigmas), default=0.0)
    if largest == 0.0:
        return (0.0,) * len(amplitudes)
    squares = [
        ((a / largest) * (total / largest).conjugate()).real + 2.0 * (sigma / largest) ** 2
        for a, sigma, total in zip(amplitudes, sigmas, sums, strict=True)
    ]
    whole = math.fsum(squares)
    return tuple([square / whole if whole > 0.0 else 0.0 for square in squares])


def gaussian_sigma(limit_amplitude: float, probability: float = 0.95) -> float:
    """Return the standard deviation per axis of the plane Gaussian that stays within a limit.

    σ = a/√(−2·ln(1 − p)), so that P(R ≤ a) = p; a/2.4477 at 95 %

    Parameters
    ----------
    limit_amplitude : float
        Limit amplitude a ≥ 0.
    probability : float, default 0.95
        Probability p, above 0 and below 1.

    Returns
    -------
    float
        σ in the unit of a.

    Raises
    ------
    ValueError
        Outside the domain.

    Notes
    -----
    Source: Rayleigh distribution.

    Examples
    --------
    >>> round(gaussian_sigma(2.447746831), 9)
    1.0
    """
    check_each([limit_amplitude], "an amplitude")
    if not 0.0 < probability < 1.0:
        raise ValueError("the probability must lie between 0 and 1, ends excluded")
    return limit_amplitude / math.sqrt(-2.0 * math.log1p(-probability))
