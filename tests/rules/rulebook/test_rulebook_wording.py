"""Values written into messages."""

from __future__ import annotations

import math
import re
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.rulebook.fact import placeholders, render, written


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"),
        (0.0, "0"),
        (-0.0, "0"),
        (5.0, "5"),
        (100.0, "100"),
        (12.50004, "12.5"),
        (6.34999, "6.35"),
        (-1.25, "-1.25"),
        (0.1 + 0.2, "0.3"),
        (0.00012345, "0.0001234"),
        (1e-5, "0.00001"),
        (-1e-13, "0"),
        (1e16, "10000000000000000"),
        (123456.789123, "123456.7891"),
        (True, "yes"),
        (False, "no"),
        ("8° nut", "8° nut"),
    ],
)
def test_a_value_is_written_plainly(value: str | float | bool, text: str) -> None:
    """At most four decimals, no exponent, no trailing zeros, an ASCII minus."""
    assert written(value) == text


@settings(deadline=None, derandomize=True)
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_is_written_close_to_itself(value: float) -> None:
    """First principles: the text reads back within half of its last decimal, and has one plain form."""
    text = written(value)
    assert re.fullmatch(r"-?(0|[1-9]\d*)(\.\d*[1-9])?", text)
    step = Decimal("0.00005") if abs(value) >= 1 else max(Decimal(abs(value)) / 1000, Decimal("5e-13"))
    assert abs(Decimal(text) - Decimal(value)) <= step


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_is_refused(value: float) -> None:
    """It must never reach a reader."""
    with pytest.raises(ValueError, match="can't be written"):
        written(value)


def test_places_are_filled_and_found() -> None:
    """Text of a request that looks like a place stays text."""
    template = "{joint}: {grip_length_mm} mm of {grip_length_mm} mm"
    assert placeholders(template) == ("joint", "grip_length_mm", "grip_length_mm")
    assert render(template, {"joint": "{upper}", "grip_length_mm": 5}) == "{upper}: 5 mm of 5 mm"
    assert placeholders("{upper.workpiece_side.diameter_mm} mm") == ("upper.workpiece_side.diameter_mm",)
    with pytest.raises(KeyError, match="joint"):
        render(template, {"grip_length_mm": 5})


@pytest.mark.parametrize(
    "template", ["{", "}", "{}", "{a", "{{a}}", "{a!r}", "{a:.2f}", "{a.}", "{.a}", "{a..b}", "{a.B}", "{a[0]}", "{A}"]
)
def test_a_brace_outside_a_place_is_refused(template: str) -> None:
    """A template knows names and nothing else."""
    with pytest.raises(ValueError, match="an unmatched brace"):
        placeholders(template)
