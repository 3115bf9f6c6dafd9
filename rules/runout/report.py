"""Section of the report on runout."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypedDict

from rules.quantities.missing import Missing, OrMissing
from rules.quantities.models import MissingQuantity, construct
from rules.quantities.rounding import rounded
from rules.runout.analysis import Levels, PlaneBudget
from rules.runout.contributors import Contributor, Contributors
from rules.runout.formulas import Tir
from rules.schema.components import RunoutLaw
from rules.schema.report import (
    ContributorKind,
    ContributorReport,
    JointEnds,
    OperationRunout,
    PlaneReport,
    PredictionName,
    RunoutPrediction,
    RunoutReport,
)
from rules.schema.request import Operation
from rules.stack.chain import Chain
from rules.stack.positions import Positions, surface_at

__all__ = [
    "contributor_figures",
    "not_stated",
    "operation_runout",
    "plane_figures",
    "predictions_of",
    "runout_section",
    "shares_within",
]


def predictions_of(budget: PlaneBudget) -> list[RunoutPrediction]:
    """Return the predictions of a budget in which every contributor is known."""
    listed: list[tuple[PredictionName, dict[str, Tir]]] = [
        ("assemblies", _quantiles(budget.assemblies)),
        ("parts_at_limits", _quantiles(budget.at_limits)),
    ]
    if budget.worst_case_um is not None:
        listed.append(("worst_case", {"p100": budget.worst_case_um}))
    if budget.best_clocking_um is not None:
        listed.append(("best_clocking", {"p0": budget.best_clocking_um}))
    return [
        construct(
            RunoutPrediction,
            of=of,
            quantiles_um={name: rounded(value, "um") for name, value in quantiles.items()},
        )
        for of, quantiles in listed
    ]


def _quantiles(levels: Levels) -> dict[str, Tir]:
    return {"p50": levels.p50_um, "p80": levels.p80_um, "p95": levels.p95_um, "p99": levels.p99_um}


def shares_within(budget: PlaneBudget) -> dict[str, float]:
    """Return the share within the limit by subject of the prediction; empty without a limit."""
    shares = {"assemblies": budget.assemblies.within_limit, "parts_at_limits": budget.at_limits.within_limit}
    return {of: rounded(share, "ratio") for of, share in shares.items() if share is not None}


class PlaneFigures(TypedDict):
    """Fields of a plane in an answer."""

    plane: str
    from_gauge_line_mm: float
    from_last_clamping_face_mm: float | None
    readable: bool | None
    predictions: list[RunoutPrediction]


def plane_figures(
    name: str, z_mm: float, chain: Chain, positions: Positions, budget: PlaneBudget | None
) -> PlaneFigures:
    """Return a plane with its predictions; the budget is None where a contributor is not known."""
    face, surface = positions.last_clamping_face, surface_at(chain, positions, z_mm)
    return {
        "plane": name,
        "from_gauge_line_mm": rounded(z_mm, "mm"),
        "from_last_clamping_face_mm": None if isinstance(face, Missing) else rounded(z_mm - face, "mm"),
        "readable": None if surface is None else surface == "round",
        "predictions": [] if budget is None else predictions_of(budget),
    }


def runout_section(
    chain: Chain,
    positions: Positions,
    contributors: Contributors,
    gauge: OrMissing[PlaneBudget],
    tip: OrMissing[PlaneBudget],
    reading: PlaneBudget | None,
) -> RunoutReport:
    """Runout budget: planes and contributors."""
    known, lacking = contributors.known, contributors.lacking
    planes = {
        name: budget for name, budget in (("gauge_plane", gauge), ("tip", tip)) if isinstance(budget, PlaneBudget)
    }
    read = planes if reading is None else {**planes, "reading_plane": reading}
    return construct(
        RunoutReport,
        complete=lacking is None,
        not_stated=not_stated(contributors),
        planes=[
            construct(
                PlaneReport,
                **plane_figures(name, budget.z_mm, chain, positions, budget if lacking is None else None),
            )
            for name, budget in read.items()
        ],
        contributors=[
            construct(ContributorReport, **one) for one in contributor_figures(known, read, complete=lacking is None)
        ],
    )


def operation_runout(
    operation: Operation, contributors: Contributors, gauge: OrMissing[PlaneBudget], tip: OrMissing[PlaneBudget]
) -> OperationRunout | None:
    """Runout limit of an operation and the share of assemblies within it; None without a limit."""
    limit, plane = operation.runout_limit_um, operation.runout_limit_at
    if limit is None:
        return None
    budget = tip if plane == "tip" else gauge
    known = budget if contributors.lacking is None and isinstance(budget, PlaneBudget) else None
    return construct(
        OperationRunout,
        plane=plane,
        limit_um=limit,
        probability_within_limit={} if known is None else shares_within(known),
    )


def not_stated(contributors: Contributors) -> list[MissingQuantity]:
    """Return what would make the contributors complete; nothing where they are."""
    lacking = contributors.lacking
    if lacking is None:
        return []
    return [construct(MissingQuantity, quantity="runout", unit="um", at=list(lacking.fields))]


class ContributorFigures(TypedDict):
    """Fields of a contributor in an answer."""

    id: str
    kind: ContributorKind
    component: str | None
    joint: JointEnds | None
    text: str
    law: RunoutLaw
    direction_known: bool
    rests_on: list[str]
    offset_um: float
    offset_across_um: float
    slope_um_per_mm: float
    slope_across_um_per_mm: float
    tir_um: dict[str, float]
    share: dict[str, float]


def contributor_figures(
    known: Sequence[Contributor], planes: Mapping[str, PlaneBudget], *, complete: bool
) -> list[ContributorFigures]:
    """Return every contributor with its line and its part at the planes; shares only of a complete budget."""
    return [
        {
            "id": item.id,
            "kind": item.kind,
            "component": item.component if item.joint is None else None,
            "joint": item.joint,
            "text": item.name,
            "law": item.law,
            "direction_known": item.group is not None,
            "rests_on": [],
            # across is zero where the direction is not known
            "offset_um": rounded(item.line.offset_um.real, "um"),
            "offset_across_um": rounded(item.line.offset_um.imag, "um"),
            "slope_um_per_mm": rounded(item.line.slope_um_per_mm.real, "um/mm"),
            "slope_across_um_per_mm": rounded(item.line.slope_um_per_mm.imag, "um/mm"),
            "tir_um": {name: rounded(budget.own_tir_um[place], "um") for name, budget in planes.items()},
            "share": {name: rounded(budget.shares[place], "ratio") for name, budget in planes.items()}
            if complete
            else {},
        }
        for place, item in enumerate(known)
    ]
