"""The whole runout budget as plain text.

A comparison as plain text: who is not dominated, the table, why, and which has less runout.

What a reading tells, as plain text for a terminal or a log: the next step first.

A calibration, as sections for text and page.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from rich.text import Text

from rules.quantities.inch import shown_sentence, shown_sign
from rules.schema.budget import BudgetContributor, BudgetReport, ClockingReport, JointTurn, RequiredReport
from rules.schema.build import BuildReport, FinishedReport, StageReport, StageVector
from rules.schema.calibration import CalibratedScale, CalibrationReport
from rules.schema.comparison import AlternativeReport, ComparisonReport, ReadsLess
from rules.schema.reading import AxisReport, DecisionReport, PlaneReading, PredictedPlane, ReadingReport
from rules.schema.report import PlaneReport, PredictionName
from service.sheets.assumed import assumed_line
from service.sheets.figures import Cell, Fact, Figure, Row, Section, Table, Unit, words
from service.sheets.text import (
    STYLES,
    Console,
    PlainText,
    count,
    fixed,
    heading,
    missing_line,
    number,
    percent,
    print_section,
    say,
    section,
    table,
)

__all__ = [
    "build_headline",
    "build_sections",
    "build_text",
    "calibration_headline",
    "calibration_sections",
    "calibration_text",
    "print_budget",
    "print_build",
    "print_calibration",
    "print_comparison",
    "print_reading",
    "reading_headline",
    "reading_sections",
    "reading_text",
]


def print_budget(report: BudgetReport, console: Console) -> None:
    """Print planes, each contributor's part, seats, clocking and what is required."""
    say(Text(f"Runout budget, total indicator reading, {shown_sign('µm')}", style="bold"), console)
    limit = report.limit
    if limit is not None:
        share = limit.probability_within_limit.get("assemblies")
        within = "" if share is None else f"; {fixed(percent(share), 1, ' %')} of assemblies are within it"
        stated = shown_sentence(f"{number(limit.limit_um)} µm")
        say(Text(f"Limit {stated} at the {words('plane', limit.plane)}{within}."), console, 2)
    _planes(report, console)
    for plane in report.planes:
        _parts(plane, report.contributors, console)
    _seats(report, console)
    if report.clocking is not None:
        _clocking(report.clocking, console)
    if report.required is not None:
        _required(report.required, {one.id: one.text for one in report.contributors}, console)
    if not report.complete:
        fields = [", ".join(lack.at) for lack in report.not_stated]
        section("Not complete: the true readings are larger. Missing:", fields, console)


def _planes(report: BudgetReport, console: Console) -> None:
    head = (
        "plane",
        "from gauge line",
        "median",
        "80 %",
        "95 %",
        "99 %",
        "95 % at limits",
        "lowest by clocking",
        "worst case",
    )
    rows = [
        (
            words("plane", plane.plane),
            _told(plane.from_gauge_line_mm, "mm", 2),
            *(_um(plane.quantile_um(name)) for name in ("p50", "p80", "p95", "p99")),
            _um(plane.quantile_um("p95", "parts_at_limits")),
            _um(plane.quantile_um("p0", "best_clocking")),
            _um(plane.quantile_um("p100", "worst_case")),
        )
        for plane in report.planes
    ]
    table(head, rows, console)


def _parts(plane: PlaneReport, contributors: Sequence[BudgetContributor], console: Console) -> None:
    name = words("plane", plane.plane)
    heading(f"At the {name}" if plane.plane in ("gauge_plane", "tip") else f"At {name}", console)
    head = ("contributor", "alone", "share", "lever", "95 % if halved")
    rows = [
        (
            item.text,
            _um(item.tir_um.get(plane.plane)),
            fixed(percent(item.share.get(plane.plane)), 0, " %"),
            fixed(item.amplification.get(plane.plane), 2),
            _um(item.p95_if_halved_um.get(plane.plane)),
        )
        for item in contributors
    ]
    table(head, rows, console)


def _seats(report: BudgetReport, console: Console) -> None:
    if not report.seats:
        return
    heading("Effect of a particle in each seat, in multiples of its size, most sensitive first", console)
    rows = [
        (
            seat.joint.lower,
            _told(seat.lever_mm, "mm", 1, bare=True),
            fixed(seat.tir_um_per_um.get("gauge_plane"), 1),
            fixed(seat.tir_um_per_um.get("tip"), 1),
        )
        for seat in report.seats
    ]
    table(("seat of", f"lever {shown_sign('mm')}", "at gauge plane", "at tip"), rows, console)


