"""Decisions of a gate as plain text: the order, its operations with reasons, what was not required, the digest.

A search as plain text: what was found, how each is set, and what stood against the rest.

An import as plain text: each component with what is left over and what is not stated, then the faults.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rich.text import Text

from rules.quantities.inch import shown_sentence, shown_sign
from rules.schema.gate import (
    Decision,
    GateOperationReport,
    GateReason,
    GateReport,
    GateUndecided,
)
from rules.schema.imports import (
    ImportedAssembly,
    ImportedComponent,
    ImportedStack,
    ImportFault,
    ImportReport,
    UnmappedValue,
)
from rules.schema.search import JointSetting, LeftOut, NearMiss, SearchReport, SearchResult
from service.sheets.check import CHANGED, changes, deviation
from service.sheets.figures import Figure, Unit, value_of
from service.sheets.text import STYLES, Console, count, heading, missing_line, number, plain, say, section, table

__all__ = ["print_gate", "print_import", "print_search", "print_signed"]


_FORMATS: Final = {
    "mtconnect_assets": "MTConnect assets",
    "csv": "CSV",
    "din_4000": "DIN 4000 XML",
    "iso_13399": "ISO 13399 data",
    "iso_13399_package": "Package of ISO 13399 data",
}
_STYLES: Final[dict[Decision, str]] = {
    "release": STYLES["pass"],
    "hold": STYLES["review"],
    "stop": STYLES["fail"],
}


def print_gate(report: GateReport, console: Console) -> None:
    """Print decision, operations with reasons and advice, what was not required, digest, cautions, in this order."""
    _order(report, console)
    counts = report.counts
    say(
        Text(
            f"{count(counts.operations, 'operation')}: {counts.release} to release, {counts.hold} to hold,"
            f" {counts.stop} to stop; evaluation {report.evaluation} {report.evaluation_name}"
        ),
        console,
    )
    _basis(report, console)
    heading("Operations", console)
    for one in report.operations:
        _operation(one, console)
        own = [each for each in one.deviations if each not in report.provenance.deviations]
        for changed in own:
            say(Text(f"{CHANGED}: {plain(deviation(changed))}"), console, 6)
    section(
        "Waived by the operator",
        [
            f"{one.requirement} on {one.machine or 'all machines'}: {one.reason}; {one.owner}, until {one.until}"
            for one in report.profile.waivers
        ],
        console,
    )
    section("Not required", [f"{one.code}  {one.name}: {one.why}" for one in report.not_required], console)
    section("Digest of the decision", [report.digest], console)
    section("Cautions", list(map(shown_sentence, report.cautions)), console)


def print_signed(report: GateReport, key: str, console: Console) -> None:
    """Print what the verified signature of a report covers, and the id of the key; nothing else of the report."""
    _order(report, console)
    _basis(report, console)
    section("Operations", list(map(_signed_operation, report.operations)), console)
    section("Not required", [one.name for one in report.not_required], console)
    section("Digest of the decision", [report.digest], console)
    section("Signed with the key", [key], console)


def _signed_operation(one: GateOperationReport) -> str:
    codes = [each.code for each in one.reasons] + [each.code for each in one.undecided]
    codes += [each.code for each in one.advice]
    return ": ".join([f"{one.decision}  {one.id} ({one.verdict})", *filter(None, [", ".join(dict.fromkeys(codes))])])


def _order(report: GateReport, console: Console) -> None:
    name = report.order if report.revision is None else f"{report.order}, revision {report.revision}"
    say(Text.assemble((report.decision.upper(), _STYLES[report.decision]), "  ", (name, "bold")), console)


def _basis(report: GateReport, console: Console) -> None:
    say(Text("May start." if report.may_start else "May not start."), console)
    section("Expectations not met", [f"{one.name}: {one.expected}, found {one.found}" for one in report.unmet], console)
    section(
        f"Departures from the profile {report.profile.name}",
        [
            f"{one.at}: {one.value}, in the profile {one.default}{'; weakens' if one.weakens else ''}"
            for one in report.policy_deviations
        ],
        console,
    )
    section(CHANGED, [plain(one) for one in changes(report.provenance)], console)


def _operation(one: GateOperationReport, console: Console) -> None:
    decision = (one.decision, _STYLES[one.decision])
    say(
        Text.assemble(decision, "  ", (one.id, "bold"), f"  {one.stack_id or 'unnamed stack'} ({one.verdict})"),
        console,
        2,
    )
    for reason in one.reasons:
        _reason(reason, console)
    for gap in one.undecided:
        _undecided(gap, console)
    for reason in one.advice:
        _reason(reason, console)
    if one.waived:
        say(Text(f"Neither stated nor required: {', '.join(one.waived)}"), console, 6)
    if one.not_judged:
        codes = ", ".join(each.code for each in one.not_judged)
        say(Text(f"Safety rules without anything to judge here: {codes}"), console, 6)


def _reason(one: GateReason, console: Console) -> None:
    effect = one.effect or "advice"
    style = STYLES["advice"] if one.effect is None else _STYLES[one.effect]
    say(Text.assemble((effect, style), f"  {one.code}  ", (one.title, "bold")), console, 6)
    for line in (shown_sentence(one.message), shown_sentence(f"Remedy: {one.remedy}"), f"Where: {', '.join(one.at)}"):
        say(Text(line), console, 10)


def _undecided(one: GateUndecided, console: Console) -> None:
    effect = (one.effect, _STYLES[one.effect])
    say(Text.assemble(effect, f"  {one.code}  ", (one.title, "bold"), " not decided"), console, 6)
    for lack in one.lacks:
        say(Text(missing_line(lack)), console, 10)


_HEAD: Final = ("place", "verdict", "projection", "95th percentile", "N/µm", "kg", "Hz", "rpm", "parts")


def print_search(report: SearchReport, console: Console) -> None:
    """Print counts, results with their parts and grips, near misses, what was refused and cut, notes, cautions."""
    counts = report.counts
    found = f"{count(counts.kept, 'stack')} found" if counts.kept else "Nothing found"
    say(Text(f"{found} in {count(counts.parts, 'part')}", style="bold"), console)
    say(
        Text(
            f"{count(counts.orders_possible, 'order')} possible, {counts.orders_cut} ruled out early,"
            f" {counts.judged} judged, {counts.refused} of them refused"
        ),
        console,
    )
    if report.items:
        heading(
            f"Projection, {shown_sign('mm')}; 95th percentile of the runout, {shown_sign('µm')}; stiffness at the tip;"
            " first natural frequency",
            console,
        )
        rows = [_row(one) for one in report.items]
        table(list(map(shown_sign, _HEAD)), rows, console)
        if any("?" in row for row in rows):
            say(Text("? means not known"), console, 2)
        heading(f"Parts and grips, by {', '.join(report.ranked_by)}", console)
        for one in report.items:
            _result(one, console)
    if report.nearest:
        heading("Closest alternatives", console)
        for near in report.nearest:
            _near(near, console)
    section(
        "Judged and refused", [_line(one.code, one.title, one.stacks, one.alone) for one in report.refused_by], console
    )
    section(
        "Ruled out early", [f"{one.code}  {one.title}: {count(one.orders, 'order')}" for one in report.cut], console
    )
    section("Excluded parts", [_left_out(one) for one in report.left_out], console)
    if report.next is not None:
        section("Token for the next page", [report.next], console)
    section("Notes", list(map(shown_sentence, report.notes)), console)
    section("Cautions", list(map(shown_sentence, report.cautions)), console)


def _row(one: SearchResult) -> tuple[str, ...]:
    speed = one.governing_speed if one.speed_complete else None
    plane = next((each for each in one.planes if each.plane == "gauge_plane"), None)
    return (
        str(one.place),
        one.verdict,
        _figure(one.tip_from_gauge_line_mm, "mm", 1),
        _figure(None if plane is None else plane.quantile_um("p95"), "µm", 1),
        _figure(value_of(one.tip_stiffness_n_per_um), "N/µm", 2),
        _figure(one.mass_kg, "kg", 2),
        _figure(value_of(one.bending_frequency_hz), "Hz", 0),
        "?" if speed is None else number(speed.speed_rpm.value),
        str(len(one.components)),
    )


def _figure(value: float | None, sign: str, decimals: int) -> str:
    return "?" if value is None else str(Figure(value, Unit(sign, decimals), bare=True))


def _result(one: SearchResult, console: Console) -> None:
    say(
        Text.assemble(f"{one.place}  ", (one.verdict, STYLES[one.verdict]), f"  {' + '.join(one.components)}"),
        console,
        2,
    )
    for joint in one.joints:
        say(Text(_grip(joint)), console, 6)
    told = [*one.codes, *(f"{code}?" for code in one.undecided_codes), *(f"{part} not known" for part in one.not_known)]
    if told:
        say(Text(f"See {', '.join(told)}"), console, 6)


def _grip(joint: JointSetting) -> str:
    drawn = f", drawn out {number(joint.drawn_out_mm)} mm" if joint.drawn_out_mm else ""
    room = f"{number(joint.shortest_mm)} to {number(joint.longest_mm)} mm"
    grip = shown_sentence(f"grip {number(joint.grip_length_mm)} mm{drawn} (allowed {room})")
    return f"{joint.joint.lower} in {joint.joint.upper}: {grip}"


def _line(code: str, title: str, stacks: int, alone: int) -> str:
    return f"{code}  {title}: {count(stacks, 'stack')}, {alone} for this reason alone"


def _left_out(one: LeftOut) -> str:
    reason = shown_sentence(one.reason)
    return f"{one.key}: {reason}" if one.code is None else f"{one.key}: {one.code}  {reason}"


def _near(one: NearMiss, console: Console) -> None:
    say(Text(" + ".join(one.components), style="bold"), console, 2)
    for reason in one.reasons:
        say(Text(f"{reason.code}  {reason.title}: {shown_sentence(reason.message)}"), console, 6)


def print_import(report: ImportReport, console: Console) -> None:
    """Print counts, a section each component, what belongs to none, and the faults."""
    version = f" {report.version}" if report.version else ""
    named = f"{_FORMATS.get(report.format, report.format)}{version}"
    wrong = sum(len(one.rejected) for one in report.components)
    counts = [
        (len(report.stacks), "stack"),
        (len(report.assembled), "assembled tool"),
        (wrong, "wrong value"),
        (len(report.faults), "fault"),
    ]
    told = "".join(f", {count(many, what)}" for many, what in counts if many)
    say(Text(f"{named}: {count(len(report.components), 'component')}{told}", style="bold"), console)
    if report.provenance is not None:
        name = f"version {report.provenance.map_version}, " if report.provenance.map_version else ""
        say(Text(f"Map: {name}SHA-256 {report.provenance.map_sha256}"), console)
    for one in report.components:
        _print_component(one, console)
    for stack in report.stacks:
        _print_stack(stack, console)
    for tool in report.assembled:
        heading(f"{tool.assembled['id']}: assembled tool, {tool.source}, line {tool.line}", console)
        _print_words("states", [field for field in tool.assembled if field != "id"], console)
        _print_notes(tool, console)
    section("Belongs to no component", [_left(one) for one in report.unmapped], console)
    if report.faults:
        heading("Faults", console)
    for fault in report.faults:
        say(Text(_fault(fault), style=STYLES["error"]), console, 2)
    if report.not_listed:
        section("Not listed", [f"{report.not_listed} more of the values and faults above"], console)


def _print_stack(one: ImportedStack, console: Console) -> None:
    parts = [part["id"] for part in one.request["stack"]["components"]]
    heading(f"{one.request['stack']['id']}: stack, {one.source}, {_place(one.file, one.line)}", console)
    _print_words("components", parts, console)
    _print_notes(one, console)


def _place(file: str | None, line: int | None) -> str:
    where = "" if line is None else f"line {line}"
    return ", ".join(part for part in (file, where) if part)


def _print_component(one: ImportedComponent, console: Console) -> None:
    heading(f"{one.component['id']}: {one.component['kind']}, {one.source}, {_place(one.file, one.line)}", console)
    stated = [field for field in one.component if field not in ("id", "kind")]
    _print_words("states", stated, console)
    _print_words("not stated", [field.field for field in one.not_stated if field.carried], console)
    _print_words("not stated, no place in the format", _not_carried(one), console)
    for wrong in one.rejected:
        say(Text(f"wrong, {_fault_place(wrong)}: {wrong.value}: {wrong.reason}", style=STYLES["warning"]), console, 2)
    _print_notes(one, console)


def _print_notes(one: ImportedComponent | ImportedStack | ImportedAssembly, console: Console) -> None:
    for left in one.unmapped:
        say(Text(f"not used: {_left(left)}"), console, 2)
    for note in one.notes:
        say(Text(f"note: {note}"), console, 2)


def _not_carried(one: ImportedComponent) -> list[str]:
    return [field.field for field in one.not_stated if not field.carried]


def _print_words(title: str, words: Sequence[str], console: Console) -> None:
    if words:
        say(Text(f"{title}: {', '.join(words)}"), console, 2)


def _left(one: UnmappedValue) -> str:
    value = f" {one.value}" if one.value else ""
    return f"{one.name}{value}: {one.reason}"


def _fault_place(one: ImportFault | UnmappedValue) -> str:
    column = "" if one.column is None else f"column {one.column}"
    return ", ".join(part for part in (_place(one.file, one.line), column, one.name) if part)


def _fault(one: ImportFault) -> str:
    place = _fault_place(one)
    return f"{place}: {one.detail}" if place else one.detail
