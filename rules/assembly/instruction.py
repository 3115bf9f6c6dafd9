"""Work instruction of a stack: cleaning, assembly, measuring, acceptance, record and disassembly."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from hashlib import sha256
from typing import Any, Final, NamedTuple

from pydantic_core import to_json

from rules.analysis import StackAnalysis
from rules.answer.findings import trade_name
from rules.assembly.joint_values import states_inches
from rules.assembly.joints import EXPECTED, JointSteps, findings_by_joint, joint_steps
from rules.assembly.sentences import (
    COMMON_PRACTICE,
    Draft,
    Number,
    Tellable,
    Words,
    draft,
    instruction,
    maker_units,
    preload,
    say,
    stop,
)
from rules.couplings import steep_taper
from rules.couplings.shell_mill_arbor import SHELL_MILL_ARBOR
from rules.couplings.steep_taper import SteepTaper
from rules.quantities.missing import Missing, OrMissing, when_all_known, when_both_known
from rules.quantities.models import MissingQuantity
from rules.quantities.rounding import rounded, rounded_or_none
from rules.quantities.units import quantity_and_unit
from rules.runout.analysis import PlaneBudget
from rules.runout.formulas import tir_from_particle
from rules.runout.report import predictions_of
from rules.schema.components import Cutter, GaugePin, RetentionKnob
from rules.schema.report import AssemblyReport, Finding, InstructionState, JointEnds, RecordGroup, Undecided
from rules.stack.chain import Member
from rules.stack.positions import Position, readable_zones, surface_at

__all__ = ["AT_ANGLE", "AXIAL", "LENGTH", "RELEASED_BY", "TEST_BAR", "Digests", "assembly_section"]


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

    return draft(file.general["clean"], Words(known, find), components, pointers, joint)


_SET_AT_JOINTS: Final = ("grip", "projection", "opening_temperature", "clocking", "torque")

_ANGLES: Final = (*range(0, 360, 45), 360)
"""Angles of the readings: eight even ones, then the first again."""

_REFERENCE_TEMPERATURE: Final = Number("temperature", "degC", 20.0, source="ISO 1")


class Measuring:
    """Measuring plane and acceptance limit of the finished assembly."""

    def __init__(self, derived: StackAnalysis, state: InstructionState) -> None:
        operation = derived.chain.operation
        geometry = derived.geometry
        at_tip = operation is not None and operation.runout_limit_at == "tip"
        self._derived = derived
        self._state = state
        self._length_tolerance = derived.chain.request.stack.length_tolerance_mm
        self._operation = None if operation is None else operation.id
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
            "operation": None if self._limit is None else self._operation,
            "plane": self._limit_at,
            "from_gauge_line_mm": rounded_or_none(self._plane, "mm"),
            "from_last_clamping_face_mm": rounded_or_none(self._distance, "mm"),
            "face_of": self._face_of,
            "limit_um": self._limit,
            "reading_limit_um": rounded_or_none(self._reading_limit, "um"),
            "surfaces": self._surfaces(),
            "predictions": [] if budget is None else predictions_of(budget),
            "rule": self._rule(),
        }

    def _surfaces(self) -> list[dict[str, Any]]:
        face = self._derived.geometry.last_clamping_face
        if isinstance(face, Missing):
            return []
        return [
            {
                "surface": one.surface,
                "from_last_clamping_face_mm": rounded(one.start_mm - face, "mm"),
                "to_last_clamping_face_mm": rounded(one.end_mm - face, "mm"),
            }
            for one in readable_zones(self._derived.chain, self._derived.geometry)
        ]

    def _rule(self) -> str:
        rules = instruction().rules
        if self._limit is None:
            return rules["no_limit"]
        limit = f"{self._limit:.10g} µm"
        if self._reading_limit is None:
            return rules["not_converted"].format(limit=limit)
        there = f"{self._reading_limit:.10g} µm"
        decision = rules["accept" if self._state == "build" else "compare"].format(there=there)
        if self._limit_at != "reading_plane":
            return decision
        return f"{rules['converted'].format(limit=limit, there=there)} {decision}"

    def steps(self) -> list[Draft]:
        """Return the steps for seating, setting the length, measuring and recording."""
        made = (self._seat(), self._set_length(), self._axial(), self._measure(), self._record())
        return [step for step in made if step is not None]

    def _seat(self) -> Draft | None:
        base = self._base
        if base is None:
            return None
        side, file = base.machine_side, instruction()
        kind = "unknown" if side is None else side.coupling if side.coupling in file.seats else "other"
        at = f"{base.at}/machine_side"
        return {
            "number": 0,
            "action": "seat",
            "components": [base.part.id],
            "joint": None,
            "text": say(file.seats[kind], Words({"base": base.part.id}), []),
            "values": [],
            "at": [at],
            "not_stated": [] if side is not None else [at],
            "from_maker": [],
        }

    def _length(self) -> OrMissing[Number]:
        """Return the length from the gauge line to the tip with its tolerance."""
        tip, chain, stated = self._derived.geometry.tip, self._derived.chain, self._length_tolerance
        if isinstance(tip, Missing):
            return tip
        in_inches = any(states_inches(one.part) for one in chain.members) or any(
            states_inches(case.statement) for case in chain.joints
        )
        tolerance, source = (instruction().tolerances["length"], COMMON_PRACTICE) if stated is None else (stated, None)
        return Number(LENGTH, "mm", tip, None, None, tolerance, in_inches, source)

    def _set_length(self) -> Draft | None:
        tool = self._tool
        if tool is None or not isinstance(tool.part, Cutter):
            return None
        joints = self._derived.chain.joints
        known = {"adjustable": ""} if joints and joints[-1].joint_class == "grip" else {}
        words = Words(known, lambda name: self._length() if name == "length" else None)
        return draft(instruction().general["set_length"], words, [tool.part.id], [tool.at])

    def _axial(self) -> Draft | None:
        tool, joints = self._tool, self._derived.chain.joints
        if tool is None or not isinstance(tool.part, Cutter) or not joints or joints[-1].coupling != SHELL_MILL_ARBOR:
            return None
        words = Words({"tool": tool.part.id}, lambda name: preload() if name == "preload" else None)
        return draft(instruction().general["axial"], words, [tool.part.id], [tool.at], joints[-1].ends_named)

    def _measure(self) -> Draft | None:
        tool = self._tool
        if tool is None:
            return None
        step = draft(
            instruction().general["measure"],
            Words(
                {"tool": tool.part.id, "base": self._derived.chain.members[0].part.id, "rule": self._rule()}, self._find
            ),
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
            return None if self._reading_limit is None else Number(READING, "um", None, None, self._reading_limit)
        if name == "face_of":
            return self._face_of
        if name == "preload":
            return preload()
        if name == "incomplete":
            return "" if isinstance(budget, Missing) else None
        if name in ("on_flutes", "beyond_tip"):
            return self._touches(name)
        if isinstance(budget, Missing):
            return budget
        if name == "p50":
            return Number(EXPECTED["p50"], "um", budget.assemblies.p50_um)
        return Number(EXPECTED["p95"], "um", budget.assemblies.p95_um) if name == "p95" else None

    def _touches(self, what: str) -> str | None:
        """Return '' where the measuring plane is on the flutes or beyond the tool."""
        if isinstance(self._plane, Missing):
            return None
        surface = surface_at(self._derived.chain, self._derived.geometry, self._plane)
        return "" if surface == {"beyond_tip": "none", "on_flutes": "flutes"}[what] else None

    def _record(self) -> Draft | None:
        ids = [member.part.id for member in self._derived.chain.members]
        words = Words({"released_by_signature": ""} if self._state == "build" else {})
        return draft(instruction().general["record"], words, ids, ["/stack"])

    def blanks(self, joints: JointSteps, steps: Sequence[Draft]) -> Iterator[dict[str, Any]]:
        """Yield the blanks: serial numbers, settings, makers' figures, readings, uncertainty, instrument, people."""
        chain = self._derived.chain
        for member in (*chain.members, *chain.knobs):
            yield _blank("part", "serial number", component=member.part.id)
        for _, case, words in sorted(joints.used, key=lambda one: one[0]):
            for name in _SET_AT_JOINTS:
                number = None if name == "projection" and case.joint_class == "collet_seat" else words.number(name)
                if isinstance(number, Number):
                    yield _blank("setting", number.name, case.ends_named, number)
        length = self._length()
        if any(step["action"] == "set" and step["joint"] is None for step in steps):
            yield _blank(
                "setting", LENGTH, number=Number(LENGTH, "mm", None) if isinstance(length, Missing) else length
            )
        for step in steps:
            for name in step["from_maker"]:
                yield _blank("setting", name, step["joint"], Number(name, maker_units()[name], None))
        yield from self._readings(steps)

    def _readings(self, steps: Sequence[Draft]) -> Iterator[dict[str, Any]]:
        where = {"tip": "tip", "reading_plane": "plain shank"}.get(self._limit_at, "gauge plane")
        um = Number("", "um", None)
        yield _blank("instrument", "indicator, serial number")
        yield _blank("instrument", "calibration due")
        yield _blank("instrument", "temperature", number=_REFERENCE_TEMPERATURE)
        yield _blank("reading", TEST_BAR, number=um)
        read = [step for step in steps if step["action"] == "measure"]
        axial = self._axial()
        for step in read:
            joint = step["joint"]
            if joint is None:
                continue
            if axial is not None and joint == axial["joint"]:
                yield _blank("reading", AXIAL, joint, um)
                continue
            yield _blank("reading", "reading after this joint", joint, um) | _to_expect(step)
            yield _blank("reading", HIGH_SPOT, joint, Number("", "deg", None))
        for angle in _ANGLES:
            yield _blank("reading", f"{AT_ANGLE}{angle}°", number=um)
        limit = Number("", "um", None, at_most=self._reading_limit)
        last = [_to_expect(step) for step in read if step["joint"] is None]
        yield _blank("reading", f"reading at the {where}", number=limit) | (last[-1] if last else {})
        yield _blank("reading", HIGH_SPOT, number=Number("", "deg", None))
        for name in _UNCERTAINTY:
            yield _blank("uncertainty", name, number=um)
        yield _blank("signature", "decision on the reading")
        for name in ("built by", "measured by", "date"):
            yield _blank("signature", name)
        if self._state == "build":
            yield _blank("signature", RELEASED_BY)


