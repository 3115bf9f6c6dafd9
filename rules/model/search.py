"""Searching an inventory for the stacks that do a job: the request."""

from __future__ import annotations

from typing import Annotated, Final, Literal

from pydantic import Field

from rules.model.components import StackEntry
from rules.model.machine import Machine
from rules.model.operation import Operation
from rules.model.policy import Policy
from rules.quantities.models import Identifier, Length, Model, PositiveLength

__all__ = [
    "MAX_INVENTORY",
    "MAX_JUDGED",
    "MAX_RESULTS",
    "MAX_SEARCH_LENGTH",
    "ClearanceZone",
    "GripSetting",
    "Page",
    "Projection",
    "RankCriterion",
    "Requirement",
    "SearchRequest",
]

MAX_INVENTORY: Final = 200
"""Different components a search may choose from."""

MAX_SEARCH_LENGTH: Final = 6
"""Components of a stack from holder to tool; a retention knob is not counted."""

MAX_JUDGED: Final = 1000
MAX_RESULTS: Final = 200

RankCriterion = Literal["verdict", "runout_p95", "projection", "stiffness", "components", "mass"]

GripSetting = Literal["longest", "shortest", "to_reach"]

Inventory = Annotated[
    dict[Identifier, StackEntry], Field(max_length=MAX_INVENTORY, json_schema_extra={"additionalProperties": False})
]

Stock = Annotated[
    dict[Identifier, Annotated[int, Field(ge=0, le=1000)]],
    Field(max_length=MAX_INVENTORY, json_schema_extra={"additionalProperties": False}),
]


class Projection(Model):
    """How far the tip must stand out, after every shank is set as the grip setting says."""

    measured_from: Literal["gauge_line", "last_clamping_face"] = Field(
        "gauge_line", description="The gauge line of the spindle, or the face that clamps the tool itself."
    )
    at_least_mm: Length | None = Field(None, description="Shortest projection that reaches.", examples=[150])
    at_most_mm: Length | None = Field(None, description="Longest projection accepted.", examples=[200])


class ClearanceZone(Model):
    """A length of the stack, counted from the tip, in which no part may be wider than a radius."""

    from_mm: Length = Field(0.0, description="Where the zone begins, from the tip toward the spindle.")
    to_mm: PositiveLength = Field(description="Where the zone ends, from the tip toward the spindle.", examples=[70])
    radius_mm: PositiveLength = Field(description="Largest radius allowed within it.", examples=[10])


class Requirement(Model):
    """What the stack is wanted for, beyond what the operation asks."""

    cutters: list[Identifier] | None = Field(
        None,
        min_length=1,
        max_length=MAX_INVENTORY,
        description="Keys of the cutters or gauge pins that will do; every cutter of the inventory when not given.",
        examples=[["KB-EM8-3"]],
    )
    projection: Projection | None = None
    clearance: list[ClearanceZone] | None = Field(
        None,
        min_length=1,
        max_length=50,
        description="Zones that all hold, in any order: the envelope of the stack by the distance from the tip.",
    )
    grip: GripSetting = Field(
        "to_reach",
        description="How deep straight shanks are set. 'longest': as deep as shank and bore allow. 'shortest': the"
        " least grip that is stated or usual. 'to_reach': as deep as they go, and drawn out no further than the"
        " projection needs, the joint nearest the spindle first; from the last clamping face, the tool alone.",
    )
    max_components: Annotated[int, Field(ge=2, le=MAX_SEARCH_LENGTH)] = Field(
        5, description="Longest stack, from holder to tool; a retention knob is not counted."
    )


class Page(Model):
    """How much work one answer may cost; what is left over is continued."""

    judged_at_most: Annotated[int, Field(ge=1, le=MAX_JUDGED)] = Field(
        250, description="Stacks judged in full before the answer is given."
    )
    results_at_most: Annotated[int, Field(ge=1, le=MAX_RESULTS)] = Field(
        50, description="Stacks found before the answer is given."
    )


class SearchRequest(Model):
    """An inventory and what is wanted of it: which stacks go together and do the job?"""

    components: Inventory | None = Field(
        None, description="The inventory: components by key. Each may be used as often as `stock` says."
    )
    stock: Stock | None = Field(
        None,
        description="Pieces on hand, by key; one of each that is not named. A key of the mounted catalogue named here"
        " belongs to the inventory, too.",
        examples=[{"KB-P12-8": 2}],
    )
    whole_catalogue: bool = Field(False, description="Search the whole mounted catalogue beside `components`.")
    requirement: Requirement | None = Field(None, description="Left out, every stack that goes together is found.")
    operation: Operation | None = Field(None, description="Demands; left out, only the stacks themselves are judged.")
    machine: Machine | None = Field(
        None,
        description="The machine; left out, its limits are not judged. Retention knobs of the inventory are tried where"
        " it states the knob its drawbar takes.",
    )
    policy: Policy | None = Field(None, description="How strictly to judge; left out, the defaults hold.")
    accept: Literal["pass", "review"] = Field(
        "review", description="The worst verdict that is kept. What fails is never kept."
    )
    rank_by: list[RankCriterion] | None = Field(
        None,
        min_length=1,
        max_length=6,
        description="What decides first, second and so on; when not given: verdict, runout_p95, projection, stiffness,"
        " components, mass.",
        examples=[["verdict", "projection"]],
    )
    page: Page | None = None
    continuation: (
        Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{1,100}$", description="Token of the page before.")] | None
    ) = Field(
        None,
        description="Token of the page before; the rest of the request must be the same but for `page`.",
    )
