"""The report of a check: its sections on stack and runout, the changed rules, the work instruction, and all as text.

Figures are declared in ``rules/schema/report.py``; a section here or in ``mechanics`` names them, and text and page
both show what the section holds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from rules.gaps import needed_fields
from rules.quantities.inch import in_inches, shown_sentence
from rules.quantities.models import MissingQuantity
from rules.schema.report import (
    STATES,
    AcceptanceReport,
    AssemblyRecord,
    AssemblyReport,
    AssemblyStep,
    AssemblyValue,
    ContributorReport,
    Finding,
    GeometryReport,
    JudgementDeviation,
    OperationGrip,
    PlaneReport,
    PositionReport,
    Provenance,
    RecordField,
    Report,
    RunoutReport,
    SpeedLimit,
    StateReason,
    Summary,
    Undecided,
)
from service.sheets.assumed import assumed, headlines, measure_first
from service.sheets.figures import (
    UNKNOWN,
    Cell,
    Fact,
    Figure,
    Section,
    Unit,
    blank_sign,
    bounds,
    exactly,
    facts,
    for_people,
    line,
    lines,
    missing_words,
    quantity,
    table,
    unit_sign,
    within,
    worded,
    words,
)
from service.sheets.mechanics import PROGRAMMED_SPEED, RUNOUT_LIMIT, mechanics
from service.sheets.text import (
    STYLES,
    Console,
    PlainText,
    count,
    cut,
    heading,
    missing_line,
    plain,
    print_section,
    say,
    section,
)

__all__ = [
    "CHANGED",
    "NO_FINDINGS",
    "P95",
    "POSITION",
    "acceptance",
    "changes",
    "counts",
    "deviation",
    "finding_facts",
    "first_to_state",
    "grouped",
    "in_units_shown",
    "key",
    "not_stated",
    "part_or_joint",
    "plane_of_limit",
    "print_assembly",
    "print_brief",
    "print_closing",
    "print_report",
    "provenance",
    "reason",
    "record_facts",
    "report_text",
    "runout",
    "source_of",
    "stack",
    "state_of",
    "step_values",
    "unnamed",
    "wanted",
]


CHANGED: Final = "Judged by changed rules"
NO_FINDINGS: Final = "No findings."

_GEOMETRY: Final = lines(GeometryReport, "tip_mm", "tip_from_last_clamping_face_mm", "last_clamping_face_mm")
POSITION: Final = lines(PositionReport, "component", "from_mm", "to_mm")

P95: Final = within(PlaneReport, "95th percentile", "_um", lambda plane: plane.quantile_um("p95"))


_PLANE: Final = (
    *lines(PlaneReport, "plane", "from_gauge_line_mm", "from_last_clamping_face_mm"),
    within(PlaneReport, "Median", "_um", lambda plane: plane.quantile_um("p50")),
    P95,
    within(
        PlaneReport,
        "95 % at limits",
        "_um",
        lambda plane: plane.quantile_um("p95", "parts_at_limits"),
    ),
    within(PlaneReport, "Lowest by clocking", "_um", lambda plane: plane.quantile_um("p0", "best_clocking")),
)
_WORST: Final = within(
    PlaneReport, "Worst case", "_um", lambda plane: plane.quantile_um("p100", "worst_case"), missing="no bound"
)
_COMPLETE_PLANE: Final = (*_PLANE, _WORST)
_INCOMPLETE_PLANE: Final = (*_PLANE, replace(_WORST, missing=UNKNOWN))
_CONTRIBUTOR: Final = (
    *lines(ContributorReport, "text", "law", "direction_known"),
    within(ContributorReport, "At the gauge plane", "_um", lambda one: one.tir_um.get("gauge_plane")),
    within(ContributorReport, "At the tip", "_um", lambda one: one.tir_um.get("tip")),
    within(ContributorReport, "Share", "share", lambda one: one.share.get("gauge_plane")),
)

_FINDING: Final = lines(Finding, "observed", "limit")
_MARGIN: Final = line(Finding, "margin")


def _expected(name: str) -> Callable[[AcceptanceReport], float | None]:
    def value(one: AcceptanceReport) -> float | None:
        return next((each.quantiles_um[name] for each in one.predictions if each.of == "assemblies"), None)

    return value


def _surfaces(one: AcceptanceReport) -> list[str]:
    return [shown_sentence(str(surface)) for surface in one.surfaces]


_ACCEPTANCE: Final = (
    *lines(
        AcceptanceReport,
        "operation",
        "plane",
        "limit_um",
        "reading_limit_um",
        "from_gauge_line_mm",
        "face_of",
        "from_last_clamping_face_mm",
    ),
    worded(AcceptanceReport, "To read on, from the last clamping face", _surfaces),
    within(AcceptanceReport, "Expected reading, median", "_um", _expected("p50")),
    within(AcceptanceReport, "Expected reading, 95th percentile", "_um", _expected("p95")),
)
_RECORD: Final = lines(AssemblyRecord, "instruction_sha256", "request_sha256", "judgement_sha256")
_PROVENANCE: Final = lines(
    Provenance,
    "contract",
    "service",
    "version",
    "request_sha256",
    "judgement_sha256",
    "rulebook_sha256",
    "catalogue_sha256",
    "aliases_sha256",
    "assumption_set_sha256",
    "rulebooks",
)
NEVER_MEASURED: Final = line(Provenance, "never_measured")
_DECIDED: Final = line(Report, "decided")


def stack(report: Report) -> Section:
    """Where the stack and its parts lie along the axis."""
    geometry = report.geometry
    return Section(
        "stack",
        "Stack",
        facts=facts(_GEOMETRY, geometry),
        tables=table("Position of each part, from the gauge line.", POSITION, geometry.components),
    )


def runout(report: RunoutReport) -> Section:
    """How true the stack runs."""
    return Section(
        "runout",
        "Runout",
        gap="" if report.complete else "Not complete: the true readings are larger.",
        missing=report.not_stated,
        tables=(
            *table(
                "Predicted total indicator reading.",
                _COMPLETE_PLANE if report.complete else _INCOMPLETE_PLANE,
                report.planes,
            ),
            *table(
                "Reading of each contributor alone, and its share of the mean square at the gauge plane.",
                _CONTRIBUTOR,
                report.contributors,
            ),
        ),
    )


def plane_of_limit(report: Report) -> PlaneReport | None:
    """Return the plane of the first operation's runout limit, else the gauge plane; None if it has no position."""
    limited = None if report.operation is None else report.operation.runout
    return report.runout.plane("gauge_plane" if limited is None else limited.plane)


