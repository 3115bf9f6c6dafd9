"""A build read stage by stage: each part's own error, the best turn of its joint, and the finished stack."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from rules.analysis import StackAnalysis, analyse, cautions_of
from rules.answer.provenance import general_cautions, provenance, refuse_assumptions, threshold_overrides
from rules.exchange.documents import NO_CATALOGUE, Catalogue
from rules.grip.analysis import stated_minimum_grip
from rules.grip.shrink import is_shrink
from rules.quantities.missing import Missing
from rules.quantities.rounding import rounded, rounded_for_people
from rules.random_vectors.moments import gaussian_sigma
from rules.reading.assembled import notes_on, reconciled, same_spindle_side
from rules.reading.formulas import complex_at, high_point_deg, tip_uncertainty_um
from rules.reading.planes import Means, PlaneFit, Uncertainty, decide, fit_plane, plane_reading, refuse_uneven
from rules.rulebook.book import Rulebook
from rules.runout.analysis import Vector, budget_at, law_of, vectors_at
from rules.runout.contributors import NO_BODY, frames_of, positions_of
from rules.runout.formulas import Eccentricity, EccentricityVector, Tir, eccentricity_of, single_turns, tir_of
from rules.runout.report import not_stated
from rules.schema.build import (
    BuildAction,
    BuildReport,
    BuildRequest,
    BuildStage,
    BuildTurn,
    FinishedReport,
    MeasuredRunout,
    MeasuredStatement,
    StageReport,
    StageVector,
)
from rules.schema.components import Cutter, GaugePin, RunoutCharacter
from rules.schema.parsing import BadRequestError, Fault
from rules.schema.reading import DecisionReport
from rules.schema.request import CheckRequest
from rules.stack.chain import resolve
from rules.stack.positions import grip_of

__all__ = ["read_build"]


_PART_STANDS_OUT: Final = 2.0
"""Mean over its standard uncertainty from which on repeats show the part, common practice."""


@dataclass(frozen=True, slots=True)
class _Axis:
    """Axis of what is built: vectors at one or two planes, in the frame of the readings."""

    z_mm: tuple[float, ...]
    vectors: tuple[EccentricityVector, ...]
    standard_um: tuple[float | None, ...]
    """Standard uncertainty along one axis."""

    def at(self, z_mm: float) -> tuple[EccentricityVector, float | None] | None:
        """Return vector and standard uncertainty at z; None beyond the only plane."""
        if len(self.z_mm) == 1:
            return (self.vectors[0], self.standard_um[0]) if abs(z_mm - self.z_mm[0]) < _SAME_MM else None
        (first, second), (one, other), (u1, u2) = self.z_mm, self.vectors, self.standard_um
        found = complex_at(z_mm, one, first, other, second)
        return found, None if u1 is None or u2 is None else tip_uncertainty_um(u1, first, u2, second, z_mm)


_SAME_MM: Final = 0.5

_SPINDLE: Final = -1
"""Place of the bare spindle, before the first part of the chain."""


@dataclass(slots=True)
class _Stage:
    """One stage as read."""

    stage: BuildStage
    index: int
    """Place of its part in the chain; that of the bare spindle is before the first."""
    fits: list[PlaneFit]
    axis: _Axis | None
    own: list[tuple[float, EccentricityVector, float | None]]
    """The part's own error at the planes read: position, vector, standard uncertainty."""


