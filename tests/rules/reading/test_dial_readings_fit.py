"""The fit of dial readings: uneven angles, invariances and rejected input."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.reading.formulas import complex_at, decide_upper_limit, fit_dial, high_point_deg, least_uncertainty_to_decide

angle_sets = st.lists(st.integers(0, 23), min_size=4, max_size=12, unique=True).map(lambda ks: [15.0 * k for k in ks])


def _spread(angles: list[float]) -> bool:
    """Neither all on one side nor in two opposite places: the design is well conditioned."""
    resultant = abs(sum(cmath.exp(1j * math.radians(a)) for a in angles)) / len(angles)
    doubled = abs(sum(cmath.exp(2j * math.radians(a)) for a in angles)) / len(angles)
    return resultant < 0.6 and doubled < 0.8


@settings(deadline=None, derandomize=True)
@given(angle_sets.filter(_spread), st.floats(-100, 100), st.floats(0, 100), st.floats(0, 359))
def test_uneven_angles_do_not_mislead(angles: list[float], mean: float, size: float, direction: float) -> None:
    """First principles: a pure first harmonic is found whatever the angles it was read at."""
    readings = [mean + size * math.cos(math.radians(a - direction)) for a in angles]
    fit = fit_dial(angles, readings)
    assert fit.eccentricity == pytest.approx(cmath.rect(size, math.radians(direction)), abs=1e-8)
    assert fit.mean_um == pytest.approx(mean, abs=1e-8)
    assert fit.form_um == pytest.approx(0, abs=1e-8)


def test_ovality_is_form_not_eccentricity() -> None:
    """First principles: a second harmonic leaves the eccentricity at zero and shows as form error."""
    angles = [30.0 * k for k in range(12)]
    fit = fit_dial(angles, [4 * math.cos(2 * math.radians(a)) for a in angles])
    assert abs(fit.eccentricity) == pytest.approx(0, abs=1e-12)
    assert fit.form_um == pytest.approx(8)


@pytest.mark.parametrize(
    ("angles", "readings", "words"),
    [
        ([0, 90], [1, 2], "three different"),
        ([0, 120, 240], [1, 2], "one reading for each"),
        ([0, 360, 720], [1, 2, 3], "three different"),
        ([0, 1e-6, 2e-6], [1, 2, 3], "too close"),
        ([0, 120, math.nan], [1, 2, 3], "finite"),
    ],
)
def test_refuses_what_fixes_no_circle(angles: list[float], readings: list[float], words: str) -> None:
    """Each misuse is named."""
    with pytest.raises(ValueError, match=words):
        fit_dial(angles, readings)


def test_axis_is_carried_on_beyond_two_planes() -> None:
    """First principles: offset and tilt in two directions at once."""
    assert complex_at(100.0, 2 + 0j, 20.0, 2 + 3j, 50.0) == pytest.approx(2 + 8j)
    with pytest.raises(ValueError, match="not determine an axis"):
        complex_at(1.0, 1 + 0j, 5.0, 2 + 0j, 5.0)


def test_no_eccentricity_points_nowhere() -> None:
    """Direction zero by convention."""
    assert high_point_deg(0j) == 0.0
    assert high_point_deg(cmath.rect(1.0, -1e-18)) == 0.0


@given(st.floats(0, 100), st.floats(0, 100))
def test_a_smaller_uncertainty_than_told_decides(value: float, limit: float) -> None:
    """The uncertainty that is said to decide does."""
    enough = least_uncertainty_to_decide(value, limit) * 0.999
    if value != limit:
        assert decide_upper_limit(value, limit, enough) != "not_proven"


@pytest.mark.parametrize(("numbers", "words"), [((1, 1, -1), "negative"), ((math.inf, 1, 1), "finite")])
def test_decision_refuses_nonsense(numbers: tuple[float, float, float], words: str) -> None:
    """An uncertainty is not negative, and values are finite."""
    with pytest.raises(ValueError, match=words):
        decide_upper_limit(*numbers)
