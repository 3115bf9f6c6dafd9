"""``GET /v1/couplings``: the couplings the service knows, and the tables behind each."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from rules.couplings.definition import coupling, couplings
from rules.quantities.tables import table
from service.answers import document, publish, published, shown
from service.contract.couplings import CouplingAnswer, CouplingList, CouplingSummary
from service.negotiation import require_acceptable
from service.operations.problems import ProblemError
from service.problem_responses import responses

__all__ = ["CouplingAnswer", "CouplingList", "couplings_router"]


def couplings_router() -> APIRouter:
    """The routes; the answers are made once."""
    router = APIRouter(tags=["couplings"])
    answers = {name: _answer(name) for name in couplings()}
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


def _answer(name: str) -> CouplingAnswer:
    row = coupling(name)
    told: dict[str, object] = {field: getattr(row, field) for field in CouplingAnswer.model_fields}
    return CouplingAnswer.model_validate({**told, "tables": [table(one).as_json() for one in row.tables]})
