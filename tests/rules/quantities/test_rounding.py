"""Rounding for the report: the nearest decimal, to the last bit."""

from __future__ import annotations

import math

from hypothesis import given, settings
from hypothesis import strategies as st

from rules.quantities.rounding import rounded, rounded_or_none

_DECIMALS = {"rpm": 1, "um": 3, "mm": 4, "ratio": 6, "count": 0}
_NUMBERS = st.floats(allow_nan=False)
_MEASURES = st.floats(-1e5, 1e5)


def _long_way(value: float, unit: str) -> float:
    return round(value, _DECIMALS[unit]) + 0.0


@settings(deadline=None, derandomize=True, max_examples=2_000)
@given(st.one_of(_NUMBERS, _MEASURES, st.integers(-(2**60), 2**60)), st.sampled_from(sorted(_DECIMALS)))
def test_a_number_is_rounded_as_its_exact_value_asks(value: float, unit: str) -> None:
    """First principles: as the long way by the decimals of the exact value, whatever the size."""
    assert rounded(value, unit).hex() == _long_way(value, unit).hex()


@settings(deadline=None, derandomize=True, max_examples=2_000)
@given(st.integers(-(10**12), 10**12), st.integers(-3, 3), st.sampled_from(sorted(_DECIMALS)))
def test_ties_and_their_neighbours_are_rounded_as_the_long_way_does(count: int, steps: int, unit: str) -> None:
    """A half of the last decimal, and the doubles next to it on both sides."""
    value = (count + 0.5) / 10.0 ** _DECIMALS[unit]
    for _ in range(abs(steps)):
        value = math.nextafter(value, math.copysign(math.inf, steps))
    assert rounded(value, unit).hex() == _long_way(value, unit).hex()


def test_what_is_no_number_is_null() -> None:
    """A number or nothing."""
    assert [rounded_or_none(value, "mm") for value in (None, "12", 12, 0.00004)] == [None, None, 12.0, 0.0]
