"""What a report rests on besides the request: designations, standard parts and assumed values."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rules.quantities.inch import shown_sentence, shown_sign
from rules.schema.report import AssumedRange, Assumption, Report
from service.sheets.figures import UNKNOWN, Cell, Figure, Row, Section, Table, Unit, lines, unit_sign, words

__all__ = ["assumed", "assumed_line", "headlines", "measure_first"]


_SURE: Final = {
    "standard": "standard",
    "textbook": "textbook",
    "from_memory": "memory",
    "common_practice": "practice",
    "calibrated": "own readings",
}

_ENDS: Final = lines(AssumedRange, "typical", "cautious", "limit")

_MEASURE_FROM: Final = 0.3
"""Dependence from which on a value is worth a measurement."""

_MOST_NAMED: Final = 3


def assumed(report: Report) -> Section:
    """What was understood, taken from standards and assumed; empty if the request states everything."""
    return Section(
        "assumed",
        "Assumed and taken from standards",
        notes=[*_understood(report), *_own_set(report)],
        tables=[*_ranges(report), *_values(report), *_standards(report)],
    )


def headlines(report: Report) -> list[str]:
    """Say what the verdict would be, and what to measure first."""
    if report.if_assumptions_hold is None:
        return []
    told = [
        "Values that are not stated are assumed: an estimate, not a release. If they hold, the verdict is"
        f" {report.if_assumptions_hold}."
    ]
    if (first := measure_first(report)) is not None:
        told.append(first)
    return told


def measure_first(report: Report) -> str | None:
    """Return which assumed values matter; None where none does."""
    first = [one for one in report.assumptions if one.dependence is not None and one.dependence >= _MEASURE_FROM]
    if not first:
        return None
    named = "; ".join(f"{_name(one)} of {one.subject}" for one in first[:_MOST_NAMED])
    return f"Measure or look up first: {named}."


def _understood(report: Report) -> list[str]:
    told = []
    for one in report.understood:
        name = one.designation if one.became is None else f"{one.designation}, by the alias file {one.became}"
        if one.understood_as is None:
            why = "not known" if one.left_open is None else one.left_open
            told.append(f"{name}: {why}, so it counts as not stated.")
        elif one.left_open is not None:
            told.append(f"{name}: {one.understood_as}. It leaves open: {one.left_open}.")
        else:
            told.append(f"{name}: {one.understood_as}.")
    return list(dict.fromkeys(told))


def _own_set(report: Report) -> list[str]:
    source = report.provenance
    if source.assumption_set_sha256 is None:
        return []
    return [f"Own readings: set {source.assumption_set}, SHA-256 {source.assumption_set_sha256}."]


def _name(one: Assumption | AssumedRange) -> str:
    return _NAMES.get(one.quantity, one.quantity.replace("_", " "))


_NAMES: Final = {"runout_tir": "runout", "max_speed": "speed limit", "centre_of_mass": "centre of mass"}


def _figure(value: float | str | None, unit: str | None) -> Cell:
    if value is None:
        return (UNKNOWN,)
    if not isinstance(value, str):
        return (_number(value, unit),)
    text = shown_sentence(words("quantity", value).replace("_", " "), figures=3)
    return (text.replace(f" {shown_sign('mm')}, Ø", ", Ø"),)  # the pieces of an outline have their unit once


def _number(value: float, unit: str | None) -> Figure:
    sign = unit_sign(unit)
    return Figure(value, Unit(sign, 0, rounded_as="rpm") if sign == "rpm" else Unit(sign))


def assumed_line(assumptions: Sequence[Assumption]) -> str:
    """Return the assumed values in a sentence, the most decisive first; empty without any but stiffnesses of joints."""
    laid = [one for one in assumptions if one.quantity != "joint_stiffness"]
    if not laid:
        return ""
    values = ["".join(map(str, _figure(one.value, one.unit))) for one in laid[:_MOST_NAMED]]
    named = [f"{_name(one)} of {one.subject} {value}" for one, value in zip(laid, values, strict=False)]
    more = [f"and {len(laid) - _MOST_NAMED} more"] if len(laid) > _MOST_NAMED else []
    return f"Assumed: {'; '.join((*named, *more))}."


def _ranges(report: Report) -> list[Table]:
    if not report.ranges:
        return []
    rows = []
    for one in report.ranges:
        several = one.operation is not None and len(report.operations) > 1
        where = [str(part) for part in (one.joint, f"operation {one.operation}" if several else None)]
        named = [words("plane", one.plane)] if one.plane is not None else []
        named += [part for part in where if part != "None"]
        name = f"{_name(one)}, {', '.join(named)}" if named else _name(one)
        limit: Cell = ("–",) if one.limit is None else _figure(one.limit, one.unit)
        rows.append(Row(((name,), _figure(one.typical, one.unit), _figure(one.cautious, one.unit), limit)))
    caption = "Results with typical and with cautious values of everything assumed; runout is the 95th percentile."
    return [Table(caption, ("Result", *(one.head for one in _ENDS)), tuple(rows))]


def _values(report: Report) -> list[Table]:
    laid = [one for one in report.assumptions if one.quantity != "joint_stiffness"]
    if not laid:
        return []
    rows = []
    for one in laid:
        between: Cell = ("–",)
        if one.low is not None and one.high is not None and one.low != one.high:
            low, high = (Figure(end, _number(end, one.unit).unit, bare=True) for end in (one.low, one.high))
            between = (low, " to ", high)
        rows.append(
            Row(
                (
                    (f"{_name(one)} of {one.subject}",),
                    _figure(one.value, one.unit),
                    between,
                    (_depends(one.dependence),),
                    (_SURE.get(one.confidence, one.confidence),),
                )
            )
        )
    heads = ("Assumed", "Value", "Range", "Effect", "From")
    return [Table("Assumed values, those first on which a decision depends most.", heads, tuple(rows), 5)]


def _depends(dependence: float | None) -> str:
    if dependence is None:
        return "not known"
    if dependence >= 1.0:
        return "decides"
    return "matters" if dependence >= _MEASURE_FROM else "hardly"


def _standards(report: Report) -> list[Table]:
    if not report.stated_by_standard:
        return []
    rows = [
        Row(((one.quantity.replace("_", " "),), _figure(one.value, one.unit), (one.source,)))
        for one in report.stated_by_standard
    ]
    return [Table("Values of standard parts.", ("Quantity", "Value", "Source"), tuple(rows), 3)]
