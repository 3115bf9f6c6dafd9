"""The law of randomly clocked vectors equals a separate integration, and is deterministic."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from rules.random_vectors.random_sum import resultant_cdf, resultant_quantiles

LEVELS = (0.05, 0.5, 0.8, 0.95, 0.99)


@pytest.mark.parametrize(
    "parts",
    [
        [1e3, 1e-3, 1e-3, 1e-3],
        [1e3, 1e3, 1e-3, 1e-3],
        [1e3, 1.0, 1e-3],
        [1e3, 900.0, 1e-1, 1e-2, 1e-3],
        [5.0, 0.01, 0.02, 0.005, 0.01],
        [1.0] * 20,
        [3.0, 0.5, 0.4],
    ],
)
def test_vectors_of_very_different_size(parts: list[float]) -> None:
    """First principles: the last vector is split off and its angle integrated over the law of the others.

    By Green's theorem the share of a disc needs the law of the others on its boundary only; so the check uses the
    law of one vector less, integrated in another way than R itself is.
    """
    *others, last = parts
    for radius in resultant_quantiles((0.3, 0.7), parts):

        def chance(angle: float, radius: float = float(radius)) -> float:
            return _inside_shifted(others, last, angle, radius)

        value = quad(chance, 0.0, math.pi, limit=400, epsabs=1e-7)[0] / math.pi
        assert resultant_cdf(float(radius), parts) == pytest.approx(value, abs=3e-6)


def _inside_shifted(others: list[float], last: float, angle: float, radius: float) -> float:
    """Return the boundary element's part of the share: the law of the others there, times its angle seen from them."""
    rho = math.sqrt(radius**2 + last**2 + 2 * radius * last * math.cos(angle))
    if rho == 0.0:
        return 0.0
    weight = (radius**2 + radius * last * math.cos(angle)) / rho**2
    return resultant_cdf(rho, others) * weight


def test_answers_are_the_same_every_time() -> None:
    """No random numbers: the same bits."""
    parts = list(np.linspace(0.1, 3.0, 9))
    assert resultant_quantiles(LEVELS, parts).tobytes() == resultant_quantiles(LEVELS, parts).tobytes()
