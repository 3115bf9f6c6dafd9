"""Full runout budget of a stack: the share of each contributor, and the best clocking of the joints."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

from rules.answer.provenance import provenance, threshold_overrides
from rules.exchange.documents import NO_CATALOGUE, Catalogue
from rules.quantities.missing import Missing, OrMissing, when_both_known, when_known
from rules.quantities.models import LackingFact
from rules.quantities.rounding import rounded, rounded_or_none
from rules.random_vectors.random_sum import gaussian_sigma
from rules.rulebook.book import Rulebook
from rules.runout.analysis import Vector, budget_at, law_of, vectors_at
from rules.runout.contributors import Contributor, Contributors, contributors_of, frames_of, positions_of
from rules.runout.formulas import (
    Eccentricity,
    Tir,
    best_turns,
    eccentricity_of,
    equal_effort_factor,
    single_turns,
    tir_from_speck,
    tir_of,
)
from rules.runout.report import contributor_reports
from rules.schema.budget import (
    BudgetReport,
    BudgetRequest,
    ClockingReport,
    JointTurn,
    PlaneBudgetReport,
    PlaneShare,
    RequiredReport,
    RequiredRunout,
    SeatReport,
)
from rules.schema.request import Operation, RunoutLimit, RunoutPlane
from rules.stack.chain import SPINDLE, Chain, chain_of, resolve
from rules.stack.positions import Positions, positions_on_axis

__all__ = ["full_budget"]


def clocking_section(chain: Chain, z_mm: float, known: Sequence[Contributor]) -> ClockingReport | None:
    """Return the best turns at z; None if fewer than two contributors have a known direction."""
    directed = [item for item in known if item.group is not None]
    if len(directed) < 2:
        return None
    # all relative directions are known, or the joints are given from mark to mark
    stands = len({item.group for item in directed}) == 1
    frames = frames_of(chain)
    nodes = [0j] * len(frames)
    for item in directed:
        # the error of a component turns with it; the spindle is the first node
        vector = complex(item.line.at(z_mm))
        nodes[item.displaces_from] += vector if stands else vector * frames[item.displaces_from].turn.conjugate()
    positions = positions_of(chain)
    names = [f"{SPINDLE}/{chain.members[0].part.id}", *(case.name for case in chain.joints)]
    best = best_turns(nodes, positions)
    rest = [item for item in known if item.group is None]
    after = law_of([*vectors_at(z_mm, rest), Vector(best.eccentricity, False, None)])
    turns = [
        _turn(names, positions, turn.joint, turn.angle_deg, turn.eccentricity)
        for turn in (single_turns(nodes, positions) if stands else [])
        if any(nodes[: turn.joint]) and any(nodes[turn.joint :])
    ]
    standing = Eccentricity(abs(sum(nodes)) if stands else math.fsum(map(abs, nodes)))
    return ClockingReport(
        z_mm=rounded(z_mm, "mm"),
        measured_tir_um=rounded(tir_of(standing), "um"),
        one_joint=sorted(turns, key=lambda turn: turn.leaves_tir_um),
        all_joints=[
            _turn(names, positions, joint, angle, best.eccentricity)
            for joint, angle in enumerate(best.angles_deg, start=1)
            if positions[joint - 1] != 1 and any(nodes[:joint]) and any(nodes[joint:])
        ],
        marks=not stands,
        exhaustive=best.exhaustive,
        p95_after_um=rounded(tir_of(Eccentricity(float(after.quantiles((0.95,))[0]))), "um"),
    )


def _turn(names: Sequence[str], positions: Sequence[int], joint: int, angle: float, left: Eccentricity) -> JointTurn:
    count = positions[joint - 1]
    return JointTurn(
        joint=names[joint - 1],
        positions=None if count == 0 else count,
        turn_deg=round(angle, 2) % 360.0,
        leaves_tir_um=rounded(tir_of(left), "um"),
    )


_LEVELS = (0.5, 0.8, 0.95, 0.99)


def full_budget(request: BudgetRequest, book: Rulebook, catalogue: Catalogue = NO_CATALOGUE) -> BudgetReport:
    """Return the full runout budget of one stack.

    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows.
    """
    threshold_overrides(request.policy, book)
    resolved = resolve(request, catalogue.definitions)
    chain = chain_of(resolved.without_stack() if resolved.broken else resolved.request)
    geometry = positions_on_axis(chain)
    contributors = Contributors((), Missing(resolved.lacking)) if resolved.broken else contributors_of(chain, geometry)
    known, lacking = contributors.known, contributors.lacking
    stated = request.limit or _lowest_limit(request.operations or ())
    limit_at: RunoutPlane = "gauge_plane" if stated is None or stated.plane is None else stated.plane
    judged = geometry.tip if limit_at == "tip" else geometry.gauge_plane
    limit = None if stated is None else Tir(stated.tir_um)
    target = limit if request.target_um is None else Tir(request.target_um)
    required = None
    if target is not None and lacking is None and isinstance(judged, float):
        required = _required(target, limit_at, judged, known)
    gauge = budget_at(geometry.gauge_plane, known, None) if isinstance(geometry.gauge_plane, float) else None
    tip = budget_at(geometry.tip, known, None) if isinstance(geometry.tip, float) else None
    return BudgetReport(
        complete=lacking is None,
        not_stated=[] if lacking is None else [LackingFact(fact="runout contributor", fields=list(lacking.fields))],
        limit_um=None if stated is None else stated.tir_um,
        limit_at=limit_at,
        planes=[_plane(name, z, known, limit) for name, z in _planes(request, geometry) if isinstance(z, float)],
        contributors=contributor_reports(known, gauge, tip),
        seats=_seats(chain, geometry),
        clocking=clocking_section(chain, judged, known) if isinstance(judged, float) else None,
        required=required,
        provenance=provenance(request, request.policy, book, catalogue.digest),
    )


def _lowest_limit(operations: Sequence[Operation]) -> RunoutLimit | None:
    limits = [one.limits.runout for one in operations if one.limits is not None and one.limits.runout is not None]
    return min(limits, key=lambda one: one.tir_um, default=None)


def _planes(request: BudgetRequest, geometry: Positions) -> list[tuple[str, OrMissing[float]]]:
    found = [("gauge plane", geometry.gauge_plane), ("tip", geometry.tip)]
    for number, asked in enumerate(request.planes or (), start=1):
        zero: OrMissing[float] = 0.0 if asked.datum == "gauge_line" else geometry.last_clamping_face
        found.append((f"plane {number}", when_both_known(lambda start, step: start + step, zero, asked.distance_mm)))
    return found


def _plane(name: str, z_mm: float, known: Sequence[Contributor], limit_um: Tir | None) -> PlaneBudgetReport:
    budget = budget_at(z_mm, known, limit_um)
    vectors = vectors_at(z_mm, known)
    p50, p80, p95, p99 = (tir_of(Eccentricity(radius)) for radius in law_of(vectors).quantiles(_LEVELS).tolist())
    return PlaneBudgetReport(
        name=name,
        z_mm=rounded(z_mm, "mm"),
        p50_um=rounded(p50, "um"),
        p80_um=rounded(p80, "um"),
        p95_um=rounded(p95, "um"),
        p99_um=rounded(p99, "um"),
        best_clocking_um=rounded(budget.best_clocking_um, "um"),
        worst_case_um=rounded_or_none(budget.worst_case_um, "um"),
        probability_within_limit=rounded_or_none(budget.probability_within_limit, "ratio"),
        contributors=[
            PlaneShare(
                name=item.name,
                tir_um=rounded(own, "um"),
                share=rounded(share, "ratio"),
                amplification=rounded(own / item.stated_um, "ratio") if item.stated_um > 0.0 else None,
                p95_if_halved_um=rounded(_p95_with(vectors, place, 0.5), "um"),
            )
            for place, (item, own, share) in enumerate(zip(known, budget.own_tir_um, budget.shares, strict=True))
        ],
    )


def _p95_with(vectors: Sequence[Vector], place: int, factor: float) -> Tir:
    """Return the 95th-percentile reading with one contributor scaled."""
    changed = list(vectors)
    changed[place] = changed[place]._replace(amplitude=factor * changed[place].amplitude)
    return tir_of(Eccentricity(float(law_of(changed).quantiles((0.95,))[0])))


def _seats(chain: Chain, geometry: Positions) -> list[SeatReport]:
    """Return the effect of a particle in each seat, the most sensitive first."""
    seats = []
    for member, place in zip(chain.members, geometry.places, strict=True):
        if isinstance(place.seat_length, Missing) or isinstance(place.pivot, Missing) or place.seat_length <= 0.0:
            continue
        seat, pivot = place.seat_length, place.pivot
        speck = partial(_tir_of_speck, seat, pivot)
        at_gauge, at_tip = (when_known(speck, plane) for plane in (geometry.gauge_plane, geometry.tip))
        seats.append(
            SeatReport(
                component=member.part.id,
                seat_length_mm=rounded(seat, "mm"),
                gauge_plane_um_per_um=rounded_or_none(at_gauge, "ratio"),
                tip_um_per_um=rounded_or_none(at_tip, "ratio"),
            )
        )
    return sorted(seats, key=lambda seat: -(seat.gauge_plane_um_per_um or 0.0))


def _tir_of_speck(seat_mm: float, pivot_mm: float, z_mm: float) -> Tir:
    """Return the reading at z per micrometre of the particle."""
    return tir_from_speck(1.0, seat_mm, z_mm - pivot_mm)


def _required(target: Tir, limit_at: str, z_mm: float, known: Sequence[Contributor]) -> RequiredReport:
    """Return the permitted runout of each contributor that is not measured, scaled by one factor."""
    free = [item for item in known if item.law != "measured"]
    fixed = law_of(vectors_at(z_mm, [item for item in known if item.law == "measured"]))
    scaled = vectors_at(z_mm, free)
    factor = equal_effort_factor(
        eccentricity_of(target),
        fixed.amplitudes,
        [abs(vector.amplitude) for vector in scaled if not vector.capability],
        math.hypot(*(gaussian_sigma(abs(vector.amplitude)) for vector in scaled if vector.capability)),
    )
    return RequiredReport(
        target_um=target,
        plane="tip" if limit_at == "tip" else "gauge_plane",
        factor=rounded_or_none(factor, "ratio"),
        contributors=[]
        if factor is None
        else [
            RequiredRunout(
                name=item.name,
                stated_tir_um=rounded(item.stated_um, "um"),
                required_tir_um=rounded(item.stated_um * factor, "um"),
            )
            for item in free
        ],
    )