def _clocking(clocking: ClockingReport, console: Console) -> None:
    angles = "from mark to mark" if clocking.marks else "from the present position"
    lines = [f"Runout of the measured parts alone: {_tenth(clocking.measured_tir_um)}."]
    lines += [f"Re-clock {_turn(turn)}: {_tenth(turn.leaves_tir_um)} remain." for turn in clocking.one_joint]
    if clocking.all_joints:
        turns = ", ".join(map(_turn, clocking.all_joints))
        left = _tenth(clocking.all_joints[0].leaves_tir_um)
        lines.append(f"All joints, {angles}: {turns}; {left} remain.")
        lines.append(f"With joints set by hand 5° off: up to {_tenth(clocking.off_by_5_deg_tir_um)}.")
    if clocking.after_reseating_p95_um is not None:
        lines.append(f"After the holder was reseated, 95 % up to {_tenth(clocking.after_reseating_p95_um)}.")
    after = _told(clocking.p95_after_um, "µm", 1)
    lines.append(f"95th percentile after that, the other parts at random: {after}.")
    section("Re-clocking", lines, console)


def _turn(turn: JointTurn) -> str:
    return f"{turn.joint} by {number(turn.turn_deg)}°"


def _required(required: RequiredReport, texts: Mapping[str, str], console: Console) -> None:
    where = "gauge plane" if required.plane == "gauge_plane" else "tip"
    target = shown_sentence(f"{number(required.target_um)} µm")
    heading(f"Required for {target} at the {where} in 95 % of assemblies", console)
    rows = [
        (texts[item.id], _um(item.stated_tir_um), _um(item.required_tir_um) if item.required_tir_um else "-")
        for item in required.one_alone
    ]
    table(("if one part alone changes", "stated", "required"), rows, console)
    if required.factor is None:
        say(Text("Not possible by all together: the measured parts alone exceed it."), console, 2)
        return
    rows = [(texts[item.id], _um(item.stated_tir_um), _um(item.required_tir_um)) for item in required.contributors]
    table(("contributor", "stated", "required"), rows, console)


_HEAD: Final = (
    "alternative",
    "verdict",
    "median",
    "95th percentile",
    "worst case",
    "projection",
    "rpm",
    "N/µm",
    "joints",
    "errors",
    "warnings",
    "undecided",
)


_QUANTILES: Final[Sequence[tuple[str, PredictionName]]] = (
    ("p50", "assemblies"),
    ("p95", "assemblies"),
    ("p100", "worst_case"),
)


def print_comparison(report: ComparisonReport, console: Console) -> None:
    """Print who is not dominated, the table, a sentence each, pairs, notes and cautions, in this order."""
    total = count(len(report.alternatives), "alternative")
    say(Text(f"{total}, not dominated: {', '.join(report.non_dominated)}", style="bold"), console)
    heading(
        f"Runout at the gauge plane, {shown_sign('µm')}; projection, {shown_sign('mm')}; lowest speed limit;"
        " stiffness at the tip",
        console,
    )
    table(list(map(shown_sign, _HEAD)), [_row(one) for one in report.alternatives], console)
    if any("?" in _row(one) for one in report.alternatives):
        say(Text("? means not known"), console, 2)
    heading("Why", console)
    for one in report.alternatives:
        say(Text.assemble((one.verdict, STYLES[one.verdict]), "  ", (one.name, "bold")), console, 2)
        say(Text(shown_sentence(one.because)), console, 6)
        if told := assumed_line(one.assumptions):
            say(Text(told), console, 6)
    section("Lower runout, assembled and clocked at random", [_pair(one) for one in report.reads_less], console)
    section("Notes", _shown(report.notes), console)
    section("Cautions", _shown(report.cautions), console)


def _row(one: AlternativeReport) -> tuple[str, ...]:
    plane = next((each for each in one.planes if each.plane == "gauge_plane"), None)
    speed = one.governing_speed if one.speed_complete else None
    return (
        one.name,
        one.verdict,
        *(_figure(None if plane is None else plane.quantile_um(name, of), "µm") for name, of in _QUANTILES),
        _figure(one.tip_from_gauge_line_mm, "mm"),
        "?" if speed is None else number(speed.speed_rpm.value),
        _figure(None if one.tip_stiffness_n_per_um is None else one.tip_stiffness_n_per_um.value, "N/µm", 2),
        str(one.joint_count),
        str(one.summary.errors),
        str(one.summary.warnings),
        str(one.summary.undecided),
    )


