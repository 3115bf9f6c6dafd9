"""Work instruction of a stack: cleaning, assembly, measuring, acceptance and disassembly as numbered steps."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any, Final

from rules.analysis import StackAnalysis
from rules.answer.findings import trade_name
from rules.assembly.joints import JointFindings, JointSteps, findings_by_joint, joint_steps
from rules.assembly.sentences import (
    Draft,
    Number,
    Tellable,
    Words,
    coupling_cautions,
    draft,
    heavy_cautions,
    instruction,
    maker_units,
    say,
    stop,
)
from rules.couplings import steep_taper
from rules.couplings.steep_taper import SteepTaper
from rules.quantities.missing import Missing, OrMissing, when_all_known, when_both_known
from rules.quantities.models import MissingQuantity
from rules.quantities.rounding import rounded_or_none
from rules.quantities.units import quantity_and_unit, ucum
from rules.runout.analysis import PlaneBudget
from rules.runout.formulas import tir_from_particle
from rules.runout.report import predictions_of
from rules.schema.components import Cutter, GaugePin, RetentionKnob
from rules.schema.report import AssemblyReport, Finding, JointEnds
from rules.stack.chain import Member, StackJoint
from rules.stack.positions import Position, surface_at

__all__ = ["assembly_section"]


_GAUGE_SPINDLE = "the gauge spindle"


def cleaning_steps(derived: StackAnalysis) -> list[Draft]:
    """Return one cleaning step per seat: that of the spindle, then of every joint; see the order above."""
    seats = [
        (index, _particle_reading(place, derived.geometry.gauge_plane))
        for index, place in enumerate(derived.geometry.places)
    ]
    seats.sort(key=lambda seat: -seat[1] if isinstance(seat[1], float) else float("inf"))
    most_sensitive = len(seats) > 1 and isinstance(seats[0][1], float)
    return [
        step
        for rank, (index, particle) in enumerate(seats)
        if (step := _step(derived, index, particle, most_sensitive and rank == 0)) is not None
    ]


def _particle_reading(place: Position, plane: OrMissing[float]) -> OrMissing[float]:
    """Return the reading at the plane of a particle of 1 µm at one end of the seat, µm."""

    def reading(seat: float, pivot: float, z: float) -> OrMissing[float]:
        return tir_from_particle(1.0, seat, z - pivot) if seat > 0.0 else Missing(())

    return when_all_known(reading, place.lever, place.pivot, plane)


def _step(derived: StackAnalysis, index: int, particle: OrMissing[float], most_sensitive: bool) -> Draft | None:
    member = derived.chain.members[index]
    lower, at = member.part.id, f"{member.at}/machine_side"
    case = derived.chain.joints[index - 1] if index else None
    file, coupling = instruction(), "unknown"
    if case is None:
        side = member.machine_side
        upper, components, pointers, joint = _GAUGE_SPINDLE, [lower], [at], None
        if side is not None:
            coupling = side.coupling
    else:
        upper, components = case.upper_name, [case.upper_name, lower]
        pointers, joint = [case.upper_at, case.lower_at], case.ends_named
        if case.mated and case.upper_side is not None:
            coupling = case.upper_side.coupling
    how = file.couplings[coupling].clean.text.format(upper=upper, lower=lower)
    seat_length = derived.geometry.places[index].seat_length
    known = {"how": how}
    if most_sensitive:
        known["most_sensitive"] = ""

    def find(name: str) -> Tellable:
        if name == "seat_length":
            return seat_length if isinstance(seat_length, Missing) else Number("seat length", "mm", seat_length)
        if name == "particle":
            return (
                particle if isinstance(particle, Missing) else Number("reading for a particle of 1 µm", "um", particle)
            )
        return None

    step = draft(file.general["clean"], Words(known, find), components, pointers, joint)
    if step is not None and isinstance(member.part, Cutter):
        step["caution"].append(file.cautions["edges"].format(lower=lower))
    return step


_SET_AT_JOINTS: Final = ("grip", "projection", "opening_temperature", "clocking")


class Measuring:
    """Measuring plane and acceptance limit of the finished assembly."""

    def __init__(self, derived: StackAnalysis) -> None:
        operation = derived.chain.operation
        geometry = derived.geometry
        at_tip = operation is not None and operation.runout_limit_at == "tip"
        self._derived = derived
        self._limit = None if operation is None else operation.runout_limit_um
        self._limit_at = "tip" if at_tip else "gauge_plane"
        self._plane = geometry.tip if at_tip else geometry.gauge_plane
        self._distance: OrMissing[float] = when_both_known(
            lambda z, face: z - face, self._plane, geometry.last_clamping_face
        )
        self._budget = derived.tip if at_tip else derived.gauge_plane
        self._reading_limit = self._limit
        if derived.reading is not None:
            self._move_to(derived.reading)
        if derived.contributors.lacking is not None:
            self._budget = derived.contributors.lacking  # a partial sum would understate the runout
        members = derived.chain.members
        self._base = members[0] if members else None
        self._tool = members[-1] if members else None
        self._face_of = members[-2].part.id if len(members) > 1 else None

    def _move_to(self, reading: PlaneBudget) -> None:
        """Measure on the plain shank, never on the flutes; the limit is converted by the 95th percentiles."""
        limited, face = self._budget, self._derived.geometry.last_clamping_face
        if isinstance(limited, Missing) or isinstance(face, Missing):
            return
        self._limit_at, self._plane, self._budget = "reading_plane", reading.z_mm, reading
        self._distance = reading.z_mm - face
        whole = limited.assemblies.p95_um
        if self._limit is None:
            return
        known = self._derived.contributors.lacking is None and whole > 0.0
        # without a prediction nothing converts it
        # rounded down, so that the limit is not exceeded
        converted = self._limit * reading.assemblies.p95_um / whole if known else None
        self._reading_limit = None if converted is None else math.floor(converted * 10.0) / 10.0

    def acceptance(self) -> dict[str, Any]:
        """Return the section on acceptance."""
        budget = self._budget if isinstance(self._budget, PlaneBudget) else None
        return {
            "plane": self._limit_at,
            "from_gauge_line_mm": rounded_or_none(self._plane, "mm"),
            "from_last_clamping_face_mm": rounded_or_none(self._distance, "mm"),
            "face_of": self._face_of,
            "limit_um": self._limit,
            "reading_limit_um": rounded_or_none(self._reading_limit, "um"),
            "predictions": [] if budget is None else predictions_of(budget),
            "rule": self._rule(),
        }

    def _rule(self) -> str:
        rules = instruction().rules
        if self._limit is None:
            return rules["no_limit"]
        if self._reading_limit is None:
            return rules["not_converted"].format(limit=f"{self._limit:.10g} µm")
        if self._limit_at != "reading_plane":
            return rules["limit"].format(limit=f"{self._limit:.10g} µm")
        return rules["converted"].format(limit=f"{self._limit:.10g} µm", there=f"{self._reading_limit:.10g} µm")

    def steps(self, joint_findings: JointFindings) -> list[Draft]:
        """Return the steps for seating, measuring and signing."""
        return [step for step in (self._seat(joint_findings), self._measure(), self._record()) if step is not None]

    def _seat(self, joint_findings: JointFindings) -> Draft | None:
        base = self._base
        if base is None:
            return None
        side, file = base.machine_side, instruction()
        kind = "unknown" if side is None else side.coupling if side.coupling in file.seats else "other"
        at = f"{base.at}/machine_side"
        case = self._derived.chain.spindle_joint
        against: Sequence[Finding] = () if case is None else joint_findings.get((case.upper_at, case.lower_at), ())
        return {
            "number": 0,
            "action": "seat",
            "components": [base.part.id],
            "joint": None,
            "text": say(file.seats[kind], Words({"base": base.part.id}), []),
            "values": [],
            "caution": [
                *(file.cautions["finding"].format(code=one.code, message=one.message) for one in against),
                *heavy_cautions(self._derived.masses.total),
            ],
            "at": [at],
            "not_stated": [] if side is not None else [at],
            "from_maker": [],
        }

    def _measure(self) -> Draft | None:
        tool = self._tool
        if tool is None:
            return None
        step = draft(
            instruction().general["measure"],
            Words({"tool": tool.part.id, "rule": self._rule()}, self._find),
            [tool.part.id],
            [f"{self._derived.chain.operation_at}/limits/runout/tir_um"] if self._limit is not None else [tool.at],
        )
        if step is not None and self._limit is None:
            step["not_stated"].append(f"{self._derived.chain.operation_at}/limits/runout")
        return step

    def _find(self, name: str) -> Tellable:
        budget = self._budget
        if name == "plane":
            return _length("measuring plane from the gauge line", self._plane)
        if name == "distance":
            return _length("distance from the last clamping face", self._distance)
        if name == "reading":
            return None if self._reading_limit is None else Number("reading", "um", None, None, self._reading_limit)
        if name == "face_of":
            return self._face_of
        if name == "incomplete":
            return "" if isinstance(budget, Missing) else None
        if name in ("on_flutes", "beyond_tip"):
            return self._touches(name)
        if isinstance(budget, Missing):
            return budget
        if name == "p50":
            return Number("median of the expected reading", "um", budget.assemblies.p50_um)
        return (
            Number("95th percentile of the expected reading", "um", budget.assemblies.p95_um) if name == "p95" else None
        )

    def _touches(self, what: str) -> str | None:
        """Return '' where the measuring plane is on the flutes or beyond the tool."""
        if isinstance(self._plane, Missing):
            return None
        surface = surface_at(self._derived.chain, self._derived.geometry, self._plane)
        return "" if surface == {"beyond_tip": "none", "on_flutes": "flutes"}[what] else None

    def _record(self) -> Draft | None:
        ids = [member.part.id for member in self._derived.chain.members]
        return draft(instruction().general["record"], Words({}), ids, ["/stack"])

    def record(self, joints: Iterable[tuple[StackJoint, Words]], steps: Iterable[Draft]) -> list[dict[str, Any]]:
        """Return the fields to fill in: readings, settings of each joint, makers' figures, name and date."""
        where = {"tip": "tip", "reading_plane": "plain shank"}.get(self._limit_at, "gauge plane")
        fields = [
            _blank(f"reading at the {where}", None, "um", at_most=self._reading_limit),
            _blank("expanded uncertainty of the reading", None, "um"),
        ]
        for case, words in joints:
            for name in _SET_AT_JOINTS:
                number = None if name == "projection" and case.joint_class == "collet_seat" else words.number(name)
                if isinstance(number, Number):
                    record = number.fields()
                    record["target"] = record.pop("value")
                    fields.append({**record, "joint": case.ends_named})
        for step in steps:
            fields.extend(_blank(name, step["joint"], maker_units()[name]) for name in step["from_maker"])
        fields.extend(_blank(name, None, None) for name in ("operator", "date", "signature"))
        return fields


