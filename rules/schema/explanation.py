"""Models of the explanation of one rule on one stack."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from rules.quantities.models import OPEN, MissingQuantity, Out, Pointer
from rules.schema.report import Provenance, Severity
from rules.schema.request import RuleCode, StackRequest

__all__ = ["Condition", "ExplanationReport", "ExplanationRequest", "Outcome", "SeenValue", "SubjectExplanation"]


Outcome: TypeAlias = Literal["not_concerned", "undecided", "holds", "fires"]


class ExplanationRequest(StackRequest):
    """Stack as in a check, and a rule."""

    code: RuleCode = Field(description="Code of the rule.", examples=["GRIP-010"])


class Condition(Out):
    """Condition of a rule."""

    text: str = Field(description="As written in the rulebook.")
    words: str = Field(description="In plain words, with the thresholds in force.")


class SeenValue(Out):
    """Value that the rule reads."""

    name: str = Field(description="Name in the rule.")
    meaning: str = Field(description="Meaning of the name.")
    unit: str | None = Field(description="UCUM code; null for a text or a yes or no.")
    value: float | bool | str | None = Field(description="Null if missing or not applicable.")
    state: Annotated[Literal["stated", "computed", "missing", "not_applicable"], OPEN]
    at: list[Pointer] = Field(description="Fields that state it or would; for a computed value those of its subject.")


class SubjectExplanation(Out):
    """What the rule makes of one subject."""

    operation: str | None = Field(description="Operation, if the outcome depends on it.")
    subject: str = Field(description="Its name.")
    at: list[Pointer]
    outcome: Annotated[Outcome, OPEN]
    severity: Annotated[Severity, OPEN] | None = Field(description="Severity in force; null if switched off.")
    thresholds: dict[str, float] = Field(description="Thresholds in force.")
    values: list[SeenValue] = Field(description="Every value that the rule reads.")
    lacks: list[MissingQuantity]
    to_pass: list[str] = Field(description="What would have to change, in plain words; empty if the rule holds.")


class ExplanationReport(Out):
    """Explanation of one rule."""

    code: str
    title: str
    where: Condition | None = Field(description="Which subjects it concerns; null for every one.")
    require: Condition
    subjects: list[SubjectExplanation] = Field(description="Every subject of the rule's kind.")
    not_judged: str | None = Field(description="Why the rule concerns nothing here; null if it does.")
    provenance: Provenance
