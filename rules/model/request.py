"""The request of a check."""

from __future__ import annotations

from pydantic import Field

from rules.model.components import Definitions
from rules.model.machine import Machine
from rules.model.operation import Operation
from rules.model.policy import Policy
from rules.model.stack import Stack
from rules.quantities.models import Model

__all__ = ["CheckRequest", "StackRequest"]


class StackRequest(Model):
    """A stack, and optionally what is asked of it, on which machine, judged how strictly."""

    stack: Stack
    components: Definitions | None = Field(None, description="Components defined once, for references to name.")
    operation: Operation | None = Field(None, description="Demands; left out, only the stack itself is judged.")
    machine: Machine | None = Field(None, description="The machine; left out, its limits are not judged.")
    policy: Policy | None = Field(None, description="How strictly to judge; left out, the defaults hold.")


class CheckRequest(StackRequest):
    """A stack to check, and optionally what is asked of it, on which machine, judged how strictly."""

    with_assembly: bool | None = Field(
        None, description="Ask for the work instruction, too; it costs about a quarter of a check.", examples=[True]
    )
