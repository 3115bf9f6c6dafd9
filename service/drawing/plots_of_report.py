"""Charts of the runout budget and of the speed limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from rules.quantities.inch import shown_sign
from rules.quantities.rounding import rounded_for_people
from rules.schema.report import OperationSpeed, PredictionName, Report, RunoutReport, SpeedLimit, SpeedReport
from service.drawing.dimensions import millimetres
from service.drawing.plot_frame import (
    LEAST_UM,
    LIMIT,
    SMALL,
    Area,
    backed,
    beside,
    heading,
    marks,
    microns,
    notes,
    percent,
    ticks,
)
from service.drawing.svg import INK, PAPER, Mark, document, element, path, points, shortened, spaced, text, text_width

__all__ = ["plot_budget", "plot_speed"]


_WIDTH: Final = 900.0
_LEFT: Final = 230.0
_RIGHT: Final = 150.0
_TOP: Final = 92.0
_BAR: Final = 13.0
_STEP: Final = 2.0 * _BAR + 12.0

_AT_PLANE: Final = "#3c5a78"
_AT_TIP: Final = "#d9e2ea"
"""Shades of the planes: dark for the gauge plane, light for the tip."""


@dataclass(frozen=True, slots=True)
class _Row:
    name: str
    plane_um: float | None
    tip_um: float | None
    more: str
    strong: bool = False


def plot_budget(report: Report, *, prefix: str) -> str | None:
    """Return the chart as SVG; None if no contributor is known at any plane."""
    rows = list(_rows(report))
    if not rows:
        return None
    limited = None if report.operation is None else report.operation.runout
    limit = None if limited is None else limited.limit_um
    most = max(value for row in rows for value in (row.plane_um, row.tip_um, limit) if value is not None)
    area = Area(_LEFT, _TOP, _WIDTH - _LEFT - _RIGHT, len(rows) * _STEP + 6.0, 0.0, max(most, LEAST_UM), 0.0, 1.0)
    body = [heading("Runout budget", report.stack_id, _WIDTH), *_key(report)]
    body.extend(area.x_axis(marks(area.x_to, 8, "µm"), f"total indicator reading, {shown_sign('µm')}"))
    tops = [_TOP + 6.0 + number * _STEP for number in range(len(rows))]
    for row, top in zip(rows, tops, strict=True):
        body.extend(_bars(row, area, top))
    if limit is not None:
        body.extend(_limit(limit, area))
    for row, top in zip(rows, tops, strict=True):
        body.extend(_figures(row, area, top))
    words = _notes(report)
    foot = _TOP + area.height + 60.0
    body.extend(notes(words, foot, _WIDTH))
    about = " ".join([*(_described(row) for row in rows), *words])
    size = _WIDTH, foot + 16.0 * len(words) + 4.0
    return document("budget", "Runout budget: contributors and totals", about, size, body, prefix=prefix)


def _rows(report: Report) -> Iterator[_Row]:
    runout = report.runout
    known = [one for one in runout.contributors if one.tir_um]
    for one in known:
        share = one.share.get("gauge_plane")
        more = "" if share is None else f", {percent(share, 0)}"
        yield _Row(one.text, one.tir_um.get("gauge_plane"), one.tir_um.get("tip"), more)
    if known:
        for name, quantile, of in _SUMS:
            row = _sum(name, quantile, of, runout)
            if row.plane_um is not None or row.tip_um is not None:
                yield row


_SUMS: Final[Sequence[tuple[str, str, PredictionName]]] = (
    ("median", "p50", "assemblies"),
    ("95th percentile", "p95", "assemblies"),
    ("95 % at limits", "p95", "parts_at_limits"),
    ("worst case", "p100", "worst_case"),
)


def _sum(name: str, quantile: str, of: PredictionName, runout: RunoutReport) -> _Row:
    planes = (runout.plane("gauge_plane"), runout.plane("tip"))
    plane_um, tip_um = (None if one is None else one.quantile_um(quantile, of) for one in planes)
    return _Row(name, plane_um, tip_um, "", strong=True)


def _key(report: Report) -> Iterator[Mark]:
    """Yield the legend with the positions of the planes."""
    x = _LEFT
    for fill, name, plane in (
        (_AT_PLANE, "gauge plane", report.runout.plane("gauge_plane")),
        (_AT_TIP, "tip", report.runout.plane("tip")),
    ):
        where = (
            "position not known"
            if plane is None
            else f"{millimetres(plane.from_gauge_line_mm)} {shown_sign('mm')} from the gauge line"
        )
        yield element("rect", x=x, y=38.0, width=22.0, height=11.0, fill=fill, stroke=INK, stroke_width=0.8)
        yield text(x + 28.0, 48.0, f"{name}, {where}", font_size=SMALL)
        x += 310.0


def _bars(row: _Row, area: Area, top: float) -> Iterator[Mark]:
    weight = "bold" if row.strong else None
    yield text(
        _LEFT - 10.0,
        top + _BAR + 4.0,
        shortened(row.name, 12.0, (_LEFT - 30.0) / (1.12 if row.strong else 1.0)),
        text_anchor="end",
        font_weight=weight,
    )
    for place, (value, fill) in enumerate(((row.plane_um, _AT_PLANE), (row.tip_um, _AT_TIP))):
        if value is not None:
            width = area.x(value) - _LEFT
            y = top + place * _BAR
            yield element("rect", x=_LEFT, y=y, width=width, height=_BAR, fill=fill, stroke=INK, stroke_width=0.8)


def _figures(row: _Row, area: Area, top: float) -> Iterator[Mark]:
    for place, (value, more) in enumerate(((row.plane_um, row.more), (row.tip_um, ""))):
        if value is not None:
            words = f"{microns(value)}{more}"
            yield from beside(area.x(value) + 5.0, top + place * _BAR + 10.5, words, bold=row.strong)


def _limit(limit: float, area: Area) -> Iterator[Mark]:
    x = area.x(limit)
    line = path([(x, area.top - 8.0), (x, area.top + area.height)])
    yield element("path", d=line, stroke=LIMIT, stroke_width=1.8, stroke_dasharray="10 4", fill="none")
    yield text(x, area.top - 10.0, f"limit {microns(limit)}", text_anchor="middle", font_size=SMALL, fill=LIMIT)


def _notes(report: Report) -> list[str]:
    runout = report.runout
    words = ["Percent: share of the mean square at the gauge plane. Totals are exact for random clocking."]
    limited = None if report.operation is None else report.operation.runout
    if limited is not None:
        words.append(f"The limit applies at the {limited.plane.replace('_', ' ')}.")
    if not runout.complete:
        words.append("Incomplete: some runout is not stated, so the true readings are larger.")
    return words


def _described(row: _Row) -> str:
    at = [
        f"{microns(value)} at the {where}"
        for value, where in ((row.plane_um, "gauge plane"), (row.tip_um, "tip"))
        if value is not None
    ]
    return f"{row.name}: {', '.join(at)}."


_SPEED_WIDTH: Final = 900.0
_SPEED_LEFT: Final = 40.0
_SPEED_RIGHT: Final = 330.0
"""Room for the label of the farthest limit."""
_SPEED_TOP: Final = 70.0
_SPEED_BAR: Final = 30.0
_SPEED_STEP: Final = 20.0
_SHOWN: Final = 3.0
"""End of the axis as a multiple of the lowest limit or programmed speed."""


def plot_speed(report: Report, *, prefix: str) -> str | None:
    """Return all limits on one bar as SVG; None without a speed limit and programmed speed."""
    speed, asked = _speed_of(report)
    limits = speed.limits
    if not limits and asked is None:
        return None
    nearest = max([limit.speed_rpm.value for limit in limits[:1]] + ([] if asked is None else [asked])) or 1.0
    farthest = max([limit.speed_rpm.value for limit in limits] + [nearest])
    most = min(farthest, nearest * _SHOWN)
    area = Area(_SPEED_LEFT, _SPEED_TOP, _SPEED_WIDTH - _SPEED_LEFT - _SPEED_RIGHT, _SPEED_BAR, 0.0, most, 0.0, 1.0)
    body = [heading("Speed", report.stack_id, _SPEED_WIDTH), *_bar(speed, area)]
    if asked is not None:
        body.extend(_programmed(asked, area))
    foot = _SPEED_TOP + _SPEED_BAR
    for number, limit in enumerate(reversed(limits)):
        foot += _SPEED_STEP
        governs = limits[len(limits) - 1 - number] == speed.governing
        body.extend(_limit_words(limit, _name(limit, report), area, foot, governs=governs))
    axis = Area(area.left, foot, area.width, 16.0, 0.0, most, 0.0, 1.0)
    body.extend(axis.x_axis([(value, spaced(value)) for value in ticks(0.0, most, 6)], "spindle speed, rpm"))
    words = _speed_notes(report)
    if farthest > most:
        words.insert(0, "Arrow: beyond the axis.")
    foot += 72.0
    body.extend(notes(words, foot, _SPEED_WIDTH))
    about = " ".join([*(f"{_name(one, report)}: {_rpm(one.speed_rpm.value)} rpm." for one in limits), *words])
    size = _SPEED_WIDTH, foot + 16.0 * len(words) + 4.0
    return document("speed", "Speed limits on one bar", about, size, body, prefix=prefix)


def _bar(speed: SpeedReport, area: Area) -> Iterator[Mark]:
    """Yield the bar: dark up to the lowest limit, light beyond it."""
    lowest = 0.0 if speed.governing is None else speed.governing.speed_rpm.value
    parts = [(area.left, area.x(lowest), _AT_PLANE), (area.x(lowest), area.left + area.width, _AT_TIP)]
    for begin, end, fill in parts:
        if end > begin:
            look: dict[str, float | str | None] = {"fill": fill, "stroke": INK, "stroke_width": 0.8}
            yield element("rect", x=begin, y=area.top, width=end - begin, height=area.height, **look)


def _rpm(speed: float) -> str:
    """Return a speed as the messages round it."""
    return spaced(rounded_for_people(speed, "rpm"))


def _limit_words(limit: SpeedLimit, name: str, area: Area, y: float, *, governs: bool) -> Iterator[Mark]:
    """Yield a limit's line through the bar down to its label, right of it; an arrow marks one beyond the axis."""
    x = area.x(min(limit.speed_rpm.value, area.x_to))
    line = path([(x, area.top), (x, y + 4.0)])
    yield element("path", d=line, fill="none", stroke=INK, stroke_width=2.4 if governs else 1.2)
    if limit.speed_rpm.value > area.x_to:
        middle = area.top + area.height / 2.0
        yield element("polygon", points=points([(x, middle - 8.0), (x + 12.0, middle), (x, middle + 8.0)]), fill=INK)
    told = f" {_rpm(limit.speed_rpm.value)} rpm" + (" governs" if governs else "")
    room = (_SPEED_WIDTH - 20.0 - x) / (1.12 if governs else 1.0) - text_width(told, SMALL)
    yield from beside(x + 6.0, y + 4.0, shortened(name, SMALL, room) + told, bold=governs)