def provenance(report: Report) -> Section:
    """What answered, by which rules."""
    return Section(
        "provenance",
        "Provenance",
        facts=(*facts((*_PROVENANCE, NEVER_MEASURED), report.provenance), *facts([_DECIDED], report)),
    )


def finding_facts(one: Finding) -> Sequence[Fact]:
    """What was seen and what it was held against, rounded as in the message; exact where both would look equal."""
    known = [(each.label, value) for each in _FINDING if (value := getattr(one, each.name)) is not None]
    unit = next((each.unit for _, each in known if each.unit is not None), None)
    numbers = {each.value for _, each in known if not isinstance(each.value, str)}
    alike = len({str(for_people(number, unit)) for number in numbers}) < len(numbers)
    written = exactly if alike else for_people
    found = [
        Fact(label, (each.value if isinstance(each.value, str) else written(each.value, each.unit),))
        for label, each in known
    ]
    if one.margin is not None:
        found.append(Fact(_MARGIN.label, (written(one.margin, unit),)))
    return found


def changes(changed: Provenance) -> list[Cell]:
    """Thresholds of the request's policy, then severities and rules of an operator's books; empty for most."""
    return list(map(deviation, changed.deviations))


_RISES: Final = frozenset({("advice", "warning"), ("advice", "error"), ("warning", "error")})


def deviation(one: JudgementDeviation) -> Cell:
    """Return a changed threshold, a lowered severity or a replaced rule in words."""
    safety = "safety rule, " if one.safety else ""
    by = "the request's policy" if one.book is None else one.book
    if one.threshold is not None and one.value is not None and one.default is not None:
        return (
            f"{one.code}: {safety}{quantity(one.threshold).partition(' (')[0]} ",
            exactly(one.value, one.unit),
            f" by {by}, ",
            exactly(one.default, one.unit),
            " in the rulebook",
        )
    if one.severity is not None:
        verb = "raised" if (one.default_severity, one.severity) in _RISES else "lowered"
        return (f"{one.code}: {safety}{one.default_severity} {verb} to {one.severity} by {by}",)
    if one.kind == "off":
        return (f"{one.code}: {safety}switched off by {by}",)
    return (f"{one.code}: {safety}replaced by {one.book}",)