def _figure(value: float | None, sign: str, decimals: int = 1) -> str:
    return "?" if value is None else _told(value, sign, decimals, bare=True)


def _told(value: float | None, sign: str, decimals: int, *, bare: bool = False) -> str:
    """Return a quantity in the units shown now; without its sign where the head of the column has it."""
    return "not known" if value is None else str(Figure(value, Unit(sign, decimals), bare=bare))


def _um(value: float | None, decimals: int = 1) -> str:
    """Return a runout without its unit."""
    return _told(value, "µm", decimals, bare=True)


def _shown(texts: Iterable[str]) -> list[str]:
    """Return sentences in the units shown now."""
    return list(map(shown_sentence, texts))


def _pair(one: ReadsLess) -> str:
    share = percent(one.probability)
    if one.equal:
        return f"{one.first} and {one.second} always have the same runout."
    if share is None:
        return f"{one.first} against {one.second}: not known."
    return f"{one.first} has less runout than {one.second} in {share:.1f} % of pairs."


_STYLES: Final = {"accept": "bold green", "clean_and_reseat": "bold red", "replace": "bold red"}
_DECISIONS: Final = {"conforms": "conforms", "does_not_conform": "does not conform", "not_proven": "not proven"}


def reading_headline(report: ReadingReport) -> str:
    """Return the next step in capitals."""
    return report.next_step.action.replace("_", " ").upper()


def reading_sections(report: ReadingReport) -> list[Section]:
    """Return decision, planes, axis, prediction, trial, notes and cautions, in this order."""
    sections = []
    if report.decision is not None:
        sections.append(Section("limit", f"Limit, by {_RULES[report.decision.rule]}", notes=_decision(report.decision)))
    if report.trial is not None and report.trial.decision is not None:
        told = _decision(report.trial.decision)
        sections.append(Section("trial-limit", "Limit in the trial position", notes=told))
    heads = ("distance", "range", "full turn", "eccentricity", "high point", "form")
    sections.append(
        Section(
            "readings",
            f"Readings, {shown_sign('µm')}",
            tables=[_words(heads, map(_plane, report.planes), "Measuring planes")],
        )
    )
    for place, plane in enumerate(report.planes, start=1):
        title = shown_sentence(f"At {number(plane.from_last_clamping_face_mm)} mm")
        sections.append(Section(f"plane-{place}", title, notes=_told_of(plane)))
    if report.axis is not None:
        sections.append(Section("axis", "Axis", notes=_axis(report.axis)))
    sections += _prediction(report)
    if (trial := report.trial) is not None:
        before, beyond = number(trial.before_joint_um), number(trial.beyond_joint_um)
        told = [
            f"{trial.joint}: {before} µm before it, {beyond} µm beyond it",
            f"turned on by {number(trial.turn_deg)}°, {number(trial.leaves_tir_um)} µm expected",
        ]
        sections.append(Section("trial", "Trial turn, eccentricities", notes=_shown(told)))
    return [*sections, *_last(report.notes, report.cautions)]


def _last(notes: Sequence[str], cautions: Sequence[str]) -> list[Section]:
    found = [Section("notes", "Notes", notes=_shown(notes)), Section("cautions", "Cautions", notes=_shown(cautions))]
    return [one for one in found if one]


def _words(heads: tuple[str, ...], rows: Iterable[Sequence[str]], caption: str) -> Table:
    """Return a table of texts."""
    return Table(caption, heads, tuple([Row(tuple([(cell,) for cell in row])) for row in rows]))


def print_reading(report: ReadingReport, console: Console, *, closing: bool = True) -> None:
    """Print the next step, then every section; without ``closing`` all but the cautions."""
    look = _STYLES.get(report.next_step.action, "bold yellow")
    say(Text(reading_headline(report), style=look), console)
    say(Text(shown_sentence(report.next_step.text)), console)
    for one in reading_sections(report):
        if closing or one.name != "cautions":
            print_section(one, console)


def reading_text(report: ReadingReport) -> str:
    """Return what :func:`print_reading` prints, without colour and in lines of a fixed width."""
    out = PlainText()
    print_reading(report, out.console)
    return out.text()


