"""Magnification of reading errors in the eccentricity, compared with the fit itself."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.reading.formulas import eccentricity_error_ratio, fit_dial


@pytest.mark.parametrize("count", [3, 4, 5, 8, 36])
def test_equal_steps(count: int) -> None:
    """First principles: a and b each have the variance 2σ²/n."""
    angles = [360.0 * step / count for step in range(count)]
    assert eccentricity_error_ratio(angles) == pytest.approx(math.sqrt(2.0 / count))


@pytest.mark.parametrize("angles", [[0, 90], [0, 180, 360], [45, 405, -315], [7, 7, 7]])
def test_fewer_than_three_directions_tell_nothing(angles: list[float]) -> None:
    """First principles: two directions fix no circle."""
    assert eccentricity_error_ratio(angles) == math.inf


@given(st.lists(st.integers(0, 35), min_size=3, max_size=8, unique=True))
def test_it_is_the_spread_of_the_fit(steps: list[int]) -> None:
    """First principles: the covariance summed from the fit's answer to each reading alone has the same largest root."""
    angles = [10.0 * step for step in steps]
    answers = [fit_dial(angles, [float(n == k) for n in range(len(angles))]).eccentricity for k in range(len(angles))]
    parts = np.array([[answer.real, answer.imag] for answer in answers])
    largest = math.sqrt(float(np.linalg.eigvalsh(parts.T @ parts)[-1]))
    assert eccentricity_error_ratio(angles) == pytest.approx(largest, rel=1e-6)


def test_angles_that_are_not_finite_are_refused() -> None:
    """Each misuse is named."""
    with pytest.raises(ValueError, match="finite"):
        eccentricity_error_ratio([0.0, 120.0, math.inf])