def counts(summary: Summary) -> str:
    """How many findings of each kind there are."""
    return ", ".join(
        (
            count(summary.errors, "error"),
            count(summary.warnings, "warning"),
            f"{summary.advice} advice",
            f"{summary.undecided} undecided",
            f"{count(summary.decided, 'rule')} decided",
        )
    )


def unnamed(report: Report) -> str:
    """Return the name of the stack, or that it has none."""
    return report.stack_id or "unnamed stack"


def step_values(values: Sequence[AssemblyValue]) -> Sequence[Fact]:
    """The numbers of a step."""
    return [Fact(shown_sentence(one.name), setting(one.value, one, one.unit)) for one in values]


def setting(value: float | None, one: AssemblyValue | RecordField, unit: str | None) -> Cell:
    """A value to set with its tolerance, bounds, inches and source."""
    pieces: list[str | Figure] = []
    if value is not None:
        pieces.append(exactly(value, unit))
        pieces += [" ± ", exactly(one.tolerance, unit)] if one.tolerance is not None else []
        pieces += [" (", exactly(one.inches, "[in_i]"), ")"] if one.inches is not None else []
    limits = bounds(None, one.at_least, one.at_most, unit)
    pieces += [", ", *limits] if pieces and limits else limits
    return (*pieces, f", {one.source}") if one.source is not None and pieces else tuple(pieces)


def state_of(one: AssemblyReport | AssemblyRecord) -> str:
    """The state as text; one that is not known is the strictest."""
    return STATES.get(one.state, STATES["do_not_build"])


def reason(one: StateReason) -> str:
    """A reason for the state."""
    about = ", ".join(filter(None, (one.code, one.kind, one.operation and f"operation {one.operation}")))
    return f"{about}: {one.text}"


def record_facts(one: AssemblyRecord) -> Sequence[Fact]:
    """Revision of the instruction and digests."""
    return facts(_RECORD, one)


def acceptance(one: AcceptanceReport) -> Sequence[Fact]:
    """Where to read and what to expect."""
    return facts(_ACCEPTANCE, one)


def not_stated(missing: Sequence[MissingQuantity]) -> str:
    """Return what is missing, in words."""
    return ", ".join(dict.fromkeys(map(missing_words, missing)))


def wanted(one: RecordField) -> Cell:
    """What should be entered in a blank of the record; a reading with what to expect, others without their unit."""
    if one.expected_median is None or one.expected_p95 is None:
        return setting(one.target, one, None)
    median, high = (Figure(value, Unit(unit_sign(one.unit), 1)) for value in (one.expected_median, one.expected_p95))
    told = setting(one.target, one, one.unit)
    return (*told, *(("; ",) if told else ()), "expected: median ", median, ", 95th percentile ", high)


def part_or_joint(one: RecordField) -> str:
    """Part or joint of a blank."""
    return ", ".join(str(name) for name in (one.component, one.joint) if name is not None)


_GROUPS: Final = {
    "part": "Parts",
    "setting": "Settings",
    "instrument": "Instrument",
    "reading": "Readings",
    "uncertainty": "Uncertainty of the reading",
    "signature": "Decision and people",
}


def grouped(record: AssemblyRecord) -> list[tuple[str, list[RecordField]]]:
    """The blanks of a record under the title of their group, in order."""
    groups = dict.fromkeys(one.group for one in record.blanks)
    return [(_GROUPS.get(name, name), [one for one in record.blanks if one.group == name]) for name in groups]


def in_units_shown(report: Report) -> Report:
    """Return the report with the quantities in its sentences in the units shown now."""
    if not in_inches():
        return report
    assembly = report.assembly
    if assembly is not None:
        accepted = assembly.acceptance
        if accepted is not None:
            accepted = accepted.model_copy(update={"rule": shown_sentence(accepted.rule)})
        steps = {name: list(map(_step_shown, getattr(assembly, name))) for name in ("steps", "disassembly")}
        reasons = [one.model_copy(update={"text": shown_sentence(one.text)}) for one in assembly.reasons]
        assembly = assembly.model_copy(update={"acceptance": accepted, "reasons": reasons, **steps})
    notes = list(map(shown_sentence, report.stiffness.notes))
    findings = [
        one.model_copy(update={name: shown_sentence(getattr(one, name)) for name in ("message", "remedy")})
        for one in report.findings
    ]
    return report.model_copy(
        update={
            "findings": findings,
            "stiffness": report.stiffness.model_copy(update={"notes": notes}),
            "assembly": assembly,
            "cautions": list(map(shown_sentence, report.cautions)),
        }
    )