_RULES: Final = {
    "iso_14253_1_1998": "ISO 14253-1:1998",
    "iso_14253_1_2013": "ISO 14253-1:2013",
    "iso_14253_1_2017": "ISO 14253-1:2017",
}


def _decision(decision: DecisionReport) -> list[str]:
    uncertainty, guard = decision.expanded_uncertainty_um, decision.guard_band_um
    stated = "uncertainty not stated"
    if uncertainty is not None and guard is not None:
        stated = f"uncertainty {_tenth(uncertainty)}, guard band {_tenth(guard)}"
    read = f"{_tenth(decision.tir_um)} against {_tenth(decision.limit_um)}, {stated}"
    lines = [f"{read}: {_DECISIONS[decision.decision]}"]
    if decision.limit_um != decision.stated_limit_um:
        lines.append(
            f"The limit of {number(decision.stated_limit_um)} µm is for another plane; by the ratio of the predicted"
            f" 95th percentiles it is {_tenth(decision.limit_um)} at this one."
        )
    return _shown(lines if decision.would_settle is None else [*lines, decision.would_settle])


def _plane(plane: PlaneReading) -> tuple[str, ...]:
    return (
        shown_sentence(f"{number(plane.from_last_clamping_face_mm)} mm"),
        _um(plane.tir_um),
        _um(plane.judged_tir_um),
        _um_or_dash(plane.eccentricity_um),
        _or_dash(plane.high_point_deg, 1, "°"),
        _um_or_dash(plane.form_um),
    )


def _told_of(plane: PlaneReading) -> list[str]:
    """Return bounds, uncertainties and what else one plane shows."""
    most = "not known" if plane.at_most_um is None else _tenth(plane.at_most_um)
    lines = [f"Runout seen: {_tenth(plane.at_least_um)}; possible with these angles: {most}"]
    lines += [
        f"{name}: {_tenth(value)}"
        for name, value in (
            ("Range of the edges", plane.edge_range_um),
            ("Drift over the turn, removed", plane.drift_um),
            ("Scatter of the repeats along one axis", plane.repeat_scatter_um),
            ("Eccentricity of the pin itself, removed", plane.pin_eccentricity_um),
        )
        if value is not None
    ]
    if (found := plane.uncertainty) is not None:
        told = [("runout", found.tir_um), ("eccentricity", found.eccentricity_um), ("form", found.form_um)]
        words = [f"{name} {_tenth(value)}" for name, value in told if value is not None]
        if found.high_point_deg is not None:
            words.append(f"high point {fixed(found.high_point_deg, 0)}°")
        if words:
            lines.append(f"Expanded uncertainty, k = {number(found.coverage_factor)}: {', '.join(words)}")
        causes = ", ".join(f"{one.cause} {_um(one.standard_um, 2)}" for one in found.parts)
        along = f"Standard uncertainties of the eccentricity along one axis, {shown_sign('µm')}"
        lines.append(f"{along}: {causes or 'none'}")
    return lines


def _tenth(value_um: float | None) -> str:
    return _told(value_um, "µm", 1)


def _axis(axis: AxisReport) -> list[str]:
    lines = [
        f"at the face: {number(axis.offset_um)} µm{_toward(axis.offset_deg)}",
        f"tilt: {number(axis.tilt_um_per_mm)} µm/mm{_toward(axis.tilt_deg)}",
    ]
    if axis.tilt_uncertainty_um_per_mm is not None:
        lines[-1] += f", U = {fixed(axis.tilt_uncertainty_um_per_mm, 3)} µm/mm"
    if axis.tip_tir_um is not None:
        sure = "" if axis.tip_uncertainty_um is None else f", U = {_tenth(axis.tip_uncertainty_um)}"
        lines.append(f"expected at the tip: {_tenth(axis.tip_tir_um)}{sure}")
    return _shown(lines)


def _toward(direction: float | None) -> str:
    return "" if direction is None else f" toward {number(direction)}°"


def _reconciled(finished: FinishedReport) -> list[str]:
    lines = []
    for one in finished.reconciled:
        stack = "stack not known" if one.predicted is None else f"stack {number(one.predicted)} {one.unit}"
        off = "" if one.difference is None else f", difference {number(one.difference)} {one.unit}"
        limit = "" if one.machine_limit is None else f", machine limit {number(one.machine_limit)} {one.unit}"
        name = one.quantity.replace("_", " ").capitalize()
        lines.append(f"{name}: measured {number(one.measured)} {one.unit}, {stack}{off}{limit}")
    return _shown(lines)


