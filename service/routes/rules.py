"""``GET /v1/rules``: the rules in force, each with its reason, remedy, source and thresholds."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Path, Request, Response
from pydantic import Field

from rules.model.report import Severity
from rules.rulebook.model import Rule, Rulebook
from service.answers import Answer, document, publish, published, shown
from service.negotiation import require_acceptable
from service.problem_responses import responses
from service.problems import ProblemError

__all__ = ["RuleAnswer", "RuleList", "rules_router"]


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


def rules_router(book: Rulebook) -> APIRouter:
    """The routes for this rulebook; the answers are made once."""
    router = APIRouter(tags=["rules"])
    short = RuleList(
        rulebook_sha256=book.digest, rules=[RuleSummary.model_validate(_summary(rule)) for rule in book.rules]
    )
    answers = {rule.code: _answer(rule, book) for rule in book.rules}
    listed = document(short)
    single = {code: document(one) for code, one in answers.items()}
    first = next(iter(answers))

    @router.get(
        "/v1/rules",
        operation_id="list_rules",
        summary="List the rules",
        response_model=RuleList,
        responses={
            **published(shown("the first two", short.model_copy(update={"rules": short.rules[:2]}))),
            **responses("not-acceptable", "internal-fault"),
        },
    )
    async def list_rules(request: Request) -> Response:
        """Every rule in force, in short."""
        require_acceptable(request)
        return publish(listed, request)

    @router.get(
        "/v1/rules/{code}",
        operation_id="show_rule",
        summary="Explain a rule",
        response_model=RuleAnswer,
        responses={
            **published(shown(first, answers[first])),
            **responses("not-found", "not-acceptable", "internal-fault"),
        },
    )
    async def show_rule(
        code: Annotated[str, Path(description="The rule's stable code.", examples=["GRIP-010"])],
        request: Request,
    ) -> Response:
        """What a rule checks and why, its needs, thresholds, limits, remedy and source."""
        require_acceptable(request)
        if code not in single:
            raise ProblemError("not-found", "No rule has this code; GET /v1/rules lists them.")
        return publish(single[code], request)

    return router


def _summary(rule: Rule) -> dict[str, object]:
    return {name: getattr(rule, name) for name in RuleSummary.model_fields}


def _answer(rule: Rule, book: Rulebook) -> RuleAnswer:
    meanings = book.vocabulary.of(rule.applies_to)
    return RuleAnswer.model_validate(
        {
            **{name: getattr(rule, name) for name in RuleAnswer.model_fields},
            "needs": [
                NeedAnswer(name=name, unit=meanings[name].unit, meaning=meanings[name].meaning) for name in rule.needs
            ],
            "thresholds": [
                ThresholdAnswer(name=name, **threshold.model_dump())
                for name, threshold in sorted(rule.thresholds.items())
            ],
        }
    )