def _step_shown(step: AssemblyStep) -> AssemblyStep:
    return step.model_copy(update={"text": shown_sentence(step.text)})


def print_report(report: Report, console: Console, *, closing: bool = True) -> None:
    """Print verdict, changed rules, findings, gaps, figures, work instruction and cautions, in this order.

    Without ``closing`` the cautions are left to `print_closing`, once for several reports.
    """
    whole, report = report, in_units_shown(report)
    verdict = (report.verdict.upper(), STYLES[report.verdict])
    say((verdict, "  ", (unnamed(report), "bold")), console)
    if report.labels:
        say(report.label_line, console)
    say(counts(report.summary), console)
    for told in headlines(report):
        say(told, console)
    section(CHANGED, [plain(one) for one in changes(report.provenance)], console)
    _findings(report.findings, console)
    _undecided(report.undecided, console)
    for one in (assumed(report), stack(report), runout(report.runout), *mechanics(report)):
        print_section(one, console)
    if report.assembly is not None:
        print_assembly(report.assembly, console, report.label_line)
    if closing:
        print_closing([whole], console)


def print_closing(reports: Sequence[Report], console: Console) -> None:
    """Print what was never measured and the cautions, each once for all reports."""
    reports = [in_units_shown(report) for report in reports]
    measured = dict.fromkeys(one for report in reports for one in report.provenance.never_measured)
    section(NEVER_MEASURED.label, list(measured), console)
    section("Cautions", list(dict.fromkeys(one for report in reports for one in report.cautions)), console)


_KEYS: Final = 2
"""Figures of a brief report; with the other lines, some of them two long, it has ten at most."""


def print_brief(report: Report, console: Console) -> None:
    """Print verdict, the gravest finding with its remedy, and the figures wanted first, in ten lines at most."""
    report = in_units_shown(report)
    cut(f"{report.verdict.upper()}  {unnamed(report)}", console, 1, style=STYLES[report.verdict])
    cut(counts(report.summary), console, 1)
    worst = next((one for kind in STYLES for one in report.findings if one.severity == kind), None)
    first = measure_first(report)
    if worst is not None:
        cut(f"{worst.severity} {worst.code}: {worst.message}", console, 2, 2)
        cut(f"Remedy: {worst.remedy}", console, 2 if first is None else 1, 2)
    elif report.undecided:
        codes = list(dict.fromkeys(gap.code for gap in report.undecided))
        cut(f"Not decided: {', '.join(codes)}", console, 1, 2)
    for name, figure, against in list(key(report))[:_KEYS]:
        cut("; ".join(map(plain, filter(None, ((f"{name}: ", *figure), against)))), console, 1, 2)
    if report.if_assumptions_hold is not None:
        told = (
            f"{count(report.summary.assumed, 'value')} assumed: no release. If they hold: {report.if_assumptions_hold}."
        )
        cut(told, console, 1)
    if first is not None:
        cut(first, console, 1)
    if report.cautions:
        cut(f"Read the {count(len(report.cautions), 'caution')} of the full report.", console, 1)


def key(report: Report) -> Iterator[tuple[str, Cell, Cell]]:
    """Yield what the shop asks first: name, figure, and what it is held against."""
    one = report.operation
    plane = plane_of_limit(report)
    if plane is not None:
        limited = None if one is None else one.runout
        limit = ("no limit",) if limited is None else ("limit ", *RUNOUT_LIMIT.cell(limited))
        yield f"Runout at the {words('plane', plane.plane)}, {P95.label}", P95.cell(plane) or (UNKNOWN,), limit
    lowest = report.lowest_limit
    highest = () if lowest is None else (*line(SpeedLimit, "speed_rpm").cell(lowest), f" ({lowest.words})")
    if one is not None and one.speed.programmed_rpm is not None:
        against = ("lowest limit ", *highest) if highest else ("no limit known",)
        yield PROGRAMMED_SPEED.label, PROGRAMMED_SPEED.cell(one.speed), against
    elif lowest is not None:
        yield "Highest speed", highest[:1], (lowest.words,)
    for grip in () if one is None else one.grip:
        if grip.weakest:
            safety = line(OperationGrip, "safety_factor")
            yield safety.label, safety.cell(grip), (str(grip.joint),)
    deflection = None if one is None else one.bending
    for part, name, limit_name in (
        (deflection, "deflection_um", "deflection_limit_um"),
        (report.geometry, "tip_mm", None),
        (report.mass, "total_kg", None),
    ):
        if part is None:
            continue
        shown = line(type(part), name)
        permitted = () if limit_name is None else line(type(part), limit_name).cell(part)
        if cell := shown.cell(part):
            yield shown.label, cell, ("limit ", *permitted) if permitted else ()


