"""``GET /v1/rules``: the rules in force, each with its reason, remedy, source and thresholds.

``GET /v1/couplings``: the couplings the service knows, and the tables behind each.

``GET /problems/{name}``: what a problem's ``type`` points to.

``GET /openapi.json``: the contract, with the thresholds of the rules in force.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response
from pydantic import Field

from rules.couplings.sides import COUPLINGS
from rules.quantities.tables import table
from rules.rulebook.book import Rule, Rulebook
from service.contract import (
    CouplingAnswer,
    CouplingList,
    CouplingSummary,
    NeedAnswer,
    RuleAnswer,
    RuleList,
    RuleSummary,
    ThresholdAnswer,
)
from service.http.answers import Answer, Document, document, publish, published, require_acceptable, shown
from service.http.openapi import as_text
from service.http.problem_answers import responses
from service.operations.problems import KINDS, ProblemError, ProblemKind

__all__ = ["contract_router", "couplings_router", "problems_router", "rules_router"]


def rules_router(book: Rulebook) -> APIRouter:
    """The routes for this rulebook; the answers are made once."""
    router = APIRouter(tags=["rules"])
    short = RuleList(
        rulebook_sha256=book.digest, rules=[RuleSummary.model_validate(_summary(rule)) for rule in book.rules]
    )
    answers = {rule.code: _rule_answer(rule, book) for rule in book.rules}
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


def _rule_answer(rule: Rule, book: Rulebook) -> RuleAnswer:
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


def couplings_router() -> APIRouter:
    """The routes; the answers are made once."""
    router = APIRouter(tags=["couplings"])
    answers = {name: _coupling_answer(name) for name in COUPLINGS}
    short = CouplingList(
        couplings=[
            CouplingSummary.model_validate({name: getattr(one, name) for name in CouplingSummary.model_fields})
            for one in answers.values()
        ]
    )
    listed = document(short)
    single = {name: document(one) for name, one in answers.items()}

    @router.get(
        "/v1/couplings",
        operation_id="list_couplings",
        summary="List the couplings",
        response_model=CouplingList,
        responses={
            **published(shown("the first two", short.model_copy(update={"couplings": short.couplings[:2]}))),
            **responses("not-acceptable", "internal-fault"),
        },
    )
    async def list_couplings(request: Request) -> Response:
        """Every coupling a request may name."""
        require_acceptable(request)
        return publish(listed, request)

    @router.get(
        "/v1/couplings/{name}",
        operation_id="show_coupling",
        summary="Explain a coupling",
        response_model=CouplingAnswer,
        responses={
            **published(shown("press_collet", answers["press_collet"])),
            **responses("not-found", "not-acceptable", "internal-fault"),
        },
    )
    async def show_coupling(
        name: Annotated[str, Path(description="The coupling, as a request names it.", examples=["steep_taper"])],
        request: Request,
    ) -> Response:
        """A coupling with the tables that hold its dimensions."""
        require_acceptable(request)
        if name not in single:
            raise ProblemError("not-found", "No coupling has this name; GET /v1/couplings lists them.")
        return publish(single[name], request)

    return router


def _coupling_answer(name: str) -> CouplingAnswer:
    found = COUPLINGS[name]
    told = found.described.model_dump(include=set(CouplingAnswer.model_fields))
    tables = [table(one).as_json() for one in found.described.tables]
    return CouplingAnswer.model_validate({**told, "name": name, "ends": found.ends, "tables": tables})


class ProblemAnswer(Answer):
    """A kind of problem."""

    type: str = Field(description="As it stands in a problem.", examples=["/problems/invalid-request"])
    status: int = Field(description="HTTP status it comes with.")
    title: str
    remedy: str = Field(description="What to do about it.")


def problems_router() -> APIRouter:
    """The route; the answers are made once."""
    router = APIRouter(tags=["service"])
    answers = {name: _problem_answer(kind) for name, kind in KINDS.items()}
    single = {name: document(one) for name, one in answers.items()}

    @router.get(
        "/problems/{name}",
        operation_id="show_problem",
        summary="Explain a kind of problem",
        response_model=ProblemAnswer,
        responses={
            **published(shown("invalid-request", answers["invalid-request"])),
            **responses("not-found", "not-acceptable", "internal-fault"),
        },
    )
    async def show_problem(
        name: Annotated[str, Path(description="Last part of a problem's type.", examples=["invalid-request"])],
        request: Request,
    ) -> Response:
        """What the type of a problem means, and what to do about it."""
        require_acceptable(request)
        if name not in single:
            raise ProblemError("not-found", "There is no such kind of problem.")
        return publish(single[name], request)

    return router


def _problem_answer(kind: ProblemKind) -> ProblemAnswer:
    return ProblemAnswer(type=kind.type, status=kind.status, title=kind.title, remedy=kind.remedy)


def contract_router(describe: Callable[[], dict[str, Any]]) -> APIRouter:
    """The route; the document is made when it is first asked for."""
    router = APIRouter(include_in_schema=False)

    @cache
    def contract() -> Document:
        return document(as_text(describe()).encode())

    @router.get("/openapi.json")
    async def show_contract(request: Request) -> Response:
        require_acceptable(request)
        return publish(contract(), request)

    return router
