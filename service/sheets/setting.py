"""What the shop floor sets, reads and signs, for the sheet and for the front of the report."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any, Final

from markupsafe import Markup

from rules.assembly.instruction import AT_ANGLE, AXIAL, HIGH_SPOT, LENGTH, TEST_BAR
from rules.assembly.joint_values import TORQUE
from rules.assembly.sentences import COMMON_PRACTICE
from rules.schema.components import Cutter, GaugePin
from rules.schema.report import (
    AcceptanceReport,
    AssemblyReport,
    AssemblyStep,
    JointEnds,
    OperationSpeed,
    RecordField,
    Report,
    SpeedLimit,
)
from service.drawing.pictures import NOTHING_TO_SHOW
from service.drawing.side_view import draw_stack
from service.sheets.check import part_or_joint, reason, setting, state_of
from service.sheets.figures import UNKNOWN, Cell, Fact, Figure, Unit, exactly, line, lines, unit_sign
from service.sheets.mechanics import PROGRAMMED_SPEED

if TYPE_CHECKING:
    from rules.analysis import StackAnalysis

__all__ = ["MOST_REASONS", "shop_floor"]

MOST_REASONS: Final = 5

_LONGEST_REASON: Final = 200

_MARK: Final = "*"
"""Mark of what is common practice and not stated; the table explains it."""

_PLACE: Final = lines(
    AcceptanceReport,
    "plane",
    "from_gauge_line_mm",
    "from_last_clamping_face_mm",
    "limit_um",
    "reading_limit_um",
)

_SIZES: Final = ((42.0, " dense tiny"), (22.0, " dense"))
"""Classes of smaller print, from so many lines beside the fixed parts of the sheet on."""

_ROW: Final = 1.6
"""Lines of a row of a table or of blanks."""

_WIDE: Final = 125
_HALF: Final = 62
"""Characters of a line, and of one in two columns."""

_NOTHING: Final = "–"


@dataclass(frozen=True, slots=True)
class JointRow:
    """A row of the table of joints."""

    joint: str
    cleaned: str
    """Its place in the order of cleaning."""
    grip: Cell
    projection: Cell
    torque: Cell
    clocking: Cell
    read: bool
    """Whether the stack is read after this joint."""
    expected: Cell = ()
    """Reading to expect there, and its limit."""


def _cut_short(text: str) -> str:
    """Return a reason that fits in two lines."""
    return text if len(text) <= _LONGEST_REASON else f"{text[: _LONGEST_REASON - 1]}…"


def shop_floor(
    report: Report, analysis: StackAnalysis, assembly: AssemblyReport, *, prefix: str, more_lines: float = 0.0
) -> dict[str, Any]:
    """Return what the templates of sheet and front show, by name.

    Parameters
    ----------
    report, analysis
        The check.
    assembly
        Its work instruction.
    prefix
        Start of every id in the drawing, which differs between drawings on one page.
    more_lines
        Lines that the page has beside these; they count for the size of the print.
    """
    built = assembly.state != "do_not_build"
    drawn = draw_stack(report, analysis, bent=False, prefix=prefix, listed=False)
    groups = {name: [one for one in assembly.record.blanks if one.group == name] for name in _GROUPS}
    readings = [one for one in groups["reading"] if one.joint is None or one.name == AXIAL]
    shown = [reason(one) for one in assembly.reasons[:MOST_REASONS]]
    order = _order(assembly)
    made = list(_joints(assembly)) if built else []
    lines_of = [*shown, order, accepted.rule if (accepted := assembly.acceptance) else ""]
    weight = (
        more_lines
        + _ROW * (len(made) + sum(bool(one.expected) for one in made))
        + sum(ceil(min(len(one), _LONGEST_REASON) / _WIDE) for one in lines_of)
        + sum(ceil(len(one) / _HALF) for one in report.cautions) / 2
        + _ROW * ceil(len([one for one in assembly.record.blanks if one.group in ("part", "setting")]) / 4)
    )
    return {
        "report": report,
        "assembly": assembly,
        "state": state_of(assembly),
        "reasons": [_cut_short(one) for one in shown],
        "more": len(assembly.reasons) - len(shown),
        "drawing": Markup(drawn) if drawn else NOTHING_TO_SHOW["stack"],  # noqa: S704 - it escapes what it writes
        "joints": made,
        "order": order,
        "size": next((name for least, name in _SIZES if weight > least), ""),
        "note": _note(report),
        "remedies": [] if built else _remedies(report),
        "settings": list(_settings(report, analysis, groups["setting"])) if built else [],
        "box": list(_box(assembly, analysis)),
        "single": [one for one in readings if one.name == TEST_BAR],
        "angles": [one.name.removeprefix(AT_ANGLE) for one in readings if _at_angle(one)],
        "result": [one for one in readings if one.name != TEST_BAR and not _at_angle(one)],
        "makers": [one for one in groups["setting"] if one.target is one.at_least is one.at_most is None],
        "groups": groups,
        "decisions": _DECISIONS.get(assembly.state, ()),
        "wanted": lambda one: setting(one.target, one, None),  # what to expect stands in the box above
        "part_or_joint": part_or_joint,
        "unit_sign": unit_sign,
    }


def _at_angle(one: RecordField) -> bool:
    return one.name.startswith(AT_ANGLE) and one.name.endswith("°")


_DECISIONS: Final = {
    "build": ("accept", "reject", "not decided"),
    "build_do_not_release": ("within", "above", "not decided"),
}
"""Decisions on the reading to tick, by state."""

_GROUPS: Final = ("part", "setting", "instrument", "reading", "uncertainty", "signature")


def _sources(assembly: AssemblyReport) -> Iterator[str | None]:
    return (one.source for one in assembly.record.blanks if one.group == "setting")


def _order(assembly: AssemblyReport) -> str:
    """What holds of the whole work, as far as it concerns this stack."""
    told = ["* Common practice; the maker's figure takes precedence."] if COMMON_PRACTICE in _sources(assembly) else []
    told.append("Read the test bar first; then clean in the order given, the first seat twice.")
    texts = [one.text for one in assembly.steps]
    if any("Counter-hold" in text for text in texts):
        told.append("Counter-hold wherever a part of another joint would turn.")
    if any("Do this before" in text for text in texts):
        told.append("Clamp the tool in its extension first: the order of the rows is that of the work.")
    if any("on a pad" in text for text in texts):
        told.append("Rest what may drop on a pad from below, never in a hand.")
    return " ".join(told)


def _note(report: Report) -> str | None:
    """What to do where no indicator can read the plane."""
    accepted = None if report.assembly is None else report.assembly.acceptance
    plane = None if accepted is None else report.runout.plane(accepted.plane)
    if plane is None or plane.readable:
        return None
    return (
        "This plane is on the flutes or beyond the tip. Never sweep an indicator over flutes: read a gauge pin, or the"
        " edges without contact."
    )


def _remedies(report: Report) -> list[str]:
    """What to change, each once."""
    told = [f"{one.code}: {one.remedy}" for one in report.findings if one.severity == "error"]
    return list(dict.fromkeys(told))[:MOST_REASONS]


def _joints(assembly: AssemblyReport) -> Iterator[JointRow]:
    """Yield the joints in the order of the work; the first row is the seat in the gauge spindle."""
    cleaned = [one.joint for one in assembly.steps if one.action == "clean"]
    made = list(dict.fromkeys(str(one.joint) for one in assembly.steps if one.action == "join"))
    ends = {str(one.joint): one.joint for one in assembly.steps if one.joint is not None}
    blanks = {(str(one.joint), one.name): one for one in assembly.record.blanks if one.joint is not None}
    read = {
        str(one.joint): _expected(one)
        for one in assembly.record.blanks
        if one.group == "reading" and one.joint is not None and one.name not in (AXIAL, HIGH_SPOT)
    }
    if None in cleaned:
        empty: Cell = (_NOTHING,)
        yield JointRow("gauge spindle", str(cleaned.index(None) + 1), empty, empty, empty, empty, read=False)
    for name in made:
        joint = ends[name]
        order = str(cleaned.index(joint) + 1) if joint in cleaned else _NOTHING
        grip, projection, clocking = (
            _wanted(blanks.get((name, quantity))) for quantity in ("grip length", "projection", "clocking")
        )
        torque, after = _torque(assembly, joint, blanks), read.get(name, ())
        yield JointRow(name, order, grip, projection, torque, clocking, name in read, after)


def _expected(one: RecordField) -> Cell:
    """What to expect of a reading, in little room."""
    if one.expected_median is None or one.expected_p95 is None:
        return ()
    median, high = (Figure(value, Unit("µm", 1), bare=True) for value in (one.expected_median, one.expected_p95))
    limit = () if one.at_most is None else ("; limit ", exactly(one.at_most, one.unit))
    return ("median ", median, ", p95 ", high, *limit)


def _wanted(one: RecordField | None, *, unit: str | None = None) -> Cell:
    """What is to be set, without its bounds where a value is known; the head of the column has the unit."""
    if one is None or (one.target is None and one.at_least is None and one.at_most is None):
        return (_NOTHING,)
    mark = (_MARK,) if one.source == COMMON_PRACTICE else ()
    if one.target is None and one.at_least is not None and one.at_most is not None:
        return (exactly(one.at_least, None), " to ", exactly(one.at_most, unit), *mark)
    bare = one.model_copy(
        update={"source": None, **({} if one.target is None else {"at_least": None, "at_most": None})}
    )
    return (*setting(bare.target, bare, unit), *mark)


def _torque(assembly: AssemblyReport, joint: JointEnds | None, blanks: Mapping[tuple[str, str], RecordField]) -> Cell:
    known = blanks.get((str(joint), TORQUE))
    if known is not None:
        return _wanted(known)
    makers = (one for one in assembly.steps if one.joint == joint and _from_maker(one))
    return ("by the maker",) if next(makers, None) is not None else (_NOTHING,)


def _from_maker(step: AssemblyStep) -> bool:
    return any("torque" in name for name in step.from_maker)


def _settings(report: Report, analysis: StackAnalysis, blanks: Sequence[RecordField]) -> Iterator[Fact]:
    """Yield length, diameter and speeds."""
    for one in blanks:
        if one.joint is None and one.name == LENGTH:
            length = (UNKNOWN,) if one.target is None else _wanted(one, unit=one.unit)
            yield Fact("Length, gauge line to tip", length)
    tool = analysis.chain.members[-1].part if analysis.chain.members else None
    diameter = tool.cutting_diameter_mm if isinstance(tool, Cutter) else None
    if isinstance(tool, GaugePin):
        diameter = getattr(tool.machine_side, "diameter_mm", None)
    yield Fact(
        "Cutting diameter" if isinstance(tool, Cutter) else "Diameter",
        _diameter(report, diameter),
    )
    lowest = report.lowest_limit
    limit: Cell = (UNKNOWN,) if lowest is None else (*line(SpeedLimit, "speed_rpm").cell(lowest), f" ({lowest.words})")
    if lowest is not None and lowest.speed_rpm.rests_on:
        limit = (*limit, ", assumed")
    yield Fact("Speed limit", limit if report.speed_complete else (*limit, ", not every limit is known"))
    for each in report.operations:
        speed: OperationSpeed = each.speed
        if speed.programmed_rpm is not None:
            yield Fact(f"Speed, operation {each.id}", PROGRAMMED_SPEED.cell(speed))


def _diameter(report: Report, known: float | None) -> Cell:
    """The cutting diameter, and whether it is assumed."""
    if known is None:
        return (UNKNOWN,)
    assumed = any(one.at.endswith("/cutting_diameter_mm") for one in report.assumptions)
    return (exactly(known, "mm"), ", assumed") if assumed else (exactly(known, "mm"),)


def _box(assembly: AssemblyReport, analysis: StackAnalysis) -> Iterator[Fact]:
    """Yield what to read, where, the limit there and what to expect."""
    accepted = assembly.acceptance
    if accepted is None:
        return
    tool = analysis.chain.members[-1].part
    told = {one.name: one.cell(accepted) for one in _PLACE}
    yield Fact("Read", (f"{'gauge pin' if isinstance(tool, GaugePin) else 'tool'} {tool.id}, ", *told["plane"]))
    place: list[str | Figure] = []
    if told["from_last_clamping_face_mm"]:
        place += [*told["from_last_clamping_face_mm"], f" from the face of {accepted.face_of}"]
    if told["from_gauge_line_mm"]:
        place += [" (" if place else "", *told["from_gauge_line_mm"], " from the gauge line", ")" if place else ""]
    yield Fact("Plane", tuple(place) or (UNKNOWN,))
    limit: list[str | Figure] = [*told["reading_limit_um"]]
    if accepted.limit_um is not None:
        stated = (*told["limit_um"], f", operation {accepted.operation}")
        if accepted.limit_um == accepted.reading_limit_um:
            limit = [*stated]
        else:
            limit += [" (", *stated, ")"] if limit else [*stated, ", not converted to this plane"]
    yield Fact("Limit of the reading", tuple(limit) or ("none stated",))
    expected = next((one.quantiles_um for one in accepted.predictions if one.of == "assemblies"), None)
    told_by: Cell = (UNKNOWN,)
    if expected is not None:
        median, high = (Figure(expected[name], Unit("µm", 1)) for name in ("p50", "p95"))
        told_by = ("median ", median, ", 95th percentile ", high)
    yield Fact("Expected reading", told_by)
