"""Charts of the runout along the axis and of its distribution at the gauge plane."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from rules.analysis import StackAnalysis
from rules.quantities.inch import metric_of, shown_sign
from rules.quantities.missing import Missing
from rules.random_vectors.random_sum import RandomClocking
from rules.runout.analysis import law_of, plane_law, vectors_at
from rules.runout.contributors import Contributor
from rules.runout.formulas import Eccentricity, Tir, eccentricity_of, tir_of
from rules.schema.report import Report
from service.drawing.bend import begins_at
from service.drawing.dimensions import millimetres
from service.drawing.plot_frame import (
    LEAST_UM,
    LIMIT,
    SMALL,
    Area,
    EndWords,
    backed,
    beside,
    heading,
    marks,
    microns,
    notes,
    percent,
    side_words,
)
from service.drawing.svg import INK, PAPER, Mark, document, element, path, spread, text, text_width

__all__ = ["plot_axis", "plot_distribution"]


_WIDTH: Final = 940.0
_LEFT: Final = 80.0
_WORDS: Final = 310.0
_TOP: Final = 80.0
_TALL: Final = 280.0
_PLANES: Final = 5
_STEPS: Final = 40
_MOST_NAMED: Final = 16

_DASHES: Final = (None, "9 3", "3 3", "12 3 3 3", "2 2", "7 2 2 2 2 2")
_COLOURS: Final = ("#1f4e79", "#8a5a00", "#3d6b4f", "#6b3f6e", "#7a2d22", "#44546a")
"""Dashes of the lines, so that colour is not the only difference."""

_TOTAL: Final[Mapping[str, float | str | None]] = {"stroke": INK, "stroke_width": 2.8}
_LIMIT_LINE: Final[Mapping[str, float | str | None]] = {
    "stroke": LIMIT,
    "stroke_width": 1.6,
    "stroke_dasharray": "10 4",
}


@dataclass(frozen=True, slots=True)
class _Curve:
    name: str
    corners: tuple[tuple[float, float], ...]
    """Corners of a line: position in mm, TIR in µm."""


def plot_axis(report: Report, derived: StackAnalysis, *, prefix: str) -> str | None:
    """Return the chart as SVG; None if no contributor or no end of the stack is known."""
    geometry = derived.geometry
    ends = [z for z in (geometry.tip, geometry.gauge_plane) if not isinstance(z, Missing)]
    if not ends:
        return None
    end = max(ends)
    curves = [curve for one in derived.contributors.known if (curve := _curve(derived, one, end)) is not None]
    if not curves:
        return None
    sums = _sums(derived, end)
    most = max([LEAST_UM, *(at for curve in curves for _, at in curve.corners), *(at for _, at in sums)])
    limited = None if report.operation is None else report.operation.runout
    if limited is not None:
        most = max(most, limited.limit_um)
    area = Area(_LEFT, _TOP, _WIDTH - _LEFT - _WORDS, _TALL, 0.0, end, 0.0, most)
    body = [heading("Runout along the axis", report.stack_id, _WIDTH)]
    body.extend(area.y_axis(marks(area.y_to, 8, "µm"), f"total indicator reading, {shown_sign('µm')}"))
    body.extend(area.x_axis(marks(end, 8, "mm"), f"from the gauge line, {shown_sign('mm')}"))
    body.extend(_planes(derived, area))
    body.extend(_lines(curves, area))
    body.extend(_total(sums, area))
    largest = sorted(range(len(curves)), key=lambda number: (-curves[number].corners[-1][1], number))[:_MOST_NAMED]
    ends_of_lines = []
    for number in largest:
        last = curves[number].corners[-1][1]
        ends_of_lines.append(
            EndWords(area.x(end), area.y(last), f"{curves[number].name} {microns(last)}", _look(number))
        )
    if sums:
        last = sums[-1][1]
        ends_of_lines.append(EndWords(area.x(end), area.y(last), f"95th percentile, all {microns(last)}", _TOTAL))
    if limited is not None:
        line = path([(area.left, area.y(limited.limit_um)), (area.x(end), area.y(limited.limit_um))])
        body.append(element("path", d=line, fill="none", **_LIMIT_LINE))
        words = f"limit {microns(limited.limit_um)} at the {limited.plane.replace('_', ' ')}"
        ends_of_lines.append(EndWords(area.x(end), area.y(limited.limit_um), words, _LIMIT_LINE))
    body.extend(side_words(ends_of_lines, _WIDTH - _WORDS + 24.0, _WORDS - 32.0, _TOP - 20.0, _TOP + _TALL + 12.0))
    told = [
        "Each line starts where its contributor starts to act."
        + (" Dots: 95th percentile of all contributors together." if sums else ""),
        *([] if report.runout.complete else ["Incomplete: some runout is not stated."]),
        *([f"{len(curves) - _MOST_NAMED} small contributors have no label."] if len(curves) > _MOST_NAMED else []),
    ]
    foot = _TOP + _TALL + 60.0
    body.extend(notes(told, foot, _WIDTH))
    unit = shown_sign("mm")
    about = " ".join(
        [
            *(f"{curve.name}: {microns(curve.corners[-1][1])} at {millimetres(end)} {unit}." for curve in curves),
            *(f"95th percentile: {microns(at)} at {millimetres(z)} {unit}." for z, at in sums),
            *told,
        ]
    )
    size = _WIDTH, foot + 16.0 * len(told) + 4.0
    return document("axis", "Runout along the axis of the stack", about, size, body, prefix=prefix)


def _curve(derived: StackAnalysis, contributor: Contributor, end: float) -> _Curve | None:
    begin = begins_at(derived, contributor)
    if begin is None or not begin < end:
        return None
    places = [begin + (end - begin) * step / _STEPS for step in range(_STEPS + 1)]
    return _Curve(contributor.name, tuple((z, tir_of(Eccentricity(abs(contributor.line.at(z))))) for z in places))


def _sums(derived: StackAnalysis, end: float) -> list[tuple[float, float]]:
    """Return the 95th percentile from the last face to the end, where all contributors act."""
    face = derived.geometry.last_clamping_face
    if derived.contributors.lacking is not None or isinstance(face, Missing) or not 0.0 <= face < end:
        return []
    places = [face + (end - face) * step / (_PLANES - 1) for step in range(_PLANES)]
    laws = [plane_law(z, derived.contributors.known, None).law for z in places]
    return [(z, tir_of(Eccentricity(float(law.quantiles([0.95])[0])))) for z, law in zip(places, laws, strict=True)]


def _planes(derived: StackAnalysis, area: Area) -> Iterator[Mark]:
    """Yield last face, gauge plane and tip as vertical lines."""
    geometry = derived.geometry
    named: dict[float, list[str]] = {}
    places = [("gauge plane", geometry.gauge_plane), ("tip", geometry.tip)]
    if derived.reading is not None:
        places.append(("plane to read", derived.reading.z_mm))
    for name, place in places:
        if not isinstance(place, Missing) and 0.0 <= place <= area.x_to:
            named.setdefault(place, []).append(name)
    marked = [(area.x(z), ", ".join(names)) for z, names in sorted(named.items())]
    middles = spread(
        [x for x, _ in marked], [text_width(words, SMALL) + 12.0 for _, words in marked], area.left, _WIDTH - 20.0
    )
    for (x, words), middle in zip(marked, middles, strict=True):
        corners = [(middle, area.top - 22.0), (x, area.top - 8.0), (x, area.top + area.height)]
        yield element("path", d=path(corners), stroke=INK, stroke_width=1.0, stroke_dasharray="4 3", fill="none")
        yield from backed(middle, area.top - 26.0, words)


def _look(number: int) -> Mapping[str, float | str | None]:
    return {
        "stroke": _COLOURS[number % len(_COLOURS)],
        "stroke_width": 1.7,
        "stroke_dasharray": _DASHES[number % len(_DASHES)],
    }


def _lines(curves: list[_Curve], area: Area) -> Iterator[Mark]:
    for number, curve in enumerate(curves):
        corners = [(area.x(z), area.y(at)) for z, at in curve.corners]
        yield element("path", d=path(corners), fill="none", **_look(number))


def _total(sums: list[tuple[float, float]], area: Area) -> Iterator[Mark]:
    if sums:
        yield element("path", d=path([(area.x(z), area.y(at)) for z, at in sums]), fill="none", **_TOTAL)
    for z, at in sums:
        yield element("circle", cx=area.x(z), cy=area.y(at), r=4.0, fill=PAPER, stroke=INK, stroke_width=1.6)


_DISTRIBUTION_WIDTH: Final = 900.0
_DISTRIBUTION_LEFT: Final = 80.0
_RIGHT: Final = 40.0
_DISTRIBUTION_TOP: Final = 86.0
_DISTRIBUTION_TALL: Final = 230.0
_LOW: Final = 90.0
_BINS: Final = 48
_FINE: Final = 5
"""Points of the curve per bar."""


def plot_distribution(report: Report, derived: StackAnalysis, *, prefix: str) -> str | None:
    """Return the chart at the plane of the limit as SVG; None without that plane or if a contributor is not known."""
    limited = None if report.operation is None else report.operation.runout
    name = "gauge_plane" if limited is None else limited.plane
    plane = report.runout.plane(name)
    there = derived.geometry.tip if name == "tip" else derived.geometry.gauge_plane
    if isinstance(there, Missing) or plane is None or not derived.contributors.known:
        return None
    median, p95 = plane.quantile_um("p50"), plane.quantile_um("p95")
    if median is None or p95 is None:
        return None
    worst, at_limits = plane.quantile_um("p100", "worst_case"), plane.quantile_um("p95", "parts_at_limits")
    limit = None if limited is None else limited.limit_um
    vectors = vectors_at(there, derived.contributors.known)
    laws = {"assemblies": law_of(vectors), "parts at their limits": law_of(vectors, at_limits=True)}
    ends = [worst, limit] if worst is not None else [limit, *_last(laws.values()), p95 * _BEYOND]
    most = max(LEAST_UM, *(end for end in ends if end is not None))
    edges = np.linspace(0.0, most, _BINS * _FINE + 1)
    below = {
        of: law.cdf([eccentricity_of(Tir(edge)) for edge in edges.tolist()]).clip(0.0, 1.0).tolist()
        for of, law in laws.items()
    }
    wide = _DISTRIBUTION_WIDTH - _DISTRIBUTION_LEFT - _RIGHT
    curve = Area(_DISTRIBUTION_LEFT, _DISTRIBUTION_TOP, wide, _DISTRIBUTION_TALL, 0.0, most, 0.0, 1.0)
    where = f"{millimetres(plane.from_gauge_line_mm)} {shown_sign('mm')} from the gauge line"
    body = [heading(f"Runout at the {name.replace('_', ' ')}, {where}", report.stack_id, _DISTRIBUTION_WIDTH)]
    body.extend(curve.y_axis([(share / 5, f"{share * 20} %") for share in range(6)], "share below"))
    levels = [("median", median), ("95th percentile", p95)]
    if at_limits is not None:
        levels.append(("95 % at limits", at_limits))
    if worst is not None:
        levels.append(("worst", worst))
    if limit is not None:
        levels.append(("limit", limit))
    bars, foot = _bars(most, below["assemblies"], below["parts at their limits"])
    body.extend(_level_lines(curve, levels))
    for (of, law), look in zip(laws.items(), _LAWS, strict=True):
        body.extend(_distribution_curve(curve, edges.tolist(), below[of], law, look))
    body.extend(bars)
    body.extend(_key(laws))
    words = _notes(report, limit)
    body.extend(notes(words, foot, _DISTRIBUTION_WIDTH))
    about = " ".join([*(f"{level}: {microns(value)}." for level, value in levels), *words])
    size = _DISTRIBUTION_WIDTH, foot + 16.0 * len(words) + 4.0
    title = f"Distribution of the runout, {where}"
    return document("distribution", title, about, size, body, prefix=prefix)


_BEYOND: Final = 1.1
"""End of an axis without a worst case, over the 95th percentile at least."""

_LAWS: Final[Sequence[Mapping[str, float | str | None]]] = (
    {"stroke": INK, "stroke_width": 2.2},
    {"stroke": "#8a5a00", "stroke_width": 1.8, "stroke_dasharray": "9 3"},
)
"""Lines of assemblies and of parts at their limits."""


def _last(laws: Iterable[RandomClocking]) -> list[float]:
    """Return the 99.5th percentile of each law as a reading."""
    return [tir_of(Eccentricity(float(law.quantiles([0.995])[0]))) for law in laws]


def _key(names: Iterable[str]) -> Iterator[Mark]:
    x = _DISTRIBUTION_LEFT + 200.0
    for name, look in zip(names, _LAWS, strict=True):
        yield element("path", d=path([(x, 40.0), (x + 36.0, 40.0)]), fill="none", **look)
        yield text(x + 42.0, 44.0, name, font_size=SMALL)
        x += 170.0


def _distribution_curve(
    area: Area,
    edges: Sequence[float],
    below: Sequence[float],
    law: RandomClocking,
    look: Mapping[str, float | str | None],
) -> Iterator[Mark]:
    corners = [(area.x(at), area.y(share)) for at, share in zip(edges, below, strict=True)]
    if law.sigma == 0.0 and law.least == law.greatest:
        # one vector alone always reads the same: a step
        x = area.x(min(tir_of(Eccentricity(law.greatest)), area.x_to))
        corners = [(area.left, area.y(0.0)), (x, area.y(0.0)), (x, area.y(1.0)), (area.x(area.x_to), area.y(1.0))]
    yield element("path", d=path(corners), fill="none", **look)


def _level_lines(area: Area, levels: Sequence[tuple[str, float]]) -> Iterator[Mark]:
    """Yield vertical lines with labels above, without overlap."""
    marked = sorted(levels, key=lambda one: one[1])
    told = [f"{name} {microns(value)}" for name, value in marked]
    widths = [text_width(words, SMALL, bold=True) + 12.0 for words in told]
    places = [area.x(value) for _, value in marked]
    middles = spread(places, widths, 10.0, _DISTRIBUTION_WIDTH - 10.0)
    for (name, _), words, x, middle in zip(marked, told, places, middles, strict=True):
        colour, dashes = (LIMIT, "10 4") if name == "limit" else (INK, "2 3")
        corners = [(middle, area.top - 22.0), (x, area.top - 8.0), (x, area.top + area.height + _LOW + 24.0)]
        yield element("path", d=path(corners), fill="none", stroke=colour, stroke_width=1.4, stroke_dasharray=dashes)
        yield from backed(middle, area.top - 26.0, words, font_weight="bold", fill=colour)


def _bars(most: float, below: Sequence[float], at_limits: Sequence[float]) -> tuple[list[Mark], float]:
    """Return both histograms with their axis, and the lower end of the chart."""
    bins = [[law[(place + 1) * _FINE] - law[place * _FINE] for place in range(_BINS)] for law in (below, at_limits)]
    highest = max(max(*bins[0], *bins[1]), 1e-12)
    top = _DISTRIBUTION_TOP + _DISTRIBUTION_TALL + 24.0
    area = Area(
        _DISTRIBUTION_LEFT, top, _DISTRIBUTION_WIDTH - _DISTRIBUTION_LEFT - _RIGHT, _LOW, 0.0, most, 0.0, highest
    )
    drawn = list(area.x_axis(marks(most, 10, "µm"), f"total indicator reading, {shown_sign('µm')}"))
    wide = most / _BINS
    floor = area.top + area.height
    looks: Sequence[Mapping[str, float | str | None]] = (
        {"fill": "#9db4c8", "fill_opacity": 0.75, "stroke": INK, "stroke_width": 0.8},
        {"fill": "none", **_LAWS[1]},
    )
    for shares, look in zip(bins, looks, strict=True):
        steps = [(area.left, floor)]
        for place, share in enumerate(shares):
            steps += [(area.x(place * wide), area.y(share)), (area.x((place + 1) * wide), area.y(share))]
        steps.append((area.x(most), floor))
        drawn.append(element("path", d=path(steps), **look))
    each = f"share per {wide / metric_of(1.0, 'µm'):.2g} {shown_sign('µm')}, maximum {percent(highest)}"
    drawn.extend(beside(_DISTRIBUTION_LEFT, area.top - 6.0, each))
    return drawn, floor + 60.0


def _notes(report: Report, limit: float | None) -> list[str]:
    runout = report.runout
    words = ["Assemblies: each part anywhere up to its limit, clocked at random; computed exactly, not sampled."]
    limited = None if report.operation is None else report.operation.runout
    plane = runout.plane("gauge_plane" if limited is None else limited.plane)
    within = {} if limited is None else limited.probability_within_limit
    told = [
        f"{percent(share)} {of}"
        for of, share in (
            ("of assemblies", within.get("assemblies")),
            ("with every part at its limit", within.get("parts_at_limits")),
        )
        if share is not None
    ]
    if limit is not None and told:
        words.append(f"Within the {microns(limit)} limit: {', '.join(told)}.")
    if plane is not None and plane.quantile_um("p100", "worst_case") is None:
        words.append("No worst case: at least one contributor has no hard limit.")
    return words
