"""Thresholds set by a request."""

from __future__ import annotations

import math

import pytest

from rules.rulebook.book import check_overrides
from tests.support.rulebooks import small_book


@pytest.mark.parametrize("value", [0, 0.0, 12.5, 50])
def test_a_value_between_the_bounds_is_allowed(value: float) -> None:
    """The bounds themselves included."""
    assert check_overrides(small_book().rules, {"GRIP-020": {"least_mm": value}}) == []


@pytest.mark.parametrize(
    ("code", "name", "value", "reason"),
    [
        ("GRIP-020", "least_mm", math.nextafter(50, 99), "must lie between 0 and 50 mm"),
        ("GRIP-020", "loose_um", 0.5, "must lie between 1 and 100 um"),
        ("GRIP-020", "least_mm", math.nan, "not a finite number"),
        ("GRIP-020", "least_mm", math.inf, "not a finite number"),
        ("GRIP-020", "least_mm", True, "not a finite number"),
        ("GRIP-020", "least_mm", "5", "not a finite number"),
        ("GRIP-020", "most_mm", 5, "most_mm; known: least_mm, loose_um"),
        ("GRIP-010", "least_mm", 5, "least_mm; known: none"),
        ("GRIP-999", "", 5, "there is no rule GRIP-999"),
    ],
)
def test_any_other_is_told(code: str, name: str, value: float, reason: str) -> None:
    """With code, threshold and what would be right."""
    (problem,) = check_overrides(small_book().rules, {code: {name: value}})
    assert (problem.code, problem.threshold) == (code, name)
    assert reason in problem.reason
