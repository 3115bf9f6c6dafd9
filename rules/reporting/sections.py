"""The report's sections on geometry, runout, speed, balance, grip and mass."""

from __future__ import annotations

from collections.abc import Sequence

from rules.facts.budget import PlaneBudget
from rules.facts.components import lacks_speed
from rules.facts.contributors import Contributor
from rules.facts.derive import Derived
from rules.facts.geometry import grip_of
from rules.facts.joint_fits import shank_of
from rules.facts.joints import stated_minimum_grip
from rules.facts.values import Lack, Maybe
from rules.mechanics.axis import Line
from rules.model.operation import Operation
from rules.model.report import (
    BalanceReport,
    ContributorReport,
    GeometryReport,
    GripReport,
    LackingFact,
    MassReport,
    PlaneReport,
    PositionReport,
    RunoutReport,
    SpeedLimit,
    SpeedReport,
)
from rules.reporting.rounding import rounded, rounded_or_none

__all__ = [
    "balance_section",
    "contributor_reports",
    "geometry_section",
    "grip_section",
    "mass_section",
    "runout_section",
    "speed_section",
]

_NOTHING_ASKED = Operation.model_validate({})


def geometry_section(derived: Derived) -> GeometryReport:
    """Where everything lies."""
    geometry = derived.geometry
    return GeometryReport(
        last_clamping_face_mm=rounded_or_none(geometry.last_clamping_face, "mm"),
        gauge_plane_mm=rounded_or_none(geometry.gauge_plane, "mm"),
        tip_mm=rounded_or_none(geometry.tip, "mm"),
        components=[
            PositionReport(
                component=link.part.id,
                from_mm=rounded_or_none(place.start, "mm"),
                to_mm=rounded_or_none(place.face, "mm"),
            )
            for link, place in zip(derived.chain.links, geometry.places, strict=True)
        ],
    )


def _plane(budget: Maybe[PlaneBudget]) -> PlaneReport | None:
    if isinstance(budget, Lack):
        return None
    return PlaneReport(
        z_mm=rounded(budget.z_mm, "mm"),
        p50_um=rounded(budget.p50_um, "um"),
        p95_um=rounded(budget.p95_um, "um"),
        best_clocking_um=rounded(budget.best_clocking_um, "um"),
        worst_case_um=rounded_or_none(budget.worst_case_um, "um"),
        probability_within_limit=rounded_or_none(budget.probability_within_limit, "ratio"),
    )


def line_figures(line: Line) -> dict[str, float]:
    """Return the amplitude's line, along and across; across is zero where the direction is not known."""
    return {
        "offset_um": rounded(line.offset_um.real, "um"),
        "offset_across_um": rounded(line.offset_um.imag, "um"),
        "slope_um_per_mm": rounded(line.slope_um_per_mm.real, "um/mm"),
        "slope_across_um_per_mm": rounded(line.slope_um_per_mm.imag, "um/mm"),
    }


def runout_section(derived: Derived) -> RunoutReport:
    """The budget: planes and contributors."""
    operation = derived.chain.request.operation or _NOTHING_ASKED
    known, lacking = derived.contributors.known, derived.contributors.lacking
    gauge, tip = derived.gauge_plane, derived.tip
    return RunoutReport(
        complete=lacking is None,
        not_stated=[] if lacking is None else [LackingFact(fact="runout contributor", fields=list(lacking.fields))],
        limit_um=operation.runout_limit_um,
        limit_at=operation.runout_limit_at or "gauge_plane",
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
    """Return every contributor with its line and its part at the two planes."""
    nothing = (None,) * len(known)
    return [
        ContributorReport(
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


def speed_section(derived: Derived) -> SpeedReport:
    """Every limit of the speed, lowest first; the lowest governs."""
    request, limits = derived.chain.request, []
    complete = True
    for link in (*derived.chain.links, *derived.chain.knobs):
        if link.part.max_speed_rpm is not None:
            limits.append(SpeedLimit(cause="component", component=link.part.id, speed_rpm=link.part.max_speed_rpm))
    highest = derived.balance.highest_speed_rpm
    if isinstance(highest, Lack):
        complete = False
    elif highest is not None:
        limits.append(SpeedLimit(cause="balance", component=None, speed_rpm=rounded(highest, "rpm")))
    if request.machine is not None and request.machine.max_speed_rpm is not None:
        limits.append(SpeedLimit(cause="machine", component=None, speed_rpm=request.machine.max_speed_rpm))
    limits.sort(key=lambda limit: limit.speed_rpm)
    unstated = any(lacks_speed(link) for link in derived.chain.links)
    return SpeedReport(
        asked_rpm=(request.operation or _NOTHING_ASKED).spindle_speed_rpm,
        limits=limits,
        governing=limits[0] if limits else None,
        complete=complete and not unstated,
    )


def balance_section(derived: Derived) -> BalanceReport:
    """Unbalance against the grade asked."""
    balance = derived.balance
    unbalance = None if isinstance(balance.unbalance, Lack) else balance.unbalance
    return BalanceReport(
        grade=(derived.chain.request.operation or _NOTHING_ASKED).balance_grade,
        unbalance_p95_gmm=rounded_or_none(unbalance and unbalance.p95_gmm, "g mm"),
        unbalance_worst_gmm=rounded_or_none(unbalance and unbalance.worst_gmm, "g mm"),
        permissible_gmm=rounded_or_none(balance.permissible_gmm, "g mm"),
        highest_speed_rpm=rounded_or_none(balance.highest_speed_rpm, "rpm"),
        rotating_force_n=rounded_or_none(balance.rotating_force_n, "N"),
        seating_gmm=rounded_or_none(balance.seating_gmm, "g mm"),
    )


def grip_section(derived: Derived) -> list[GripReport]:
    """Every joint that clamps a straight shank."""
    return [
        GripReport(
            joint=case.name,
            at=[case.upper_at, case.lower_at],
            grip_length_mm=rounded_or_none(grip_of(case), "mm"),
            minimum_grip_mm=rounded_or_none(stated_minimum_grip(case), "mm"),
            projection_mm=rounded_or_none(projection, "mm"),
        )
        for case, projection in zip(derived.chain.joints, derived.geometry.projections, strict=True)
        if shank_of(case) is not None and case.joint_class == "grip"
    ]


def mass_section(derived: Derived) -> MassReport:
    """Mass of the whole and where it sits."""
    return MassReport(
        total_kg=rounded_or_none(derived.masses.total, "kg"),
        centre_of_mass_mm=rounded_or_none(derived.masses.centre, "mm"),
    )