def _length(name: str, value: OrMissing[float]) -> Tellable:
    return value if isinstance(value, Missing) else Number(name, "mm", value)


def _blank(name: str, joint: JointEnds | None, unit: str | None, at_most: float | None = None) -> dict[str, Any]:
    return {
        "name": name,
        "joint": joint,
        "unit": None if unit is None else ucum(unit),
        "target": None,
        "at_least": None,
        "at_most": at_most,
    }


def assembly_section(derived: StackAnalysis, findings: Sequence[Finding]) -> AssemblyReport:
    """Return the work instruction.

    The findings keep the pointers given by the rules. An error at a joint becomes a step that forbids the joint, a
    warning a caution at its step.
    """
    joint_findings, others = findings_by_joint(derived.chain, findings)
    measuring = Measuring(derived)
    joints = joint_steps(derived, joint_findings)
    steps = _building(derived, others, joints)
    buildable = all(step["action"] != "stop" for step in steps)
    if buildable:
        steps += measuring.steps(joint_findings)
    elif derived.chain.members:
        steps.append(stop(instruction().stops["unfinished"], [], ["/stack"]))
    taking_apart = [*_taking_out(derived, buildable), *joints.open] if joints.open else []
    return AssemblyReport.model_validate(
        {
            "buildable": buildable,
            "steps": _numbered(steps),
            "acceptance": measuring.acceptance(),
            "record": measuring.record(joints.used, steps),
            "disassembly": _numbered(taking_apart),
        }
    )


