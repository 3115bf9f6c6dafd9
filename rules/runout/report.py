"""Section of the report on runout."""

from __future__ import annotations

from collections.abc import Sequence

from rules.quantities.missing import Missing, OrMissing
from rules.quantities.models import LackingFact, construct
from rules.quantities.rounding import rounded, rounded_or_none
from rules.runout.analysis import PlaneBudget
from rules.runout.contributors import Contributor, Contributors
from rules.runout.formulas import Line
from rules.schema.report import (
    ContributorReport,
    PlaneReport,
    RunoutReport,
)
from rules.schema.request import NO_OPERATION, Operation

__all__ = ["contributor_reports", "runout_section"]


def _plane(budget: OrMissing[PlaneBudget]) -> PlaneReport | None:
    if isinstance(budget, Missing):
        return None
    return construct(
        PlaneReport,
        z_mm=rounded(budget.z_mm, "mm"),
        p50_um=rounded(budget.p50_um, "um"),
        p95_um=rounded(budget.p95_um, "um"),
        best_clocking_um=rounded(budget.best_clocking_um, "um"),
        worst_case_um=rounded_or_none(budget.worst_case_um, "um"),
        probability_within_limit=rounded_or_none(budget.probability_within_limit, "ratio"),
    )


def line_figures(line: Line) -> dict[str, float]:
    """Return the line of the amplitude in two perpendicular directions; the second is 0 without a known direction."""
    return {
        "offset_um": rounded(line.offset_um.real, "um"),
        "offset_across_um": rounded(line.offset_um.imag, "um"),
        "slope_um_per_mm": rounded(line.slope_um_per_mm.real, "um/mm"),
        "slope_across_um_per_mm": rounded(line.slope_um_per_mm.imag, "um/mm"),
    }


def runout_section(
    operation: Operation | None, contributors: Contributors, gauge: OrMissing[PlaneBudget], tip: OrMissing[PlaneBudget]
) -> RunoutReport:
    """Runout budget: planes and contributors."""
    operation = operation or NO_OPERATION
    known, lacking = contributors.known, contributors.lacking
    return construct(
        RunoutReport,
        complete=lacking is None,
        not_stated=[]
        if lacking is None
        else [construct(LackingFact, fact="runout contributor", fields=list(lacking.fields))],
        limit_um=operation.runout_limit_um,
        limit_at=operation.runout_limit_at,
        gauge_plane=_plane(gauge),
        tip=_plane(tip),
        contributors=contributor_reports(
            known,
            gauge if isinstance(gauge, PlaneBudget) else None,
            tip if isinstance(tip, PlaneBudget) else None,
        ),
    )


def contributor_reports(
    known: Sequence[Contributor], gauge: PlaneBudget | None, tip: PlaneBudget | None
) -> list[ContributorReport]:
    """Return each contributor with its line and its reading at the two planes."""
    nothing = (None,) * len(known)
    return [
        construct(
            ContributorReport,
            name=item.name,
            component=item.component,
            law=item.law,
            direction_known=item.group is not None,
            **line_figures(item.line),
            gauge_plane_tir_um=rounded_or_none(at_gauge, "um"),
            tip_tir_um=rounded_or_none(at_tip, "um"),
            gauge_plane_share=rounded_or_none(share, "ratio"),
        )
        for item, at_gauge, share, at_tip in zip(
            known,
            nothing if gauge is None else gauge.own_tir_um,
            nothing if gauge is None else gauge.shares,
            nothing if tip is None else tip.own_tir_um,
            strict=True,
        )
    ]