def read_build(request: BuildRequest, book: Rulebook, catalogue: Catalogue = NO_CATALOGUE) -> BuildReport:
    """Return the evaluation of a build.

    No rule is judged. Raises :class:`~rules.schema.parsing.BadRequestError` for stages out of order or of parts that
    the stack does not have, for uneven repeats, and for thresholds that no rule has or allows.
    """
    if not request.stages and request.presetter is None and request.assembled is None:
        raise BadRequestError([Fault("/stages", "a build needs a stage, presetter or assembled", "missing_field")])
    refuse_assumptions(request.policy, "a build")
    threshold_overrides(request.policy, book)
    check = CheckRequest(
        stack=request.stack, components=request.components, machine=request.machine, policy=request.policy
    )
    resolved = resolve(check, catalogue.definitions)
    if resolved.broken:
        raise BadRequestError(
            [Fault(at, "a build needs the part that this refers to", "unknown_key") for at in resolved.lacking]
        )
    refuse_uneven(
        (f"/stages/{number}/planes/{place}", plane)
        for number, stage in enumerate(request.stages)
        for place, plane in enumerate(stage.planes)
    )
    derived = analyse(resolved.request)
    places = _places(request, derived)
    limit_at = _plane_of_limit(request, derived)
    stages: list[_Stage] = []
    reports: list[StageReport] = []
    for number, (stage, index) in enumerate(zip(request.stages, places, strict=True)):
        found = _read(request, stage, index, derived, stages[-1] if stages else None)
        stages.append(found)
        reports.append(_report(request, found, stages[-2] if number else None, derived, limit_at))
    return BuildReport(
        stages=reports,
        finished=_finished(request, derived, stages, limit_at),
        not_stated=not_stated(derived.contributors),
        notes=_notes(request, derived, stages, limit_at),
        cautions=cautions_of(derived) or general_cautions(),
        provenance=provenance(request, request.policy, book, catalogue.digests),
    )


def _places(request: BuildRequest, derived: StackAnalysis) -> list[int]:
    """Return the place of each stage's part in the chain; they must follow each other outward."""
    known = {"spindle": _SPINDLE}
    known |= {member.part.id: place for place, member in reversed(list(enumerate(derived.chain.members)))}
    places: list[int] = []
    faults = []
    for number, stage in enumerate(request.stages):
        place = known.get(stage.part)
        if place is None:
            faults.append(Fault(f"/stages/{number}/part", f"the stack has no part {stage.part}", "unknown_key"))
        elif places and place <= places[-1]:
            faults.append(Fault(f"/stages/{number}/part", "stages go from the spindle outward", "invalid_value"))
        else:
            places.append(place)
    if faults:
        raise BadRequestError(faults)
    return places


def _plane_of_limit(request: BuildRequest, derived: StackAnalysis) -> float | None:
    geometry = derived.geometry
    if request.limit_at_mm is None:
        return None if isinstance(geometry.gauge_plane, Missing) else geometry.gauge_plane
    face = geometry.last_clamping_face
    return None if isinstance(face, Missing) else face + request.limit_at_mm


def _read(
    request: BuildRequest, stage: BuildStage, index: int, derived: StackAnalysis, before: _Stage | None
) -> _Stage:
    instrument = stage.instrument or request.instrument
    part = None if index == _SPINDLE else derived.chain.members[index].part
    teeth = part.teeth if isinstance(part, Cutter) else None
    fits = [
        fit_plane(plane, Means(instrument, None, None, plane.surface, plane.roundness_um, teeth))
        for plane in stage.planes
    ]
    face = 0.0 if index <= 0 else derived.geometry.places[index - 1].face
    axis = None
    if not isinstance(face, Missing):
        known = [
            (face + fit.distance_mm, fit.eccentricity, fit.uncertainty) for fit in fits if fit.eccentricity is not None
        ]
        if len(known) == 2 and abs(known[1][0] - known[0][0]) < _SAME_MM:
            known = known[:1]
        if known and len(known) == len(fits):
            axis = _Axis(
                tuple(z for z, _, _ in known),
                tuple(vector for _, vector, _ in known),
                tuple(None if sure is None else sure.eccentricity_um for _, _, sure in known),
            )
    return _Stage(stage, index, fits, axis, _own(axis, before))


def _own(axis: _Axis | None, before: _Stage | None) -> list[tuple[float, EccentricityVector, float | None]]:
    """Return the part's own error V = E - E of the stage before, with u² the sum of both."""
    if axis is None or (before is not None and before.axis is None):
        return []
    found = []
    for z, vector, sure in zip(axis.z_mm, axis.vectors, axis.standard_um, strict=True):
        carried = (EccentricityVector(0j), 0.0) if before is None or before.axis is None else before.axis.at(z)
        if carried is None:
            return []
        whole = None if sure is None or carried[1] is None else math.hypot(sure, carried[1])
        found.append((z, EccentricityVector(vector - carried[0]), whole))
    return found


