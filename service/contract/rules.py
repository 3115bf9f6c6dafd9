"""The rules in force, in short and in full."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from rules.schema.report import Severity
from service.contract.answer import Answer

__all__ = ["NeedAnswer", "RuleAnswer", "RuleList", "RuleSummary", "ThresholdAnswer"]


class RuleSummary(Answer):
    """A rule in short."""

    code: str = Field(description="The rule's stable code.", examples=["GRIP-010"])
    title: str
    severity: Severity
    applies_to: Literal["stack", "component", "joint", "operation"]
    safety: bool = Field(description="An operator can't lower its severity without the report saying so.")
    book: str = Field(description="The rulebook it stands in.")


class RuleList(Answer):
    """The rules in force."""

    rulebook_sha256: str
    rules: list[RuleSummary] = Field(description="In the order of their codes.")


class NeedAnswer(Answer):
    """A quantity without which a rule stays undecided."""

    name: str
    unit: str
    meaning: str


class ThresholdAnswer(Answer):
    """A number the rule compares with; a request's policy may move it between the bounds."""

    name: str
    value: float
    unit: str
    minimum: float
    maximum: float
    meaning: str


class RuleAnswer(RuleSummary):
    """All there is to say about a rule."""

    message: str = Field(description="The finding's message, with names of quantities in braces.")
    why: str
    remedy: str
    known_limits: str
    source: str
    needs: list[NeedAnswer]
    thresholds: list[ThresholdAnswer]
    observed: str | None = Field(description="The quantity reported as observed.")
    limit: str | None = Field(description="The quantity or threshold reported as limit.")
    unit: str
