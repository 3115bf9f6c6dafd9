"""Walks in the plane: independent computations and values of common knowledge."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import rice

from rules.random_vectors.random_sum import resultant_cdf, resultant_cdf_many

ERROR = 1e-6
"""What the law promises, in probability."""


@pytest.mark.parametrize(
    ("radius", "probability"), [(2, 0.14554), (4, 0.48486), (5, 0.65297), (7, 0.90232), (9, 0.99513)]
)
def test_five_unequal_vectors(radius: float, probability: float) -> None:
    """First principles: a = 3, 2, 2.5, 1, 1.2; the series, and 2·10⁶ random draws within 0.001, agreed."""
    assert resultant_cdf(radius, [3, 2, 2.5, 1, 1.2]) == pytest.approx(probability, abs=6e-6)


@pytest.mark.parametrize(("radius", "probability"), [(4, 0.42990), (7, 0.84464)])
def test_five_vectors_and_a_gaussian(radius: float, probability: float) -> None:
    """First principles: the same with a plane Gaussian of σ = 1.5 per axis."""
    assert resultant_cdf(radius, [3, 2, 2.5, 1, 1.2], 1.5) == pytest.approx(probability, abs=6e-6)


@pytest.mark.parametrize(("radius", "probability"), [(2, 0.176564), (4, 0.574682), (6, 0.907527)])
def test_four_unequal_vectors(radius: float, probability: float) -> None:
    """First principles: a = 3, 2, 1.5, 1; Kluyver's integral by mpmath quadrature, frozen."""
    assert resultant_cdf(radius, [3, 2, 1.5, 1]) == pytest.approx(probability, abs=1.5e-6)


@pytest.mark.parametrize(
    ("count", "values"),
    [
        (3, {0.5: 0.04806278, 1.5: 0.51167949, 2: 0.69609664, 2.5: 0.85587479, 3: 1.0}),
        (4, {0.5: 0.0625144, 1.5: 0.3878745, 2: 0.6163953, 2.5: 0.7822856, 3: 0.8912748, 4: 1.0}),
        (5, {0.5: 0.0413458, 1.5: 0.3435152, 2: 0.5247982, 2.5: 0.6947811, 3: 0.8350507, 4: 0.9670794}),
        (6, {2: 0.4678275, 3: 0.7672190, 4: 0.9375549}),
    ],
)
def test_table_of_unit_steps(count: int, values: dict[float, float]) -> None:
    """First principles: distribution of three to six unit steps, two independent methods within 1e-7."""
    found = resultant_cdf_many(list(values), [1.0] * count)
    assert found == pytest.approx(list(values.values()), abs=ERROR)


@pytest.mark.parametrize("radius", [0.5, 2.0, 3.0, 4.5, 8.0])
def test_one_vector_and_a_gaussian_is_rice(radius: float) -> None:
    """Literature: Rice distribution by scipy.stats."""
    assert resultant_cdf(radius, [3.0], 1.2) == pytest.approx(float(rice.cdf(radius, 3.0 / 1.2, scale=1.2)), abs=ERROR)


def test_seeded_draws_agree() -> None:
    """First principles: three million seeded draws of six unequal vectors, within three standard errors."""
    amplitudes = [4.0, 3.0, 1.0, 0.5, 0.25, 6.0]
    rng = np.random.default_rng(20_240_501)
    radii, counts, draws = np.array([2.0, 5.0, 8.0, 11.0]), np.zeros(4), 0
    for _ in range(6):
        angles = rng.uniform(0, 2 * np.pi, (500_000, len(amplitudes)))
        reached = np.abs((np.exp(1j * angles) * amplitudes).sum(axis=1))
        counts += (reached[:, None] <= radii).sum(axis=0)
        draws += reached.size
    exact = resultant_cdf_many(radii, amplitudes)
    spread = np.sqrt(exact * (1 - exact) / draws)
    assert np.all(np.abs(counts / draws - exact) < 3.5 * spread)
