"""The couplings known, in short and with the tables behind them."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, JsonValue

from rules.couplings.definition import JointClass
from rules.quantities.tables import Confidence
from service.contract.answer import Answer

__all__ = ["ColumnAnswer", "CouplingAnswer", "CouplingList", "CouplingSummary", "TableAnswer"]


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
