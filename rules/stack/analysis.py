"""Facts about single components, the stack as a whole, its retention knob and the machine's limits."""

from __future__ import annotations

from rules.rulebook.fact import Properties
from rules.stack.chain import StackJoint
from rules.stack.positions import profile_length

__all__ = ["length_properties"]


def length_properties(fact: Properties, case: StackJoint) -> None:
    """Grip, projection and overall length, where all three are stated, must add up."""
    statement, part = case.statement, case.lower.part
    if statement is None or statement.grip_length_mm is None or statement.projection_mm is None:
        return
    overall = getattr(part, "overall_length_mm", None) or profile_length(part)
    if overall is None:
        return
    fact.add("length_mismatch_mm", abs(statement.grip_length_mm + statement.projection_mm - overall))
    fact.add("overall_length_mm", overall)
