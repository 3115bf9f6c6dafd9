"""``GET /problems/{name}``: what a problem's ``type`` points to."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from pydantic import Field

from service.answers import Answer, document, publish, published, shown
from service.negotiation import require_acceptable
from service.operations.problems import KINDS, ProblemError, ProblemKind
from service.problem_responses import responses

__all__ = ["ProblemAnswer", "problems_router"]


class ProblemAnswer(Answer):
    """A kind of problem."""

    type: str = Field(description="As it stands in a problem.", examples=["/problems/invalid-request"])
    status: int = Field(description="HTTP status it comes with.")
    title: str
    remedy: str = Field(description="What to do about it.")


def problems_router() -> APIRouter:
    """The route; the answers are made once."""
    router = APIRouter(tags=["service"])
    answers = {name: _answer(kind) for name, kind in KINDS.items()}
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


def _answer(kind: ProblemKind) -> ProblemAnswer:
    return ProblemAnswer(type=kind.type, status=kind.status, title=kind.title, remedy=kind.remedy)
