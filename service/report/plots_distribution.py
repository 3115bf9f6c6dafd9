"""How likely which reading is: the exact law of the contributors, clocked at random, at the gauge plane."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from rules.analysis import Derived
from rules.quantities.missing import Lack
from rules.random_vectors.random_sum import RandomClocking
from rules.runout.analysis import law_at
from rules.schema.report import Report
from service.report.drawing_dimensions import millimetres
from service.report.drawing_layout import spread
from service.report.drawing_text import text_width
from service.report.plots_frame import LEAST_UM, LIMIT, SMALL, Area, backed, heading, microns, notes, percent, ticks
from service.report.svg import INK, Mark, document, element, path, text

__all__ = ["plot_distribution"]

_WIDTH: Final = 900.0
_LEFT: Final = 80.0
_RIGHT: Final = 40.0
_TOP: Final = 86.0
_TALL: Final = 230.0
_LOW: Final = 90.0
_BINS: Final = 48
_FINE: Final = 5
"""Points of the curve for each bar."""


def plot_distribution(report: Report, derived: Derived, *, prefix: str) -> str | None:
    """Return the curve as SVG; None where no contributor or no gauge plane is known."""
    plane = report.runout.gauge_plane
    if isinstance(derived.geometry.gauge_plane, Lack) or plane is None or not derived.contributors.known:
        return None
    law = law_at(derived.geometry.gauge_plane, derived.contributors.known)
    limit = report.runout.limit_um if report.runout.limit_at == "gauge_plane" else None
    ends = [plane.p95_um * 1.25, plane.worst_case_um or 0.0, min(limit or 0.0, plane.p95_um * 3.0)]
    most = max(*ends, LEAST_UM) * 1.06
    edges = np.linspace(0.0, most, _BINS * _FINE + 1)
    # a reading is twice the eccentricity
    below = law.cdf(edges / 2.0).clip(0.0, 1.0).tolist()
    curve = Area(_LEFT, _TOP, _WIDTH - _LEFT - _RIGHT, _TALL, 0.0, most, 0.0, 1.0)
    where = f"{millimetres(plane.z_mm)} mm from the gauge line"
    body = [heading(f"Reading at the gauge plane, {where}", report.stack, _WIDTH)]
    body.extend(curve.y_axis([(share / 5, f"{share * 20} %") for share in range(6)], "assemblies that read less"))
    body.extend(_curve(curve, edges.tolist(), below, law))
    levels = [("half", plane.p50_um), ("95 %", plane.p95_um)]
    if plane.worst_case_um is not None:
        levels.append(("worst", plane.worst_case_um))
    bars, foot = _bars(most, below)
    body.extend(bars)
    body.extend(_levels(curve, levels, limit))
    words = _notes(report, limit, most)
    body.extend(notes(words, foot, _WIDTH))
    about = " ".join([*(f"{name}: {microns(value)}." for name, value in levels), *words])
    size = _WIDTH, foot + 16.0 * len(words) + 4.0
    title = f"Distribution of the reading {where}"
    return document("distribution", title, about, size, body, prefix=prefix)


def _curve(area: Area, edges: Sequence[float], below: Sequence[float], law: RandomClocking) -> Iterator[Mark]:
    corners = [(area.x(at), area.y(share)) for at, share in zip(edges, below, strict=True)]
    if law.sigma == 0.0 and law.least == law.greatest:
        # one vector alone always reads the same: a step
        x = area.x(min(2.0 * law.greatest, area.x_to))
        corners = [(area.left, area.y(0.0)), (x, area.y(0.0)), (x, area.y(1.0)), (area.x(area.x_to), area.y(1.0))]
    yield element("path", d=path(corners), fill="none", stroke=INK, stroke_width=2.2)


def _levels(area: Area, levels: Sequence[tuple[str, float]], limit: float | None) -> Iterator[Mark]:
    """Draw upright lines with their words in a row above, none over another."""
    marked = [(value, f"{name} {microns(value)}", INK, "2 3") for name, value in levels]
    if limit is not None and limit <= area.x_to:
        marked.append((limit, f"limit {microns(limit)}", LIMIT, "10 4"))
    marked.sort(key=lambda one: one[0])
    widths = [text_width(words, SMALL, bold=True) + 12.0 for _, words, _, _ in marked]
    places = [area.x(value) for value, *_ in marked]
    middles = spread(places, widths, 10.0, _WIDTH - 10.0)
    for (_, words, colour, dashes), x, middle in zip(marked, places, middles, strict=True):
        corners = [(middle, area.top - 22.0), (x, area.top - 8.0), (x, area.top + area.height + _LOW + 24.0)]
        yield element("path", d=path(corners), fill="none", stroke=colour, stroke_width=1.4, stroke_dasharray=dashes)
        yield from backed(middle, area.top - 26.0, words, font_weight="bold", fill=colour)


def _bars(most: float, below: Sequence[float]) -> tuple[list[Mark], float]:
    """Draw the share of assemblies in each of equal steps, and the axis under both."""
    shares = [below[(place + 1) * _FINE] - below[place * _FINE] for place in range(_BINS)]
    highest = max(max(shares), 1e-12)
    area = Area(_LEFT, _TOP + _TALL + 24.0, _WIDTH - _LEFT - _RIGHT, _LOW, 0.0, most, 0.0, highest)
    drawn = list(area.x_axis([(value, f"{value:g}") for value in ticks(0.0, most, 10)], "total indicator reading, µm"))
    wide = most / _BINS
    for place, share in enumerate(shares):
        if share > 0.0:
            x, y = area.x(place * wide), area.y(share)
            height = area.top + area.height - y
            drawn.append(
                element("rect", x=x, y=y, width=area.x(wide) - _LEFT, height=height, fill="#9db4c8", stroke=INK)
            )
    drawn.append(
        text(_LEFT, area.top - 6.0, f"share in each {wide:.2g} µm, highest {percent(highest)}", font_size=SMALL)
    )
    return drawn, area.top + area.height + 60.0


def _notes(report: Report, limit: float | None, most: float) -> list[str]:
    runout = report.runout
    words = ["Exact for contributors at their stated size, each in any direction; no drawing of lots."]
    plane = runout.gauge_plane
    if limit is not None and plane is not None and plane.probability_within_limit is not None:
        words.append(f"{percent(plane.probability_within_limit)} of assemblies keep the limit of {microns(limit)}.")
        if limit > most:
            words.append("The limit lies beyond the right end.")
    if runout.limit_um is not None and limit is None:
        words.append(f"The limit of {microns(runout.limit_um)} counts at the tip, so it is not shown here.")
    if plane is not None and plane.worst_case_um is None:
        words.append("There is no worst case: a contributor's size varies without a hard limit.")
    if not runout.complete:
        words.append("Not complete: some runout is not stated, so true readings are larger.")
    return words
