"""Limits and fits against an example in print."""

from __future__ import annotations

import pytest

from rules.grip.tolerances import limits


@pytest.mark.parametrize(("tolerance_class", "printed_mm"), [("H11", (34.000, 34.160)), ("c11", (33.720, 33.880))])
def test_loose_running_fit_at_34_mm(tolerance_class: str, printed_mm: tuple[float, float]) -> None:
    """Literature: Shigley's Mechanical Engineering Design, 9th ed., Example 7-7."""
    deviations_um = limits(34.0, tolerance_class, hole=tolerance_class[0].isupper())
    assert [34.0 + one / 1000.0 for one in deviations_um] == pytest.approx(printed_mm, abs=1e-9)
