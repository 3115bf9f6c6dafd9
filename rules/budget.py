"""Full runout budget of a stack: the share of each contributor, and the best clocking of the joints."""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping, Sequence
from functools import partial
from itertools import product
from typing import Final, Literal

from rules.answer.provenance import provenance, refuse_assumptions, threshold_overrides
from rules.couplings.sides import COUPLINGS
from rules.exchange.documents import NO_CATALOGUE, Catalogue
from rules.quantities.missing import Missing, OrMissing, when_both_known, when_known
from rules.quantities.rounding import rounded, rounded_or_none
from rules.random_vectors.random_sum import RandomClocking
from rules.rulebook.book import Rulebook
from rules.runout.analysis import PlaneBudget, Vector, budget_at, law_of, vectors_at
from rules.runout.contributors import Contributor, Contributors, contributors_of, frames_of, positions_of
from rules.runout.formulas import (
    BestClocking,
    Eccentricity,
    Tir,
    best_turns,
    eccentricity_of,
    equal_effort_factor,
    single_turns,
    tir_from_particle,
    tir_of,
)
from rules.runout.report import contributor_figures, not_stated, plane_figures, shares_within
from rules.schema.budget import (
    BudgetContributor,
    BudgetReport,
    BudgetRequest,
    ClockingReport,
    JointTurn,
    RequiredAlone,
    RequiredReport,
    RequiredRunout,
    SeatReport,
)
from rules.schema.report import JointEnds, OperationRunout, PlaneReport
from rules.schema.request import DEFAULT_POLICY, Operation, Policy, RunoutLimit
from rules.stack.chain import SPINDLE, Chain, chain_of, resolve
from rules.stack.positions import Positions, positions_on_axis, reading_plane

__all__ = ["full_budget"]


def clocking_section(chain: Chain, plane: PlaneName, z_mm: float, contributors: Contributors) -> ClockingReport | None:
    """Return the best turns at z; None if fewer than two contributors have a known direction."""
    known = contributors.known
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
    names = [JointEnds(upper=SPINDLE, lower=chain.members[0].part.id), *(case.ends_named for case in chain.joints)]
    best = best_turns(nodes, positions)
    rest = [item for item in known if item.group is None]
    after = law_of([*vectors_at(z_mm, rest), Vector(best.eccentricity, "measured", None)])
    turns = [
        _turn(names, positions, turn.joint, turn.angle_deg, turn.eccentricity)
        for turn in (single_turns(nodes, positions) if stands else [])
        if any(nodes[: turn.joint]) and any(nodes[turn.joint :])
    ]
    standing = Eccentricity(abs(sum(nodes)) if stands else math.fsum(map(abs, nodes)))
    return ClockingReport(
        plane=plane,
        contributors=[item.id for item in directed],
        measured_tir_um=rounded(tir_of(standing), "um"),
        one_joint=sorted(turns, key=lambda turn: turn.leaves_tir_um),
        all_joints=[
            _turn(names, positions, joint, angle, best.eccentricity)
            for joint, angle in enumerate(best.angles_deg, start=1)
            if positions[joint - 1] != 1 and any(nodes[:joint]) and any(nodes[joint:])
        ],
        marks=not stands,
        exhaustive=best.exhaustive,
        off_by_5_deg_tir_um=_off_by(nodes, best, positions),
        after_reseating_p95_um=_after_reseating(chain, best.eccentricity),
        p95_after_um=rounded(tir_of(Eccentricity(float(after.quantiles((0.95,))[0]))), "um")
        if contributors.lacking is None
        else None,
    )


_OFF_DEG: Final = 5.0
"""Error of setting a clocking by hand, common practice."""


def _off_by(nodes: Sequence[complex], best: BestClocking, positions: Sequence[int]) -> float:
    """Return the largest reading left where every joint that is turned freely is off by 5° either way."""
    free = [place for place, count in enumerate(positions) if count == 0 and any(nodes[place + 1 :])]
    worst = abs(best.eccentricity)
    for signs in product((1.0, -1.0), repeat=min(len(free), _MOST_JOINTS)):
        off = dict(zip(free, signs, strict=False))
        total, turned = nodes[0], 1 + 0j
        for place, (node, angle) in enumerate(zip(nodes[1:], best.angles_deg, strict=True)):
            turned *= cmath.rect(1.0, math.radians(angle + _OFF_DEG * off.get(place, 0.0)))
            total += node * turned
        worst = max(worst, abs(total))
    return rounded(tir_of(Eccentricity(worst)), "um")