def _numbered(steps: Iterable[Draft]) -> list[dict[str, Any]]:
    """Return the steps with their numbers, and with names for the fields that are not stated."""
    return [
        {**step, "number": number, "not_stated": [_not_stated(field) for field in step["not_stated"]]}
        for number, step in enumerate(steps, start=1)
    ]


def _not_stated(field: str) -> MissingQuantity:
    last = next(step for step in reversed(field.split("/")) if step and not step.isdigit())
    quantity, unit = quantity_and_unit(last)
    return MissingQuantity(quantity=quantity, unit=unit, at=[field])


def _building(derived: StackAnalysis, findings: Sequence[Finding], joints: JointSteps) -> list[Draft]:
    """Return the steps up to the finished assembly."""
    chain, texts = derived.chain, instruction().stops
    if not chain.members:
        return [stop(texts["nothing"], [], ["/stack/components"])]
    steps = [*_inspecting(derived, findings), *cleaning_steps(derived), *_knob(derived, findings), *joints.build]
    last = chain.members[-1]
    if not isinstance(last.part, Cutter | GaugePin):
        steps.append(stop(texts["no_tool"], [last.part.id], ["/stack/components"]))
    return steps


def _inspecting(derived: StackAnalysis, findings: Sequence[Finding]) -> list[Draft]:
    """Return the first step, with the errors that belong to no later step as cautions."""
    file, members = instruction(), (*derived.chain.members, *derived.chain.knobs)
    parts = ", ".join(map(_named, members))
    step = draft(
        file.general["inspect"],
        Words({"parts": parts}),
        [member.part.id for member in members],
        ["/stack/components"],
    )
    if step is None:
        return []
    step["caution"] = [
        file.cautions["finding"].format(code=one.code, message=one.message)
        for one in findings
        if one.severity == "error" and one.code not in file.knob_codes
    ]
    return [step]