LENGTH: Final = "length from gauge line to tip"
READING: Final = "reading"
TEST_BAR: Final = "reading of the test bar"
AT_ANGLE: Final = "reading at "
AXIAL: Final = "axial runout"
HIGH_SPOT: Final = "angle of the high spot"

RELEASED_BY: Final = "released by"
"""Blank that only a record in the state 'build' has."""

_UNCERTAINTY: Final = (
    "uncertainty of the indicator's calibration",
    "resolution of the indicator",
    "drift",
    "scatter of re-seating",
    "expanded uncertainty of the reading, k = 2",
)
"""Budget of the reading (JCGM 100); the first four as standard uncertainties."""


def _length(name: str, value: OrMissing[float]) -> Tellable:
    return value if isinstance(value, Missing) else Number(name, "mm", value)


def _blank(
    group: RecordGroup,
    name: str,
    joint: JointEnds | None = None,
    number: Number | None = None,
    component: str | None = None,
) -> dict[str, Any]:
    told = (number or Number(name, None, None)).fields()
    target = told.pop("value")
    return {
        **told,
        "name": name,
        "target": target,
        "group": group,
        "joint": joint,
        "component": component,
        "expected_median": None,
        "expected_p95": None,
    }


def _to_expect(step: Draft) -> dict[str, Any]:
    """Return what a step says of its reading, for the blank beside it."""
    told = {one["name"]: one for one in step["values"]}
    fields = {"expected_median": EXPECTED["p50"], "expected_p95": EXPECTED["p95"]}
    found = {field: told[name]["value"] for field, name in fields.items() if name in told}
    return found | ({"at_most": told[READING]["at_most"]} if READING in told else {})


