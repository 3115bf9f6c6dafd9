"""Unbalance of a stack at a speed: grade, quality, couple, force and seating, calculated by hand."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.balance import analysis
from rules.quantities.missing import Missing
from rules.rulebook.loader import base_request
from tests.support.operations import change, drop
from tests.support.stacks import derived_of, known, report_of

MASS = 1.1 + 0.38
NINETY_FIVE = math.cos(0.05 * math.pi)
"""Two vectors at a random angle add to √(a² + b² + 2ab·cos θ); in 95 % of cases θ is 5 % of π or more."""


def _true(holder_g_mm: float, cutter_g_mm: float, **operation: Any) -> dict[str, Any]:
    """Return holder (1.1 kg at 15 mm) and cutter (0.38 kg at 70 mm), which run true and have only residuals."""
    request = base_request("shell_mill")
    for part, residual in zip(request["stack"]["components"], (holder_g_mm, cutter_g_mm), strict=True):
        part |= {"unbalance_g_mm": residual, "runout": {"statements": [{"tir_um": 0, "at_mm": 10}]}}
    change(request["operations"][0], operation)
    return request


@pytest.mark.parametrize(("first", "second"), [(3.0, 4.0), (6.0, 0.5), (1.0, 1.0)])
def test_two_residuals(first: float, second: float) -> None:
    """First principles: static at random angles, and as couple about the gauge line with levers of 15 and 70 mm.

    The mean square of two vectors at random angles is the sum of their squares.
    """
    balance = derived_of(_true(first, second)).balance
    assert not isinstance(balance.unbalance, Missing)
    assert not isinstance(balance.couple, Missing)
    by_hand = math.sqrt(first**2 + second**2 + 2 * first * second * NINETY_FIVE)
    assert balance.unbalance.p95 == pytest.approx(by_hand, rel=1e-4)
    assert balance.unbalance.worst == pytest.approx(first + second, rel=1e-12)
    a, b = 15 * first, 70 * second
    assert balance.couple.rms == pytest.approx(math.hypot(a, b), rel=1e-12)
    assert balance.couple.worst == pytest.approx(a + b, rel=1e-12)


def test_couple_of_a_holder_whose_centre_lies_behind_the_line() -> None:
    """First principles: a lever has a length, whichever side it points to."""
    request = _true(3, 4)
    request["stack"]["components"][0]["centre_of_mass_mm"] = -15
    before, after = derived_of(_true(3, 4)).balance.couple, derived_of(request).balance.couple
    assert after == before


def test_quality_is_eccentricity_times_angular_speed() -> None:
    """First principles: e = U/m = 3 g·mm/1.48 kg at 5000 rpm."""
    balance = derived_of(_true(3, 0, spindle_speed_rpm=5000)).balance
    by_hand = 3 / MASS * 1e-3 * 5000 * 2 * math.pi / 60
    assert known(balance.quality_mm_per_s) == pytest.approx(by_hand, rel=1e-6)


GRADES = analysis.grades()


@pytest.mark.parametrize(("finest", "next_"), [*pairwise(GRADES), (GRADES[-1], None)])
def test_finest_grade_kept(finest: str, next_: str | None) -> None:
    """First principles: up to U_per = 9549.3·G·m/n the grade is kept, a millionth beyond it only the next one."""
    permissible = 30e3 / math.pi * analysis.grade_value(finest) * MASS / 8000
    for factor, grade in ((1 - 1e-6, finest), (1 + 1e-6, next_)):
        balance = derived_of(_true(permissible * factor, 0, spindle_speed_rpm=8000)).balance
        assert balance.best_grade == grade


@pytest.mark.parametrize("grade", GRADES)
def test_a_quality_at_the_very_value_of_a_grade_keeps_it(grade: str) -> None:
    """ISO 21940-11:2016: the value that names a grade is the greatest permissible, not the first refused."""
    assert analysis.finest_kept(float(grade.removeprefix("G"))) == grade


@pytest.mark.parametrize("grade", ["G0.4", "G1", "G2.5", "G6.3", "G16", "G40"])
@pytest.mark.parametrize("step", [-1e-6, 1e-6])
def test_grade_kept_and_grade_asked_agree(grade: str, step: float) -> None:
    """First principles: permissible unbalance, highest speed and finest grade are one equation read three ways."""
    permissible = 30e3 / math.pi * analysis.grade_value(grade) * MASS / 8000
    report = report_of(_true(permissible * (1 + step), 0, spindle_speed_rpm=8000, balance_grade=grade))
    kept = step < 0
    assert report.operation.balance.permissible_g_mm == pytest.approx(permissible, abs=6e-4)
    assert (report.operation.balance.best_grade == grade) is kept
    balance = derived_of(_true(permissible * (1 + step), 0, spindle_speed_rpm=8000, balance_grade=grade)).balance
    assert (known(balance.highest_speed_rpm) >= 8000) is kept


def test_no_speed_asked_tells_no_quality() -> None:
    """Force, quality and grade are those of a speed; the highest speed of a grade needs none."""
    request = _true(3, 1)
    drop(request["operations"][0], "spindle_speed_rpm")
    balance = derived_of(request).balance
    assert (balance.rotating_force_n, balance.quality_mm_per_s, balance.best_grade, balance.permissible_g_mm) == (
        None,
        None,
        None,
        None,
    )
    assert known(balance.highest_speed_rpm) > 0


def test_missing_mass_is_named() -> None:
    """Quality and grade wait for the mass."""
    request = _true(3, 1)
    del request["stack"]["components"][0]["mass_kg"]
    balance = derived_of(request).balance
    for value in (balance.quality_mm_per_s, balance.best_grade, balance.permissible_g_mm):
        assert isinstance(value, Missing)
        assert "/stack/components/0/mass_kg" in value.fields


def test_rotating_force_by_hand() -> None:
    """First principles: U·ω²: 3 g·mm at 12,000 rpm."""
    report = report_of(_true(3, 0, spindle_speed_rpm=12_000))
    assert report.operation.balance.rotating_force_n == pytest.approx(3e-6 * (400 * math.pi) ** 2, abs=0.006)


@given(rpm=st.floats(100, 20_000), base=st.sampled_from(["press_in", "long_reach", "shrink", "shell_mill"]))
def test_twice_the_speed_is_four_times_the_force(rpm: float, base: str) -> None:
    """First principles: the force grows with the square of the speed, to the rounding of the report."""
    request = base_request(base)
    forces = []
    for factor in (1, 2):
        change(request["operations"][0], {"spindle_speed_rpm": rpm * factor})
        force = report_of(request).operation.balance.rotating_force_n
        assert force is not None
        forces.append(force)
    assert forces[1] == pytest.approx(4 * forces[0], abs=0.026)


@pytest.mark.parametrize(("base", "micrometres"), [("shell_mill", 2), ("press_in", 5)])
def test_one_reseating(base: str, micrometres: float) -> None:
    """Literature: ISO 16084 (its idea, from memory): m·e, hollow tapers 2 µm, steep ones 5; for a grade only."""
    request = base_request(base)
    derived = derived_of(request)
    assert known(derived.balance.seating_g_mm) == pytest.approx(micrometres * known(derived.masses.total), rel=1e-12)
    drop(request["operations"][0], "balance_grade")
    assert derived_of(request).balance.seating_g_mm is None