_MOST_JOINTS: Final = 8


def _after_reseating(chain: Chain, left: Eccentricity) -> float | None:
    """Return the 95th percentile of what is left with the repeatability of the spindle's taper; None if unknown."""
    side = chain.members[0].machine_side
    seat = None if side is None else COUPLINGS[side.coupling].described.seating_eccentricity_up_to_um
    if seat is None:
        return None
    law = law_of([Vector(left, "measured", None), Vector(seat, "limit", None)])
    return rounded(tir_of(Eccentricity(float(law.quantiles((0.95,))[0]))), "um")


def _turn(
    names: Sequence[JointEnds], positions: Sequence[int], joint: int, angle: float, left: Eccentricity
) -> JointTurn:
    count = positions[joint - 1]
    return JointTurn(
        joint=names[joint - 1],
        positions=None if count == 0 else count,
        turn_deg=round(angle, 2) % 360.0,
        leaves_tir_um=rounded(tir_of(left), "um"),
    )


PlaneName = Literal["gauge_plane", "tip"]


def full_budget(request: BudgetRequest, book: Rulebook, catalogue: Catalogue = NO_CATALOGUE) -> BudgetReport:
    """Return the full runout budget of one stack.

    Raises :class:`~rules.schema.parsing.BadRequestError` for thresholds that no rule has or allows.
    """
    refuse_assumptions(request.policy, "a runout budget")
    threshold_overrides(request.policy, book)
    resolved = resolve(request, catalogue.definitions)
    chain = chain_of(resolved.without_stack() if resolved.broken else resolved.request)
    geometry = positions_on_axis(chain)
    contributors = Contributors((), Missing(resolved.lacking)) if resolved.broken else contributors_of(chain, geometry)
    known, lacking = contributors.known, contributors.lacking
    stated = request.limit or _lowest_limit(request.operations or ())
    limit_at: PlaneName = "gauge_plane" if stated is None or stated.plane is None else stated.plane
    judged = geometry.tip if limit_at == "tip" else geometry.gauge_plane
    limit = None if stated is None else Tir(stated.tir_um)
    target = limit if request.target_um is None else Tir(request.target_um)
    required = None
    if target is not None and lacking is None and isinstance(judged, float):
        required = _required(target, limit_at, judged, known, request.policy or DEFAULT_POLICY)
    budgets = {
        name: budget_at(z, known, limit) for name, z in _planes(request, chain, geometry) if isinstance(z, float)
    }
    return BudgetReport(
        complete=lacking is None,
        not_stated=not_stated(contributors),
        limit=_limit(stated, limit_at, judged, known, complete=lacking is None),
        planes=[
            PlaneReport(**plane_figures(name, budget.z_mm, chain, geometry, budget if lacking is None else None))
            for name, budget in budgets.items()
        ],
        contributors=_contributors(contributors, budgets),
        seats=_seats(chain, geometry),
        clocking=clocking_section(chain, limit_at, judged, contributors) if isinstance(judged, float) else None,
        required=required,
        provenance=provenance(request, request.policy, book, catalogue.digests),
    )


def _limit(
    stated: RunoutLimit | None,
    plane: PlaneName,
    z_mm: OrMissing[float],
    known: Sequence[Contributor],
    *,
    complete: bool,
) -> OperationRunout | None:
    """Return the limit and the share of assemblies within it."""
    if stated is None:
        return None
    within = {}
    if complete and isinstance(z_mm, float):
        within = shares_within(budget_at(z_mm, known, Tir(stated.tir_um)))
    return OperationRunout(plane=plane, limit_um=stated.tir_um, probability_within_limit=within)


def _lowest_limit(operations: Sequence[Operation]) -> RunoutLimit | None:
    limits = [one.limits.runout for one in operations if one.limits is not None and one.limits.runout is not None]
    return min(limits, key=lambda one: one.tir_um, default=None)


def _planes(request: BudgetRequest, chain: Chain, geometry: Positions) -> list[tuple[str, OrMissing[float]]]:
    found = [("gauge_plane", geometry.gauge_plane), ("tip", geometry.tip)]
    reading = reading_plane(chain, geometry)
    if reading is not None:
        found.append(("reading_plane", reading))
    for number, plane in enumerate(request.planes or (), start=1):
        zero: OrMissing[float] = 0.0 if plane.datum == "gauge_line" else geometry.last_clamping_face
        found.append((f"plane_{number}", when_both_known(lambda start, step: start + step, zero, plane.distance_mm)))
    return found