def _spread(stage: _Stage, z_mm: float, derived: StackAnalysis) -> tuple[EccentricityVector, list[Vector]] | None:
    """Return the vector of what is built at z, and the vectors of its errors.

    Beyond the only plane read each known error may still grow as its line does; with two planes the axis is known.
    """
    if stage.axis is None:
        return None
    found = stage.axis.at(z_mm)
    errors: list[Vector] = []
    if found is None:
        near = stage.axis.z_mm[-1]
        found = stage.axis.vectors[-1], stage.axis.standard_um[-1]
        for item in derived.contributors.known:
            if item.displaces_from <= stage.index + 1:
                grown = [abs(line.at(z_mm) - line.at(near)) for line in item.lines]
                errors += [Vector(size, "limit", None) for size in grown if size > 0.0]
    if found[1]:
        errors.append(Vector(found[1] / gaussian_sigma(1.0), "capability", None))
    return found[0], errors


def _rest(stage: _Stage, z_mm: float, derived: StackAnalysis) -> list[Vector] | None:
    """Return the vectors of what is not built yet; None while one of them is not known."""
    if derived.contributors.lacking is not None:
        return None
    last = stage.index == len(derived.chain.members) - 1
    return vectors_at(
        z_mm,
        [
            item
            for item in derived.contributors.known
            if item.displaces_from > stage.index + 1 and not (last and item.displaces_from >= NO_BODY)
        ],
    )


def _p95(vector: EccentricityVector, errors: Sequence[Vector], rest: Sequence[Vector] | None) -> float | None:
    if rest is None:
        return None
    fixed = [Vector(vector, "measured", None)] if abs(vector) > 0.0 else []
    together = [*fixed, *errors, *rest]
    if not together:
        return 0.0
    return float(2.0 * law_of(together).quantiles([0.95])[0])


def _report(
    request: BuildRequest, stage: _Stage, before: _Stage | None, derived: StackAnalysis, limit_at: float | None
) -> StageReport:
    factor = request.coverage_factor
    built = (
        []
        if stage.axis is None
        else list(zip(stage.axis.z_mm, stage.axis.vectors, stage.axis.standard_um, strict=True))
    )
    p95 = without = turn = None
    if limit_at is not None:
        spread = _spread(stage, limit_at, derived)
        if spread is not None:
            vector, errors = spread
            rest = _rest(stage, limit_at, derived)
            p95 = _p95(vector, errors, rest)
            carried = EccentricityVector(0j)
            if before is not None and (earlier := _spread(before, limit_at, derived)) is not None:
                carried = earlier[0]
            without = _p95(carried, errors, rest)
            if stage.axis is not None and (there := stage.axis.at(limit_at)) is not None:
                built.append((limit_at, *there))
            turn = _turn(request, stage, before, derived, limit_at, errors, rest)
    cause = _cause(stage)
    action, text = _action(request, stage, p95, without, turn, cause)
    return StageReport(
        part=stage.stage.part,
        planes=[plane_reading(fit, factor) for fit in stage.fits],
        built=[_vector(*one, factor) for one in built],
        own=[_vector(*one, factor) for one in stage.own],
        cause=cause,
        statement=_statement(stage, derived),
        p95_um=None if p95 is None else rounded(p95, "um"),
        best_turn=turn,
        action=action,
        text=text,
    )


def _vector(z_mm: float, vector: EccentricityVector, sure: float | None, factor: float) -> StageVector:
    return StageVector(
        from_gauge_line_mm=rounded(z_mm, "mm"),
        eccentricity_um=rounded(abs(vector), "um"),
        direction_deg=None if abs(vector) < 5e-4 else rounded(high_point_deg(vector), "deg") % 360.0,
        expanded_uncertainty_um=None if sure is None else rounded(factor * sure, "um"),
    )