def _speed_of(report: Report) -> tuple[SpeedReport, float | None]:
    """Return limits and programmed speed of the first operation, or the limits of the stack without one."""
    if report.operation is None:
        return report.speed, None
    return report.operation.speed, report.operation.speed.programmed_rpm


def _name(limit: SpeedLimit, report: Report) -> str:
    grade = None if report.operation is None else report.operation.balance.grade
    if limit.cause == "balance" and grade is not None:
        return f"{limit.words} {grade}"
    return limit.words


def _programmed(asked: float, area: Area) -> Iterator[Mark]:
    """Yield the programmed speed, a triangle on the bar with its label above."""
    x = area.x(asked)
    tip = [(x, area.top), (x - 7.0, area.top - 12.0), (x + 7.0, area.top - 12.0)]
    yield element("path", d=path([(x, area.top), (x, area.top + area.height)]), stroke=PAPER, stroke_width=4.0)
    line = path([(x, area.top), (x, area.top + area.height)])
    yield element("path", d=line, stroke=LIMIT, stroke_width=1.8, stroke_dasharray="6 3", fill="none")
    yield element("polygon", points=points(tip), fill=LIMIT)
    words = f"programmed {spaced(asked)} rpm"
    half = text_width(words, SMALL, bold=True) / 2.0
    yield from backed(max(x, 20.0 + half), area.top - 18.0, words, fill=LIMIT, font_weight="bold")


def _speed_notes(report: Report) -> list[str]:
    speed, programmed = _speed_of(report)
    margin = speed.margin_rpm if isinstance(speed, OperationSpeed) else None
    words = [] if speed.governing is None else ["Dark: up to the lowest limit."]
    if programmed is None:
        words.append("No speed is programmed.")
    if speed.governing is not None:
        lowest = _rpm(speed.governing.speed_rpm.value)
        words.append(f"The lowest limit governs: {_name(speed.governing, report)}, {lowest} rpm.")
    if margin is not None and margin < 0.0:
        words.append(f"The programmed speed is {_rpm(-margin)} rpm above it.")
    elif margin is not None:
        words.append(f"The programmed speed is {_rpm(margin)} rpm below it.")
    if not speed.complete:
        words.append("Incomplete: an applicable limit is not known, so the true limit may be lower.")
    words.append("Never exceed the lowest speed marked on any part.")
    return words