def build_headline(report: BuildReport) -> str:
    """Return the last part and what to do."""
    if not report.stages:
        return "Finished stack"
    last = report.stages[-1]
    return f"{last.part}: {last.action.replace('_', ' ').upper()}"


def build_sections(report: BuildReport) -> list[Section]:
    """Return the stages, each with its step, then the finished stack, notes and cautions."""
    sections = [_stage(place, stage) for place, stage in enumerate(report.stages, start=1)]
    finished = report.finished
    told = [
        shown_sentence(f"{name}: {number(value)} mm")
        for name, value in (
            ("Length from the gauge line", finished.length_mm),
            ("Length as planned", finished.planned_length_mm),
            ("Grip that the length implies", finished.implied_grip_mm),
            ("Minimum grip", finished.minimum_grip_mm),
            ("Swing diameter", finished.swing_diameter_mm),
            ("Radius offset", finished.radius_offset_mm),
        )
        if value is not None
    ]
    if finished.grip_is_enough is False:
        told.append("The grip is too short.")
    sections.append(Section("finished", "Finished stack", notes=told))
    sections.append(Section("reconciled", "Assembled tool against stack", notes=_reconciled(finished)))
    if finished.decision is not None:
        title = f"Limit, by {_RULES[finished.decision.rule]}"
        sections.append(Section("limit", title, notes=_decision(finished.decision)))
    sections.append(Section("not-predicted", "Not predicted", missing=report.not_stated))
    return [*filter(None, sections), *_last(report.notes, report.cautions)]


def _stage(place: int, stage: StageReport) -> Section:
    heads = ("from gauge line", f"eccentricity, {shown_sign('µm')}", "toward", f"U, {shown_sign('µm')}")
    tables = [_words(heads, map(_of_vector, stage.built), "Axis of what is built")]
    if stage.own:
        tables.append(_words(heads, map(_of_vector, stage.own), f"{stage.part} itself"))
    notes = []
    if (turn := stage.best_turn) is not None:
        left = f"{_tenth(turn.leaves_tir_um)} left of what is built"
        notes.append(f"Best turn of {turn.joint}: by {fixed(turn.turn_deg, 0)}°, {left}.")
        if turn.p95_um is not None:
            notes.append(f"95 % of stacks finished from there: up to {_tenth(turn.p95_um)}.")
        if turn.tolerance_deg is not None:
            notes.append(f"Tolerance of that turn: ±{fixed(turn.tolerance_deg, 0)}°.")
    if stage.statement is not None:
        # with blanks, so that a line breaks between two values and can be pasted
        told = json.dumps(stage.statement.model_dump(mode="json", exclude_none=True))
        notes.append(f"Its runout, for its data: {told}")
    title = f"{stage.part}: {stage.action.replace('_', ' ').upper()}"
    return Section(
        f"stage-{place}", title, gap=shown_sentence(stage.text), tables=tables if stage.built else (), notes=notes
    )


def print_build(report: BuildReport, console: Console) -> None:
    """Print every section."""
    look = _LOOKS.get(report.stages[-1].action if report.stages else "", "bold yellow")
    say(Text(build_headline(report), style=look), console)
    for one in build_sections(report):
        print_section(one, console)


def build_text(report: BuildReport) -> str:
    """Return what :func:`print_build` prints, without colour and in lines of a fixed width."""
    out = PlainText()
    print_build(report, out.console)
    return out.text()


_LOOKS: Final = {"go_on": "bold green", "replace": "bold red"}


def _of_vector(one: StageVector) -> tuple[str, ...]:
    return (
        shown_sentence(f"{number(one.from_gauge_line_mm)} mm"),
        _um(one.eccentricity_um, 2),
        _or_dash(one.direction_deg, 0, "°"),
        _um_or_dash(one.expanded_uncertainty_um),
    )