def _turn(
    request: BuildRequest,
    stage: _Stage,
    before: _Stage | None,
    derived: StackAnalysis,
    z_mm: float,
    errors: Sequence[Vector],
    rest: Sequence[Vector] | None,
) -> BuildTurn | None:
    """Return the best turn of the joint that was made last: ψ = arg A + 180° - arg V leaves ||A| - |V||."""
    if before is None or before.axis is None or stage.axis is None or not stage.own or stage.index == 0:
        return None
    case = derived.chain.joints[stage.index - 1]
    positions = positions_of(derived.chain)[stage.index]
    fixed, whole = before.axis.at(z_mm), stage.axis.at(z_mm)
    if fixed is None or whole is None:
        near = stage.axis.z_mm[-1]
        fixed, whole = before.axis.at(near), stage.axis.at(near)
    if positions == 1 or fixed is None or whole is None:
        return None
    moved = EccentricityVector(whole[0] - fixed[0])
    (best,) = single_turns([fixed[0], moved], [positions])
    left = EccentricityVector(complex(best.eccentricity))
    after = _p95(left, errors, rest)
    return BuildTurn(
        joint=case.ends_named,
        turn_deg=rounded(best.angle_deg, "deg") % 360.0,
        leaves_tir_um=rounded(tir_of(Eccentricity(abs(left))), "um"),
        tolerance_deg=_tolerance(request.limit_um, abs(fixed[0]), abs(moved), left, errors, rest),
        p95_um=None if after is None else rounded(after, "um"),
        needs_heat=is_shrink(case),
    )


def _tolerance(
    limit: float | None, fixed: float, moved: float, left: EccentricityVector, errors: Sequence[Vector],
    rest: Sequence[Vector] | None,
) -> float | None:  # fmt: skip
    """Return the error of the turn at which the p95 of the stack reaches the limit, by bisection; None without one.

    What is left grows as e² = left² + 2·|A|·|V|·(1 - cos δ).
    """
    if limit is None or rest is None:
        return None

    def p95(delta: float) -> float:
        size = math.sqrt(abs(left) ** 2 + 2.0 * fixed * moved * (1.0 - math.cos(delta)))
        found = _p95(EccentricityVector(complex(size)), errors, rest)
        return math.inf if found is None else found

    if p95(0.0) > limit:
        return None
    if p95(math.pi) <= limit:
        return 180.0
    low, high = 0.0, math.pi
    for _ in range(20):
        middle = (low + high) / 2.0
        low, high = (middle, high) if p95(middle) <= limit else (low, middle)
    return math.floor(math.degrees(low) * 10.0) / 10.0


def _cause(stage: _Stage) -> Literal["part", "seat"] | None:
    """Return whether repeats show the part or its seat."""
    fit = stage.fits[0]
    if fit.repeat_scatter_um is None or not stage.own:
        return None
    sure = fit.repeat_scatter_um / math.sqrt(fit.turns)
    if sure > 0.0 and abs(stage.own[0][1]) <= _PART_STANDS_OUT * sure:
        return "seat"
    return "part"


def _statement(stage: _Stage, derived: StackAnalysis) -> MeasuredRunout | None:
    """Return the part's own runout for its data: planes from its own face, directions from its own mark."""
    if not stage.own or stage.index == _SPINDLE:
        return None
    member, geometry = derived.chain.members[stage.index], derived.geometry
    held = member.is_tool and stage.index > 0
    face = geometry.places[stage.index - 1].face if held else geometry.places[stage.index].face
    if isinstance(face, Missing):
        return None
    turn = frames_of(derived.chain)[stage.index + 1].turn
    axis = _Axis(*(tuple(one) for one in zip(*stage.own, strict=True)))
    at = [z - face for z in axis.z_mm]
    character: RunoutCharacter | None = None
    if len(at) == 1 and at[0] < 0.0:
        # read before the part's own face: the offset alone is known
        character, at = "offset", [0.0]
        known = [(axis.vectors[0], axis.standard_um[0])]
    else:
        at = [place if place >= 0.0 else far for place, far in zip(at, (0.0, _FURTHER_MM), strict=False)]
        known = [one for one in (axis.at(face + place) for place in at) if one is not None]
    if len(known) != len(at):
        return None
    statements = [
        MeasuredStatement(
            tir_um=rounded(tir_of(Eccentricity(abs(vector))), "um"),
            at_mm=rounded(place, "mm"),
            angle_deg=rounded(math.degrees(cmath.phase(vector / turn)), "deg") if abs(vector) > 5e-4 else 0.0,
            # a reading is twice the eccentricity, and its U is for k = 2
            uncertainty_um=None if sure is None else rounded(4.0 * sure, "um"),
        )
        for place, (vector, sure) in zip(at, known, strict=True)
    ]
    return MeasuredRunout(law="measured", character=character, statements=statements)


