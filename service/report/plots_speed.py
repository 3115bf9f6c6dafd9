"""Everything that limits the speed on one axis: which limit governs, and the speed asked."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rules.schema.report import Report, SpeedLimit
from rules.speed.report import cause
from service.report.drawing_text import shortened, spaced
from service.report.plots_frame import LIMIT, Area, backed, beside, heading, notes, ticks
from service.report.svg import INK, PAPER, Mark, document, element, path, points, text

__all__ = ["plot_speed"]

_WIDTH: Final = 900.0
_LEFT: Final = 230.0
_RIGHT: Final = 150.0
_TOP: Final = 70.0
_STEP: Final = 26.0
_SHOWN: Final = 3.0
"""The axis ends at so many times the governing limit or the speed asked; what lies beyond is told in figures."""


def plot_speed(report: Report, *, prefix: str) -> str | None:
    """Return the limits as SVG; None where nothing limits the speed and none is asked."""
    speed = report.speed
    asked, limits = speed.asked_rpm, speed.limits
    if not limits and asked is None:
        return None
    nearest = max([limit.speed_rpm for limit in limits[:1]] + ([] if asked is None else [asked])) or 1.0
    farthest = max([limit.speed_rpm for limit in limits] + [nearest])
    most = min(farthest * 1.05, nearest * _SHOWN)
    rows = max(len(limits), 1)
    area = Area(_LEFT, _TOP, _WIDTH - _LEFT - _RIGHT, rows * _STEP + 8.0, 0.0, most, 0.0, 1.0)
    body = [heading("Speed", report.stack, _WIDTH)]
    body.extend(area.x_axis([(value, spaced(value)) for value in ticks(0.0, most, 6)], "spindle speed, rpm"))
    governing = [limit == speed.governing for limit in limits]
    for number, limit in enumerate(limits):
        body.extend(_row(limit, _name(limit, report), area, _TOP + 8.0 + number * _STEP, governing[number]))
    if asked is not None:
        body.extend(_asked(asked, area))
    for number, limit in enumerate(limits):
        told = f"{spaced(limit.speed_rpm)} rpm" + (" governs" if governing[number] else "")
        end = area.x(min(limit.speed_rpm, area.x_to)) + 6.0
        body.extend(beside(end, _TOP + 20.0 + number * _STEP, told, bold=governing[number]))
    words = _notes(report)
    foot = _TOP + area.height + 60.0
    body.extend(notes(words, foot, _WIDTH))
    about = " ".join([*(f"{_name(one, report)}: {spaced(one.speed_rpm)} rpm." for one in limits), *words])
    size = _WIDTH, foot + 16.0 * len(words) + 4.0
    return document("speed", "Limits of the speed, the lowest first", about, size, body, prefix=prefix)


def _name(limit: SpeedLimit, report: Report) -> str:
    if limit.cause == "balance" and report.balance.grade is not None:
        return f"{cause(limit)} {report.balance.grade}"
    return cause(limit)


def _row(limit: SpeedLimit, name: str, area: Area, top: float, governs: bool) -> Iterator[Mark]:
    """Draw a bar up to the limit; one that leaves the axis ends in an arrow."""
    weight = "bold" if governs else None
    name = shortened(name, 12.0, (_LEFT - 30.0) / (1.12 if governs else 1.0))
    yield text(_LEFT - 10.0, top + 12.0, name, text_anchor="end", font_weight=weight)
    beyond = limit.speed_rpm > area.x_to
    end = area.x(min(limit.speed_rpm, area.x_to))
    fill = "#3c5a78" if governs else "#d9e2ea"
    if beyond:
        corners = [(_LEFT, top), (end - 8.0, top), (end, top + 8.0), (end - 8.0, top + 16.0), (_LEFT, top + 16.0)]
        yield element("polygon", points=points(corners), fill=fill, stroke=INK, stroke_width=0.8)
    else:
        yield element("rect", x=_LEFT, y=top, width=end - _LEFT, height=16.0, fill=fill, stroke=INK, stroke_width=0.8)


def _asked(asked: float, area: Area) -> Iterator[Mark]:
    x = area.x(asked)
    line = path([(x, area.top - 8.0), (x, area.top + area.height)])
    yield element("path", d=line, stroke=PAPER, stroke_width=4.0, fill="none")
    yield element("path", d=line, stroke=LIMIT, stroke_width=1.8, stroke_dasharray="10 4", fill="none")
    yield from backed(x, area.top - 12.0, f"asked {spaced(asked)} rpm", fill=LIMIT, font_weight="bold")


def _notes(report: Report) -> list[str]:
    speed = report.speed
    words = []
    if speed.asked_rpm is None:
        words.append("No speed is asked.")
    if speed.governing is not None:
        words.append(
            f"The lowest limit governs: {_name(speed.governing, report)}, {spaced(speed.governing.speed_rpm)} rpm."
        )
    if speed.margin_rpm is not None and speed.margin_rpm < 0.0:
        words.append(f"The speed asked is {spaced(-speed.margin_rpm)} rpm above it.")
    elif speed.margin_rpm is not None:
        words.append(f"It leaves {spaced(speed.margin_rpm)} rpm above the speed asked.")
    if not speed.complete:
        words.append("Not complete: a limit that applies is not known, so the true one may be lower.")
    words.append("Never exceed the lowest speed marked on any part.")
    return words
