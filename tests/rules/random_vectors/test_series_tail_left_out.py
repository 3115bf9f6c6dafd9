"""Error of the series tail, compared with the multiplied Hankel expansions."""

from __future__ import annotations

import math
from itertools import accumulate

import numpy as np
import pytest
from scipy.special import y0

from tests.oracles.random_vectors.series import SeriesLength, _left_out, least_position
from tests.oracles.random_vectors.series_rest import DEEP, SHALLOW, end_of_sum

STACKS = [
    [1.0, 1.0, 1.0],
    [0.6, 0.3, 0.1],
    [0.4, 0.3, 0.2, 0.1],
    [0.5, 0.4, 0.05, 0.05],
    [1 / 6] * 6,
    [0.4, 0.3, 0.15, 0.1, 0.04, 0.01],
]


def _hankel(amplitude: float, order: int) -> list[complex]:
    """Return the coefficients of (−i)^k·(1²·3²·…·(2k−1)²)/(k!·8^k·a^k), which multiply cos in J₀(at), in 1/t."""
    odd = accumulate(((2 * k + 1) ** 2 for k in range(order)), lambda so_far, square: so_far * square, initial=1)
    return [(-1j) ** k * number / (math.factorial(k) * (8 * amplitude) ** k) for k, number in enumerate(odd)]


def _coefficient(amplitudes: list[float], order: int) -> float:
    product = np.ones(1, dtype=np.complex128)
    for amplitude in amplitudes:
        product = np.convolve(product, _hankel(amplitude, order))[: order + 1]
    return float(abs(product[order]))


@pytest.mark.parametrize("amplitudes", STACKS)
def test_second_order_is_exact(amplitudes: list[float]) -> None:
    """First principles: where first orders are kept, the second is the first left out (DLMF 10.17.3)."""
    size, order = _left_out(amplitudes, SHALLOW)
    assert order == 2
    assert size == pytest.approx(_coefficient(amplitudes, 2), rel=1e-12)


@pytest.mark.parametrize("amplitudes", STACKS)
def test_fifth_order_is_close(amplitudes: list[float]) -> None:
    """First principles: where four orders are kept, the estimate of the fifth is a fifth off at most."""
    size, order = _left_out(amplitudes, DEEP)
    assert order == 5
    assert size == pytest.approx(_coefficient(amplitudes, 5), rel=0.2)


@pytest.mark.parametrize("amplitudes", STACKS)
def test_more_orders_and_more_terms_reach_nearer_the_middle(amplitudes: list[float]) -> None:
    """First principles: what is left out falls with the length of the sum, so smaller radii may be asked."""
    for orders in (SHALLOW, DEEP):
        reached = [least_position(amplitudes, SeriesLength(terms, orders)) for terms in (16, 32, 64, 128)]
        assert reached == sorted(reached, reverse=True)
        assert reached[0] > reached[-1] > 0.0
    assert least_position(amplitudes, SeriesLength(64, 0)) == 0.0


@pytest.mark.parametrize(("orders", "degree"), [(SHALLOW, 3), (DEEP, 5)])
def test_least_radius_goes_by_the_power_of_the_length(orders: int, degree: int) -> None:
    """First principles: √r·T^(−p)·(rT)^(−d) is one and the same error, so r goes as T^(−(p + d)/(d − ½)), p = 1."""
    short, long = (least_position([0.5, 0.3, 0.2], SeriesLength(terms, orders)) for terms in (16, 32))
    longer = end_of_sum(32) / end_of_sum(16)
    assert long / short == pytest.approx(longer ** -((1 + degree) / (degree - 0.5)), rel=1e-9)


@pytest.mark.parametrize("terms", [8, 16, 64, 512])
def test_the_sum_ends_where_the_phase_is_a_whole_turn(terms: int) -> None:
    """First principles: where the phase of J₀ is a multiple of π, Y₀ is zero (scipy's Y₀)."""
    end = end_of_sum(terms)
    assert end == pytest.approx(math.pi * (terms + 0.25), abs=0.01)
    assert y0(end) == pytest.approx(0.0, abs=1e-7)