_FURTHER_MM: Final = 50.0
"""Second plane of a statement where the part was read before its own face."""


def _action(
    request: BuildRequest,
    stage: _Stage,
    p95: float | None,
    without: float | None,
    turn: BuildTurn | None,
    cause: str | None,
) -> tuple[BuildAction, str]:
    limit, part = request.limit_um, stage.stage.part
    if stage.axis is None:
        return "read_again", f"The readings on {part} give no direction: read it at eight even angles or more."
    if limit is None or p95 is None:
        return "compare", f"{part} is read; without a limit or with data missing nothing is predicted."
    ends = f"95 % of stacks finished from here read up to {_um(p95)}; the limit is {_um(limit)}."
    if p95 <= limit:
        return "go_on", f"Go on: {ends}"
    if turn is not None and turn.p95_um is not None and turn.p95_um <= limit and turn.turn_deg != 0.0:
        heat = " The joint has to be heated for it." if turn.needs_heat else ""
        return (
            "turn",
            f"{ends} Turn {turn.joint.lower} in {turn.joint.upper} by {rounded_for_people(turn.turn_deg, 'deg'):.10g}°"
            f" toward larger angles of the readings: then up to {_um(turn.p95_um)}.{heat}",
        )
    if without is not None and without > limit:
        return (
            "go_on",
            f"{ends} {part} does not decide that: without its own error it would be {_um(without)}. Go on; a clocked"
            " joint or a better part further out has to bring the rest.",
        )
    if stage.index == _SPINDLE:
        return "reseat", f"{ends} Clean the taper and the test bar and read again; what stays is the spindle's."
    if cause == "seat":
        return "reseat", f"{ends} The repeats scatter more than {part} is off: clean its seat and mount it again."
    if cause is None:
        return (
            "reseat",
            f"{ends} Clean the seat of {part}, mount it again and read it twice more, to tell seat and part.",
        )
    return "replace", f"{ends} The repeats show {part} itself: use a better one."


def _um(value: float) -> str:
    return f"{rounded_for_people(value, 'um'):.10g} µm"


def _finished(
    request: BuildRequest, derived: StackAnalysis, stages: Sequence[_Stage], limit_at: float | None
) -> FinishedReport:
    told, chain, geometry = request.presetter, derived.chain, derived.geometry
    planned = None if isinstance(geometry.tip, Missing) else geometry.tip
    tool = request.assembled
    length = None if told is None else told.length_mm
    if length is None and tool is not None:
        length = tool.functional_length_mm
    grip = minimum = implied = None
    if chain.joints:
        stated = grip_of(chain.joints[-1])
        grip, minimum = None if isinstance(stated, Missing) else stated, stated_minimum_grip(chain.joints[-1])
    if length is not None and planned is not None and grip is not None:
        implied = grip - (length - planned)
    last = chain.members[-1].part if chain.members else None
    swing = None if told is None else told.diameter_mm
    if swing is None and tool is not None:
        swing = tool.cutting_diameter_mm
    nominal = last.cutting_diameter_mm if isinstance(last, Cutter) else None
    if swing is None and told is not None and nominal is not None and told.tir_um is not None:
        swing = _swing(nominal, told.tir_um, told.high_point_deg, told.tooth_deg, getattr(last, "teeth", None))
    return FinishedReport(
        length_mm=None if length is None else rounded(length, "mm"),
        planned_length_mm=None if planned is None else rounded(planned, "mm"),
        implied_grip_mm=None if implied is None else rounded(implied, "mm"),
        minimum_grip_mm=minimum,
        grip_is_enough=None if implied is None or minimum is None else implied >= minimum,
        swing_diameter_mm=None if swing is None else rounded(swing, "mm"),
        radius_offset_mm=None if swing is None else rounded(swing / 2.0, "mm"),
        decision=_final_decision(request, derived, stages, limit_at),
        reconciled=[] if tool is None else reconciled(tool, derived),
        spindle_side_agrees=None if tool is None else same_spindle_side(tool, derived),
    )