def report_text(report: Report) -> str:
    """Return what :func:`print_report` prints, without colour and in lines of a fixed width."""
    out = PlainText()
    print_report(report, out.console)
    return out.text()


def _findings(findings: Sequence[Finding], console: Console) -> None:
    heading("Findings", console)
    if not findings:
        say(NO_FINDINGS, console, 2)
    for one in findings:
        severity = (one.severity, STYLES[one.severity])
        say((severity, f"  {one.code}  ", (one.title, "bold")), console, 2)
        measured = "; ".join(f"{each.label}: {plain(each.value)}" for each in finding_facts(one))
        about = f"{_of_operation(one)}Where: {', '.join(one.at)}. Source: {source_of(one)}"
        for told in (one.message, measured, f"Remedy: {one.remedy}", about):
            if told:
                say(told, console, 6)


def source_of(one: Finding) -> str:
    """Return the source of a finding, with how sure it is where table rows decided."""
    return one.source if one.confidence is None else f"{one.source} ({one.confidence})"


def _of_operation(one: Finding | Undecided) -> str:
    return "" if one.operation is None else f"Operation {one.operation}. "


def _undecided(gaps: Sequence[Undecided], console: Console) -> None:
    if gaps:
        heading("Undecided", console)
    for gap in gaps:
        say(f"{gap.code}  {gap.title} ({gap.severity} if violated)", console, 2)
        say(f"{_of_operation(gap)}Where: {', '.join(gap.at)}", console, 6)
        for one in gap.lacks:
            say(missing_line(one), console, 6)
    for told in first_to_state(gaps):
        say(told, console, 2)


def first_to_state(gaps: Sequence[Undecided]) -> list[str]:
    """Return which fields would decide most rules, the most decisive first; nothing where a few say it themselves."""
    needed = needed_fields(gaps)
    if len(needed) <= _FEW:
        return []
    told = [f"{one.at} ({', '.join(one.alone or one.beside)})" for one in needed[:_FIRST_NAMED]]
    return [f"State first: {'; '.join(told)}."]


_FEW: Final = 2
_FIRST_NAMED: Final = 3


def print_assembly(assembly: AssemblyReport, console: Console, labels: str = "") -> None:
    """Print state and reasons, labels, the steps, when to accept, the record and how to take apart, in this order."""
    heading(f"Assembly: {state_of(assembly)}", console)
    for told in map(reason, assembly.reasons):
        say(told, console, 2)
    _steps("Steps", assembly.steps, console, labels)
    accepted, record = assembly.acceptance, assembly.record
    if accepted is not None:
        print_section(Section("acceptance", "Acceptance", facts=acceptance(accepted), notes=[accepted.rule]), console)
    heading(f"Record: {state_of(record)}", console)
    for told in (
        record.release,
        *(f"{one.label}: {plain(one.value)}" for one in record_facts(record)),
    ):
        say(told, console, 2)
    for title, blanks in grouped(record):
        say(title, console, 2)
        for blank in blanks:
            say(_blank(blank), console, 4)
    _steps("Disassembly", assembly.disassembly, console)


def _steps(title: str, steps: Sequence[AssemblyStep], console: Console, labels: str = "") -> None:
    if steps:
        heading(title, console)
    if labels:
        say(labels, console, 2)
    for step in steps:
        style = STYLES["error"] if step.action == "stop" else "bold"
        where = f" {step.joint}" if step.joint else ""
        say((f"{step.number:2}  ", (f"{step.action}{where}", style), f": {step.text}"), console, 2)
        values = "; ".join(f"{one.label}: {plain(one.value)}" for one in step_values(step.values))
        if values:
            say(values, console, 6)
        if step.from_maker:
            say(f"By the maker: {', '.join(step.from_maker)}.", console, 6)
        if step.not_stated:
            say(f"Not stated: {not_stated(step.not_stated)}.", console, 6)


def _blank(one: RecordField) -> str:
    where = f" {part_or_joint(one)}" if part_or_joint(one) else ""
    unit = "" if one.unit is None else f" {blank_sign(one.unit)}"
    told = plain(wanted(one))
    return f"{one.name}{where}{f' ({told})' if told else ''}: ________{unit}"
