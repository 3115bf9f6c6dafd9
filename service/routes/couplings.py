"""``GET /v1/couplings``: the couplings the service knows, and the tables behind each."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Path, Request, Response
from pydantic import Field, JsonValue

from rules.tables.catalogue import table
from rules.tables.couplings import JointClass, coupling, couplings
from rules.tables.load import Confidence
from service.answers import Answer, document, publish, published, shown
from service.negotiation import require_acceptable
from service.problem_responses import responses
from service.problems import ProblemError

__all__ = ["CouplingAnswer", "CouplingList", "couplings_router"]


class CouplingSummary(Answer):
    """A coupling in short."""

    name: str = Field(description="As a request names it.", examples=["steep_taper"])
    title: str
    what: str
    standards: list[str]


class CouplingList(Answer):
    """The couplings the service knows."""

    couplings: list[CouplingSummary]


class ColumnAnswer(Answer):
    """Unit and meaning of a column."""

    unit: str
    meaning: str


class TableAnswer(Answer):
    """A table of standards data; each row says where it comes from and how far to trust it."""

    name: str
    title: str
    standard: str | None
    note: str | None
    key: list[str] = Field(description="Columns that tell the rows apart.")
    columns: dict[str, ColumnAnswer]
    rows: list[dict[str, JsonValue]] = Field(
        description="Cells by column, with 'source', 'confidence' and 'note'; null is not known."
    )


class CouplingAnswer(CouplingSummary):
    """All there is to say about a coupling."""

    ends: list[str] = Field(description="Ends of a component it may stand at.")
    accepts: list[str] = Field(description="Couplings its workpiece side takes.")
    joint_class: JointClass
    taper: str | None = Field(description="Rate of taper on the diameter.")
    half_angle_deg: float | None
    clocking: Literal["free", "indexed", "by_form", "not_stated"]
    clocking_positions: int | None
    seating_eccentricity_um: float | None = Field(
        description="Eccentricity one reseating may bring, µm; null where none is known."
    )
    source: str
    confidence: Confidence
    note: str | None
    tables: list[TableAnswer]


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