class Digests(NamedTuple):
    """Digests of request and judgement, for the record."""

    request_sha256: str
    judgement_sha256: str


def assembly_section(
    analyses: Sequence[StackAnalysis],
    findings: Sequence[Finding],
    gaps: Sequence[Undecided],
    digests: Digests,
) -> AssemblyReport:
    """Return the work instruction.

    Parameters
    ----------
    analyses
        One for each operation, or one without an operation; the tightest runout limit counts.
    findings, gaps
        Of the whole stack and of every operation, with the pointers given by the rules. An error at a joint forbids
        it, and with it the stack.
    digests
        For the record.
    """
    derived = min(analyses, key=_tightness)
    joint_findings, others = findings_by_joint(derived.chain, findings)
    joints = joint_steps(derived, joint_findings)
    steps = _building(derived, others, joints)
    halts = [step for step in steps if step["action"] == "stop"]
    state: InstructionState = (
        "do_not_build"
        if halts
        else "build_do_not_release"
        if gaps or any(one.severity != "advice" for one in findings)
        else "build"
    )
    measuring = Measuring(derived, state)
    if halts:
        steps = [*halts, stop(instruction().stops["unfinished"], [], ["/stack"])]
        blanks = [_blank("signature", name) for name in ("stopped by", "date")]
    else:
        steps += measuring.steps()
        blanks = list(measuring.blanks(joints, steps))
    told = {
        "state": state,
        "reasons": _reasons(findings, gaps, [step["text"] for step in halts]),
        "steps": _numbered(steps),
        "acceptance": None if halts else measuring.acceptance(),
        "disassembly": [] if halts else _numbered([*_taking_out(derived), *joints.open]),
    }
    record = {"state": state, "release": instruction().states[state], "blanks": blanks}
    revision = _revision({**told, "record": record})
    return AssemblyReport.model_validate(
        {**told, "record": {**record, "instruction_sha256": revision, **digests._asdict()}}
    )


