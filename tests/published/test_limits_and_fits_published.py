"""Limits and fits against an example in print."""

from __future__ import annotations

import pytest

from rules.grip.formulas import limit_sizes_mm
from rules.grip.tolerances import limits


@pytest.mark.parametrize(("tolerance_class", "printed"), [("H11", (34.000, 34.160)), ("c11", (33.720, 33.880))])
def test_loose_running_fit_at_34_mm(tolerance_class: str, printed: tuple[float, float]) -> None:
    """Literature: Shigley's Mechanical Engineering Design, 9th ed., Example 7-7."""
    deviations = limits(34.0, tolerance_class, hole=tolerance_class[0].isupper())
    assert limit_sizes_mm(34.0, deviations) == pytest.approx(printed, abs=1e-9)
