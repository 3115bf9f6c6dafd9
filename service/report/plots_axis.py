"""Runout along the axis: what each contributor alone reads at every place, and 95 % of all together at a few."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from rules.analysis import Derived
from rules.quantities.missing import Lack
from rules.random_vectors.random_sum import RandomClocking
from rules.runout.analysis import plane_law
from rules.runout.contributors import Contributor
from rules.schema.report import Report
from service.report.drawing_bend import begins_at
from service.report.drawing_dimensions import millimetres
from service.report.drawing_layout import spread
from service.report.drawing_text import text_width
from service.report.plots_frame import (
    LEAST_UM,
    SMALL,
    Area,
    EndWords,
    backed,
    heading,
    microns,
    notes,
    side_words,
    ticks,
)
from service.report.svg import INK, PAPER, Mark, document, element, path

__all__ = ["plot_axis"]

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
"""Lines differ in dashes first, and in colour."""

_TOTAL: Final[Mapping[str, float | str | None]] = {"stroke": INK, "stroke_width": 2.8}


@dataclass(frozen=True, slots=True)
class _Curve:
    name: str
    corners: tuple[tuple[float, float], ...]
    """Place in mm, reading in µm."""


def plot_axis(report: Report, derived: Derived, *, prefix: str) -> str | None:
    """Return the lines as SVG; None where no contributor or no end of the stack is known."""
    geometry = derived.geometry
    ends = [z for z in (geometry.tip, geometry.gauge_plane) if not isinstance(z, Lack)]
    if not ends:
        return None
    end = max(ends)
    curves = [curve for one in derived.contributors.known if (curve := _curve(derived, one, end)) is not None]
    if not curves:
        return None
    sums = _sums(derived, end)
    most = max([LEAST_UM, *(at for curve in curves for _, at in curve.corners), *(at for _, at in sums)])
    area = Area(_LEFT, _TOP, _WIDTH - _LEFT - _WORDS, _TALL, 0.0, end, 0.0, most * 1.06)
    body = [heading("Runout along the axis", report.stack, _WIDTH)]
    body.extend(area.y_axis([(value, f"{value:g}") for value in ticks(0.0, area.y_to, 8)], "reading, µm"))
    body.extend(area.x_axis([(value, f"{value:g}") for value in ticks(0.0, end, 8)], "from the gauge line, mm"))
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
        ends_of_lines.append(EndWords(area.x(end), area.y(last), f"95 % of all together {microns(last)}", _TOTAL))
    body.extend(side_words(ends_of_lines, _WIDTH - _WORDS + 24.0, _WORDS - 32.0, _TOP - 20.0, _TOP + _TALL + 12.0))
    told = [
        "Each line begins where its contributor begins to move the axis. Dots: 95 % of assemblies read less there.",
        *([] if report.runout.complete else ["Not complete: some runout is not stated."]),
        *([f"{len(curves) - _MOST_NAMED} small ones are not named."] if len(curves) > _MOST_NAMED else []),
    ]
    foot = _TOP + _TALL + 60.0
    body.extend(notes(told, foot, _WIDTH))
    about = " ".join(
        [
            *(f"{curve.name}: {microns(curve.corners[-1][1])} at {millimetres(end)} mm." for curve in curves),
            *(f"95 % read below {microns(at)} at {millimetres(z)} mm." for z, at in sums),
            *told,
        ]
    )
    size = _WIDTH, foot + 16.0 * len(told) + 4.0
    return document("axis", "Runout along the axis of the stack", about, size, body, prefix=prefix)


def _curve(derived: Derived, contributor: Contributor, end: float) -> _Curve | None:
    begin = begins_at(derived, contributor)
    if begin is None or not begin < end:
        return None
    places = [begin + (end - begin) * step / _STEPS for step in range(_STEPS + 1)]
    return _Curve(contributor.name, tuple((z, 2.0 * abs(contributor.line.at(z))) for z in places))


def _sums(derived: Derived, end: float) -> list[tuple[float, float]]:
    """Return 95 % of all contributors between the last face and the end: before it not all of them act."""
    face = derived.geometry.last_clamping_face
    if isinstance(face, Lack) or not 0.0 <= face < end:
        return []
    places = [face + (end - face) * step / (_PLANES - 1) for step in range(_PLANES)]
    laws = [plane_law(z, derived.contributors.known, None).law for z in places]
    found = RandomClocking.quantiles_of(laws, [0.95])
    return [(z, 2.0 * p95) for z, (p95,) in zip(places, found, strict=True)]


def _planes(derived: Derived, area: Area) -> Iterator[Mark]:
    """Draw the last face, the gauge plane and the tip as upright lines."""
    geometry = derived.geometry
    named: dict[float, list[str]] = {}
    for name, place in (("gauge plane", geometry.gauge_plane), ("tip", geometry.tip)):
        if not isinstance(place, Lack) and 0.0 <= place <= area.x_to:
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
