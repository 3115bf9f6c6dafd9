"""The displaced axis: contributions to the runout, all in one direction, enlarged."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rules.analysis import StackAnalysis
from rules.quantities.inch import as_shown
from rules.quantities.missing import Missing
from rules.runout.contributors import Contributor
from rules.runout.formulas import Eccentricity, tir_of
from service.drawing.parts import Frame
from service.drawing.svg import INK, Mark, element, hatching, path, points, shortened, spaced, spread, text

__all__ = ["LABEL_ROOM", "Bend", "BendPanel", "Share", "begins_at", "bend_of"]

LABEL_ROOM: Final = 280.0
"""Space for text right of the axis, px."""

_LEAST_UM: Final = 0.001
"""Smallest amount that the report shows."""

_TALLEST: Final = 120.0
_LINE: Final = 15.0
_MOST_NAMED: Final = 16


@dataclass(frozen=True, slots=True)
class Share:
    """Contribution of one contributor, linear along the axis."""

    name: str
    number: int | None
    """Number of its part; None for the spindle."""
    from_mm: float
    from_um: float
    at_end_um: float


@dataclass(frozen=True, slots=True)
class Bend:
    """Sum of all contributors along the axis."""

    shares: tuple[Share, ...]
    end_mm: float
    at_tip: bool
    """Whether it ends at the tip; otherwise at the gauge plane."""
    complete: bool
    """Whether every contributor is known."""

    @property
    def total_um(self) -> Eccentricity:
        """Eccentricity at the end."""
        return Eccentricity(math.fsum(share.at_end_um for share in self.shares))


def begins_at(derived: StackAnalysis, contributor: Contributor) -> float | None:
    """Return where a contributor starts to act, mm from the gauge line; None if not known."""
    places = derived.geometry.places
    last = len(places) - 1
    number = min(contributor.displaces_from, last)
    place = places[number]
    if isinstance(place.start, Missing):
        return None
    return max(place.start, 0.0)


def bend_of(derived: StackAnalysis) -> Bend | None:
    """Return the sum of the contributors; None if none is known or the end has no position."""
    geometry = derived.geometry
    end = geometry.gauge_plane if isinstance(geometry.tip, Missing) else geometry.tip
    if isinstance(end, Missing) or not derived.contributors.known:
        return None
    numbers = {member.part.id: number for number, member in enumerate(derived.chain.members)}
    shares = []
    for one in derived.contributors.known:
        begin = begins_at(derived, one)
        final = one.line.at(end)
        amount = abs(final)
        if begin is None or not begin < end or amount == 0.0:
            continue
        way = final / amount

        def along(z: float, line: Contributor = one, way: complex = way) -> float:
            return (line.line.at(z) * complex(way).conjugate()).real

        start = along(begin)
        if start < 0.0:
            # a tilt turns about the middle of the seat, so it is drawn from there on only
            begin, start = begin + (end - begin) * start / (start - amount), 0.0
        shares.append(Share(one.name, numbers.get(one.component or ""), begin, start, amount))
    complete = derived.contributors.lacking is None
    bend = Bend(tuple(shares), end, not isinstance(geometry.tip, Missing), complete)
    return bend if bend.total_um >= _LEAST_UM else None


def enlargement(bend: Bend, frame: Frame) -> float:
    """Return the magnification of deviations over lengths: 1, 2 or 5 times a power of ten."""
    most = _TALLEST * 1000.0 / (bend.total_um * frame.scale)
    power = 10.0 ** math.floor(math.log10(most))
    return next(factor * power for factor in (5.0, 2.0, 1.0) if factor * power <= most or factor == 1.0)


class BendPanel:
    """The displaced axis under the drawing, at the same scale along the axis."""

    def __init__(self, bend: Bend, frame: Frame) -> None:
        self._bend, self._frame = bend, frame
        self.times = enlargement(bend, frame)
        self._per_um = self.times * frame.scale / 1000.0
        self._named = min(len(bend.shares), _MOST_NAMED)
        self.height = max(bend.total_um * self._per_um, (self._named + 1) * _LINE) + 48.0

    def marks(self, top: float, prefix: str) -> list[Mark]:
        """Return one band per contributor, with its name at the end."""
        bend, frame = self._bend, self._frame
        where = "tip" if bend.at_tip else "gauge plane"
        base = top + self.height - 14.0
        end_x = frame.x(bend.end_mm)
        heading = (
            "Eccentricity of the axis, every contributor at its stated value, all in one direction;"
            f" enlarged {spaced(self.times)} times" + ("" if bend.complete else "; some runout is not stated")
        )
        drawn = [text(20.0, top + 12.0, heading, font_size=11.0)]
        # each position twice, since a pure offset makes a step there
        places = sorted({share.from_mm for share in bend.shares} | {bend.end_mm, 0.0})
        ends = [(z, behind) for z in places for behind in (False, True)]
        below = dict.fromkeys(ends, 0.0)
        middles = []
        for share in bend.shares:
            above = {end: level + _height(share, bend.end_mm, *end) for end, level in below.items()}
            reach = [end for end in ends if end >= (share.from_mm, True)]
            corners = [(frame.x(end[0]), base - above[end] * self._per_um) for end in reach]
            corners += [(frame.x(end[0]), base - below[end] * self._per_um) for end in reversed(reach)]
            fill = "#dddddd" if share.number is None else hatching(share.number, prefix)
            drawn.append(element("polygon", points=points(corners), fill=fill, stroke=INK, stroke_width=0.6))
            middles.append(base - (below[ends[-1]] + above[ends[-1]]) / 2.0 * self._per_um)
            below = above
        line = [(frame.x(end[0]), base - below[end] * self._per_um) for end in ends]
        drawn.append(element("path", d=path(line), fill="none", stroke=INK, stroke_width=2.2))
        straight = path([(frame.x(min(0.0, frame.from_mm)), base), (end_x + 14.0, base)])
        drawn.append(
            element("path", d=straight, stroke=INK, stroke_width=0.9, stroke_dasharray="12 3 2 3", fill="none")
        )
        drawn.extend(self._words(middles, end_x, top, base, where))
        return drawn

    def _words(self, middles: Sequence[float], end_x: float, top: float, base: float, where: str) -> list[Mark]:
        shares = self._bend.shares
        total = self._bend.total_um
        named = sorted(range(len(shares)), key=lambda n: (-shares[n].at_end_um, n))[: self._named]
        order = sorted(named, reverse=True)
        rest = total - math.fsum(shares[n].at_end_um for n in named)
        tops = spread([middles[n] for n in order], [_LINE] * len(order), top + 20.0 + _LINE, base + 8.0)
        # the sum is above its parts
        drawn = [
            text(
                end_x + 34.0,
                min([top + 20.0 + _LINE / 2.0, *(y - _LINE for y in tops[:1])]) + 4.0,
                f"{where}: {_micrometres(total)}, TIR {_micrometres(tir_of(total))}",
                font_size=11.0,
                font_weight="bold",
            )
        ]
        for n, y in zip(order, tops, strict=True):
            corners = [(end_x + 2.0, middles[n]), (end_x + 14.0, middles[n]), (end_x + 30.0, y)]
            drawn.append(element("path", d=path(corners), fill="none", stroke=INK, stroke_width=0.6))
            words = f"{_micrometres(shares[n].at_end_um)} {shares[n].name}"
            drawn.append(text(end_x + 34.0, y + 4.0, shortened(words, 11.0, LABEL_ROOM - 44.0), font_size=11.0))
        if rest > 0.0 and len(named) < len(shares):
            words = f"{_micrometres(rest)} {len(shares) - len(named)} others"
            drawn.append(text(end_x + 34.0, base + 12.0 + _LINE / 2.0, words, font_size=11.0))
        return drawn


def _height(share: Share, end_mm: float, z_mm: float, behind: bool) -> float:
    """Return a contributor's eccentricity just before or behind a position, µm."""
    if z_mm < share.from_mm or (z_mm == share.from_mm and not behind):
        return 0.0
    if end_mm <= share.from_mm:
        return share.at_end_um
    return share.from_um + (share.at_end_um - share.from_um) * (z_mm - share.from_mm) / (end_mm - share.from_mm)


def _micrometres(value: float) -> str:
    if (found := as_shown(value, "µm")) is not None:
        return f"{found.number} {found.sign}"
    return f"{value:.2f} µm" if value < 1000.0 else f"{value:.0f} µm"
