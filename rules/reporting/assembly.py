"""The work instruction of a stack, derived from its joints."""

from __future__ import annotations

from collections.abc import Sequence

from rules.couplings import steep_taper
from rules.couplings.sides import SteepTaper
from rules.facts.derive import Derived
from rules.reporting.assembly_cleaning import cleaning_steps
from rules.reporting.assembly_drafts import Draft, draft, stop
from rules.reporting.assembly_joints import JointSteps, joint_steps, objections_of
from rules.reporting.assembly_measuring import Measuring
from rules.reporting.assembly_texts import coupling_cautions, instruction
from rules.reporting.assembly_words import Words
from rules.schema.components import Cutter, GaugePin, RetentionKnob
from rules.schema.report import AssemblyReport, Finding
from rules.stack.chain import Link

__all__ = ["assembly_section"]


def assembly_section(derived: Derived, findings: Sequence[Finding]) -> AssemblyReport:
    """Return the work instruction.

    Parameters: all that follows from the request, and the findings of its check, with pointers as the rules gave
    them: an error at a joint becomes a step that says not to make it, a warning a caution where the joint is made.
    """
    objections, others = objections_of(derived.chain, findings)
    measuring = Measuring(derived)
    joints = joint_steps(derived, objections)
    steps = _building(derived, others, joints)
    buildable = all(step["action"] != "stop" for step in steps)
    if buildable:
        steps += measuring.steps(objections)
    elif derived.chain.links:
        steps.append(stop(instruction().stops["unfinished"], [], ["/stack"]))
    taking_apart = [*_taking_out(derived, buildable), *joints.open] if joints.open else []
    for listed in (steps, taking_apart):
        for number, step in enumerate(listed, start=1):
            step["number"] = number
    return AssemblyReport.model_validate(
        {
            "buildable": buildable,
            "steps": steps,
            "acceptance": measuring.acceptance(),
            "record": measuring.record(joints.used, steps),
            "disassembly": taking_apart,
        }
    )


def _building(derived: Derived, findings: Sequence[Finding], joints: JointSteps) -> list[Draft]:
    """Return everything up to the finished assembly."""
    chain, texts = derived.chain, instruction().stops
    if not chain.links:
        return [stop(texts["nothing"], [], ["/stack/components"])]
    steps = [*_inspecting(derived, findings), *cleaning_steps(derived), *_knob(derived, findings), *joints.build]
    last = chain.links[-1]
    if not isinstance(last.part, Cutter | GaugePin):
        steps.append(stop(texts["no_tool"], [last.part.id], ["/stack/components"]))
    return steps


def _inspecting(derived: Derived, findings: Sequence[Finding]) -> list[Draft]:
    """Return the first step; errors that belong to no later one stand there as cautions."""
    file, links = instruction(), (*derived.chain.links, *derived.chain.knobs)
    parts = ", ".join(map(_named, links))
    step = draft(
        file.general["inspect"],
        Words({"parts": parts}),
        [link.part.id for link in links],
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


def _named(link: Link) -> str:
    part = link.part
    return part.id if not part.part_number else f"{part.id} ({part.part_number})"


def _knob(derived: Derived, findings: Sequence[Finding]) -> list[Draft]:
    """Return how the retention knob is fitted, where there is a taper for one."""
    file, chain = instruction(), derived.chain
    base = chain.links[0]
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
        if side.form == "iso_297":
            return []
        step = draft(file.general["no_knob"], Words({"base": base.part.id}), ids, [base.at])
        return [] if step is None else [{**step, "not_stated": ["/machine/retention_knob"]}]
    return _knob_fitted(base, side, knobs[0])


def _knob_fitted(base: Link, side: SteepTaper, knob: Link) -> list[Draft]:
    part = knob.part
    if not isinstance(part, RetentionKnob):
        return []
    words = {"knob": part.id, "base": base.part.id}
    if part.form is not None:
        words["knob_form"] = part.form
    thread = part.thread
    if thread is None and side.form is not None and side.size is not None:
        thread = steep_taper.knob_thread(side.form, side.size)
    if thread is not None:
        words["knob_thread"] = thread
    step = draft(instruction().general["knob"], Words(words), [base.part.id, part.id], [knob.at])
    if step is None:
        return []
    missing = [f"{knob.at}/{name}" for name, known in (("form", part.form), ("thread", thread)) if known is None]
    caution = list(coupling_cautions("steep_taper_knob"))
    return [{**step, "caution": caution, "not_stated": missing}]


def _taking_out(derived: Derived, finished: bool) -> list[Draft]:
    base, last = derived.chain.links[0].part, derived.chain.links[-1].part
    words = {"base": base.id}
    if finished:
        words["finished"] = ""
        if isinstance(last, Cutter):
            words["cutter"] = last.id
    at = [derived.chain.links[0].at]
    step = draft(instruction().general["take_out"], Words(words), [base.id], at)
    return [] if step is None else [step]