def _tightness(derived: StackAnalysis) -> float:
    """Return the limit of an operation over what 95 % of assemblies keep at its plane; the limit if not predicted."""
    operation = derived.chain.operation
    limit = None if operation is None else operation.runout_limit_um
    if operation is None or limit is None:
        return math.inf
    budget = derived.tip if operation.runout_limit_at == "tip" else derived.gauge_plane
    if isinstance(budget, Missing) or derived.contributors.lacking is not None or not budget.assemblies.p95_um:
        return limit
    return limit / budget.assemblies.p95_um


def _reasons(findings: Sequence[Finding], gaps: Sequence[Undecided], halts: Sequence[str]) -> list[dict[str, Any]]:
    """Return the reasons for the state: errors that forbid a joint or a part first."""
    file = instruction()
    against = [one for one in findings if one.severity != "advice"]

    def halting(one: Finding) -> bool:
        return any(file.finding.format(code=one.code, message=one.message) in text for text in halts)

    first = [one for one in against if one.severity == "error" and halting(one)]
    unruled = [text for text in halts if not any(f"{one.code}: " in text for one in first)]
    told = [
        *(_reason(one.severity, one, one.message) for one in first),
        *({"kind": "stop", "code": None, "operation": None, "text": text} for text in unruled),
        *(_reason(one.severity, one, one.message) for one in against if one not in first),
        *(_reason("undecided", one, _open_words(one)) for one in gaps),
    ]
    return [one for number, one in enumerate(told) if one not in told[:number]]


def _reason(kind: str, one: Finding | Undecided, text: str) -> dict[str, Any]:
    return {"kind": kind, "code": one.code, "operation": one.operation, "text": text}


def _open_words(one: Undecided) -> str:
    lacks = ", ".join(dict.fromkeys(lack.quantity.replace("_", " ") for lack in one.lacks))
    return instruction().undecided.format(title=one.title, lacks=lacks)


_FOR_PROGRAMS: Final = frozenset({"at", "not_stated"})


def _revision(told: dict[str, Any]) -> str:
    """Return the digest of what people read: the JSON of the instruction without its pointers."""

    def read(value: Any) -> Any:
        if isinstance(value, dict):
            return {name: read(one) for name, one in value.items() if name not in _FOR_PROGRAMS}
        return [read(one) for one in value] if isinstance(value, list) else value

    return sha256(to_json(read(told))).hexdigest()


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
    bar = draft(instruction().general["test_bar"], Words({}), [chain.members[0].part.id], [chain.members[0].at])
    before = [*_inspecting(derived), *cleaning_steps(derived), *([] if bar is None else [bar])]
    steps = [*before, *_knob(derived, findings), *joints.build]
    last = chain.members[-1]
    if not isinstance(last.part, Cutter | GaugePin):
        steps.append(stop(texts["no_tool"], [last.part.id], ["/stack/components"]))
    return steps


def _inspecting(derived: StackAnalysis) -> list[Draft]:
    """Return the first step."""
    members = (*derived.chain.members, *derived.chain.knobs)
    words = Words({"parts": ", ".join(map(_named, members))})
    step = draft(instruction().general["inspect"], words, [one.part.id for one in members], ["/stack/components"])
    return [] if step is None else [step]


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
    return [{**step, "not_stated": missing}]


def _taking_out(derived: StackAnalysis) -> list[Draft]:
    if not derived.chain.joints:
        return []
    base, last = derived.chain.members[0].part, derived.chain.members[-1].part
    words = {"base": base.id, "finished": ""}
    if isinstance(last, Cutter):
        words["cutter"] = last.id
    step = draft(instruction().general["take_out"], Words(words), [base.id], [derived.chain.members[0].at])
    return [] if step is None else [step]
