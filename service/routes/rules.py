"""``GET /v1/rules``: the rules in force, each with its reason, remedy, source and thresholds."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from rules.rulebook.book import Rule, Rulebook
from service.answers import document, publish, published, shown
from service.contract.rules import NeedAnswer, RuleAnswer, RuleList, RuleSummary, ThresholdAnswer
from service.negotiation import require_acceptable
from service.operations.problems import ProblemError
from service.problem_responses import responses

__all__ = ["RuleAnswer", "RuleList", "rules_router"]


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