def _swing(
    diameter_mm: float, tir_um: float, high_deg: float | None, tooth_deg: float | None, teeth: int | None
) -> float | None:
    """Return the diameter that the edges swing: D + 2·e·cos of the angle between e and the nearest tooth."""
    if high_deg is None or tooth_deg is None or teeth is None:
        return None
    pitch = 360.0 / teeth
    off = abs(math.remainder(high_deg - tooth_deg, pitch))
    return diameter_mm + 2e-3 * eccentricity_of(Tir(tir_um)) * math.cos(math.radians(off))


def _final_decision(
    request: BuildRequest, derived: StackAnalysis, stages: Sequence[_Stage], limit_at: float | None
) -> DecisionReport | None:
    """Return the decision on the presetter's runout, else on the last stage if that is of the last part."""
    if request.limit_um is None:
        return None
    told, instrument = request.presetter, request.instrument
    if told is not None and told.tir_um is not None:
        one = None if instrument is None or instrument.expanded_uncertainty_um is None else instrument
        u = None if one is None else math.sqrt(2.0) * (one.expanded_uncertainty_um or 0.0) / 2.0
        sure = None if u is None else Uncertainty((), u, u, None, None)
        tir = Tir(told.tir_um)
        fit = PlaneFit(0.0, tir, tir, None, None, False, True, tir, tir, uncertainty=sure)
        limit = _limit_at_tip(request.limit_um, derived, limit_at)
        return decide(fit, request.limit_um, limit, request.decision_rule, request.coverage_factor)
    if not stages:
        return None
    last = stages[-1]
    face = derived.geometry.last_clamping_face
    if last.index != len(derived.chain.members) - 1 or isinstance(face, Missing) or limit_at is None:
        return None
    fit = last.fits[0]
    here = abs(face + fit.distance_mm - limit_at) <= _SAME_MM
    return decide(
        fit, request.limit_um, request.limit_um if here else None, request.decision_rule, request.coverage_factor
    )


def _limit_at_tip(limit_um: float, derived: StackAnalysis, limit_at: float | None) -> float | None:
    """Return the limit for the edges, by the ratio of the predicted 95th percentiles; None if it is not known."""
    tip = derived.geometry.tip
    if isinstance(tip, Missing) or limit_at is None:
        return None
    if abs(tip - limit_at) <= _SAME_MM:
        return limit_um
    if derived.contributors.lacking is not None:
        return None
    here, there = (budget_at(z, derived.contributors.known, None).assemblies.p95_um for z in (tip, limit_at))
    return limit_um * here / there if there > 0.0 else None


def _notes(
    request: BuildRequest, derived: StackAnalysis, stages: Sequence[_Stage], limit_at: float | None
) -> list[str]:
    notes = [] if request.assembled is None else notes_on(request.assembled, derived)
    if limit_at is None:
        notes.append("The plane of the limit is not known, so nothing is predicted for the finished stack.")
    for number, stage in enumerate(stages, start=1):
        if stage.axis is not None and len(stage.axis.z_mm) == 1 and number < len(stages):
            notes.append(
                f"Stage {number}: one plane shows no tilt. Further out the errors of what is built may still grow;"
                " a second plane would tell."
            )
        if stage.axis is not None and None in stage.axis.standard_um:
            notes.append(
                f"Stage {number}: the uncertainty of its readings is not known, so its p95 takes them as exact. State"
                " that of the indicator and the roundness, or read at sixteen even angles."
            )
        if not stage.own:
            notes.append(f"Stage {number}: the own error of {stage.stage.part} is not known.")
    if (
        request.presetter is not None
        and request.presetter.tir_um is not None
        and isinstance(derived.chain.members[-1].part, GaugePin)
    ):
        notes.append("The presetter's runout of a gauge pin is not that of edges.")
    return notes