def _named(member: Member) -> str:
    part = member.part
    return part.id if not part.part_number else f"{part.id} ({part.part_number})"


def _knob(derived: StackAnalysis, findings: Sequence[Finding]) -> list[Draft]:
    """Return the steps for fitting the retention knob, if there is a taper for one."""
    file, chain = instruction(), derived.chain
    base = chain.members[0]
    side, knobs = base.machine_side, chain.knobs
    ids, at = [base.part.id, *(knob.part.id for knob in knobs)], [knob.at for knob in knobs]
    reasons = [
        f"{one.code}: {one.message} {one.remedy}"
        for one in findings
        if one.code in file.knob_codes and one.severity == "error"
    ]
    if reasons:
        return [stop(file.stops["knob"].format(reasons=" ".join(reasons)), ids, at or [base.at])]
    if not isinstance(side, SteepTaper):
        names = ", ".join(knob.part.id for knob in knobs)
        return [stop(file.stops["knob_without_place"].format(knob=names), ids, at)] if knobs else []
    if not knobs:
        if not steep_taper.takes_knob(side):
            return []
        step = draft(file.general["no_knob"], Words({"base": base.part.id}), ids, [base.at])
        return [] if step is None else [{**step, "not_stated": ["/machine/retention_knob"]}]
    return _knob_fitted(base, side, knobs[0])


def _knob_fitted(base: Member, side: SteepTaper, knob: Member) -> list[Draft]:
    part = knob.part
    if not isinstance(part, RetentionKnob):
        return []
    words = {"knob": part.id, "base": base.part.id}
    if part.form is not None:
        words["knob_form"] = trade_name("knob_form", part.form)
    thread = part.thread
    if thread is None:
        thread = steep_taper.thread_for_knob(side)
    if thread is not None:
        words["knob_thread"] = thread
    step = draft(instruction().general["knob"], Words(words), [base.part.id, part.id], [knob.at])
    if step is None:
        return []
    missing = [f"{knob.at}/{name}" for name, known in (("form", part.form), ("thread", thread)) if known is None]
    caution = list(coupling_cautions("steep_taper_knob"))
    return [{**step, "caution": caution, "not_stated": missing}]


def _taking_out(derived: StackAnalysis, finished: bool) -> list[Draft]:
    base, last = derived.chain.members[0].part, derived.chain.members[-1].part
    words = {"base": base.id}
    if finished:
        words["finished"] = ""
        if isinstance(last, Cutter):
            words["cutter"] = last.id
    at = [derived.chain.members[0].at]
    step = draft(instruction().general["take_out"], Words(words), [base.id], at)
    return [] if step is None else [step]
