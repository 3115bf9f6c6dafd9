"""The law of randomly clocked vectors: independent computations and values of common knowledge."""

from __future__ import annotations

import pytest

from rules.random_vectors.random_sum import resultant_cdf_many, resultant_quantiles

ERROR = 1e-6

# r·∫₀^T J₁(rt)·exp(−σ²t²/2)·Π J₀(a_i t) dt by mpmath 1.4 with 20 digits: panels of width h, 24 Gauss–Legendre
# nodes each (mp.calculus.quadrature.GaussLegendre, degree 4).  What lies beyond T is below the last digit
# given, but for five vectors without a Gaussian, T = 1000, where it is at most √(2r/π)·0.076·T⁻²/2 < 1e-7.
MPMATH = [
    # T = 8, h = 1/4
    (
        [3.0, 2.0, 2.5, 1.0, 1.2],
        1.5,
        {
            2.0: 0.127891685805283,
            4.0: 0.429904579961032,
            5.0: 0.59138079711664,
            7.0: 0.844644857194394,
            9.0: 0.966384402370264,
            12.0: 0.999355790420021,
        },
    ),
    # T = 24, h = 1/4
    ([2.0], 0.5, {1.0: 0.0147234641087152, 2.0: 0.449727936319374, 3.0: 0.971148915250233}),
    # T = 16, h = 1/4
    ([3.0, 1.0], 0.8, {1.0: 0.0135687478463819, 3.0: 0.426668648788947, 5.0: 0.962169951621645}),
    # T = 300, h = 1/2
    ([1.0] * 8, 0.0, {1.0: 0.111111111111117, 2.5: 0.527950697831179, 5.0: 0.961493606630493}),
    # T = 200, h = 1/2
    (
        [3.0, 2.0, 1.5, 1.5, 1.0, 1.0, 0.7, 0.5, 0.3, 0.1],
        0.0,
        {2.0: 0.154111326608197, 4.0: 0.50767833382811, 6.0: 0.827566415842687, 8.0: 0.973312867007562},
    ),
    # T = 1000, h = 1/2
    (
        [3.0, 2.0, 2.5, 1.0, 1.2],
        0.0,
        {
            2.0: 0.145543386149693,
            4.0: 0.484857661742563,
            5.0: 0.652974596766184,
            7.0: 0.902324110551789,
            9.0: 0.995130443771232,
        },
    ),
]


@pytest.mark.parametrize(("amplitudes", "sigma", "values"), MPMATH)
def test_kluyvers_integral_by_quadrature(amplitudes: list[float], sigma: float, values: dict[float, float]) -> None:
    """First principles: Kluyver's integral itself, by an independent quadrature, frozen."""
    found = resultant_cdf_many(list(values), amplitudes, sigma)
    assert found == pytest.approx(list(values.values()), abs=ERROR)


@pytest.mark.parametrize(("amplitudes", "sigma", "values"), MPMATH)
def test_the_inverse_of_kluyvers_integral(amplitudes: list[float], sigma: float, values: dict[float, float]) -> None:
    """First principles: the frozen probabilities lead back to their radii; the density here is above 0.001."""
    found = resultant_quantiles(list(values.values()), amplitudes, sigma)
    assert found == pytest.approx(list(values), abs=1e-3)
    assert resultant_cdf_many(found, amplitudes, sigma) == pytest.approx(list(values.values()), abs=2 * ERROR)
