"""Dial readings and decisions: independent computations and values of common knowledge."""

from __future__ import annotations

import pytest

from rules.reading.formulas import decide_upper_limit


@pytest.mark.parametrize(
    ("value", "decision"),
    [
        (7.999, "conforms"),
        (8.0, "conforms"),
        (8.001, "not_proven"),
        (10.0, "not_proven"),
        (12.0, "not_proven"),
        (12.001, "does_not_conform"),
    ],
)
def test_decision_with_uncertainty(value: float, decision: str) -> None:
    """Literature: ISO 14253-1 with guard band U, here limit 10 and U = 2 (clause wording from memory)."""
    assert decide_upper_limit(value, 10.0, 2.0) == decision