def _contributors(contributors: Contributors, budgets: Mapping[str, PlaneBudget]) -> list[BudgetContributor]:
    known, complete = contributors.known, contributors.lacking is None
    vectors = {name: [vectors_at(budget.z_mm, [item]) for item in known] for name, budget in budgets.items()}
    return [
        BudgetContributor(
            **figures,
            stated_tir_um=rounded(item.stated_um, "um"),
            amplification={
                name: rounded(budget.own_tir_um[place] / item.stated_um, "ratio") for name, budget in budgets.items()
            }
            if item.stated_um > 0.0
            else {},
            p95_if_halved_um={name: rounded(_p95_with(summed, place, 0.5), "um") for name, summed in vectors.items()}
            if complete
            else {},
        )
        for place, (item, figures) in enumerate(
            zip(known, contributor_figures(known, budgets, complete=complete), strict=True)
        )
    ]


def _p95_with(vectors: Sequence[Sequence[Vector]], place: int, factor: float) -> Tir:
    """Return the 95th-percentile reading of assemblies with one contributor scaled."""
    changed = [
        one._replace(amplitude=factor * one.amplitude) if number == place else one
        for number, own in enumerate(vectors)
        for one in own
    ]
    return tir_of(Eccentricity(float(law_of(changed).quantiles((0.95,))[0])))


def _seats(chain: Chain, geometry: Positions) -> list[SeatReport]:
    """Return the effect of a particle in each seat, the most sensitive first."""
    seats = []
    uppers = (None, *chain.members)
    for upper, member, place in zip(uppers, chain.members, geometry.places, strict=False):
        if isinstance(place.lever, Missing) or isinstance(place.pivot, Missing) or place.lever <= 0.0:
            continue
        particle = partial(_tir_of_particle, place.lever, place.pivot)
        joint = JointEnds(upper=SPINDLE if upper is None else upper.part.id, lower=member.part.id)
        planes = {"gauge_plane": when_known(particle, geometry.gauge_plane), "tip": when_known(particle, geometry.tip)}
        seats.append(
            SeatReport(
                id=f"seat:{joint}",
                joint=joint,
                lever_mm=rounded(place.lever, "mm"),
                tir_um_per_um={
                    name: rounded(tir, "ratio") for name, tir in planes.items() if not isinstance(tir, Missing)
                },
            )
        )
    return sorted(seats, key=lambda seat: -seat.tir_um_per_um.get("gauge_plane", 0.0))


def _tir_of_particle(lever_mm: float, pivot_mm: float, z_mm: float) -> Tir:
    """Return the reading at z per micrometre of the particle."""
    return tir_from_particle(1.0, lever_mm, z_mm - pivot_mm)


def _required(
    target: Tir, limit_at: PlaneName, z_mm: float, known: Sequence[Contributor], policy: Policy
) -> RequiredReport:
    """Return the permitted runout of each contributor that is not measured, scaled by one factor."""
    # a measured part keeps its runout and the uncertainty of its reading
    free = [item for item in known if item.law != "measured" and item.kind != "uncertainty"]
    at_limits = policy.judged_runout == "parts_at_limits"

    def law(items: Sequence[Contributor]) -> RandomClocking:
        return law_of(vectors_at(z_mm, items), at_limits=at_limits)

    goal = eccentricity_of(target)
    factor = equal_effort_factor(goal, law([item for item in known if item not in free]), law(free))
    alone = [
        (item, equal_effort_factor(goal, law([one for one in known if one is not item]), law([item]))) for item in free
    ]
    return RequiredReport(
        target_um=target,
        plane=limit_at,
        factor=rounded_or_none(factor, "ratio"),
        contributors=[]
        if factor is None
        else [
            RequiredRunout(
                id=item.id,
                stated_tir_um=rounded(item.stated_um, "um"),
                required_tir_um=rounded(item.stated_um * factor, "um"),
            )
            for item in free
        ],
        one_alone=[
            RequiredAlone(
                id=item.id,
                stated_tir_um=rounded(item.stated_um, "um"),
                required_tir_um=None if share is None else rounded(item.stated_um * share, "um"),
            )
            # the part that has to become better by least comes first
            for item, share in sorted(alone, key=lambda pair: -math.inf if pair[1] is None else pair[1], reverse=True)
        ],
    )