def _prediction(report: ReadingReport) -> list[Section]:
    rows = [
        (shown_sentence(f"{number(plane.from_last_clamping_face_mm)} mm"), *_predicted(one))
        for plane, one in zip(report.planes, report.prediction, strict=True)
        if one is not None
    ]
    heads = ("distance", "median", "95 %", "99 %", "assemblies below this reading", "99 % range")
    tables = [_words(heads, rows, "This stack at its planes")] if rows else []
    found = [
        Section("prediction", f"Predicted, {shown_sign('µm')}", tables=tables),
        Section("not-predicted", "Not predicted", missing=report.not_stated),
    ]
    return [one for one in found if one]


def _predicted(one: PredictedPlane) -> tuple[str, ...]:
    return (
        *(_um(one.quantile_um(name)) for name in ("p50", "p95", "p99")),
        fixed(percent(one.share_below), 1, " %"),
        "outside" if one.above_p99 else "",
    )


def _um_or_dash(value: float | None) -> str:
    return "-" if value is None else _um(value, 2)


def _or_dash(value: float | None, decimals: int, unit: str = "") -> str:
    return "-" if value is None else fixed(value, decimals, unit)


def calibration_headline(report: CalibrationReport) -> str:
    """Say on how much the set rests, and how much doubt there is."""
    if report.assumption_set is None:
        return "No reading could be used."
    classes = "1 class" if len(report.classes) == 1 else f"{len(report.classes)} classes"
    used = "1 assembly" if report.used == 1 else f"{report.used} assemblies"
    told = f"{report.assumption_set.name}: {classes} from {used}"
    return f"{told}, {count(len(report.warnings), 'warning')}, {count(len(report.outliers), 'outlier')}"


def calibration_sections(report: CalibrationReport) -> list[Section]:
    """Return what a calibration says: warnings, classes, readings not explained or not used, the set."""
    own = report.assumption_set
    sections = [
        Section("warnings", "Warnings", notes=_shown([one.text for one in report.warnings])),
        Section("classes", "Runout of each class", tables=_scales(report.classes)),
        Section("outliers", "Readings not explained by their stacks", notes=_outliers(report)),
        Section("not-used", "Not used", notes=_not_used(report)),
    ]
    if own is not None:
        facts = (
            Fact("Name", (own.name,)),
            Fact("SHA-256", (own.sha256,)),
            Fact("Readings, SHA-256", (own.input_sha256,)),
        )
        sections.append(Section("set", "Set of assumed values", facts=facts, notes=_shown(report.notes)))
    return [one for one in sections if one]


def _scales(scales: Sequence[CalibratedScale]) -> tuple[Table, ...]:
    heads = ("Class", "Table", "Typical", "90 % interval", "Assemblies", "From the readings")
    rows = [
        Row(
            (
                (f"{_PARTS.get(one.quantity, one.quantity)}, {shown_sentence(one.category.replace('_', ' '))}",),
                _between(one.table_typical_um, one.table_cautious_um),
                (_bare(one.typical_um),),
                _between(one.low_um, one.high_um),
                (Figure(float(one.assemblies), Unit(decimals=0)),),
                (Figure(one.data_share, Unit("%", 0, 100.0)),),
            )
        )
        for one in scales
    ]
    caption = f"Total indicator reading, {shown_sign('µm')}; {words('law', scales[0].law)}." if scales else ""
    return (Table(caption, heads, tuple(rows)),) if rows else ()


_PARTS: Final[Mapping[str, str]] = {
    "holder_runout_um": "holder",
    "collet_runout_um": "collet",
    "cutter_runout_um": "cutting tool",
}


def _bare(value: float) -> Figure:
    return Figure(value, Unit("µm", 1), bare=True)


def _between(low: float, high: float) -> Cell:
    return (_bare(low), " to ", _bare(high))


def _outliers(report: CalibrationReport) -> list[str]:
    return _shown([f"{one.at}: {number(one.tir_um)} µm. {one.reason}" for one in report.outliers])


def _not_used(report: CalibrationReport) -> list[str]:
    return [
        f"{one.at}: {one.reason}" + "".join(f" {missing_line(lack)}." for lack in one.lacks) for one in report.not_used
    ]


def print_calibration(report: CalibrationReport, console: Console) -> None:
    """Print the headline, then every section."""
    say(Text(calibration_headline(report), style="bold"), console)
    for one in calibration_sections(report):
        print_section(one, console)


def calibration_text(report: CalibrationReport) -> str:
    """Return what :func:`print_calibration` prints, without colour and in lines of a fixed width."""
    out = PlainText()
    print_calibration(report, out.console)
    return out.text()
