"""What was changed against the rulebooks, in lines of plain text.

A verdict or a decision by milder rules must not look like any other.
"""

from __future__ import annotations

from collections.abc import Iterable

from rules.schema.report import Provenance, ThresholdReport
from service.report.layout import number
from service.report.units import quantity

__all__ = ["CHANGED", "changes", "thresholds"]

CHANGED = "Judged by changed rules"
"""What stands above the lines."""


def changes(provenance: Provenance) -> list[str]:
    """Thresholds of the request's policy, then severities and rules of an operator's books; empty for most."""
    return [
        *thresholds(provenance.thresholds_changed),
        *(
            f"{one.code}  a safety rule, {one.from_severity} lowered to {one.to_severity} by {one.book}"
            for one in provenance.severities_lowered
        ),
        *(
            f"{one.code}  {'a safety rule, ' if one.safety else ''}replaced by {one.book}"
            for one in provenance.rules_replaced
        ),
    ]


def thresholds(changed: Iterable[ThresholdReport]) -> list[str]:
    """A line for each threshold that a policy changed."""
    return [
        f"{one.code}  {quantity(one.threshold)}: {number(one.value)} by the request's policy,"
        f" {number(one.rulebook_value)} in the rulebook"
        for one in changed
    ]
