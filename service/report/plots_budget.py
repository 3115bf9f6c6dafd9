"""The budget as bars: what each contributor reads alone, and what all of them read together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from rules.schema.report import PlaneReport, Report
from service.report.drawing_dimensions import millimetres
from service.report.drawing_text import shortened
from service.report.plots_frame import LEAST_UM, LIMIT, SMALL, Area, beside, heading, microns, notes, percent, ticks
from service.report.svg import INK, Mark, document, element, path, text

__all__ = ["plot_budget"]

_WIDTH: Final = 900.0
_LEFT: Final = 230.0
_RIGHT: Final = 150.0
_TOP: Final = 92.0
_BAR: Final = 13.0
_STEP: Final = 2.0 * _BAR + 12.0

_AT_PLANE: Final = "#3c5a78"
_AT_TIP: Final = "#d9e2ea"
"""Dark at the gauge plane, light at the tip: told apart in print too."""


@dataclass(frozen=True, slots=True)
class _Row:
    name: str
    plane_um: float | None
    tip_um: float | None
    more: str
    strong: bool = False


def plot_budget(report: Report, *, prefix: str) -> str | None:
    """Return the bars as SVG; None where no contributor is known at any plane."""
    rows = list(_rows(report))
    if not rows:
        return None
    limit = report.runout.limit_um
    most = max(value for row in rows for value in (row.plane_um, row.tip_um, limit) if value is not None)
    area = Area(
        _LEFT, _TOP, _WIDTH - _LEFT - _RIGHT, len(rows) * _STEP + 6.0, 0.0, max(most, LEAST_UM) * 1.02, 0.0, 1.0
    )
    body = [heading("Runout budget", report.stack, _WIDTH), *_key(report)]
    body.extend(
        area.x_axis([(value, f"{value:g}") for value in ticks(0.0, area.x_to, 8)], "total indicator reading, µm")
    )
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
    about = " ".join([*(_told(row) for row in rows), *words])
    size = _WIDTH, foot + 16.0 * len(words) + 4.0
    return document("budget", "Runout budget: each contributor and the sums", about, size, body, prefix=prefix)


def _rows(report: Report) -> Iterator[_Row]:
    runout = report.runout
    known = [one for one in runout.contributors if one.gauge_plane_tir_um is not None or one.tip_tir_um is not None]
    for one in known:
        share = "" if one.gauge_plane_share is None else f", {percent(one.gauge_plane_share, 0)}"
        yield _Row(one.name, one.gauge_plane_tir_um, one.tip_tir_um, share)
    if known and (runout.gauge_plane is not None or runout.tip is not None):
        yield _sum("half read below", "p50_um", runout.gauge_plane, runout.tip)
        yield _sum("95 % read below", "p95_um", runout.gauge_plane, runout.tip)
        worst = _sum("worst case", "worst_case_um", runout.gauge_plane, runout.tip)
        if worst.plane_um is not None or worst.tip_um is not None:
            yield worst


def _sum(name: str, field: str, plane: PlaneReport | None, tip: PlaneReport | None) -> _Row:
    values = [None if one is None else getattr(one, field) for one in (plane, tip)]
    return _Row(name, values[0], values[1], "", strong=True)


def _key(report: Report) -> Iterator[Mark]:
    """Say which bar is which, and where the planes are."""
    x = _LEFT
    for fill, name, plane in (
        (_AT_PLANE, "gauge plane", report.runout.gauge_plane),
        (_AT_TIP, "tip", report.runout.tip),
    ):
        where = "no place known" if plane is None else f"{millimetres(plane.z_mm)} mm from the gauge line"
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
    words = [
        "Percent: share of the mean square reading at the gauge plane. The sums are exact, parts clocked at random."
    ]
    if runout.limit_um is not None:
        words.append(f"The limit counts at the {runout.limit_at.replace('_', ' ')}.")
    if not runout.complete:
        words.append("Not complete: some runout is not stated, so the sums are too small.")
    return words


def _told(row: _Row) -> str:
    at = [
        f"{microns(value)} at the {where}"
        for value, where in ((row.plane_um, "gauge plane"), (row.tip_um, "tip"))
        if value is not None
    ]
    return f"{row.name}: {', '.join(at)}."
