"""Dial readings and decisions: exact mathematics and first principles."""

from __future__ import annotations

import cmath
import math
from statistics import NormalDist

import pytest

from rules.reading.formulas import decide_upper_limit, fit_dial, high_point_deg


@pytest.mark.parametrize("count", [3, 4, 5, 8, 12, 36])
def test_pure_sine_is_found_exactly(count: int) -> None:
    """First principles: readings 5 + 3·cos(θ − 40°) have e = 3 µm toward 40° and no form error."""
    angles = [360 * k / count for k in range(count)]
    fit = fit_dial(angles, [5 + 3 * math.cos(math.radians(angle - 40)) for angle in angles])
    assert fit.mean_um == pytest.approx(5)
    assert abs(fit.eccentricity) == pytest.approx(3)
    assert high_point_deg(fit.eccentricity) == pytest.approx(40)
    assert fit.form_um == pytest.approx(0, abs=1e-9)


def test_eight_readings_by_hand() -> None:
    """First principles: R = 10, 12, 11, 7, 3, 1, 2, 6 at 45° steps, a = (2/n)·ΣR·cos θ worked with a calculator."""
    fit = fit_dial([45 * k for k in range(8)], [10, 12, 11, 7, 3, 1, 2, 6])
    assert fit.mean_um == pytest.approx(6.5)
    assert fit.eccentricity.real == pytest.approx(3.517767, abs=1e-6)
    assert fit.eccentricity.imag == pytest.approx(4.371320, abs=1e-6)
    assert abs(fit.eccentricity) == pytest.approx(5.610983, abs=1e-6)
    assert high_point_deg(fit.eccentricity) == pytest.approx(51.17505, abs=1e-5)
    assert fit.tir_um == 11


def test_least_squares_circle_formulas_of_the_standard() -> None:
    """First principles: least-squares circle of ISO 12181, a = (2/N)·ΣR·cos θ, b = (2/N)·ΣR·sin θ, equal angles."""
    readings = [3.1, 4.7, 2.2, 8.0, 6.5, 1.9, 3.3]
    angles = [2 * math.pi * k / 7 for k in range(7)]
    direct = sum(r * cmath.exp(1j * t) for r, t in zip(readings, angles, strict=True)) * 2 / 7
    fitted = fit_dial([math.degrees(t) for t in angles], readings).eccentricity
    assert fitted == pytest.approx(direct)


def test_total_indicator_reading_of_an_eccentric_shaft() -> None:
    """First principles: run-out as in ISO 1101; −0.01 to +0.03 mm is a reading of 0.04 mm, twice the eccentricity."""
    fit = fit_dial([0, 90, 180, 270], [30, 10, -10, 10])
    assert fit.tir_um == 40
    assert 2 * abs(fit.eccentricity) == pytest.approx(40)


@pytest.mark.parametrize(("guard", "probability"), [(1.645, 0.95), (1.65, 0.9505), (2.0, 0.9772)])
def test_what_the_guard_band_buys(guard: float, probability: float) -> None:
    """First principles: chance that a value accepted at the guarded limit really conforms, u = 1."""
    value = 10.0 - guard
    assert decide_upper_limit(value, 10.0, guard) == "conforms"
    assert NormalDist(value, 1.0).cdf(10.0) == pytest.approx(probability, abs=5e-5)
